"""The day's checks: each finding once, what it says, of which file on which card, and how grave."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from planworld import (
    DAY,
    SECOND,
    cards,
    copied,
    copy,
    digests,
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
from takehold.decide.check import Around, check
from takehold.decide.check_file import COMPLAINTS
from takehold.formats.names import is_shown
from takehold.model import facts as f
from takehold.model.finding import Finding, Severity
from takehold.model.recording import Recording, Seen
from takehold.model.settings import Expect, Role, Settings, Source
from takehold.model.sound import Complaint, Kind, Rate

HOLD, LOOK, NOTE = Severity.HOLD, Severity.LOOK, Severity.NOTE
LONG = bytes(range(1, 251)) * 800
DRIVES = (target("shuttle-1"), target("shuttle-2"))


@dataclass
class Case:
    """A day with one thing to notice; `names` must stand in its sentence."""

    code: str
    severity: Severity
    names: str
    facts: list[f.Fact]
    settings: Settings = field(default_factory=settings)
    around: Around = field(default_factory=Around)


def pair(first: Recording, second: Recording | None) -> list[f.Fact]:
    """A primary recording, and what the backup card has; copies on both drives."""
    both = [r for r in (first, second) if r is not None]
    return [*cards(), *taken(*both), *(fact for r in both for fact in copied(r, *DRIVES))]


def of_two(number: int = 2, path: bytes = b"T01.WAV", **changes: Any) -> Recording:
    return recording(number, path, of=2, **changes)


def with_complaint(code: str) -> list[f.Fact]:
    """A good day whose take has a complaint."""
    first, second = recording(1), of_two()
    odd = replace(first.description, complaints=(Complaint(code, "bytes 7 of 9"),))
    return pair(replace(first, description=odd), second)


def expecting(**expect: Any) -> Settings:
    return settings(expect=Expect(**expect))


def listed(*skipped: tuple[bytes, str], untaken: int = 0, litter: tuple = ()) -> f.Listed:
    return f.Listed(1, 1, 5, litter, tuple(f.Skip(*s) for s in skipped), untaken)


TAKE = "SND_A1/T01.WAV"
READS = {x: reading(x.encode()) for x in "ABC"}
LABELLED = (f.LoadSeen(load(1)), f.LoadSeen(load(2, Role.BACKUP)))
V1, V2 = recording(1, audio=LONG), recording(3, audio=LONG, head=b"edit", version=2)
NO_RATE = replace(
    V1,
    description=replace(
        V1.description, metadata=replace(V1.description.metadata, timecode_rate=None)
    ),
)
LOSSY = of_two(
    path=b"T01.MP3",
    audio=b"mp3",
    description=replace(V1.description, kind=Kind.COMPRESSED),
)
AT_TC = {"time_reference": 10 * 3600 * SECOND}


def broken(why: str) -> f.Broken:
    return f.Broken(1, "shuttle-1", "uuid:shuttle-1", V1.place, why, 1)


CASES = [
    *(Case(code, kind, TAKE, with_complaint(code)) for code, (kind, _, _) in COMPLAINTS.items()),
    Case("sample-rate", LOOK, "48000 Hz", pair(recording(1), None), expecting(sample_rate=96_000)),
    Case("bit-depth", LOOK, "8 bits", pair(recording(1), None), expecting(bit_depth=24)),
    Case("timecode-rate", LOOK, "29.97df", pair(recording(1), None),
         expecting(timecode_rate=Rate(30_000, 1_001, drop=True))),
    Case("timecode-rate-unknown", NOTE, TAKE, pair(NO_RATE, None),
         expecting(timecode_rate=Rate(25, 1))),
    Case("only-on-backup", LOOK, "SND_B1/T09.WAV",
         [*good_day(), *taken(of_two(9, b"T09.WAV", audio=LONG))]),
    Case("backup-missing", HOLD, TAKE, pair(recording(1), of_two(2, b"X.WAV", audio=LONG))),
    Case("backup-unread", HOLD, TAKE, pair(recording(1), of_two(read=False))),
    Case("backup-short", HOLD, f"{len(LONG) / SECOND - 2:.3f} s",
         pair(V1, of_two(audio=LONG[: 2 * SECOND]))),
    Case("backup-different", HOLD, "from 10:00:02:00 on",
         pair(recording(1, audio=LONG, said=AT_TC),
              of_two(audio=LONG[: 2 * SECOND] + b"x" * 2 * SECOND))),
    Case("backup-uncompared", HOLD, TAKE, pair(V1, LOSSY)),
    Case("content-not-looked-at", NOTE, "SND_A1/LOG.TXT",
         pair(recording(1, b"LOG.TXT", audio=None), None)),
    Case("first-read-wrong", LOOK, TAKE,
         [*pair(recording(1, readings=(READS["A"], READS["B"], READS["B"])), None),
          *taken(recording(3, version=2, audio=b"B"))]),
    Case("first-read-wrong", HOLD, TAKE,
         pair(recording(1, readings=(READS["A"], READS["B"], READS["B"])), None)),
    Case("newer-version", NOTE, TAKE, [*pair(V1, None), *taken(replace(V2, readings=()))]),
    Case("edited", NOTE, TAKE, [*pair(V1, None), *taken(V2)]),
    Case("other-audio", LOOK, TAKE,
         [*pair(V1, None), *taken(recording(3, audio=b"new", version=2))]),
    Case("unconfirmed", HOLD, "first version was read once only",
         [*pair(V1, of_two(2, b"X.WAV", read=False)),
          *taken(recording(3, audio=b"new", version=2, place=V1.place + b"2",
                           readings=(READS["A"], READS["A"])))]),
    Case("version-lost", LOOK, TAKE, [*cards(), *taken(V1, V2)]),
    Case("version-lost", LOOK, "listed, never copied",
         [*cards(), *taken(replace(V1, readings=()), V2)]),
    Case("file-vanished", LOOK, TAKE,
         [*cards(), *taken(recording(1, read=False)), trouble("rec 1", "file-vanished")]),
    Case("copies-short", HOLD, "1 of 2",
         [*cards(), *taken(V1), *copied(V1, DRIVES[0]), trouble("rec 1")]),
    Case("read-back-not-provable", NOTE, "shuttle-1",
         [*cards(), *taken(V1), f.Proven(copy(V1, DRIVES[0], seen=Seen.CACHE))]),
    Case("not-durable", NOTE, "shuttle-1",
         [*cards(), *taken(V1), f.Proven(copy(V1, DRIVES[0], durable=False))]),
    Case("name-differs", NOTE, "T01.other-2.WAV",
         [*cards(), *taken(V1), f.Proven(copy(V1, DRIVES[0], b"P/T01.other-2.WAV"))]),
    Case("reads-differ", HOLD, TAKE,
         pair(recording(1, readings=(READS["A"], READS["B"])), None)),
    Case("reads-differ", LOOK, TAKE,
         [*pair(recording(1, readings=(READS["A"], READS["B"])), None), *taken(V2)]),
    Case("unconfirmed", HOLD, TAKE, pair(V1, None)),
    Case("copy-altered", LOOK, "shuttle-1", [*good_day(), broken("altered")]),
    Case("copy-lost", NOTE, "shuttle-1", [*good_day(), broken("missing")]),
    Case("litter-holds-audio", LOOK, "SND_A1: .Trashes/T7.WAV",
         [*good_day(), listed((b".Trashes/T7.WAV", "audio in a litter folder"))]),
    Case("listing-incomplete", HOLD, "SND_A1: DAY01",
         [*good_day(), listed((b"DAY01", "unreadable folder"))]),
    Case("entry-skipped", LOOK, "SND_A1: link",
         [*good_day(), listed((b"link", "a symbolic link"))]),
    Case("litter", NOTE, "3 system files", [*good_day(), listed(litter=(("._*", 3),))]),
    Case("inventory-incomplete", HOLD, "4 of its 5 files", [*good_day(), listed(untaken=4)]),
    Case("volume-gone", HOLD, "It failed.", [*good_day(), trouble("load 1", "volume-gone")]),
    Case("nothing-seen", HOLD, DAY, [*cards()]),
    Case("primary-not-seen", HOLD, "primary", [*cards(), *taken(of_two())]),
    Case("backup-not-seen", HOLD, "backup", [*cards(), *taken(V1)]),
    Case("still-written", HOLD, "SND_A1/T02.WAV", good_day(),
         around=Around(unsettled=("SND_A1/T02.WAV",))),
    Case("destination-absent", LOOK, "raid", good_day(), around=Around(absent=("raid",))),
]  # fmt: skip


def findings(case: Case) -> tuple[Finding, ...]:
    known = ledger(case.facts)
    return check(view(known, case.settings), known, case.settings, case.around)


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.code}-{case.severity}")
def test_a_thing_to_notice_is_noticed(case: Case) -> None:
    """Its severity, the file and the card in its sentence, and what to do unless it is a note."""
    found = [x for x in findings(case) if x.code == case.code]
    assert found, [x.code for x in findings(case)]
    assert {x.severity for x in found} == {case.severity}
    assert any(case.names in x.says for x in found), [x.says for x in found]
    if case.severity is not NOTE and case.code != "file-vanished":
        assert all(x.do for x in found)
    assert all(is_shown(x.says) and is_shown(x.subject) for x in found)


def test_yesterdays_backup_card_that_is_in_is_named() -> None:
    """It was put in by mistake: it is there, and nothing of the day is on it."""
    old = load(3, Role.BACKUP, day="2031-05-05", label="SND_B0", identity="uuid:B0")
    facts = [*cards(), f.LoadSeen(old), *taken(V1)]
    for loads, said in ((frozenset({1, 3}), True), (frozenset({1}), False), (None, False)):
        found = findings(Case("", NOTE, "", facts, around=Around(loads=loads)))
        (one,) = [x for x in found if x.code == "backup-not-seen"]
        assert one.says.startswith(
            "No backup card with a recording of 2031-05-06 was seen (backup)"
        )
        tail = "; SND_B0 is in, was first seen on 2031-05-05 and holds nothing of that day."
        assert one.says.endswith(tail) is said


def test_a_file_that_was_cut_off_is_told_once() -> None:
    """Inside a sample or not: its header says more than is there."""
    first = recording(1)
    both = (Complaint("header-untrue", "a"), Complaint("frame-cut", "b"))
    odd = replace(first, description=replace(first.description, complaints=both))
    told = {x.code for x in findings(Case("", NOTE, "", pair(odd, None)))}
    assert told & {"header-untrue", "frame-cut"} == {"header-untrue"}


def test_what_is_odd_on_both_cards_to_the_byte_is_decided_once() -> None:
    """The recorder wrote both files so: of the backup's it is a note that names the other."""
    complaints = (Complaint("header-untrue", "12 of 15 bytes"),)
    first, second, other = recording(1), of_two(), of_two(head=b"edit")
    cut = replace(first.description, complaints=complaints)
    for its, severity in ((second, NOTE), (other, LOOK)):
        facts = pair(replace(first, description=cut), replace(its, description=cut))
        found = [x for x in findings(Case("", NOTE, "", facts)) if x.code == "header-untrue"]
        assert [(x.recording, x.severity) for x in found] == [(1, LOOK), (2, severity)]
        assert ("SND_A1/T01.WAV has the same bytes" in found[1].do) is (severity is NOTE)


