"""The checks of what was measured of the audio: dead tracks, clipping, a tail of zeros.

Every code is explained in docs/problems.md. A microphone's own noise, and that of whatever it is
plugged into, is never exactly zero for long: exact zeros come from a muted digital input or
receiver, from nothing plugged in, or from a card that was filled ahead and never written. (Common
practice, no source.)
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import log10

from takehold.decide.coverage import Coverage, told
from takehold.decide.looked_into import coding, unmeasured
from takehold.decide.noticed import finding
from takehold.decide.recorder import Recorder, recorders
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.layout import MOST_CHANNELS, layout
from takehold.formats.levels import channels_of
from takehold.formats.names import display, shown
from takehold.formats.timecode import label
from takehold.formats.wave import ENCODINGS
from takehold.model.finding import Finding, Severity
from takehold.model.measured import Channel
from takehold.model.recording import Recording
from takehold.model.settings import Role, Settings
from takehold.model.sound import Coding, Kind
from takehold.model.take import Take

LOOK, NOTE = Severity.LOOK, Severity.NOTE
# Seconds of exact zeros in which a track counts as dead, and in which a whole file does at its end.
DEAD = 1.0
TAIL = 0.25
LISTEN = "Listen to it. Tell post, or record it again."
NAMED = 8


def sound_findings(view: DayStanding, settings: Settings, packs: Coverage) -> Iterator[Finding]:
    """Everything to say of a day's audio: of takes, and of each file that belongs to none here.

    `packs` tell which transmitter's own card has a track that is dead.
    """
    made = recorders(view, settings)
    for recorder in made:
        for take in recorder.takes:
            yield from _tracks(recorder, take, packs)
            for again in take.again:
                yield from _tracks(recorder, again, packs)
    heard = {number for recorder in made for take in recorder.takes for number in _files(take)}
    for standing in view.files:
        if standing.current and (
            standing.recording.id in heard or standing.load.role is Role.BODYPACK
        ):
            yield from _file(standing)


def _files(take: Take) -> Iterator[int]:
    yield from take.files
    for again in take.again:
        yield from again.files


@dataclass(frozen=True, slots=True)
class _Track:
    """One channel of a take through all its parts: the files and what was measured in each."""

    channel: int
    pieces: tuple[tuple[Recording, Channel], ...]

    @property
    def said(self) -> str:
        """Its name as the file has it, "" where it has none."""
        return _said(self.pieces[0][0], self.channel)

    @property
    def name(self) -> str:
        """Its name for people."""
        return _name(self.pieces[0][0], self.channel)

    @property
    def silent(self) -> bool:
        return all(channel.first_sound is None for _, channel in self.pieces)

    @property
    def frames(self) -> int:
        return sum(recording.sound.frames for recording, _ in self.pieces if recording.sound)


def _tracks(recorder: Recorder, take: Take, packs: Coverage) -> Iterator[Finding]:
    """One finding a take for all its silent tracks, one for all that go dead within it."""
    tracks = [track for track in _of(recorder, take) if track.frames]
    silent = [track for track in tracks if track.silent]
    if silent and len(silent) == len(tracks):
        says = "no track holds any sound: it is exactly zero from beginning to end"
        do = _instead(take, silent, packs) + LISTEN
        yield recorder.noticed(take, "track-silent", LOOK, says, do)
        return
    if silent:
        names = _listed([track.name for track in silent])
        says = f"no sound at all on {names}: exactly zero for the whole take"
        do = _instead(take, silent, packs) + LISTEN
        yield recorder.noticed(take, "track-silent", LOOK, says, do)
    sounding = [track for track in tracks if not track.silent]
    # Where all end at once it is the file's end that is missing: said of the file.
    tail = min((_ends(*track.pieces[-1]) for track in sounding), default=0)
    dead = [(track, gap) for track in sounding if (gap := _gap(track, take, tail))]
    if dead:
        names = _listed([f"{track.name} ({gap})" for track, gap in dead])
        says = f"goes dead within the take: {names}"
        do = _instead(take, [track for track, _ in dead], packs) + LISTEN
        yield recorder.noticed(take, "track-dead", LOOK, says, do)


def _instead(take: Take, tracks: list[_Track], packs: Coverage) -> str:
    """Which packs have the tracks that this take lacks."""
    found = [told(cover, take) for track in tracks for cover in packs.covering(take, track.said)]
    return "".join(f"{one}. " for one in found[:NAMED])


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return ", ".join(names[:NAMED]) + more


def _of(recorder: Recorder, take: Take) -> Iterator[_Track]:
    """The tracks of a take: each channel of each file of a part, with those of the later parts."""
    for place, number in enumerate(take.parts[0].files):
        later = (part.files[place] for part in take.parts[1:] if place < len(part.files))
        files = [recorder.recording(n) for n in (number, *later)]
        measured = [(file, _channels(file)) for file in files]
        for channel in range(len(measured[0][1])):
            pieces = [(file, its[channel]) for file, its in measured if channel < len(its)]
            yield _Track(channel, tuple(pieces))


def _channels(recording: Recording) -> tuple[Channel, ...]:
    return channels_of(recording.sound) if recording.sound else ()


def _name(recording: Recording, channel: int) -> str:
    """The track's name, or its number in the file."""
    if name := _said(recording, channel):
        return shown(name)
    said = recording.description.metadata.tracks
    if len(said) == 1:
        return f"track {said[0].channel}"
    return f"channel {channel + 1}"


