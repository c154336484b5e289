"""Files that are not what the day was set up for: one finding a card."""

from __future__ import annotations

from dataclasses import replace

from planworld import reading, settings
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


def on_backup(files: list[Recording]) -> list[Recording]:
    """The same on the backup card, as another recorder writes them."""
    return [
        replace(one, id=one.id + 20, load=2, readings=(reading(b"%d" % one.id),)) for one in files
    ]


def test_a_whole_day_at_another_rate_is_one_look_for_each_card() -> None:
    """Not one for each of 150 takes."""
    one = Expect(Rate(24, 1), HZ, 24)
    primary, backup = sorted(
        told(*takes(7), *on_backup(takes(7)), expect=one), key=lambda x: x.load or 0
    )
    assert (primary.code, primary.severity) == ("timecode-rate", Severity.LOOK)
    assert (primary.load, backup.load, primary.recording) == (1, 2, None)
    assert (backup.severity, backup.do) == (primary.severity, primary.do)
    assert primary.says == (
        "SND_A1: 7 files: timecode at 25, the day is set up for 24: T01.WAV, T02.WAV, T03.WAV, "
        "T04.WAV, T05.WAV and 2 more."
    )
    assert backup.says.startswith("SND_B1: 7 files: timecode at 25")
    assert primary.do == "Check the recorder's set-up and tell post."


def test_of_the_very_bytes_of_the_primarys_it_is_a_note_on_the_backup() -> None:
    """One decision for both; a file of the backup's own stays a look beside it."""
    one = Expect(Rate(24, 1), HZ, 24)
    own = replace(takes(8)[7], id=60, load=2)
    found = told(*takes(7), *takes(7, of=2), own, expect=one)
    assert [(x.load, x.severity, x.recording) for x in found] == [
        (None, Severity.LOOK, 60),
        (1, Severity.LOOK, None),
        (2, Severity.NOTE, None),
    ]
    assert found[2].do == "The primary's has the same bytes: decide there."
    rates = told(*takes(2, timecode_rate=None), *takes(2, of=2, timecode_rate=None), expect=one)
    assert [(x.severity, x.do) for x in rates] == [(Severity.NOTE, "")] * 2


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


def test_another_set_up_asks_again() -> None:
    """A decision holds for the words that it was given for, of one file as of several."""
    for count in (1, 2):
        rates = (Expect(Rate(n, 1)) for n in (24, 30))
        (before,), (after,) = (told(*takes(count), expect=expect) for expect in rates)
        assert before.id != after.id
