"""What is said of a recorder whose clock is ahead of the laptop's."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planworld import DAY, cards, copied, ledger, settings, taken, view
from takehold.decide.check import Around, check
from takehold.decide.day import CLOCK_AHEAD
from takehold.model.finding import Finding, Severity
from takehold.model.recording import Recording
from takehold.model.settings import Role, Source
from takehold.model.sound import Complaint, Description, Kind
from takeworld import DRIVES, wav

AHEAD = Complaint(CLOCK_AHEAD, "the recorder says 2031-05-06 23:00, seen 2031-05-06 20:00")


def with_complaint(number: int, complaint: Complaint, of: int = 1, **changes: object) -> Recording:
    made = wav(number, b"T%02d.WAV" % number, of=of)
    said = replace(made.description, complaints=(complaint,), **changes)  # type: ignore[arg-type]
    return replace(made, description=said)


def found(*recordings: Recording, day: str = DAY) -> list[Finding]:
    facts = [*cards(), *taken(*recordings), *(x for r in recordings for x in copied(r, *DRIVES))]
    known = ledger(facts)
    return list(check(view(known, day=day), known, settings(), Around()))


def test_a_clock_that_is_ahead_is_said_once_for_a_card() -> None:
    files = [with_complaint(number, AHEAD) for number in (1, 2)]
    [told] = [x for x in found(*files, wav(3, b"T03.WAV")) if "clock" in x.code]
    assert (told.code, told.severity, told.load) == ("clock-ahead", Severity.NOTE, 1)
    assert told.says == (
        "SND_A1: by the recorder's clock 2 files were recorded later than seen here, as one where "
        "the recorder says 2031-05-06 23:00, seen 2031-05-06 20:00."
    )
    assert not [x for x in found(wav(1, b"T01.WAV")) if "clock" in x.code]


@pytest.mark.parametrize(
    ("code", "what"),
    [
        ("date-ahead", "the date of a day that had not begun here"),
        ("date-doubtful", "no date, and a time on the card that is of another day"),
        ("date-old", "a recording date of long ago"),
        ("date-wrong", "a recording date or time that cannot be right"),
    ],
)
def test_an_odd_date_is_one_look_a_card(code: str, what: str) -> None:
    """A recorder one zone too far ahead is decided on once, not for each of 150 takes."""
    odd = Complaint(code, "the recorder says 2031-05-07 08:00")
    [told] = [x for x in found(with_complaint(1, odd), wav(2, b"T02.WAV")) if x.code == code]
    assert (told.severity, told.recording, told.load) == (Severity.LOOK, None, 1)
    assert told.says == f"SND_A1: 1 file has {what}: T01.WAV (the recorder says 2031-05-07 08:00)."
    assert code != "date-wrong" or "both clocks" in told.do  # the laptop's may be the wrong one
    files = [with_complaint(number, odd) for number in range(1, 6)]
    [told] = [x for x in found(*files) if x.code == code]
    assert f"SND_A1: 5 files have {what}: T01.WAV (" in told.says
    assert told.says.endswith("T03.WAV (the recorder says 2031-05-07 08:00) and 2 more.")


def test_one_more_file_of_an_odd_date_asks_again_and_each_card_asks_for_itself() -> None:
    odd = Complaint("date-ahead", "")
    files = [with_complaint(number, odd) for number in (1, 2)]
    backup = with_complaint(3, odd, of=2)

    def ids(*some: Recording) -> set[str]:
        return {x.id for x in found(*some) if x.code == "date-ahead"}

    assert len(ids(files[0]) | ids(*files)) == 2
    assert len(ids(*files, backup)) == 2
    assert ids(*files) < ids(*files, backup)


def test_the_day_on_which_such_a_card_came_asks_a_person() -> None:
    """Tonight's wrap would not tell of them: they are tomorrow's."""
    ahead = Complaint("date-ahead", "")
    later = replace(with_complaint(1, ahead), day="2031-05-07")
    [told] = [x for x in found(later, wav(2, b"T02.WAV")) if x.code == "files-of-other-days"]
    assert told.severity is Severity.LOOK


BEFORE = ("2031-05-04", "2031-05-05")


def of_day(number: int, day: str, later: int) -> Recording:
    """A file of an earlier day, or of this one, that was seen some days after the first."""
    made = wav(number, b"%s_%02d.WAV" % (day.encode(), number))
    return replace(made, day=day, seen_at=made.seen_at + later * 86_400)


def uncleared(*recordings: Recording, day: str = DAY) -> list[str]:
    return [x.says for x in found(*recordings, day=day) if x.code == "card-not-cleared"]


def test_a_card_that_was_not_formatted_is_said_once_for_each_day_that_is_on_it() -> None:
    first, second = (of_day(n, day, n) for n, day in enumerate(BEFORE, 1))
    today = of_day(3, DAY, 3)
    card = (first, second, of_day(4, BEFORE[1], 2), today)
    [says] = uncleared(*card)
    assert says == (
        "SND_A1 was not formatted since 2031-05-05: 2 files of that day were on it before."
    )
    [says] = uncleared(*card, day=BEFORE[1])
    assert "since 2031-05-04: 1 file of that day was on it" in says
    assert uncleared(*card, day=BEFORE[0]) == []
    assert uncleared(today) == []


def test_old_files_that_came_with_the_days_own_are_told_as_files_of_other_days() -> None:
    old, today = of_day(1, BEFORE[1], 3), of_day(2, DAY, 3)
    assert uncleared(old, today) == []
    assert "files-of-other-days" in {x.code for x in found(old, today)}


def test_a_watch_folder_is_never_formatted() -> None:
    files = (of_day(1, BEFORE[1], 1), of_day(2, DAY, 2))
    assert uncleared(*files)
    made = settings(sources=(Source("primary", Role.PRIMARY, path=b"/srv/rec"),))
    known = ledger([*cards(), *taken(*files)])
    told = check(view(known, made), known, made, Around())
    assert "card-not-cleared" not in {x.code for x in told}


def test_a_file_without_a_date_is_still_no_wave_file() -> None:
    """What is named like audio and names no date may go to a doubtful day, too."""
    made = replace(wav(1, b"T01.WAV"), readings=())
    said = Description(Kind.OTHER, complaints=(Complaint("date-doubtful", ""),))
    codes = {x.code for x in found(replace(made, description=said))}
    assert {"not-wave", "date-doubtful"} <= codes


def test_a_wrong_date_hides_nothing_of_the_file_itself() -> None:
    """A recorder's empty take is told whatever its date is."""
    for code in ("date-ahead", "date-old", CLOCK_AHEAD):
        codes = {x.code for x in found(with_complaint(1, Complaint(code, ""), frames=0))}
        assert "no-data" in codes
