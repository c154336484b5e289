"""A card may be changed at any moment of a day: the takes are those of one card that holds all."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from takehold.decide.takes import takes
from takehold.model.recording import Recording
from takeworld import HZ, MORNING, names, wav

LONG = 10 * HZ
WORDS = ("Boom", "Lav", "Plant")
MIRROR = 50_000


@st.composite
def day(draw: st.DrawFn) -> list[Recording]:
    """Takes of one poly file, of parts, of a set, and of parts of a set, as they were recorded."""
    made: list[Recording] = []
    for nth in range(draw(st.integers(1, 4))):
        wide, parts = draw(st.sampled_from([1, 3])), draw(st.integers(1, 3))
        counted_on = draw(st.booleans())
        for part in range(parts):
            for place, word in enumerate(WORDS[:wide]):
                index = part * wide + place if counted_on else place
                said = {
                    "family_uid": f"F{nth}" if wide * parts > 1 else "",
                    "total_files": wide * parts if counted_on else wide,
                    "set_index": f"{index + 1:02}",
                    "tracks": names(word, first=place + 1),
                }
                at = MORNING + nth * 60 * HZ + part * LONG
                name = b"%d_%d_%d.WAV" % (nth, part, place)
                made.append(wav(len(made) + 1, name, "1", str(nth + 1), at, LONG, **said))
    return made


def groups(files: list[Recording]) -> list[list[tuple[int, ...]]]:
    """The parts of each take."""
    return sorted([part.files for part in take.parts] for take in takes(files))


@given(day(), st.data())
def test_where_the_card_was_changed_makes_no_other_takes(
    files: list[Recording], data: st.DataObject
):
    """Within a take too, and within the files that begin together."""
    edge = data.draw(st.integers(0, len(files)))
    changed = [replace(f, load=1 + (n >= edge)) for n, f in enumerate(files)]
    assert groups(changed) == groups(files)


@given(day(), st.data())
def test_a_mirror_that_was_changed_elsewhere_holds_each_take_once_more(
    files: list[Recording], data: st.DataObject
):
    """One recorder's files on two cards, and a copy of each of them on two others."""
    found = []
    for load, add in ((1, 0), (3, MIRROR)):
        edge = data.draw(st.integers(0, len(files)))
        found += [replace(f, id=f.id + add, load=load + (n >= edge)) for n, f in enumerate(files)]
    once = groups(files)
    told = [[tuple(n % MIRROR for n in part) for part in take] for take in groups(found)]
    assert sorted(told) == sorted([*once, *once])
