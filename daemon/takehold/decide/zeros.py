"""Exact zeros on the tracks of a take: a track goes on from part to part, and so do its zeros."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterator
from typing import NamedTuple

from takehold.decide.recorder import Recorder
from takehold.formats.levels import channels_of
from takehold.formats.names import brief
from takehold.formats.timecode import label
from takehold.model.measured import Channel
from takehold.model.recording import Recording
from takehold.model.take import Take

Piece = tuple[Recording, Channel | None]


class Track(NamedTuple):
    """One channel of a take through all its parts: the files and what was measured in each.

    What was not measured of it, None, counts as sound. `frames` is its length; `zeros` are the
    frames of zeros before its first sound, at most between two, and behind its last one; `within`
    are all between its first sound and its last. `silent`: it holds zeros only.
    """

    channel: int
    pieces: tuple[Piece, ...]
    frames: int
    silent: bool
    zeros: tuple[int, int, int]
    within: int

    @property
    def loudest(self) -> float:
        """The root mean square of its loudest piece; 0.0 where none was measured."""
        return max((channel.rms for _, channel in self.pieces if channel), default=0.0)

    @property
    def said(self) -> str:
        """Its name as the file has it, "" where it has none."""
        return said_name(self.pieces[0][0], self.channel)

    @property
    def name(self) -> str:
        """Its name for people."""
        return name_of(self.pieces[0][0], self.channel)

    def last(self, frames: int) -> tuple[Recording, str]:
        """In which file its last `frames` begin, and that as timecode: `, from ... on`, or ""."""
        for piece in reversed(self.pieces):
            if frames <= _frames(piece):
                return piece[0], _from(piece[0], frames)
            frames -= _frames(piece)
        return self.pieces[0][0], ""


def _frames(piece: Piece) -> int:
    sound = piece[0].sound
    return sound.frames if sound else 0


def _track(number: int, pieces: tuple[Piece, ...]) -> Track:
    """Weighed once: each check of a day's sound asks for its zeros."""
    before: int | None = None
    between = run = frames = zeros = 0
    for piece in pieces:
        channel, length = piece[1], _frames(piece)
        frames += length
        zeros += channel.zeros if channel is not None else 0
        if channel is not None and channel.first_sound is None:
            run += length
            continue
        begins, within, behind = _within(channel, length)
        run += begins
        if before is None:
            before = run
        else:
            between = max(between, run)
        between, run = max(between, within), behind
    edges = before or 0, between, run
    return Track(number, pieces, frames, before is None, edges, zeros - edges[0] - run)


def _within(channel: Channel | None, frames: int) -> tuple[int, int, int]:
    """Frames of zeros before, between and behind the sounds of a piece that has some."""
    if channel is None or channel.first_sound is None or channel.last_sound is None:
        return 0, 0, 0
    return channel.first_sound, channel.longest_gap, frames - 1 - channel.last_sound


def tracks_of(recorder: Recorder, take: Take) -> list[Track]:
    """The tracks of a take: each channel of each file, with that of its file in the later parts."""
    return list(_of(recorder, take))


def tracks_alone(recording: Recording) -> list[Track]:
    """Those of a file that belongs to no take, as a bodypack's."""
    channels = channels_of(recording.sound) if recording.sound else ()
    return [_track(n, ((recording, channel),)) for n, channel in enumerate(channels)]


def _of(recorder: Recorder, take: Take) -> Iterator[Track]:
    parts = [[recorder.recording(number) for number in part.files] for part in take.parts]
    going_on: dict[Hashable, list[Recording]] = defaultdict(list)
    for part, places in zip(parts, _places(parts), strict=True):
        for place, file in zip(places, part, strict=True):
            going_on[place].append(file)
    for files in going_on.values():
        held = [(f, channels_of(f.sound) if f.sound else ()) for f in files if _holds(f)]
        for channel in range(len(held[0][1]) if held and held[0][0] is files[0] else 0):
            its = ((f, found[channel] if channel < len(found) else None) for f, found in held)
            yield _track(channel, tuple(its))


def _places(parts: list[list[Recording]]) -> list[list[Hashable]]:
    """Which file of a part goes on in which of the next: a part may lack one of a set.

    By the channels that each names or its number in the set, else as they come.
    """
    for tells in (_channels, _set_index) if max(map(len, parts)) > 1 else ():
        told = [[tells(file) for file in part] for part in parts]
        if all(all(its) and len({*its}) == len(its) for its in told):
            return told
    return [[*range(len(part))] for part in parts]


def _channels(recording: Recording) -> Hashable:
    return tuple(track.channel for track in recording.description.metadata.tracks)


def _set_index(recording: Recording) -> Hashable:
    return recording.description.metadata.set_index.lstrip("0")


def _holds(recording: Recording) -> bool:
    """Whether it may hold audio: a last part may have none."""
    return recording.sound is None or recording.sound.frames > 0


def name_of(recording: Recording, channel: int) -> str:
    """The track's name for people, or its number in the file."""
    if name := said_name(recording, channel):
        return brief(name)
    said, made = recording.description.metadata.tracks, recording.description.format
    if len(said) == 1 and (made is None or made.channels == 1):
        return f"track {said[0].channel}"
    return f"channel {channel + 1}"


def said_name(recording: Recording, channel: int) -> str:
    """The track's name as the file has it, "" where it has none."""
    named = (t.name for t in recording.description.metadata.tracks if t.interleave == channel + 1)
    return next((name for name in named if name.strip()), "")


def _from(recording: Recording, frames: int) -> str:
    """Where the last `frames` of a file begin, as timecode."""
    said, made, sound = (
        recording.description.metadata,
        recording.description.format,
        recording.sound,
    )
    if said.time_reference is None or said.timecode_rate is None or not made or not sound:
        return ""
    start = said.time_reference + sound.frames - frames
    return f", from {label(start, made.sample_rate, said.timecode_rate)} on"