def _said(recording: Recording, channel: int) -> str:
    named = (t.name for t in recording.description.metadata.tracks if t.interleave == channel + 1)
    return next((name for name in named if name.strip()), "")


def _gap(track: _Track, take: Take, tail: int) -> str:
    """The longest time of exact zeros, in words, but for `tail` frames; "" where it is short."""
    if not take.sample_rate:
        return ""
    begins = [_begins(recording, channel) for recording, channel in track.pieces]
    ends = [_ends(recording, channel) for recording, channel in track.pieces]
    ends[-1] -= tail
    longest = max(*begins, *ends, *(channel.longest_gap for _, channel in track.pieces))
    if longest < DEAD * take.sample_rate:
        return ""
    text = f"{longest / take.sample_rate:.1f} s"
    if longest == ends[-1]:
        text += f" at its end{_from(track.pieces[-1][0], longest + tail)}"
    elif longest == begins[0]:
        text += " at its beginning"
    return text


def _begins(recording: Recording, channel: Channel) -> int:
    """Frames of zeros before the first sound."""
    frames = recording.sound.frames if recording.sound else 0
    return frames if channel.first_sound is None else channel.first_sound


def _ends(recording: Recording, channel: Channel) -> int:
    """Frames of zeros behind the last sound."""
    frames = recording.sound.frames if recording.sound else 0
    return frames if channel.last_sound is None else frames - 1 - channel.last_sound


def _from(recording: Recording, frames: int) -> str:
    """Where the last `frames` begin, as timecode."""
    said, made, sound = (
        recording.description.metadata,
        recording.description.format,
        recording.sound,
    )
    if said.time_reference is None or said.timecode_rate is None or not made or not sound:
        return ""
    start = said.time_reference + sound.frames - frames
    return f", from {label(start, made.sample_rate, said.timecode_rate)} on"


def _file(standing: Standing) -> Iterator[Finding]:
    recording = standing.recording
    yield from _unheard(standing)
    channels, made = _channels(recording), recording.description.format
    if recording.sound is None or made is None or not made.sample_rate or not channels:
        return
    tail = min(_ends(recording, channel) for channel in channels)
    if TAIL * made.sample_rate <= tail < recording.sound.frames:
        seconds = f"{tail / made.sample_rate:.1f} s"
        says = (
            f"its last {seconds} are exactly zero on every track{_from(recording, tail)}, as where "
            "a card was filled ahead and lost power"
        )
        do = "Listen to its end. Look for the rest on the backup card and in the recorder."
        yield _make(standing, "zero-tail", LOOK, says, do)
    yield from _loud(standing, channels)
    odd = [_name(recording, n) for n, channel in enumerate(channels) if channel.not_finite]
    if odd:
        says = f"values that are no numbers on {_listed(odd)}"
        yield _make(standing, "not-numbers", LOOK, says, "Listen to it, and tell post.")


def _unheard(standing: Standing) -> Iterator[Finding]:
    """Of what was not measured nothing else is said, and that is said."""
    if unmeasured(standing.recording) and standing.copies:
        says = "its audio was not measured yet: nothing is said of silence and clipping"
        do = "Leave a drive in that has it: it is measured by itself. Or listen to it."
        yield _make(standing, "sound-unmeasured", LOOK, says, do)
    if why := _unmeasurable(standing.recording):
        about = "its length, silence" if coding(standing.recording.description) else "silence"
        says = f"its audio cannot be measured ({why}): nothing is said of {about} and clipping"
        yield _make(standing, "sound-unmeasured", LOOK, says, "Listen to it.")


def _loud(standing: Standing, channels: tuple[Channel, ...]) -> Iterator[Finding]:
    """Waves that were cut off at full scale, and those of float that go on above it."""
    sound, clipped, above = standing.recording.sound, [], []
    for number, channel in enumerate(channels):
        name = _name(standing.recording, number)
        if sound is not None and sound.coding is not Coding.INTEGER and channel.peak > 1:
            above.append(f"{name} (up to {20 * log10(channel.peak):.1f} dB)")
        elif channel.clipped:
            clipped.append(f"{name} ({channel.clipped})")
    if clipped:
        yield _make(standing, "clipped", NOTE, f"samples at full scale: {_listed(clipped)}")
    if above:
        says = f"goes above full scale, and nothing is lost of it in float: {_listed(above)}"
        do = "Tell post: it is cut off where it is made an integer file before it is lowered."
        yield _make(standing, "above-full-scale", NOTE, says, do)


def _unmeasurable(recording: Recording) -> str:
    """Why a WAVE file that was read never will be measured; "" where it is, or holds nothing."""
    made, sound = recording.description.format, recording.sound
    wave = recording.description.kind is Kind.WAVE
    if not wave or made is None or sound is None or not sound.frames or layout(made) is not None:
        return ""
    if made.channels > MOST_CHANNELS:
        return f"{made.channels} channels, of which takehold takes {MOST_CHANNELS} at most"
    if made.tag in (1, 3):
        return f"{made.bits} bits in {made.block_align} bytes a frame"
    return coding(recording.description) or ENCODINGS[made.tag]


def _make(standing: Standing, code: str, severity: Severity, says: str, do: str = "") -> Finding:
    recording = standing.recording
    name = f"{shown(standing.load.label)}/{display(recording.path)}"
    place = display(recording.place)
    return finding(code, severity, place, f"{name}: {says}.", do, recording.id)
