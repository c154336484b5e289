"""What is said once of a backup card: its date, its timecode, two primary cards of one backup."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from planworld import (
    DAY,
    NOON,
    SECOND,
    cards,
    copied,
    ledger,
    load,
    recording,
    settings,
    taken,
    target,
    view,
)
from takehold.decide.check import Around, check, verdict
from takehold.decide.standing import DayStanding, day_standing
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.finding import Finding, Relation, Severity, Verdict
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Role, Source
from twocards import Cards

BEFORE = "2031-05-05"
LONG = bytes(range(1, 251)) * 800
DRIVES = (target("shuttle-1"), target("shuttle-2"))
TEN = 36_000 * SECOND


def on(made: Recording, day: str, date: str, time: str) -> Recording:
    said = replace(made.description.metadata, date=date, time=time)
    place = made.place.replace(DAY.encode(), day.encode())
    described = replace(made.description, metadata=said)
    return replace(made, day=day, place=place, description=described)


def mine(number: int = 1, **changes: Any) -> Recording:
    """A take of the primary card, of 06:00:30."""
    path = b"T%02d.WAV" % number
    made = recording(number, path, audio=changes.pop("audio", LONG), head=b"a", **changes)
    return on(made, DAY, DAY, "06:00:30")


def its(
    number: int = 101, day: str = BEFORE, date: str = BEFORE, time: str = "06:00:30", **more: Any
) -> Recording:
    """The same of the backup card, of another day."""
    path = b"T%02d.WAV" % (number - 100)
    made = recording(number, path, of=2, audio=more.pop("audio", LONG), head=b"b", **more)
    return on(made, day, date, time)


def day_of(*files: Recording, loads: tuple[f.Fact, ...] = ()) -> Ledger:
    read = [replace(file, readings=file.readings * 2) for file in files]
    there = [fact for file in read for fact in copied(file, *DRIVES)]
    return ledger(cards(), list(loads), taken(*read), there)


def found(known: Ledger, day: str = DAY) -> list[Finding]:
    """All that is said, but of names on the drives."""
    return list(check(view(known, day=day), known, settings(), Around()))


def told(known: Ledger, code: str, day: str = DAY) -> list[tuple[Severity, str]]:
    return [(x.severity, x.says) for x in found(known, day) if x.code == code]


def codes(known: Ledger, day: str = DAY) -> set[str]:
    return {x.code for x in found(known, day)}


def test_a_date_that_is_a_day_off_is_said_once_for_the_card() -> None:
    """A person decides which of the two dates is right."""
    takes = [bytes([n]) + LONG for n in range(1, 12)]
    files = [mine(n, audio=audio) for n, audio in enumerate(takes, 1)]
    files += [its(100 + n, audio=audio) for n, audio in enumerate(takes, 1)]
    known = day_of(*files)
    says = (
        "SND_B1: 11 of its recordings hold audio of this day, and its recorder says 2031-05-05, the"
        " primary's 2031-05-06."
    )
    assert told(known, "backup-day-off") == [(Severity.LOOK, says)]
    assert codes(known).isdisjoint({"backup-not-seen", "backup-missing", "source-not-seen"})


def test_of_one_date_the_times_are_said() -> None:
    """One recorder's clock stands at midnight: before the day's beginning it is the day before."""
    known = day_of(mine(), its(date=DAY, time="00:00:30"))
    says = (
        "SND_B1: 1 of its recordings holds audio of this day, and its recorder says 2031-05-06"
        " 00:00:30, the primary's 2031-05-06 06:00:30."
    )
    assert told(known, "backup-day-off") == [(Severity.LOOK, says)]


def test_a_watch_folder_of_another_date_was_seen() -> None:
    """Its files are the backup of this day."""
    folder = Source("backup", Role.BACKUP, path=b"/srv/backup")
    asked = replace(settings(), sources=(settings().sources[0], folder))
    known = day_of(mine(), its())
    found = check(day_standing(known, DAY, asked), known, asked, Around())
    assert {x.code for x in found}.isdisjoint({"source-not-seen", "backup-not-seen"})


def test_on_the_backups_own_day_it_is_no_recording_without_a_primary() -> None:
    known = day_of(mine(), its())
    known.apply([closed(Verdict.READY)])
    says = "SND_B1: 1 of its recordings holds audio of 2031-05-06; see that day."
    assert told(known, "backup-day-off", BEFORE) == [(Severity.NOTE, says)]
    assert codes(known, BEFORE).isdisjoint({"only-on-backup", "primary-not-seen"})
    folder = Source("second", Role.BACKUP, path=b"/srv/second")
    asked = replace(settings(), sources=(*settings().sources, folder))
    said = check(day_standing(known, BEFORE, asked), known, asked, Around())
    assert "source-not-seen" not in {x.code for x in said}


def closed(verdict: Verdict) -> f.Revised:
    """A manifest of the day of the primary's date."""
    return f.Revised(DAY, 1, f"{DAY}.r1.manifest.json", "0" * 64, NOON, verdict, "basis")


