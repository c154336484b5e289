"""What random days have shown: clocks set back, headers that cannot be read, troubles with no end.

Each was a history of tests/randomdays before it was a test here.
"""

from __future__ import annotations

from dataclasses import replace

from planworld import (
    DAY,
    NOON,
    copied,
    ledger,
    load,
    recording,
    settings,
    sight,
    situation,
    taken,
    target,
    trouble,
)
from takehold.decide.confirm import second_reads
from takehold.decide.enrol import untaken
from takehold.decide.judge import judge
from takehold.decide.keys import land_key, publish_key
from takehold.decide.looked_into import NOT_DESCRIBED
from takehold.decide.plan import Wanted, plan
from takehold.engine.endings import came_late, ended, left
from takehold.model.facts import Asked, Broken, Gone, Inventoried, Listed, LoadSeen
from takehold.model.recording import Reading, Recording
from takehold.model.sound import Complaint, Description, Kind
from takehold.model.step import Prove

HOURS = 3600
NEXT_DAY = "2031-05-07"


def with_reads(made: Recording, *at: int) -> Recording:
    """Reads at these times, all alike."""
    first = made.readings[0]
    return replace(made, readings=tuple(first._replace(at=when) for when in at))


def undescribed(made: Recording) -> Recording:
    """The same, its header never read."""
    said = Description(Kind.OTHER, complaints=(Complaint(NOT_DESCRIBED, ""),))
    return replace(made, description=said, readings=())


def misread(made: Recording) -> Recording:
    """Its first read is refuted by two others."""
    wrong: Reading = recording(9, audio=b"wrong").readings[0]
    return replace(made, readings=(wrong, *made.readings, *made.readings))


def test_a_proof_that_is_dated_ahead_is_read_again_when_asked() -> None:
    """The clock was set back since: it says nothing of what lies there now."""
    drive, made = target(), recording()
    known = ledger(LoadSeen(load()), taken(made), copied(made, drive))
    earlier = NOON - 5 * HOURS
    now = replace(situation(targets=(drive,)), now=earlier)
    steps = plan(known, now, settings(), Wanted(rechecks=(Asked(1, "recheck", "", earlier),)))
    assert any(isinstance(step, Prove) for step in steps)


def test_a_read_that_is_dated_ahead_is_repeated_at_the_wrap() -> None:
    """The same for a card that is to be read again at the wrap; one read since is not."""
    asked, now = NOON, NOON + 60
    wants = settings(recheck_cards_at_wrap=True)
    ahead, since = (
        with_reads(recording(n), NOON - 1, at) for n, at in ((1, NOON + HOURS), (2, NOON))
    )
    known = ledger(LoadSeen(load()), taken(ahead, replace(since, path=b"T02.WAV")))
    here = list(known.recordings.values())
    assert [r.id for r in second_reads(known, here, wants, {DAY: asked}, now)] == [1]


def test_a_file_whose_header_cannot_be_read_counts_as_not_looked_at() -> None:
    """It may be of any day of its card, whatever day it stands under meanwhile (P7)."""
    made = replace(undescribed(recording(2, b"T02.WAV")), day=NEXT_DAY)
    known = ledger(LoadSeen(load()), taken(recording(), made))
    files = tuple((r.path, r.stamp) for r in known.recordings.values())
    assert untaken(known, 1, files) == 1
    known.apply([Listed(1, NOON, 2, (), (), untaken=1)])
    assert "inventory-incomplete" in {f.code for f in judge(known, DAY, settings()).findings}
    known.apply([LoadSeen(load(day=NEXT_DAY))])  # the card was first put in on the next morning
    assert "inventory-incomplete" in {f.code for f in judge(known, DAY, settings()).findings}


def test_troubles_of_a_version_that_was_misread_end_with_the_next_one() -> None:
    """It is copied no more, to whatever drive, though copies of it stand elsewhere."""
    old, drive = misread(recording()), target("shuttle-1")
    known = ledger(
        LoadSeen(load()), taken(old), copied(old, drive), trouble("land 1 uuid:shuttle-2")
    )
    assert ended(known, [Inventoried(replace(recording(2), version=2))]) == {
        "land 1 uuid:shuttle-2"
    }


def test_troubles_of_a_card_end_once_all_that_lies_on_it_was_looked_at() -> None:
    """Or nothing lies there any more; while a file waits, they stand."""
    made = recording()
    known = ledger(LoadSeen(load()), taken(made), trouble("load 1"), trouble("rec 1"))
    assert left(known, sight(1, recording(2, b"NEW.WAV"), made)) == set()
    assert left(known, sight(1, made)) == {"load 1"}
    assert left(known, sight(1)) == {"load 1", "rec 1"}


def test_a_manifest_is_owed_no_more_to_a_drive_that_lost_its_last_copy_of_the_day() -> None:
    """Else its trouble would never end: nothing puts it there any more, and nothing says so."""
    drive = target("shuttle-1")
    root = drive.root.identity
    one, two = recording(1), recording(2, b"T02.WAV", audio=b"two")
    keys = {publish_key(DAY, 1, root), publish_key(DAY, 2, root)}
    known = ledger(
        taken(one, two),
        copied(one, drive),
        copied(two, drive),
        [trouble(key) for key in (*keys, publish_key(NEXT_DAY, 1, root), publish_key(DAY, 1, "x"))],
    )
    lost = [
        Broken(c.recording, c.destination, c.root, c.path, "missing", NOON)
        for r in (one, two)
        for c in known.copies_of(r.id)
    ]
    assert not keys & ended(known, lost[:1])
    assert keys <= ended(known, lost)
    assert publish_key(DAY, 1, "x") not in ended(known, lost)


def test_no_drive_is_short_of_a_file_that_vanished_before_it_was_read() -> None:
    known = ledger(taken(recording(7), recording(71)))
    known.apply([trouble(land_key(7, "disk")), trouble(land_key(71, "disk"))])
    assert ended(known, [trouble("rec 7", "file-vanished")]) == {land_key(7, "disk")}
    assert ended(known, [trouble("rec 7", "unreadable")]) == set()


def test_a_trouble_of_what_is_known_no_more_does_not_begin() -> None:
    """A drive told of its failed copy after the read had shown that the file is an old one."""
    known = ledger(LoadSeen(load()), taken(recording()))
    keys = ("rec 1", "land 1 x", "land 6 x", "prove 6 x", "publish D 6 x", "load 6", "")
    assert [key for key in keys if came_late(known, key)] == ["land 6 x", "prove 6 x"]
    known.apply([Gone(1)])
    assert came_late(known, "rec 1")