def test_a_good_day_has_no_finding() -> None:
    assert findings(Case("", NOTE, "", good_day())) == ()


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.code}-{case.severity}")
def test_ids_are_those_of_code_and_subject_and_never_come_twice(case: Case) -> None:
    found = findings(case)
    assert len({x.id for x in found}) == len({(x.code, x.subject) for x in found}) == len(found)


def test_a_copy_that_no_fault_keeps_back_may_wait_for_room() -> None:
    """The drives may be in and full: that is said of them, and not of each file."""
    facts = [*cards(), *taken(V1)]
    (short,) = [x for x in findings(Case("", NOTE, "", facts)) if x.code == "copies-short"]
    assert short.do == (
        "Put SND_A1 in, and connect the drives; if they are in, see takehold status. Keep the card."
    )


def test_two_copies_with_one_fault_are_two_findings() -> None:
    facts = [*cards(), *taken(V1)]
    facts += [f.Proven(copy(V1, at, durable=False)) for at in DRIVES]
    found = [x for x in findings(Case("", NOTE, "", facts)) if x.code == "not-durable"]
    assert len({x.id for x in found}) == 2


def test_the_gravest_come_first() -> None:
    facts = [*pair(V1, None), listed((b"link", "a symbolic link"), litter=(("._*", 1),))]
    kinds = [x.severity for x in findings(Case("", NOTE, "", facts))]
    assert kinds == sorted(kinds, key=[HOLD, LOOK, NOTE].index)
    assert set(kinds) == {HOLD, LOOK, NOTE}