@pytest.mark.parametrize("newest", [None, Verdict.HOLD])
def test_a_day_of_backups_alone_is_not_ready_before_the_day_that_they_back_up(
    newest: Verdict | None,
) -> None:
    """It may be the primary's date that is off: nobody is told READY of half a day's work."""
    known = day_of(mine(), its())
    known.apply([closed(newest)] if newest else [])
    says = (
        "No primary card with a recording of 2031-05-05 was seen (primary); all that is known of it"
        " are backups of 2031-05-06, which is not closed as READY."
    )
    assert told(known, "primary-not-seen", BEFORE) == [(Severity.LOOK, says)]
    assert verdict(tuple(found(known, BEFORE)), {})[0] is Verdict.HOLD
    (one,) = (x for x in found(known, BEFORE) if x.code == "primary-not-seen")
    assert "takehold wrap 2031-05-06" in one.do


def test_a_day_that_has_more_still_wants_its_primary_card() -> None:
    known = day_of(mine(), its(), its(102, audio=LONG[::-1]))
    assert {"only-on-backup", "primary-not-seen"} <= codes(known, BEFORE)


def test_what_the_card_lacks_is_missing() -> None:
    """It was seen: so each take that it has not is told."""
    known = day_of(mine(), mine(2, audio=LONG[::-1]), its())
    assert [x.recording for x in found(known) if x.code == "backup-missing"] == [2]


def test_clocks_a_little_apart_at_the_days_beginning_are_a_note() -> None:
    known = day_of(mine(), its(date=DAY, time="05:59:30"))
    says = "SND_B1: 1 of its recordings holds audio of this day, and its own time is of 2031-05-05."
    assert told(known, "backup-day-off") == [(Severity.NOTE, says)]


@pytest.mark.parametrize(("mine_at", "its_at"), [("", ""), (DAY, "")])
def test_a_card_without_dates(mine_at: str, its_at: str) -> None:
    """Where neither names a date, none can be wrong."""
    one, other = on(mine(), DAY, mine_at, ""), on(its(day=DAY), BEFORE, its_at, "")
    ((severity, _),) = told(day_of(one, other), "backup-day-off")
    assert severity is (Severity.LOOK if mine_at else Severity.NOTE)


def timed(made: Recording, start: int) -> Recording:
    said = replace(made.description.metadata, time_reference=start)
    return replace(made, description=replace(made.description, metadata=said))


