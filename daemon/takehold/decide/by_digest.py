"""How one file of a backup card answers a primary recording, by the digests of both alone.

The keys say what two recordings have in common; None is common to none.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable

from takehold.decide.layouts import first_sounds, heard, silent
from takehold.decide.looked_into import coding
from takehold.formats.names import same_key
from takehold.model.finding import Counterpart, Relation
from takehold.model.recording import Recording
from takehold.model.sound import Kind, Sound

Key = Callable[[Recording], Hashable | None]

# The audio is there, whatever stands around it.
WHOLE = frozenset({Relation.IDENTICAL, Relation.SAME_AUDIO, Relation.OTHER_LAYOUT})
# From its first frame to its last.
HELD = WHOLE | {Relation.REDUCED}
# The blocks of two files tell it exactly.
FEW = 64  # blocks that are looked at for one with a sound of its own
BY_BLOCKS = WHOLE | {Relation.SHORT, Relation.LONGER}


def same_bytes(recording: Recording) -> Hashable | None:
    """The same bytes."""
    return recording.digests


def path_and_bytes(recording: Recording) -> Hashable | None:
    """The same bytes at the same path."""
    return None if recording.digests is None else (same_key(recording.path), recording.digests)


def same_audio(recording: Recording) -> Hashable | None:
    """The same payload; of silence that says nothing of which file it is."""
    return None if silent(recording) else _payload(recording)


def audio_and_name(recording: Recording) -> Hashable | None:
    """The same payload under the same name."""
    audio = _payload(recording)
    return None if audio is None else (name_of(recording), audio)


def beginning(recording: Recording) -> Hashable | None:
    """The same form, and the same block where the sound begins: digital silence is none."""
    sound, made = recording.sound, recording.description.format
    if sound is None or made is None or not sound.blocks or not any(heard(recording)):
        return None
    block = min(first_sounds(sound)) // sound.block_frames
    digest = sound.blocks[block * 8 : block * 8 + 8]
    return recording.description.kind, made, sound.block_frames, block, digest


def form_and_length(recording: Recording) -> Hashable | None:
    """The same form, and as many frames."""
    if recording.sound is None or silent(recording):
        return None
    made = recording.description
    return made.kind, made.format, recording.sound.block_frames, recording.sound.frames


def mostly_the_same(one: Recording, other: Recording) -> bool:
    """Whether more than half of the whole blocks of two files of one form and length are the same.

    What comes more than once in a file, as silence does, is no evidence beside what does not.
    """
    if one.sound is None or other.sound is None or form_and_length(one) != form_and_length(other):
        return False
    mine, its = _blocks_of(one.sound), _blocks_of(other.sound)
    same = [a for a, b in zip(mine, its, strict=False) if a == b]
    return len(same) * 2 > len(mine) and any(mine.count(digest) == 1 for digest in same[:FEW])


def _blocks_of(sound: Sound) -> list[bytes]:
    """The digests of its whole blocks."""
    whole = sound.frames // sound.block_frames
    found = [sound.blocks[n : n + 8] for n in range(0, len(sound.blocks), 8)]
    return found[:whole]


# From the strongest to the weakest; any of them is proof.
KEYS: tuple[Key, ...] = (path_and_bytes, same_bytes, audio_and_name, same_audio)


def name_of(recording: Recording) -> str:
    """Its name, as file systems compare names."""
    return same_key(recording.path.rsplit(b"/", 1)[-1])


def _payload(recording: Recording) -> Hashable | None:
    if recording.sound is None or recording.sound.frames == 0:
        return None
    return (recording.description.format, recording.sound.digest)


def compare(one: Recording, other: Recording) -> Counterpart:
    """How `other`, the backup's file, answers `one`, by their digests alone."""
    relation, frames, channels = _relation(one, other)
    since = other.sound.frames if relation is Relation.SHORT and other.sound else None
    return Counterpart(one.id, relation, other.id, frames, (other.id,), channels, since=since)


