"""Files that are not what the day was set up for: one finding a card."""

from __future__ import annotations

from planworld import settings
from takehold.model.finding import Finding, Severity
from takehold.model.recording import Recording
from takehold.model.settings import Expect
from takehold.model.sound import Rate
from takeworld import HZ, MORNING, found_on, wav

CODES = {"sample-rate", "bit-depth", "timecode-rate", "timecode-rate-unknown"}
SET_UP = Expect(Rate(24, 1), 96_000, 16)


def takes(count: int, of: int = 1, **said: object) -> list[Recording]:
    first = 20 * of
    return [
        wav(first + n, b"T%02d.WAV" % n, "1", str(n), MORNING + n * 60 * HZ, of=of, **said)
        for n in range(1, count + 1)
    ]


def told(*files: Recording, expect: Expect = SET_UP) -> list[Finding]:
    made = settings(expect=expect)
    return [x for x in found_on(list(files), made=made) if x.code in CODES]


def test_a_whole_day_at_another_rate_is_one_look_for_each_card() -> None:
    """Not one for each of 150 takes."""
    one = Expect(Rate(24, 1), HZ, 24)
    primary, backup = sorted(
        told(*takes(7), *takes(7, of=2), expect=one), key=lambda x: x.load or 0
    )
    assert (primary.code, primary.severity) == ("timecode-rate", Severity.LOOK)
    assert (primary.load, backup.load, primary.recording) == (1, 2, None)
    assert primary.says == (
        "SND_A1: 7 files: timecode at 25, the day is set up for 24: T01.WAV, T02.WAV, T03.WAV, "
        "T04.WAV, T05.WAV and 2 more."
    )
    assert backup.says.startswith("SND_B1: 7 files: timecode at 25")
    assert primary.do == "Check the recorder's set-up and tell post."


def test_one_file_is_told_by_its_name() -> None:
    (found,) = told(*takes(1), expect=Expect(bit_depth=16))
    assert found.says == "SND_A1/T01.WAV: 24 bits, the day is set up for 16 bits."
    assert found.recording == 21


def test_each_deviation_is_one_of_its_own() -> None:
    """So is each value: two rates that are not as expected are two things to decide on."""
    assert {x.code for x in told(*takes(2))} == {"sample-rate", "bit-depth", "timecode-rate"}
    others = takes(4, timecode_rate=Rate(30, 1))[2:]
    rates = [x.says for x in told(*takes(2), *others) if x.code == "timecode-rate"]
    assert len(rates) == 2
    (unknown,) = told(*takes(3, timecode_rate=None), expect=Expect(Rate(24, 1)))
    assert (unknown.code, unknown.severity, unknown.do) == (
        "timecode-rate-unknown",
        Severity.NOTE,
        "",
    )


def test_one_more_file_asks_again() -> None:
    """A decision holds for the files that it was given for."""
    (before,), (after,) = (told(*takes(n), expect=Expect(bit_depth=16)) for n in (2, 3))
    assert before.id != after.id
    assert before.subject == after.subject
