"""What ties a recording to the others of its set, its place in that, and what the set lacks."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence

from takehold.decide.take_names import set_name
from takehold.formats.timecode import day_samples
from takehold.model.recording import Recording
from takehold.model.slate import same_words, scene_and_take, stem
from takehold.model.take import Take

# Missing numbers of a set are named up to this size.
NAMED = 64
MOST_DIGITS = 9


def tie(recording: Recording) -> Hashable:
    """What a recording shares with the others of its set and with nothing else."""
    said = recording.description.metadata
    if said.family_uid.strip("0-"):  # zeros alone are none: some recorders write them in all files
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


def counted(take: Take) -> int:
    """How many files a part has, or all have that are counted on: as told, else as its fullest."""
    told = take.expected or 0
    return told if told > 1 else max(len(part.files) for part in take.parts)


def lacks(take: Take, recording: Callable[[int], Recording]) -> str:
    """What a set lacks by its own account, "" for nothing; `recording` gives one by its number.

    A number that comes back with each part counts the files of a part; else all are counted on,
    unless these would be enough and parts that follow each other have other tracks.
    """
    parts = [[recording(n) for n in part.files] for part in take.parts]
    follow = _follow(take)
    if take.expected is None and any(_total(file) > 1 for part in parts for file in part):
        return ""  # it lies twice on its card: only the first is expected to be whole
    if (take.expected or 0) < 2 and not follow:
        return ""
    expected = counted(take)
    indexes = [[_index(file) for file in part] for part in parts]
    flat = [index for part in indexes for index in part]
    enough = len(flat) >= expected
    counted_on = len(set(flat)) == len(flat) and not (enough and follow and _unlike(parts))
    least = min([flat] if counted_on else indexes, key=len)
    if len(least) >= expected:
        return ""
    says = f"{len(least)} of {expected} files are there"
    there = {*map(_number, least)}
    if expected <= NAMED and 0 not in there and max(there) <= expected:
        says += f", not {', '.join(str(n) for n in range(1, expected + 1) if n not in there)}"
    return says


def _follow(take: Take) -> bool:
    """Whether its parts follow each other in time.

    Files that begin a little apart, and a mix that is not split as the others are, lie beside them.
    """
    first, last = take.parts[0], take.parts[-1]
    lengths = [part.frames for part in take.parts if part.frames]
    if len(take.parts) < 2 or first.start is None or last.start is None or not lengths:
        return False
    between = (last.start - first.start) % (day_samples(take.sample_rate, take.rate) or 1)
    return 2 * (sum(lengths) - between - (last.frames or 0)) < min(lengths)


def _unlike(parts: Sequence[Sequence[Recording]]) -> bool:
    """Whether a part has fewer files than another, or other tracks where all tell theirs."""
    told = [[f.description.metadata.tracks for f in part] for part in parts]
    if len({*map(len, parts)}) > 1:
        return True
    tracks = {tuple(sorted(t.channel for one in part for t in one)) for part in told}
    return len(tracks) > 1 and all(all(part) for part in told)


def _number(index: str) -> int:
    """Its number; 0 where it is none, or has more digits than any set has files."""
    return int(index) if index.isdecimal() and len(index) < MOST_DIGITS else 0


def _total(recording: Recording) -> int:
    return recording.description.metadata.total_files or 0


def _index(recording: Recording) -> str:
    return recording.description.metadata.set_index.lstrip("0") or f"#{recording.id}"
