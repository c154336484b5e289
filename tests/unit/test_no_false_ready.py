"""What once let a day be READY that was not: each stays mended."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from planworld import (
    DAY,
    NOON,
    cards,
    copied,
    good_day,
    ledger,
    load,
    reading,
    recording,
    settings,
    taken,
    target,
    trouble,
    view,
)
from takehold.decide.check import Around, check, verdict
from takehold.model import facts as f
from takehold.model.finding import Finding, Relation, Severity, Verdict
from takehold.model.recording import Seen
from takehold.model.settings import Role, Settings, Source

DRIVES = (target("shuttle-1"), target("shuttle-2"))
NEXT = "2031-05-07"


def found(
    facts: list[f.Fact],
    made: Settings | None = None,
    around: Around | None = None,
    day: str = DAY,
) -> dict[str, Finding]:
    """The findings by code."""
    known = ledger(facts)
    made = made or settings()
    here = view(known, made, day)
    return {x.code: x for x in check(here, known, made, around or Around())}


def alone(**changes: Any) -> list[f.Fact]:
    """A primary recording without any backup, with its copies."""
    one = recording(1, **changes)
    return [*cards(), *taken(one), *copied(one, *DRIVES)]


def test_a_decision_holds_for_one_day_only() -> None:
    """A drive that is away again tomorrow is another matter."""
    away = Around(absent=("shuttle-3",))
    today = found(good_day(), around=away)["destination-absent"]
    later = [replace(x.recording, day=NEXT) for x in good_day() if isinstance(x, f.Inventoried)]
    tomorrow = [*cards(), *taken(*later), *(c for r in later for c in copied(r, *DRIVES))]
    assert found(tomorrow, around=away, day=NEXT)["destination-absent"].id != today.id


def test_a_decision_holds_for_one_life_of_a_card_only() -> None:
    """The card was formatted: what lies under the same name is something else."""
    skip = f.Listed(1, NOON, 1, (), (f.Skip(b".Trashes/T01.WAV", "audio in a litter folder"),))
    first = found([*good_day(), skip])["litter-holds-audio"]
    again = [f.LoadSeen(load(1, seen_at=NOON + 9)), f.LoadSeen(load(2, Role.BACKUP))]
    assert found([*good_day(), *again, skip])["litter-holds-audio"].id != first.id


def test_a_decision_holds_for_these_bytes_only() -> None:
    """Another take under the name that was decided on."""
    one = found(alone(), settings())["unconfirmed"]
    other = found(alone(audio=b"another take"), settings())["unconfirmed"]
    assert one.id != other.id


def test_a_missing_backup_may_be_decided_on_once_two_reads_agree() -> None:
    """Before, it holds."""
    backup = recording(9, b"OTHER.WAV", of=2, audio=b"other")
    rest = [*taken(backup), *copied(backup, *DRIVES)]
    once = found([*alone(), *rest])["backup-missing"]
    assert once.severity is Severity.HOLD
    twice = found([*alone(readings=(reading(b"one"), reading(b"one"))), *rest])["backup-missing"]
    assert twice.severity is Severity.LOOK


def test_files_seen_and_not_taken_in_hold_every_day_from_the_cards_newest_on() -> None:
    """A card that is used on several days was pulled before its new files were looked at."""
    older = replace(recording(1), day="2031-05-01")
    facts = [*good_day(), f.LoadSeen(load(7, seen_at=NOON - 9, day="2031-05-01"))]
    facts += [*taken(replace(older, id=70, load=7)), f.Listed(7, NOON, 31, (), (), untaken=30)]
    assert found(facts)["inventory-incomplete"].severity is Severity.HOLD


def test_a_backup_card_on_the_disk_of_the_primary_one_is_none() -> None:
    """Two partitions of one card, or one card under two labels."""
    disks = frozenset({"table:1"})
    shared = [f.LoadSeen(load(1, disks=disks)), f.LoadSeen(load(2, Role.BACKUP, disks=disks))]
    codes = found([*good_day(), *shared])
    assert codes["backup-on-same-disk"].severity is Severity.HOLD
    day = view(ledger([*good_day(), *shared]))
    assert all(s.answer is None or s.answer.relation is Relation.MISSING for s in day.files)


def test_two_watch_folders_may_share_the_laptops_disk() -> None:
    disks = frozenset({"wwn:1"})
    shared = [f.LoadSeen(load(1, disks=disks)), f.LoadSeen(load(2, Role.BACKUP, disks=disks))]
    folders = settings(
        sources=(
            Source("primary", Role.PRIMARY, path=b"/srv/a"),
            Source("backup", Role.BACKUP, path=b"/srv/b"),
        )
    )
    assert "backup-on-same-disk" not in found([*good_day(), *shared], folders)


def test_a_card_that_could_not_be_listed_is_remembered_for_its_day() -> None:
    """Also when it was pulled since."""
    gone = trouble(f"list {DAY} uuid:SND_A2", "device-failed")
    known = found([*good_day(), gone])
    assert known["card-not-listed"].severity is Severity.LOOK
    word, _ = verdict(tuple(known.values()), {})
    assert word is Verdict.HOLD


def test_a_drive_that_is_there_and_lacks_files_asks_for_a_decision() -> None:
    """It was formatted anew, or it is another one of that label: its copies are not here."""
    around = Around(present=(("shuttle-1", "uuid:formatted"),))
    lacks = found(good_day(), around=around)["destination-lacks"]
    assert lacks.severity is Severity.LOOK
    assert "2 files" in lacks.says
    has = next(x.copy.root for x in good_day() if isinstance(x, f.Proven))
    assert "destination-lacks" not in found(
        good_day(), around=Around(present=(("shuttle-1", has),))
    )


def test_a_file_dated_ahead_hides_no_file_that_waits() -> None:
    ahead = replace(recording(5, b"T05.WAV"), day=NEXT)
    waiting = f.Listed(1, NOON, 31, (), (), untaken=30)
    assert "inventory-incomplete" in found([*good_day(), *taken(ahead), waiting])


def test_a_source_of_the_config_that_was_not_seen_is_said() -> None:
    """A watch folder asks for a decision, another card is noted (P12)."""
    more = (
        *settings().sources,
        Source("network", Role.PRIMARY, path=b"/srv/rec"),
        Source("spare", Role.PRIMARY, label="SND_C*"),
    )
    known = ledger(good_day())
    made = settings(sources=more)
    said = {x.subject: x.severity for x in check(view(known, made), known, made, Around())}
    assert (said["network"], said["spare"]) == (Severity.LOOK, Severity.NOTE)


@pytest.mark.parametrize("role", [Role.PRIMARY, Role.BODYPACK])
def test_a_source_that_holds_documents_alone_was_not_seen(role: Role) -> None:
    """As a card does that was just formatted: its settings, or a report of what is not on it."""
    made = settings(sources=(*settings().sources, Source("unit-b", role, path=b"/srv/b")))
    paper = recording(5, b"SETTINGS.TXT", of=3, audio=None)
    table = replace(paper.description, listed=("T08.WAV", "T09.WAV"))
    table = replace(recording(6, b"TAKES.ALE", of=3, audio=None), description=table)
    unit = f.LoadSeen(load(3, role, source="unit-b", label="UNIT_B"))
    for papers, count in (([paper], "1 document"), ([paper, table], "2 documents")):
        (told,) = about("unit-b", [*good_day(), unit, *taken(*papers)], made)
        assert (told.code, told.severity) == ("source-not-seen", Severity.LOOK)
        assert told.says == f"No recording of the source unit-b was seen on {DAY}, only {count}."
    for path in (b"T09.WAV", b"T09.XYZ"):  # it may be a recording that cannot be looked into
        file = recording(7, path, of=3, audio=None)
        assert about("unit-b", [*good_day(), unit, *taken(paper, file)], made) == []


def about(subject: str, facts: list[f.Fact], made: Settings) -> list[Finding]:
    known = ledger(facts)
    return [x for x in check(view(known, made), known, made, Around()) if x.subject == subject]


def test_files_of_todays_card_that_went_to_another_day_are_said() -> None:
    stray = replace(recording(5, b"T05.WAV"), day="2031-04-01")
    assert "files-of-other-days" in found([*good_day(), *taken(stray)])


def test_a_container_that_the_backup_lacks_asks_for_a_decision_and_a_note_does_not() -> None:
    """Its audio cannot be compared; that it is not there can be told."""
    box = recording(3, b"T09.XYZ", audio=None)
    backup = recording(9, b"T01.WAV", of=2, audio=b"one")
    facts = [*alone(), *taken(box, backup), *copied(box, *DRIVES), *copied(backup, *DRIVES)]
    assert found(facts)["backup-unknown"].severity is Severity.LOOK
    page = recording(3, b"NOTES.TXT", audio=None)
    facts = [*alone(), *taken(page, backup), *copied(page, *DRIVES), *copied(backup, *DRIVES)]
    assert "backup-unknown" not in found(facts)


def test_a_second_read_out_of_a_cache_is_noted() -> None:
    cached = (reading(b"one", seen=Seen.CACHE), reading(b"one", seen=Seen.CACHE))
    assert "second-read-not-provable" in found(alone(readings=cached))


def test_files_of_another_production_are_not_forgotten() -> None:
    """It was renamed in the middle of the day."""
    assert "other-production" in found(good_day(), settings(production="Harbour Light"))


def test_a_copy_that_cannot_be_read_again_counts_for_nothing() -> None:
    facts = good_day()
    copy = next(x.copy for x in facts if isinstance(x, f.Proven))
    key = f"prove {copy.recording} {copy.root} {copy.path.hex()}"
    known = found([*facts, trouble(key, "device-failed")])
    assert known["copies-short"].severity is Severity.HOLD
    assert "copy-unreadable" in known


def test_a_folder_of_the_primary_card_is_no_backup_of_it() -> None:
    """Both sources are given by path: the card itself, and a folder of it mounted elsewhere."""
    folders = settings(
        sources=(
            Source("primary", Role.PRIMARY, path=b"/media/card"),
            Source("backup", Role.BACKUP, path=b"/mnt/inside"),
        )
    )
    inside = load(2, Role.BACKUP, identity=load(1).identity + ":CARD")
    assert "backup-on-same-disk" in found([*good_day(), f.LoadSeen(inside)], folders)


def test_a_manifest_that_cannot_be_put_on_a_drive_holds_the_day() -> None:
    """It lacks what was signed: mended while it is there, decided on once it is away for good."""
    facts = [*good_day(), trouble(f"publish {DAY} 1 uuid:SHUTTLE_1", "volume-full")]
    there = found(facts, around=Around(present=(("shuttle-1", "uuid:SHUTTLE_1"),)))
    assert there["manifest-not-published"].severity is Severity.HOLD
    away = found(facts, around=Around(present=(("shuttle-1", "uuid:ANOTHER"),)))
    assert away["manifest-not-published"].severity is Severity.LOOK
    assert away["manifest-not-published"].id == there["manifest-not-published"].id
