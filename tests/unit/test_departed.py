"""What a card held and holds no more: renamed or deleted there, told from whole listings alone."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from planworld import (
    DAY,
    NOON,
    cards,
    copied,
    ledger,
    load,
    reading,
    recording,
    settings,
    taken,
    target,
    unread,
    view,
)
from takehold.decide.check import Around, check
from takehold.decide.departed import GONE, gone_from
from takehold.decide.judge import judge
from takehold.decide.listing import listing
from takehold.decide.manifest import Writer, document, revision
from takehold.decide.rebuild import facts_of_manifests
from takehold.formats.canonical import canonical
from takehold.model import facts as f
from takehold.model.finding import Finding, Relation, Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording

DRIVES = (target("shuttle-1"), target("shuttle-2"))
MINUTE = 60 * 48_000
OTHER_DAY = "2031-05-05"


def rolled(number: int, name: bytes, of: int = 1, **changes: Any) -> Recording:
    """A take of a second, a minute after the one before it: scene and take from its name."""
    audio = changes.pop("audio", b"audio of " + name)
    said = {"scene": "1", "take": name[-5:-4].decode(), "time_reference": number % 10 * MINUTE}
    said |= changes.pop("said", {})
    return recording(number, name, of=of, audio=audio, said=said, **changes)


ONE, TWO = rolled(1, b"T1.WAV"), rolled(2, b"T2.WAV")
ITS_ONE, ITS_TWO = rolled(11, b"T1.WAV", 2), rolled(12, b"T2.WAV", 2)
ITS_TWO = replace(ITS_TWO, readings=ITS_TWO.readings * 2)
# The second take after its scene was edited: another name, other bytes, the same audio.
RENAMED = rolled(
    3,
    b"S2T1.WAV",
    audio=b"audio of T2.WAV",
    head=b"edited",
    said={"scene": "2", "take": "1", "time_reference": 2 * MINUTE},
)
RENAMED = replace(RENAMED, readings=(reading(b"audio of T2.WAV", b"edited"),) * 2)
LATER = rolled(8, b"T8.WAV", seen_at=NOON + 60)
ANEW = rolled(4, b"T2B.WAV", said={"take": "2"})


def known(*recordings: Recording) -> Ledger:
    """Both cards with these recordings, each copied to both drives."""
    book = ledger(cards(), taken(*recordings))
    for each in recordings:
        book.apply(copied(each, *DRIVES) if each.readings else ())
    return book


def look(
    book: Ledger, *there: Recording, of: int = 1, complete: bool = True, anew: bool = False
) -> None:
    """A look at a card that holds these."""
    files = tuple((r.path, r.stamp) for r in there)
    book.apply([listing(book, of, NOON, DAY, files, (), (), complete, anew)])


def found(book: Ledger, day: str = DAY) -> list[Finding]:
    made = settings()
    return list(check(view(book, made, day), book, made, Around()))


def codes(book: Ledger, day: str = DAY) -> set[str]:
    return {finding.code for finding in found(book, day)}


def gone(book: Ledger, of: int = 1) -> set[bytes]:
    return set(gone_from(book.listings.get(of)))


def test_what_was_renamed_on_its_card_is_an_earlier_version() -> None:
    """Edited in the recorder on the primary card alone: one take, answered by the old name."""
    book = known(ONE, TWO, ITS_ONE, ITS_TWO, RENAMED)
    assert {"backup-missing"} & codes(book), "nobody looked: the card may hold both"
    look(book, ONE, RENAMED)
    look(book, ITS_ONE, ITS_TWO, of=2)
    whole = view(book)
    old, new = whole.of(TWO.id), whole.of(RENAMED.id)
    assert old is not None
    assert new is not None
    assert (old.current, old.renamed, new.current, new.deleted) == (False, RENAMED, True, False)
    assert old.owes_copies, "its copies are as they were"
    assert new.answer is not None
    assert new.answer.relation is Relation.SAME_AUDIO
    assert {f.code for f in found(book) if f.severity is not Severity.NOTE} == set()
    [told] = [f for f in found(book) if f.code == "edited"]
    assert (told.recording, "S2T1.WAV" in told.says) == (TWO.id, True)
    takes = judge(book, DAY, settings()).takes
    assert [(t.scene, t.take) for t in takes if t.load == 1] == [("1", "1"), ("2", "1")]


def test_a_name_that_comes_back_is_current_again() -> None:
    book = known(ONE, TWO, RENAMED)
    look(book, ONE, RENAMED)
    look(book, ONE, TWO)
    assert gone(book) == {b"S2T1.WAV"}
    whole = view(book)
    assert [whole.index[r.id].current for r in (TWO, RENAMED)] == [True, False]


def test_what_was_deleted_and_recorded_anew() -> None:
    """It counts as a recording of the day, and does not stand in the way of its number."""
    book = known(ONE, TWO, ANEW)
    assert "take-twice" in codes(book)
    look(book, ONE, ANEW)
    assert "take-twice" not in codes(book)
    [told] = [f for f in found(book) if f.code == "deleted-on-card"]
    assert (told.recording, told.severity) == (TWO.id, Severity.NOTE)
    assert view(book).index[TWO.id].current


@pytest.mark.parametrize(("there", "severity"), [((ONE, TWO), "look"), ((ONE,), "note")])
def test_a_backup_that_was_deleted_asks_a_person(
    there: tuple[Recording, ...], severity: str
) -> None:
    """The primary's file has it no more; of one that is deleted on both cards nobody asks."""
    book = known(ONE, TWO, ITS_ONE, ITS_TWO)
    look(book, *there)
    look(book, ITS_ONE, of=2)
    [told] = [f for f in found(book) if f.recording == ITS_TWO.id]
    assert (told.code, told.severity) == ("deleted-on-card", severity)


