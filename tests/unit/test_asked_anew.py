"""A decision holds for what was said when it was made; where that changes, it is asked for anew."""

from __future__ import annotations

from planworld import recording, settings
from takehold.model.finding import Finding
from takehold.model.recording import Recording
from takehold.model.settings import Expect
from takehold.model.sound import Description, Kind
from takeworld import HZ, MORNING, found_on, wav


def take(number: int, card: int = 1, **said: object) -> Recording:
    """Take `number` of scene 1 on a card."""
    path, start = b"T%02d.WAV" % number, MORNING + number * 60 * HZ
    return wav(10 * card + number, path, "1", str(number), start, of=card, **said)


def one(code: str, *files: Recording, expect: Expect | None = None) -> Finding:
    """The finding of that code in a day of these files."""
    made = settings(expect=expect or Expect())
    (found,) = (x for x in found_on(list(files), made=made) if x.code == code)
    return found


def test_another_number_of_channels_is_expected() -> None:
    before, after = (one("channels", take(1), expect=Expect(channels=n)) for n in (4, 8))
    assert before.says != after.says
    assert before.id != after.id


def test_more_of_the_format_changed_than_was_told() -> None:
    """Nothing is said of a sample rate that the day is set up for."""
    files = take(1), take(2, hz=96_000, bits=16)
    expected = (Expect(sample_rate=n) for n in (HZ, None))
    before, after = (one("format-changed", *files, expect=expect) for expect in expected)
    assert (before.says != after.says, before.id != after.id) == (True, True)


def test_more_takes_on_the_backup_of_what_cannot_be_looked_into() -> None:
    """The number of takes is what is decided on."""
    box = recording(1, b"A.BLK", audio=None, description=Description(Kind.OTHER))
    code = "primary-not-comparable"
    before, after = one(code, box, take(1, 2)), one(code, box, take(1, 2), take(2, 2))
    assert ("(1 take)" in before.says, "(2 takes)" in after.says) == (True, True)
    assert before.id != after.id
    assert before.id == one(code, box, take(1, 2)).id