def test_names_from_a_card_are_escaped() -> None:
    """No name reaches a terminal as it is (P10)."""
    odd = recording(1, b"T\x1b[31m\xff\xe2\x80\xae.WAV", audio=LONG)
    known = ledger([f.LoadSeen(load(1, label="A\x07\udcff"))], taken(odd))
    found = check(view(known), known, settings(), Around(("sh\x1b",), ("x",)))
    assert found
    assert all(is_shown(x.says + x.subject + x.do) for x in found)


@pytest.mark.parametrize(("path", "codes"), [(b"LOG.TXT", set()), (b"T01.WAV", {"backup-missing"})])
def test_only_audio_must_be_on_the_backup_card(path: bytes, codes: set[str]) -> None:
    """A recorder writes notes on one card only; a damaged audio file counts as audio."""
    facts = pair(recording(1, path, audio=None), of_two(2, b"X.WAV", audio=LONG))
    found = findings(Case("", NOTE, "", facts))
    assert {x.code for x in found if x.code.startswith("backup")} == codes


def test_a_file_that_is_no_audio_by_name_is_not_complained_of() -> None:
    first = recording(1, b"NOTES.TXT", audio=None)
    odd = replace(first.description, complaints=(Complaint("not-wave", "RIFF"),))
    facts = pair(replace(first, description=odd), None)
    assert "not-wave" not in {x.code for x in findings(Case("", NOTE, "", facts))}