def test_what_only_the_backup_had_and_was_deleted_there_asks_a_person() -> None:
    """It is on no card any more: nobody is sent there for it."""
    book = known(ONE, ITS_ONE, ITS_TWO)
    assert {f.code for f in found(book) if f.recording == ITS_TWO.id} == {"only-on-backup"}
    look(book, ITS_ONE, of=2)
    [told] = [f for f in found(book) if f.recording == ITS_TWO.id]
    assert (told.code, told.severity) == ("deleted-on-card", Severity.LOOK)
    assert "on no card any more" in told.says


def test_silence_is_no_evidence_for_a_new_name() -> None:
    """Two takes of digital silence, of one length, from a recorder whose timecode stands still."""
    hush = {"audio": bytes([128] * 90), "said": {"time_reference": 0}}
    two, three = (rolled(n, b"T%d.WAV" % n, head=b"%d" % n, **hush) for n in (2, 3))
    book = known(ONE, two, three)
    look(book, ONE, three)
    assert {f.code for f in found(book) if f.recording == two.id} >= {"deleted-on-card"}
    assert view(book).index[two.id].renamed is None


@pytest.mark.parametrize(
    ("there", "how"),
    [
        ((ONE,), {"complete": False}),
        ((ONE,), {"anew": True}),
        ((), {}),
        ((rolled(1, b"T1.WAV", audio=b"another"),), {}),
        ((rolled(9, b"X9.WAV", audio=b"another"),), {}),
        ((LATER,), {}),
    ],
    ids=[
        *("broken off", "not looked into", "empty", "other audio of that name"),
        *("all other files", "what was seen later only"),
    ],
)
def test_what_is_no_evidence_makes_nothing_gone(there: tuple[Recording, ...], how: Any) -> None:
    """A listing that broke off, a card that may be another one, one that may be formatted."""
    book = known(ONE, TWO, LATER)
    look(book, *there, **how)
    assert (gone(book), codes(book) & {"edited", "deleted-on-card"}) == (set(), set())


def test_what_was_gone_stays_so_while_nobody_can_tell() -> None:
    book = known(ONE, TWO)
    look(book, ONE)
    look(book, complete=False)
    assert gone(book) == {b"T2.WAV"}
    look(book, TWO, complete=False)
    assert gone(book) == set()


def test_what_lies_behind_another_volume_is_not_gone() -> None:
    below = rolled(2, b"D/T2.WAV")
    book = known(ONE, below)
    skipped = (f.Skip(b"D", "other volume"),)
    book.apply([listing(book, 1, NOON, DAY, ((ONE.path, ONE.stamp),), (), skipped, True)])
    assert gone(book) == set()


