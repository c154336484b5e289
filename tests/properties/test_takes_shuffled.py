"""Whatever the order and the names of the files, the takes are those that were recorded."""

from __future__ import annotations

from dataclasses import dataclass, replace

from hypothesis import given
from hypothesis import strategies as st

from takehold.decide.takes import takes
from takehold.model.recording import Recording
from takeworld import HZ, MORNING, names, wav

SCENES = ("1", "12A", "B7")


@dataclass(frozen=True)
class Rolled:
    """What was recorded: layout, number of parts, how much its files tell."""

    poly: bool
    tracks: int
    parts: int
    tells: str
    pause: int
    length: int


ROLLED = st.builds(
    Rolled,
    st.booleans(),
    st.integers(1, 4),
    st.integers(1, 3),
    st.sampled_from(["family", "scene"]),
    st.integers(1, 10**6),
    st.integers(1, 10**6),
)


def day_of(rolled: list[Rolled]) -> tuple[list[Recording], set[frozenset[int]]]:
    """The files of a day in order, and which of them are one take."""
    made: list[Recording] = []
    truth = set()
    at = MORNING
    for nth, take in enumerate(rolled):
        mine = []
        for part in range(take.parts):
            for track in range(1 if take.poly else take.tracks):
                count = take.tracks if take.poly else 1
                family = {"family_uid": f"U{nth}", "total_files": 1 if take.poly else take.tracks,
                          "set_index": "A" if take.poly else str(track + 1)}  # fmt: skip
                file = wav(
                    len(made) + 1, b"%d/%d-%d.wav" % (nth, part, track),
                    SCENES[nth % 3], str(nth // 3 + 1), at, take.length, channels=count,
                    tracks=names(*["x"] * count, first=track + 1),
                    **(family if take.tells == "family" else {}),
                )  # fmt: skip
                made.append(file)
                mine.append(file.id)
            at += take.length
        at += take.pause
        truth.add(frozenset(mine))
    return made, truth


def grouped(files: list[Recording]) -> set[frozenset[int]]:
    return {frozenset(take.files) for take in takes(files)}


@given(st.lists(ROLLED, max_size=8), st.randoms(use_true_random=False))
def test_the_takes_are_those_that_were_recorded_in_any_order(rolled, dice):
    """Poly or mono, split or not, with a file set or with scene and timecode alone."""
    files, truth = day_of(rolled)
    first = takes(files)
    assert {frozenset(take.files) for take in first} == truth
    dice.shuffle(files)
    assert takes(files) == first


@given(st.lists(ROLLED, max_size=8), st.data())
def test_renaming_changes_no_take(rolled, data):
    files, truth = day_of(rolled)
    words = st.text("abT0123_-./", min_size=1, max_size=12)
    renamed = [replace(r, path=data.draw(words).encode()) for r in files]
    assert takes(renamed) == takes(files)
    assert grouped(renamed) == truth


@given(st.lists(ROLLED, max_size=8), st.data())
def test_edits_of_the_notes_change_no_take(rolled, data):
    files, truth = day_of(rolled)
    edited = [
        replace(
            r,
            description=replace(
                r.description,
                metadata=replace(
                    r.description.metadata, note="n", circled=data.draw(st.booleans())
                ),
            ),
        )
        for r in files
    ]
    assert grouped(edited) == truth


@given(
    st.lists(
        st.builds(
            wav,
            st.just(0),
            st.sampled_from([b"a.wav", b"1-T2.wav", b"rerec.wav", b"d/a.wav"]),
            st.sampled_from(["", "1"]),
            st.sampled_from(["", "1", "2"]),
            st.sampled_from([None, 0, 5, 10, 2**64 - 1]),
            st.sampled_from([0, 5, 10]),
            channels=st.integers(1, 2),
            hz=st.sampled_from([HZ, 96_000]),
            size=st.sampled_from([0, (1 << 31) - 9]),
            family_uid=st.sampled_from(["", "F"]),
            total_files=st.sampled_from([None, 0, 2, 10**10 - 1]),
            set_index=st.sampled_from(["", "A", "01", "1"]),
            tracks=st.sampled_from([(), names("x"), names("x", "y")]),
        ),
        max_size=10,
    ),
    st.randoms(use_true_random=False),
)
def test_whatever_files_say_each_is_in_one_take(made, dice):
    """Contradictions of hostile or broken files lose no file, repeat none, and order is nothing."""
    files = [replace(r, id=n) for n, r in enumerate(made, 1)]
    found = takes(files, ("rerec*",))
    flat = [n for t in found for one in (t, *t.again) for n in one.files]
    assert sorted(flat) == [r.id for r in files]
    dice.shuffle(files)
    assert takes(files, ("rerec*",)) == found