def comparable(one: Recording, other: Recording) -> bool:
    """Whether both hold samples that can be decoded; of an MP3 nobody knows yet how many."""
    described = (one.description, other.description)
    return all(d.kind is Kind.COMPRESSED or (d.kind is Kind.WAVE and d.frames) for d in described)


def _relation(one: Recording, other: Recording) -> tuple[Relation, int | None, tuple[int, ...]]:
    if one.digests is None or other.digests is None:
        return Relation.UNREAD, None, ()
    if one.digests == other.digests:
        return Relation.IDENTICAL, None, ()
    mine, its = one.description, other.description
    alike = (mine.kind, mine.format) == (its.kind, its.format)
    if Kind.OTHER not in (mine.kind, its.kind) and (coding(mine) or coding(its)):
        same = alike and one.sound and other.sound and one.sound.digest == other.sound.digest
        return Relation.SAME_AUDIO if same else Relation.UNDECODED, None, ()
    if one.sound is None or other.sound is None or not alike:
        wait = comparable(one, other)
        return Relation.UNCOMPARED if wait else Relation.DIFFERENT, None, ()
    relation, frames = _audio_relation(one.sound, other.sound)
    if relation is Relation.UNCOMPARED and not comparable(one, other):
        relation = Relation.DIFFERENT
    differ = _differing(one, other) if relation is Relation.DIFFERENT else ()
    return relation, frames, differ


def _differing(one: Recording, other: Recording) -> tuple[int, ...]:
    """Which of several channels differ, of two recordings of one length."""
    mine, its = heard(one), heard(other)
    if len(mine) < 2 or len(mine) != len(its) or len({c[:3] for c in (*mine, *its) if c}) != 1:
        return ()
    return tuple(n for n, (a, b) in enumerate(zip(mine, its, strict=True), 1) if a != b)


def _audio_relation(one: Sound, other: Sound) -> tuple[Relation, int | None]:
    """The relation of two audio measures of one format, and the frames that go with it.

    Blocks of digital silence in common show nothing.
    """
    if one.digest == other.digest and one.frames == other.frames:
        return Relation.SAME_AUDIO, None
    if one.frames and other.frames and not (one.blocks and other.blocks):
        # A rebuilt catalogue knows no blocks: where they part cannot be told.
        return Relation.DIFFERENT, None
    shared = _shared_frames(one, other)
    if _is_prefix(one, other, shared) or _is_prefix(other, one, shared):
        if other.frames and one.frames and not sounds_before(one, shared):
            return Relation.UNCOMPARED, None
        longer = other.frames - one.frames
        return (Relation.SHORT, -longer) if longer < 0 else (Relation.LONGER, longer)
    return Relation.DIFFERENT, shared


def _shared_frames(one: Sound, other: Sound) -> int:
    """Frames up to the start of the first block that differs."""
    blocks = min(len(one.blocks), len(other.blocks)) // 8
    for number in range(blocks):
        here = slice(number * 8, number * 8 + 8)
        if one.blocks[here] != other.blocks[here]:
            return number * one.block_frames
    return min(one.frames, other.frames, blocks * one.block_frames)


def sounds_before(sound: Sound, frame: int) -> bool:
    """Whether any channel has sound before a frame; taken for so where nothing was measured."""
    return not sound.levels or min(first_sounds(sound), default=frame) < frame


def whole_blocks(one: Recording, other: Recording) -> bool:
    """Whether the shorter of two ends with a block, so that their digests tell all of it."""
    sounds = [r.sound for r in (one, other) if r.sound is not None]
    shorter = min(sounds, key=lambda s: s.frames, default=None)
    return shorter is None or shorter.frames % shorter.block_frames == 0


def _is_prefix(one: Sound, other: Sound, shared: int) -> bool:
    """The backup is shorter and all its whole blocks are the primary's.

    Its last, started block cannot be compared by digest: the samples must tell.
    """
    whole = other.frames // other.block_frames * other.block_frames
    return other.frames < one.frames and (shared >= whole > 0 or other.frames == 0)
