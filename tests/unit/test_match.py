"""Which file of a backup card answers which primary recording, and how."""

from __future__ import annotations

from typing import Any

import pytest

from planworld import SECOND, described, recording
from takehold.decide.by_digest import compare
from takehold.decide.match import match
from takehold.model.finding import Counterpart, Relation
from takehold.model.recording import Recording
from takehold.model.sound import WaveFormat

LONG = bytes(range(1, 251)) * 800  # 200,000 frames: four seconds and a bit


def primary(number: int = 1, path: bytes = b"T01.WAV", **changes: Any) -> Recording:
    return recording(number, path, **changes)


def backup(number: int = 101, path: bytes = b"T01.WAV", **changes: Any) -> Recording:
    return recording(number, path, of=2, **changes)


def matched(ours: list[Recording], theirs: Any) -> tuple[Counterpart, ...]:
    return match(ours, theirs).primaries


def answer(
    mine: int, relation: Relation, its: int, frames: int | None = None, **more: Any
) -> Counterpart:
    return Counterpart(mine, relation, its, frames, (its,), **more)


def one(first: Recording, *others: Recording) -> Counterpart:
    (found,) = matched([first], others)
    return found


def test_the_same_bytes_are_identical_whatever_their_name() -> None:
    found = one(primary(audio=LONG), backup(path=b"OTHER/X.WAV", audio=LONG))
    assert found == answer(1, Relation.IDENTICAL, 101)
    assert found.confirms


def test_other_metadata_around_the_same_audio() -> None:
    found = one(primary(audio=LONG, head=b"scene 1"), backup(audio=LONG, head=b"scene 2"))
    assert found == answer(1, Relation.SAME_AUDIO, 101)
    assert not found.confirms, "what stands around the audio was read once"


@pytest.mark.parametrize("seconds", [0, 1, 2, 4])
def test_a_prefix_is_short_and_says_what_is_missing(seconds: int) -> None:
    found = one(primary(audio=LONG), backup(audio=LONG[: seconds * SECOND]))
    assert found == answer(
        1, Relation.SHORT, 101, len(LONG) - seconds * SECOND, since=seconds * SECOND
    )
    assert not found.confirms


def test_a_prefix_that_ends_inside_a_block_is_short_by_its_whole_ones() -> None:
    found = one(primary(audio=LONG), backup(audio=LONG[: SECOND + 7]))
    assert found == answer(1, Relation.SHORT, 101, len(LONG) - SECOND - 7, since=SECOND + 7)


def test_a_backup_of_less_than_a_block_is_not_called_a_prefix() -> None:
    """Its one digest is over a started block: nothing shows that it is the beginning."""
    assert one(primary(audio=LONG), backup(audio=LONG[:100])).relation is Relation.DIFFERENT


def test_other_audio_says_in_which_block_it_begins() -> None:
    other = bytearray(LONG)
    other[2 * SECOND + 5] ^= 1
    found = one(primary(audio=LONG), backup(audio=bytes(other)))
    assert found == answer(1, Relation.DIFFERENT, 101, 2 * SECOND)
    assert not found.confirms


def test_a_longer_backup_says_what_the_primary_lacks() -> None:
    found = one(primary(audio=LONG[:SECOND]), backup(audio=LONG))
    assert found == answer(1, Relation.LONGER, 101, len(LONG) - SECOND)
    assert not found.confirms


def test_the_same_payload_in_another_format_is_not_the_same_audio() -> None:
    """The same payload at another rate sounds different: only the samples tell."""
    made = described(LONG)
    fast = WaveFormat(tag=1, channels=1, sample_rate=96_000, bits=8, block_align=1)
    changed = backup(audio=LONG, head=b"x", description=described(LONG))
    object.__setattr__(changed.description, "format", fast)
    assert made.format != fast
    assert one(primary(audio=LONG), changed) == answer(1, Relation.UNCOMPARED, 101)


def test_nothing_of_that_name_is_missing() -> None:
    assert one(primary(audio=LONG), backup(path=b"T02.WAV", audio=LONG[5:])) == Counterpart(
        1, Relation.MISSING
    )
    assert one(primary()) == Counterpart(1, Relation.MISSING)


@pytest.mark.parametrize(("mine", "its"), [(True, False), (False, True), (False, False)])
def test_what_was_not_read_confirms_nothing(mine: bool, its: bool) -> None:
    found = one(primary(audio=LONG, read=mine), backup(audio=LONG, read=its))
    assert found == answer(1, Relation.UNREAD, 101)
    assert not found.confirms


