"""What a day's recordings have: devices (P5), confirmation (P8), versions, counterparts."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planworld import (
    DAY,
    cards,
    copied,
    copy,
    ledger,
    load,
    reading,
    recording,
    root,
    settings,
    taken,
    target,
    view,
)
from takehold.decide.standing import Standing, devices_of
from takehold.model import facts as f
from takehold.model.finding import Counterpart, Relation
from takehold.model.recording import Recording
from takehold.model.settings import Role, Settings

ONE = recording(1)


def devices(*disks: tuple[str, ...], kind: str = "exfat") -> int:
    """Devices that copies on volumes with these disks come to."""
    homes = [root(f"v{n}", *on, kind=kind) for n, on in enumerate(disks)]
    return devices_of(copy(ONE, target())._replace(disks=home.disks) for home in homes)


@pytest.mark.parametrize(
    ("disks", "count"),
    [
        ((), 0),
        ((("a",),), 1),
        ((("a",), ("b",)), 2),
        ((("a",), ("a",)), 1),
        ((("a", "b"), ("b",)), 1),
        ((("a", "b"), ("c", "d")), 2),
        ((("a", "b"), ("b", "c"), ("c", "d")), 1),
        ((("a",), ("c",), ("a", "c")), 1),
        ((("a", "b"), ("c",), ("d",), ("b", "d")), 2),
    ],
)
def test_copies_on_shared_disks_count_once(disks: tuple[tuple[str, ...], ...], count: int) -> None:
    """Partitions of one disk, arrays with a disk in common, chains of them (P5)."""
    assert devices(*disks) == count
    assert devices(*reversed(disks)) == count


@pytest.mark.parametrize("kind", ["tmpfs", "ramfs", "devtmpfs"])
def test_a_copy_in_memory_counts_for_nothing(kind: str) -> None:
    assert devices(("a",), ("b",), kind=kind) == 0


def stand(mine: Recording, *others: Recording, made: Settings | None = None) -> Standing:
    """How `mine` stands among these, on two cards."""
    found = view(ledger(cards(), taken(mine, *others)), made).of(mine.id)
    assert found is not None
    return found


A, B = reading(b"one"), reading(b"two")


@pytest.mark.parametrize(
    ("reads", "its", "confirmed"),
    [
        ((), (A,), False),
        ((A,), (), False),
        ((A,), (B,), False),
        ((A,), (A,), True),
        ((A, A), (), True),
        ((A, A), (B,), True),
        ((A, B), (), False),
        ((A, B), (A,), True),
        ((A, B), (B,), False),
        ((A, B, B), (A,), False),
        ((A, B, B), (), False),
    ],
)
def test_a_read_is_confirmed_by_another_that_agrees_only(
    reads: tuple, its: tuple, confirmed: bool
) -> None:
    """Two reads of the card, or the backup card's read of the same bytes (P8)."""
    made = settings()
    mine = recording(1, readings=reads)
    assert stand(mine, recording(2, of=2, readings=its), made=made).confirmed is confirmed


def test_the_same_audio_with_other_metadata_confirms_nothing_around_it() -> None:
    """A header that was misread shows the same audio too (P8)."""
    edited = recording(2, of=2, readings=(reading(b"one", b"edited"),))
    assert not stand(recording(1, readings=(A,)), edited).confirmed
    assert not stand(recording(1, readings=(A, B)), edited).confirmed
    assert stand(recording(1, readings=(A, A)), edited).confirmed


def test_an_earlier_version_is_confirmed_by_the_same_bytes_on_the_backup_card() -> None:
    """The primary card holds other audio by now; the backup card may have what was there."""
    first, second = recording(1, audio=b"one"), recording(3, audio=b"two", version=2)
    day = view(ledger(cards(), taken(first, second, recording(2, of=2, audio=b"one"))))
    assert day.index[1].confirmed
    assert not day.index[3].confirmed


@pytest.mark.parametrize("now", [b"two", None])
def test_what_the_backup_card_held_once_confirms_still(now: bytes | None) -> None:
    """The file there was edited since, or has other audio; the card itself may be gone by then."""
    once = recording(2, of=2, audio=b"one")
    edited = replace(recording(3, of=2, readings=(reading(b"one", b"edited"),)), version=2)
    later = edited if now is None else recording(3, of=2, audio=now, version=2)
    day = view(ledger(cards(), taken(recording(1, audio=b"one"), once, later)))
    assert day.index[1].confirmed
    assert day.index[2].confirmed
    assert not day.index[3].confirmed


def test_without_a_second_read_nothing_is_confirmed() -> None:
    assert not stand(recording(1)).confirmed


def test_counterparts_are_seen_from_both_cards() -> None:
    day = view(ledger(cards(), taken(recording(1), recording(2, of=2), recording(3, b"X", of=2))))
    answers = [s.answer for s in day.files]
    assert answers == [
        Counterpart(1, Relation.IDENTICAL, 2, others=(2,)),
        Counterpart(2, Relation.IDENTICAL, 1, others=(1,)),
        Counterpart(3, Relation.IDENTICAL, 1, others=(1,)),
    ], "a second copy of the same bytes is not on the backup only"
    alone = view(ledger(cards(), taken(recording(1), recording(3, b"X", of=2, audio=b"other"))))
    assert [s.answer for s in alone.files][1] == Counterpart(3, Relation.MISSING)


def test_a_day_without_a_backup_card_expects_no_counterpart() -> None:
    alone = settings(sources=settings().sources[:1])
    assert stand(recording(1), made=alone).answer is None
    assert stand(recording(1)).answer == Counterpart(1, Relation.MISSING)


def test_a_transmitters_own_card_has_no_counterpart() -> None:
    known = ledger(cards(), [f.LoadSeen(load(3, Role.BODYPACK))], taken(recording(5, of=3)))
    assert view(known).files[0].answer is None


def test_an_older_version_is_owed_while_it_was_read_and_not_refuted() -> None:
    older, newer = recording(1), recording(2, version=2, audio=b"new", read=False)
    assert not stand(older, newer).current
    assert stand(older, newer).owes_copies
    assert stand(newer, older).current
    assert stand(newer, older).owes_copies
    assert not stand(replace(older, readings=(A, B, B)), newer).owes_copies


def test_only_the_configs_production_is_weighed() -> None:
    other = recording(2, b"T02.WAV", place=b"Another/2031-05-06/SND_A1/T02.WAV")
    alike = recording(3, b"T03.WAV", place=b"Lantern Bay 2/2031-05-06/SND_A1/T03.WAV")
    day = view(ledger(cards(), taken(recording(1), other, alike)))
    assert [s.recording.id for s in day.files] == [1]


def test_the_days_loads_are_those_with_files_and_those_first_seen_then() -> None:
    late = f.LoadSeen(load(3, day="2031-05-07"))
    later = f.LoadSeen(load(4, day="2031-05-07"))
    known = ledger(cards(), [late, later], taken(recording(9, of=3)))
    assert [x.id for x in view(known).loads] == [1, 2, 3]


def test_copies_are_counted_by_recording() -> None:
    same_disk = (target("shuttle-1", "d"), target("shuttle-2", "d"))
    known = ledger(cards(), taken(ONE), copied(ONE, *same_disk))
    standing = view(known).of(1)
    assert standing is not None
    assert (len(standing.copies), standing.devices) == (2, 1)
    assert view(known, day="2031-05-07").files == ()
    assert view(known).day == DAY