def test_litter_that_cannot_be_read_holds_nothing_up() -> None:
    found = findings(Case("", NOTE, "", [*good_day(), listed((b".Trashes", "unreadable folder"))]))
    assert found == ()


def test_an_absent_destination_that_has_everything_is_noted() -> None:
    (found,) = findings(Case("", NOTE, "", good_day(), around=Around(absent=("shuttle-1",))))
    assert (found.code, found.severity) == ("destination-absent", NOTE)


def test_new_files_of_a_watch_folder_do_not_hold_up_the_days_before() -> None:
    """Yesterday is not open again because the recorder writes today's first take."""
    watched = settings(sources=(Source("primary", Role.PRIMARY, path=b"/srv/rec"),))
    today = recording(5, b"T9.WAV", day="2031-05-07")
    known = ledger(good_day(), taken(today), [listed(untaken=1)])
    for day, held in ((DAY, False), ("2031-05-07", True)):
        found = check(view(known, watched, day), known, watched, Around())
        assert ("inventory-incomplete" in {x.code for x in found}) is held


def test_an_edit_is_told_from_other_audio_and_the_new_version_is_checked() -> None:
    facts = [*cards(), *taken(V1, V2), *copied(V1, *DRIVES), *copied(V2, *DRIVES)]
    codes = {x.code for x in findings(Case("", NOTE, "", facts))}
    assert "edited" in codes
    assert "unconfirmed" in codes
    assert not codes & {"other-audio", "copies-short"}


def test_the_sentence_of_two_reads_names_both_checksums() -> None:
    case = next(c for c in CASES if c.code == "reads-differ")
    (found,) = [x for x in findings(case) if x.code == "reads-differ"]
    for letter in "AB":
        assert digests(b"|" + letter.encode()).sha256[:16] in found.says


def test_every_kind_of_file_is_covered_by_the_cases() -> None:
    """The table above holds a WAVE file and one of another kind."""
    kinds = {
        x.recording.description.kind
        for case in CASES
        for x in case.facts
        if isinstance(x, f.Inventoried)
    }
    assert kinds == set(Kind)


def test_a_file_that_is_whole_and_holds_nothing_is_told() -> None:
    """A recorder that lost its card right after it had opened the file leaves such a one."""
    whole = recording(1)
    empty = replace(whole, description=replace(whole.description, frames=0))
    known = ledger(cards(), taken(empty))
    found = check(view(known), known, settings(), Around())
    assert [x.severity for x in found if x.code == "no-data"] == [Severity.LOOK]
