"""Which file of a backup card answers which primary recording?

1. One to one: a backup file answers one primary recording only, the strongest relation first.
2. The order of the files does not matter.
3. Only reads count: a file that was not read yet confirms nothing.
Cost: linear in the number of files, but for sorting.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable

from takehold.formats.names import same_key
from takehold.model.finding import Counterpart, Relation
from takehold.model.recording import Recording
from takehold.model.sound import Sound

Key = Callable[[Recording], Hashable | None]


def match(primaries: Iterable[Recording], backups: Iterable[Recording]) -> tuple[Counterpart, ...]:
    """The answer for each primary recording, in the order of their paths."""
    open_ones = sorted(primaries, key=lambda r: (r.path, r.id))
    free = {r.id: r for r in sorted(backups, key=lambda r: (r.path, r.id))}
    answers: dict[int, Counterpart] = {}
    for key in (
        _path_and_bytes,
        _bytes,
        _audio_and_name,
        _audio,
        _path,
        _uid_and_name,
        _uid,
        _name,
    ):
        _pair(key, open_ones, free, answers)
    for recording in open_ones:
        answers.setdefault(recording.id, Counterpart(recording.id, Relation.MISSING))
    return tuple(answers[r.id] for r in open_ones)


def _pair(
    key: Key,
    primaries: Iterable[Recording],
    free: dict[int, Recording],
    answers: dict[int, Counterpart],
) -> None:
    shelf: dict[Hashable, list[Recording]] = defaultdict(list)
    for candidate in reversed(free.values()):
        name = key(candidate)
        if name is not None:
            shelf[name].append(candidate)
    for recording in primaries:
        name = key(recording)
        if recording.id in answers or name is None:
            continue
        if shelf[name]:
            mate = free.pop(shelf[name].pop().id)
            answers[recording.id] = compare(recording, mate)


def _bytes(recording: Recording) -> Hashable | None:
    return recording.digests


def _path_and_bytes(recording: Recording) -> Hashable | None:
    return None if recording.digests is None else (_path(recording), recording.digests)


def _audio(recording: Recording) -> Hashable | None:
    if recording.sound is None or recording.sound.frames == 0:
        return None
    return (recording.description.format, recording.sound.digest)


def _audio_and_name(recording: Recording) -> Hashable | None:
    audio = _audio(recording)
    return None if audio is None else (_name(recording), audio)


def _path(recording: Recording) -> Hashable | None:
    return same_key(recording.path)


def _uid(recording: Recording) -> Hashable | None:
    return recording.description.metadata.file_uid or None


def _uid_and_name(recording: Recording) -> Hashable | None:
    uid = _uid(recording)
    return None if uid is None else (uid, _name(recording))


def _name(recording: Recording) -> Hashable | None:
    return same_key(recording.path.rsplit(b"/", 1)[-1])


def compare(one: Recording, other: Recording) -> Counterpart:
    """How `other`, the backup's file, answers `one`."""
    if one.digests is None or other.digests is None:
        return Counterpart(one.id, Relation.UNREAD, other.id)
    if one.digests == other.digests:
        return Counterpart(one.id, Relation.IDENTICAL, other.id)
    alike = one.description.format == other.description.format
    if one.sound is None or other.sound is None or not alike:
        return Counterpart(one.id, Relation.DIFFERENT, other.id)
    relation, frames = _audio_relation(one.sound, other.sound)
    return Counterpart(one.id, relation, other.id, frames)


def _audio_relation(one: Sound, other: Sound) -> tuple[Relation, int | None]:
    """The relation of two audio measures of one format, and the frames that go with it."""
    if one.digest == other.digest and one.frames == other.frames:
        return Relation.SAME_AUDIO, None
    if one.frames and other.frames and not (one.blocks and other.blocks):
        # A rebuilt catalogue knows no blocks: where they part cannot be told.
        return Relation.DIFFERENT, None
    shared = _shared_frames(one, other)
    if _is_prefix(one, other, shared):
        return Relation.SHORT, one.frames - other.frames
    if _is_prefix(other, one, shared):
        return Relation.LONGER, other.frames - one.frames
    return Relation.DIFFERENT, shared


def _shared_frames(one: Sound, other: Sound) -> int:
    """Frames up to the start of the first block that differs."""
    blocks = min(len(one.blocks), len(other.blocks)) // 8
    for number in range(blocks):
        here = slice(number * 8, number * 8 + 8)
        if one.blocks[here] != other.blocks[here]:
            return number * one.block_frames
    return min(one.frames, other.frames, blocks * one.block_frames)


def _is_prefix(one: Sound, other: Sound, shared: int) -> bool:
    """The backup is shorter and all its whole blocks are the primary's.

    Its last, started block cannot be compared by digest; the whole ones speak for it.
    """
    whole = other.frames // other.block_frames * other.block_frames
    return other.frames < one.frames and (shared >= whole > 0 or other.frames == 0)