@pytest.mark.parametrize(
    ("later", "says"),
    [
        (3600 * SECOND, "1 h 0 min later"),
        (-90 * SECOND, "1 min 30.000 s earlier"),
        (SECOND // 2, "0.500 s later"),
        (1, "1 sample later"),
        (-7, "7 samples earlier"),
    ],
)
def test_the_same_audio_at_another_timecode(later: int, says: str) -> None:
    known = day_of(timed(mine(), TEN), timed(its(day=DAY, date=DAY), TEN + later))
    says = f"SND_B1: 1 of its recordings holds the same audio {says} by timecode: T01.WAV."
    assert told(known, "backup-timecode") == [(Severity.NOTE, says)]


def test_many_of_another_timecode_are_said_once() -> None:
    takes = [bytes([n]) + LONG for n in range(1, 6)]
    files = [timed(mine(n, audio=audio), TEN) for n, audio in enumerate(takes, 1)]
    files += [
        timed(its(100 + n, DAY, DAY, audio=audio), TEN + SECOND) for n, audio in enumerate(takes, 1)
    ]
    ((_, says),) = told(day_of(*files), "backup-timecode")
    assert says.endswith(
        "5 of its recordings hold the same audio 1.000 s later by timecode:"
        " T01.WAV, T02.WAV, T03.WAV and 2 more."
    )


def test_the_same_timecode_is_not_worth_a_word() -> None:
    known = day_of(timed(mine(), TEN), timed(its(day=DAY, date=DAY), TEN))
    assert "backup-timecode" not in codes(known)
    assert "backup-timecode" not in codes(day_of(mine(), timed(its(day=DAY, date=DAY), TEN)))


MIRROR = f.LoadSeen(
    load(4, label="SND_A2", identity="uuid:SND_A2", folder=b"SND_A2", disks=frozenset({"a2"}))
)


def relations(day: DayStanding, *numbers: int) -> list[Relation | None]:
    standings = [day.of(number) for number in numbers]
    return [s.answer.relation if s and s.answer else None for s in standings]


def test_a_second_primary_card_with_the_same_takes_has_the_same_backup() -> None:
    """One backup is enough for both, and that is said once."""
    second = replace(mine(2), load=4, path=b"T01.WAV", place=b"Lantern Bay/2031-05-06/SND_A2/T01")
    known = day_of(mine(), second, its(day=DAY, date=DAY), loads=(MIRROR,))
    assert relations(view(known), 1, 2) == [Relation.SAME_AUDIO, Relation.SAME_AUDIO]
    says = "SND_A2: 1 of its recordings holds the same as SND_A1; one backup answers both."
    assert told(known, "backup-shared") == [(Severity.NOTE, says)]
    assert "backup-missing" not in codes(known)


def test_a_second_card_with_a_backup_of_its_own_shares_none() -> None:
    second = replace(mine(2), load=4, path=b"T01.WAV", place=b"Lantern Bay/2031-05-06/SND_A2/T01")
    both = its(day=DAY, date=DAY), replace(its(102, DAY, DAY), path=b"X.WAV")
    known = day_of(mine(), second, *both, loads=(MIRROR,))
    assert "backup-shared" not in codes(known)


def test_other_audio_on_a_second_card_needs_a_file_of_its_own() -> None:
    second = replace(mine(2, audio=LONG[::-1]), load=4, path=b"T01.WAV")
    known = day_of(mine(), second, its(day=DAY, date=DAY), loads=(MIRROR,))
    assert relations(view(known), 1, 2) == [Relation.SAME_AUDIO, Relation.MISSING]


def test_two_takes_of_one_card_with_the_same_bytes_need_two_files() -> None:
    known = day_of(mine(1), mine(2), its(day=DAY, date=DAY))
    assert sorted(map(str, relations(view(known), 1, 2))) == ["missing", "same audio"]


def test_of_a_second_card_each_take_counts_once() -> None:
    """It holds the take twice, and the first card once: one of the two has no backup."""
    more = [replace(mine(n), load=4, place=b"Lantern Bay/2031-05-06/SND_A2/%d" % n) for n in (2, 3)]
    known = day_of(mine(1), *more, its(day=DAY, date=DAY), loads=(MIRROR,))
    assert sorted(map(str, relations(view(known), 2, 3))) == ["missing", "same audio"]


SECOND_BACKUP = f.LoadSeen(
    load(5, Role.BACKUP, label="SND_B2", identity="uuid:B2", folder=b"SND_B2", disks=frozenset("b"))
)


def spare(audio: bytes, **changes: Any) -> Recording:
    """A file of the second backup card."""
    made = its(103, DAY, DAY, audio=audio)
    place = b"Lantern Bay/2031-05-06/SND_B2/T01.WAV"
    return replace(made, **{"load": 5, "path": b"T01.WAV", "place": place, **changes})


@pytest.mark.parametrize(
    ("audio", "severity", "says"),
    [
        (LONG[: 3 * SECOND], Severity.NOTE, "the beginning only; 1.167 s are missing at its end"),
        (LONG + LONG, Severity.LOOK, "4.167 s more"),
        (LONG[: 2 * SECOND] + LONG[::-1][: len(LONG) - 2 * SECOND], Severity.LOOK, "other audio"),
    ],
)
def test_a_second_backup_tells_what_it_holds(audio: bytes, severity: Severity, says: str) -> None:
    """It is held against the primary's file that another backup answers."""
    known = day_of(mine(), its(day=DAY, date=DAY), spare(audio), loads=(SECOND_BACKUP,))
    ((grave, sentence),) = told(known, "backup-spare")
    begins = (
        "SND_B2/T01.WAV: SND_A1/T01.WAV is answered by another file of a backup card; this one"
        f" holds {says}"
    )
    assert sentence.startswith(begins)
    assert grave is severity
    assert "only-on-backup" not in codes(known)


def test_a_second_backup_that_holds_all_of_it_is_not_worth_a_word() -> None:
    known = day_of(mine(), its(day=DAY, date=DAY), spare(LONG), loads=(SECOND_BACKUP,))
    assert codes(known).isdisjoint({"backup-spare", "only-on-backup"})


def test_where_the_first_backup_is_short_a_person_looks_at_the_second_too() -> None:
    first = its(day=DAY, date=DAY, audio=LONG[: 3 * SECOND])
    known = day_of(mine(), first, spare(LONG[: 2 * SECOND]), loads=(SECOND_BACKUP,))
    ((severity, _),) = told(known, "backup-spare")
    assert severity is Severity.LOOK


def test_what_is_known_by_scene_and_take_alone_is_on_the_backup_only() -> None:
    """Another recording may have been given the same number."""
    said = {"scene": "1", "take": "1"}
    other = replace(
        on(recording(103, b"OTHER.WAV", of=5, audio=LONG[::-1], said=said), DAY, DAY, "11:00:00")
    )
    known = day_of(mine(said=said), its(101, DAY, DAY, said=said), other, loads=(SECOND_BACKUP,))
    assert "only-on-backup" in codes(known)
    assert "backup-spare" not in codes(known)


def test_a_started_second_is_compared_before_it_is_told() -> None:
    """Its digests tell whole seconds only: until then a person would be told too little."""
    made = spare(LONG[: SECOND + 9])
    known = day_of(mine(), its(day=DAY, date=DAY), made, loads=(SECOND_BACKUP,))
    ((severity, says),) = told(known, "backup-spare")
    assert severity is Severity.LOOK
    assert says.endswith("how this one differs from it is being looked at.")
    assert view(known).uncompared == (((1,), (103,)),)


def test_two_cut_copies_on_one_card_are_both_known() -> None:
    one, other = (spare(LONG[: n * SECOND], id=200 + n, path=b"%d/T01.WAV" % n) for n in (2, 3))
    known = day_of(mine(), its(day=DAY, date=DAY), one, other, loads=(SECOND_BACKUP,))
    assert [severity for severity, _ in told(known, "backup-spare")] == [Severity.NOTE] * 2
    assert "only-on-backup" not in codes(known)


def test_a_clock_of_its_own_is_said_once() -> None:
    """Another distance for each take: one note has them all."""
    takes = [bytes([n]) + LONG for n in range(1, 6)]
    files = [timed(mine(n, audio=audio), TEN) for n, audio in enumerate(takes, 1)]
    files += [
        timed(its(100 + n, DAY, DAY, audio=audio), TEN + (n - 3) * SECOND)
        for n, audio in enumerate(takes, 1)
    ]
    ((_, says),) = told(day_of(*files), "backup-timecode")
    assert says.endswith(
        "4 of its recordings hold the same audio from 2.000 s earlier to 2.000 s later by timecode:"
        " T01.WAV, T02.WAV, T04.WAV and 1 more."
    )


def test_a_day_whose_date_is_off_can_be_decided_on() -> None:
    """One of its files is of another day: there may be no primary card to put in."""
    known = day_of(mine(), its(), its(102, audio=LONG[::-1]))
    ((severity, _),) = told(known, "primary-not-seen", BEFORE)
    assert severity is Severity.LOOK
    alone = day_of(its(102, audio=LONG[::-1]))
    assert [severity for severity, _ in told(alone, "primary-not-seen", BEFORE)] == [Severity.HOLD]


def test_a_day_of_transmitters_alone_can_be_decided_on() -> None:
    """Their clock may be a day off, with timecode that was jammed: nobody recorded on that day."""
    pack = on(recording(102, b"P1.WAV", of=3, audio=LONG), BEFORE, BEFORE, "06:00:30")
    known = day_of(mine(), pack, loads=(f.LoadSeen(load(3, Role.BODYPACK)),))
    for code in ("primary-not-seen", "backup-not-seen"):
        assert [severity for severity, _ in told(known, code, BEFORE)] == [Severity.LOOK]


def test_a_backup_without_dates_may_be_of_another_day() -> None:
    """It is of the day on which it was first seen, as an MP3 that came in the morning after."""
    known = day_of(its(day=BEFORE, date="", time=""))
    assert [severity for severity, _ in told(known, "primary-not-seen", BEFORE)] == [Severity.LOOK]


SLATE = {"time_reference": TEN, "scene": "1", "take": "1"}


@pytest.mark.parametrize(
    ("audio", "relation"),
    [
        (LONG[: 2 * SECOND], Relation.LONGER),
        (LONG + LONG, Relation.SHORT),
        (LONG[: 2 * SECOND] + LONG[::-1][2 * SECOND :], Relation.DIFFERENT),
    ],
)
def test_a_mirror_that_differs_is_held_against_the_same_backup(
    audio: bytes, relation: Relation
) -> None:
    """The other primary card's file is answered by it; this one is not missing."""
    place = b"Lantern Bay/2031-05-06/SND_A2/T01"
    second = replace(mine(2, audio=audio, said=SLATE), load=4, path=b"T01.WAV", place=place)
    backup = its(day=DAY, date=DAY, said=SLATE)
    known = day_of(mine(said=SLATE), second, backup, loads=(MIRROR,))
    assert relations(view(known), 1, 2, 101) == [Relation.SAME_AUDIO, relation, Relation.SAME_AUDIO]
    assert codes(known).isdisjoint({"backup-missing", "backup-shared"})


def test_the_same_name_on_another_card_is_no_mirror() -> None:
    second = replace(mine(2, audio=LONG[::-1]), load=4, path=b"T01.WAV")
    known = day_of(mine(said=SLATE), second, its(day=DAY, date=DAY, said=SLATE), loads=(MIRROR,))
    assert relations(view(known), 2) == [Relation.MISSING]


@pytest.mark.parametrize("relation", [None, Relation.DIFFERENT])
def test_what_shares_a_track_only_is_no_backup_of_another_day(relation: Relation | None) -> None:
    """A tone that comes again on one track: its other track may be all that is left of a take."""
    made = Cards()
    tone, boom, anna = ([n * step + 1 for n in range(40)] for step in (700, 900, 1100))
    made.add(1, "A.WAV", [tuple(boom), tuple(tone)], number=1)
    made.add(2, "B.WAV", [tuple(anna), tuple(tone)], number=101)
    one, other = made.files[1], on(made.files[101], BEFORE, BEFORE, "11:00:00")
    known = day_of(one, other)
    if relation:
        known.apply([f.Compared(Comparison((1,), (101,), relation, NOON, 0, channels=(1,)))])
    says = "SND_B1: taken for recordings of 2031-05-06, and not shown to hold their audio: B.WAV."
    assert told(known, "backup-day-off", BEFORE) == [(Severity.LOOK, says)]
    assert [severity for severity, _ in told(known, "primary-not-seen", BEFORE)] == [Severity.HOLD]


def test_beside_a_wrong_backup_the_words_are_of_that() -> None:
    first = its(day=DAY, date=DAY, audio=LONG[::-1])
    known = day_of(mine(), first, spare(LONG[1:], id=202), loads=(SECOND_BACKUP,))
    found_one = [says for _, says in told(known, "backup-spare")]
    begins = "SND_B2/T01.WAV: another file was taken for SND_A1/T01.WAV and holds other audio; this"
    assert [says.startswith(begins) for says in found_one] == [True]