@pytest.mark.parametrize(
    "new",
    [unread(RENAMED), unread(ANEW)],
    ids=["renamed", "recorded anew"],
)
def test_nothing_is_called_deleted_before_the_rest_was_read(new: Recording) -> None:
    book = known(ONE, TWO, new)
    look(book, ONE, new)
    assert gone(book) == {b"T2.WAV"}
    assert "deleted-on-card" not in codes(book)


def test_a_day_that_is_gone_whole_was_cleared() -> None:
    """Yesterday's folder was removed: nothing is said of yesterday."""
    before = replace(TWO, day=OTHER_DAY, place=TWO.place.replace(DAY.encode(), OTHER_DAY.encode()))
    book = known(ONE, before)
    look(book, ONE)
    assert gone(book) == {b"T2.WAV"}
    assert "deleted-on-card" not in codes(book, OTHER_DAY)


def test_the_same_audio_at_another_time_is_another_recording() -> None:
    """Of silence, or of a recorder that plays a file back: its timecode tells."""
    later = replace(RENAMED, description=rolled(7, b"S2T1.WAV").description)
    book = known(ONE, TWO, later)
    look(book, ONE, later)
    assert view(book).index[TWO.id].current
    assert "deleted-on-card" in codes(book)


def test_what_is_gone_is_no_entry_that_was_skipped() -> None:
    book = known(ONE, TWO)
    look(book, ONE)
    assert [skip.why for skip in book.listings[1].skipped] == [GONE]
    assert "entry-skipped" not in codes(book)


def test_another_card_with_that_audio_is_none_of_its_names() -> None:
    """Two primary cards: what is gone from one is not renamed to a file of the other."""
    other = replace(RENAMED, load=3)
    book = known(ONE, TWO)
    book.apply([f.LoadSeen(replace(load(3), identity="uuid:SND_A2", label="SND_A2"))])
    book.apply([f.Inventoried(other)])
    look(book, ONE)
    assert view(book).index[TWO.id].current


def test_a_lost_catalogue_comes_to_the_same() -> None:
    """From the signed manifest alone: what was renamed, what was deleted, what is said of it."""
    last = rolled(5, b"T5.WAV")
    book = known(ONE, TWO, last, ITS_ONE, ITS_TWO, RENAMED)
    look(book, ONE, RENAMED)
    look(book, ITS_ONE, ITS_TWO, of=2)
    made = settings()
    doc = document(judge(book, DAY, made), book, made, (), Writer("cart", "takehold 0"))
    raw = canonical(revision(doc, 1, NOON + 9000, None))
    again = ledger(facts_of_manifests([(raw, json.loads(raw))]))
    told = [
        {(s.recording.place, s.current, s.deleted, s.renamed and s.renamed.path) for s in it.files}
        for it in (view(book), view(again))
    ]
    assert told[0] == told[1]
    assert codes(book) <= codes(again)
    entries = {(e["load"], e["path"]): e["current"] for e in json.loads(raw)["files"]}
    assert [entries[1, p] for p in ("T1.WAV", "T2.WAV", "S2T1.WAV")] == [True, False, True]


def test_a_name_that_was_given_again_is_told_as_renamed() -> None:
    """Take 2 became another scene's take, and the next take of the first scene got its number."""
    again = rolled(6, b"T2.WAV", audio=b"recorded next", version=2)
    book = known(ONE, TWO, RENAMED, again)
    look(book, ONE, RENAMED, again)
    assert view(book).index[TWO.id].renamed == RENAMED
    assert codes(book) & {"edited", "other-audio", "take-twice"} == {"edited"}


def test_bytes_that_come_back_were_not_edited() -> None:
    other = rolled(5, b"T2.WAV", audio=b"for a while", version=2)
    back = replace(TWO, id=6, version=3)
    book = known(ONE, TWO, other, back)
    told = {f.recording: f.code for f in found(book) if f.recording in {TWO.id, other.id}}
    assert (told[TWO.id], told[other.id]) == ("newer-version", "other-audio")
