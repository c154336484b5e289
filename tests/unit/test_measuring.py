"""Which compressed recordings are measured next, from where, and what is said until then."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from planworld import (
    NOON,
    cards,
    copied,
    copy,
    ledger,
    reading,
    recording,
    settings,
    sight,
    situation,
    sound,
    taken,
    target,
    trouble,
    unread,
    view,
)
from takehold.decide.check_sound import sound_findings
from takehold.decide.comparing import NEW_S
from takehold.decide.coverage import coverage
from takehold.decide.explain import what
from takehold.decide.keys import prove_key
from takehold.decide.looked_into import unmeasured
from takehold.decide.plan import Wanted, plan
from takehold.engine.closing import quiet
from takehold.formats.compressed import FLAC, form_of
from takehold.model import facts as f
from takehold.model.finding import Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.sound import Complaint, Description, Kind
from takehold.model.step import (
    CatchUp,
    Compare,
    Confirm,
    Measure,
    Prove,
    Step,
    Transfer,
    lane,
    recordings_of,
)

D1, D2 = target("shuttle-1"), target("shuttle-2")
SAID = Description(Kind.COMPRESSED, form_of(FLAC, 1, 48_000, 24), frames=3)


def flac(number: int = 1, name: bytes = b"T01.FLAC", **changes: Any) -> Recording:
    """A FLAC file that was read twice, and not measured."""
    made = recording(number, name, head=name, description=SAID)
    twice = (made.readings[0]._replace(sound=None),) * 2
    return replace(made, readings=twice, **changes)


def steps(of: Ledger, *sights: Any, targets: Any = (D1, D2), **wanted: Any) -> tuple[Step, ...]:
    now = wanted.pop("now", NOON)
    alone = settings(sources=settings().sources[:1])
    return plan(of, situation(*sights, targets=targets, now=now), alone, Wanted(**wanted))


def known(*files: Recording, on: Any = (D1, D2), more: Any = ()) -> Ledger:
    return ledger(cards(), taken(*files), [x for r in files for x in copied(r, *on)], more)


def measures(found: tuple[Step, ...]) -> list[tuple[str, str]]:
    """The drives and files of what is measured."""
    return [(s.target.name, s.recording.path.decode()) for s in found if isinstance(s, Measure)]


def test_a_drive_measures_one_recording_at_a_time_and_no_two_the_same() -> None:
    of = known(flac(1, b"A.FLAC"), flac(2, b"B.FLAC"), flac(3, b"C.FLAC"))
    assert measures(steps(of)) == [("shuttle-1", "A.FLAC"), ("shuttle-2", "B.FLAC")]


def test_only_a_drive_that_holds_it_can() -> None:
    full = replace(D1, free_bytes=0)
    assert measures(steps(known(flac(), on=(D2,)), targets=(full, D2))) == [
        ("shuttle-2", "T01.FLAC")
    ]
    assert steps(known(flac()), targets=()) == ()


def test_what_is_being_measured_is_in_no_other_step_and_its_day_waits() -> None:
    of = known(flac())
    [step] = steps(of, targets=(D1,))
    assert recordings_of(step) == {1}
    assert lane(step) == "drive shuttle-1"
    assert what(step) == "measuring the audio of 1 file on shuttle-1"
    assert not quiet(of, "2031-05-06", [step])
    busy = steps(of, busy=frozenset({1}), lanes=frozenset({lane(step)}))
    assert measures(busy) == []


def test_once_it_is_measured_nothing_is_owed() -> None:
    done = f.WasMeasured(1, replace(SAID, frames=3), sound(b"one"))
    of = known(flac(), more=[done])
    assert steps(of) == ()
    assert of.recordings[1].sound == sound(b"one")
    assert len(of.recordings[1].readings) == 2
    assert of.recordings[1].readings[1].sound is None


def test_what_does_not_decode_is_said_and_never_tried_again() -> None:
    broken = replace(SAID, complaints=(Complaint("not-decoded", "2 of 3 frames"),))
    of = known(flac(), more=[f.WasMeasured(1, broken, None)])
    assert steps(of) == ()
    assert of.recordings[1].description.complaints == broken.complaints
    assert not unmeasured(of.recordings[1])


@pytest.mark.parametrize(
    "other",
    [
        recording(1),
        unread(flac()),
        recording(1, audio=None),
        flac(place=b"Other Bay/2031-05-06/SND_A1/T01.FLAC"),
    ],
    ids=["wave", "unread", "opaque", "of another production"],
)
def test_nothing_else_is_measured(other: Recording) -> None:
    assert measures(steps(known(other))) == []


def test_a_first_read_that_was_refuted_is_not_measured() -> None:
    made = flac()
    wrong = made.readings[0]._replace(digests=reading(b"wrong").digests)
    of = known(replace(made, readings=(wrong, *made.readings)))
    assert measures(steps(of)) == []


def test_a_copy_that_cannot_be_read_is_passed_over_for_one_that_can() -> None:
    bad = trouble(prove_key(copy(flac(), D1)))
    assert measures(steps(known(flac(), more=[bad]))) == [("shuttle-2", "T01.FLAC")]
    alone = steps(known(flac(), more=[bad]), targets=(D1,), now=NOON + 120)
    assert [type(step) for step in alone] == [Prove]  # and when that goes well, it is measured


def test_cards_and_copies_come_first() -> None:
    """While a card is read, or is to be, and while a drive lacks a file."""
    made, new = flac(), unread(recording(9, b"NEW.WAV"))
    waits = known(made, more=taken(new))
    found = steps(waits, sight(1, made, new))
    assert any(isinstance(step, Transfer) for step in found)
    assert measures(found) == []
    once = replace(made, readings=made.readings[:1])
    found = steps(known(once), sight(1, once), closing={"2031-05-06": NOON})
    assert any(isinstance(step, Confirm) for step in found)
    assert measures(found) == []
    assert measures(steps(known(made), lanes=frozenset({"card mount x"}))) == []
    assert [type(s) for s in steps(known(made, on=(D1,)))] == [CatchUp]


def test_it_is_measured_before_it_is_compared() -> None:
    """The measure of a lossless file may tell that nothing is to be compared."""
    mine, its = flac(1), recording(2, b"T01.WAV", of=2, audio=b"one")
    its = replace(its, readings=its.readings * 2)
    of = known(mine, its)
    found = plan(of, situation(targets=(D1, D2)), settings(), Wanted())
    assert [type(step) for step in found] == [Measure]
    silent = f.WasMeasured(1, SAID, sound(b"two"))
    found = plan(known(mine, its, more=[silent]), situation(targets=(D1,)), settings(), Wanted())
    assert [type(step) for step in found] == [Compare]


@pytest.mark.parametrize(("closing", "count"), [({}, 0), ({"2031-05-06": NOON}, 1)])
def test_an_old_day_is_measured_when_it_is_closed(closing: dict, count: int) -> None:
    now = NOON + NEW_S + 60
    of = known(flac(), more=[f.Proven(copy(flac(), D1, at=now))])
    assert len(measures(steps(of, targets=(D1,), now=now, closing=closing))) == count


def codes(of: Ledger) -> list[tuple[str, Severity]]:
    seen = view(of)
    packs = coverage(seen, of, settings())
    return [(found.code, found.severity) for found in sound_findings(seen, settings(), packs)]


def test_until_then_it_is_said_that_nothing_is_known_of_its_audio() -> None:
    """Of what no drive holds other things are said."""
    assert codes(known(flac())) == [("sound-unmeasured", Severity.LOOK)]
    assert codes(known(flac(), on=())) == []
    done = f.WasMeasured(1, SAID, sound(bytes([0x81, 0x7F] * 40)))
    assert codes(known(flac(), more=[done])) == []


def test_a_silent_track_of_it_is_said_as_of_a_wave_file() -> None:
    """8-bit silence is 0x80 (WAVEFORMATEX)."""
    silent = f.WasMeasured(1, SAID, sound(bytes([0x80]) * 48_000))
    assert [code for code, _ in codes(known(flac(), more=[silent]))] == ["track-silent"]
