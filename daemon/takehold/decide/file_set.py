"""What ties a recording to the others of its set, its place in that, and what the set lacks."""

from __future__ import annotations

from collections.abc import Callable, Hashable

from takehold.decide.take_names import set_name
from takehold.model.recording import Recording
from takehold.model.slate import same_words, scene_and_take, stem
from takehold.model.take import Take

# Missing numbers of a set are named up to this size.
NAMED = 64


def tie(recording: Recording) -> Hashable:
    """What a recording shares with the others of its set and with nothing else."""
    said = recording.description.metadata
    if said.family_uid:
        files = None if _split_off(recording) else said.total_files
        return (said.originator, said.tape, said.family_uid, files)
    if not recording.description.frames:
        return recording.id
    made = recording.description.format
    rate = made.sample_rate if made else 0
    who = (said.originator, said.tape, *map(same_words, scene_and_take(recording)))
    told = said.set_index or said.tracks
    folder = b"" if told else recording.path.rpartition(b"/")[0]
    known = (*who, said.time_reference, recording.description.frames, rate, folder)
    declared = who[-1] or (said.total_files or 0) > 1
    if said.time_reference or (declared and said.time_reference is not None):
        return known
    name = set_name([stem(recording.path)])  # many recorders have no timecode, or write 0
    return (*known, name) if name else recording.id


def place(recording: Recording) -> Hashable:
    """Its place in a set. Monos that do not tell it have one of their own in their folder's set."""
    said, made = recording.description.metadata, recording.description.format
    if said.set_index and not _split_off(recording):
        return said.set_index.lstrip("0")
    if said.tracks:
        named = _split_off(recording)  # and then it may tell one channel only, its own first
        return tuple((track.channel, track.name if named else "") for track in said.tracks)
    if made is None or made.channels > 1:
        return "poly"
    return recording.id


def _split_off(recording: Recording) -> bool:
    """A mono file that says it is a whole set: so says the poly file that it may be split from."""
    said, made = recording.description.metadata, recording.description.format
    return said.total_files == 1 and made is not None and made.channels == 1


def lacks(take: Take, recording: Callable[[int], Recording]) -> str:
    """What a set lacks by its own account, "" for nothing; `recording` gives one by its number.

    A number that comes back with each part counts the files of a part; else all are counted on.
    """
    expected = take.expected or 0
    if expected < 2:
        return ""
    indexes = [[_index(recording(n)) for n in part.files] for part in take.parts]
    flat = [index for part in indexes for index in part]
    counted_on = len(set(flat)) == len(flat)
    least = min([flat] if counted_on else indexes, key=len)
    if len(least) >= expected:
        return ""
    says = f"{len(least)} of {expected} files are there"
    if expected <= NAMED and all(i.isdecimal() and 0 < int(i) <= expected for i in least):
        there = {int(index) for index in least}
        says += f", not {', '.join(str(n) for n in range(1, expected + 1) if n not in there)}"
    return says


def _index(recording: Recording) -> str:
    return recording.description.metadata.set_index.lstrip("0") or f"#{recording.id}"