def test_files_of_another_kind_are_identical_or_different() -> None:
    assert one(primary(audio=None), backup(audio=None)).relation is Relation.IDENTICAL
    assert one(primary(audio=None), backup(audio=None, head=b"x")).relation is Relation.DIFFERENT


def test_a_file_uid_finds_a_renamed_take() -> None:
    said = {"file_uid": "UID7"}
    found = one(
        primary(audio=LONG, said=said), backup(path=b"X.WAV", audio=LONG[: 2 * SECOND], said=said)
    )
    assert found.relation is Relation.SHORT


def test_one_backup_file_answers_one_recording_only() -> None:
    """Two takes with the same bytes need two files on the backup card."""
    found = matched(
        [primary(1, b"T01.WAV", audio=LONG), primary(2, b"T02.WAV", audio=LONG)],
        [backup(101, b"T01.WAV", audio=LONG)],
    )
    assert [f.relation for f in found] == [Relation.IDENTICAL, Relation.MISSING]


def test_the_same_place_comes_before_another_place_with_the_same_bytes() -> None:
    found = matched(
        [primary(1, b"A/T01.WAV"), primary(2, b"B/T01.WAV")],
        [backup(102, b"b/t01.wav"), backup(103, b"A/T01.WAV")],
    )
    assert [f.other for f in found] == [103, 102]


def test_a_name_that_is_in_two_folders_is_answered_from_the_same_folder() -> None:
    """A/T01 is missing on the backup; B/T01's own, short answer is not taken from it."""
    found = matched(
        [primary(1, b"A/T01.WAV", audio=LONG[::-1]), primary(2, b"B/T01.WAV", audio=LONG)],
        [backup(102, b"B/T01.WAV", audio=LONG[: 3 * SECOND])],
    )
    assert [f.relation for f in found] == [Relation.MISSING, Relation.SHORT]


def test_the_strongest_relation_wins_over_the_name() -> None:
    found = one(
        primary(audio=LONG),
        backup(101, b"T01.WAV", audio=b"other"),
        backup(102, b"X.WAV", audio=LONG),
    )
    assert (found.relation, found.other) == (Relation.IDENTICAL, 102)


def test_answers_come_in_the_order_of_the_paths() -> None:
    found = matched([primary(1, b"b"), primary(2, b"a")], [])
    assert [f.recording for f in found] == [2, 1]


@pytest.mark.parametrize("same", [True, False])
def test_two_full_cards_are_matched(same: bool) -> None:
    """2,000 files against 2,000; also all of one name and one content, where each meets each."""

    def card(of: int, first: int) -> list[Recording]:
        base = recording(1, of=of)
        paths = (b"%d/T.WAV" % n if same else b"T%d.WAV" % n for n in range(2000))
        return [
            recording(first + n, path, of=of, readings=base.readings if same else (),
                      description=base.description)
            for n, path in enumerate(paths)
        ]  # fmt: skip

    found = matched(card(1, 1), card(2, 10_001))
    assert len({f.other for f in found}) == 2000
    assert {f.relation for f in found} == {Relation.IDENTICAL if same else Relation.UNREAD}


def test_compare_is_about_the_first_named() -> None:
    assert compare(primary(7), backup(9)) == answer(7, Relation.IDENTICAL, 9)


def pairs(first: Recording, other: Recording) -> tuple[tuple[tuple[int, ...], ...], ...]:
    return match([first], [other]).uncompared


@pytest.mark.parametrize("longer", [1, 101])
def test_the_last_second_that_no_digest_tells_is_compared(longer: int) -> None:
    """It may be other audio: a digest of a started block says nothing of a whole one."""
    sides = {1: LONG, 101: LONG}
    sides[102 - longer] = LONG[: SECOND + 7]
    assert pairs(primary(audio=sides[1]), backup(audio=sides[101])) == (((1,), (101,)),)


@pytest.mark.parametrize("seconds", [0, 1, 3])
def test_a_prefix_of_whole_blocks_needs_no_comparison(seconds: int) -> None:
    assert pairs(primary(audio=LONG), backup(audio=LONG[: seconds * SECOND])) == ()


def test_blocks_of_silence_in_common_are_no_beginning() -> None:
    """Two takes may begin with digital silence: only their samples tell."""
    zeros = bytes([128]) * SECOND  # 8 bit is unsigned
    mine, its = primary(audio=zeros + LONG), backup(audio=zeros + LONG[::-1][:9_000])
    assert one(mine, its).relation is Relation.UNCOMPARED
    assert pairs(mine, its) == (((1,), (101,)),)
