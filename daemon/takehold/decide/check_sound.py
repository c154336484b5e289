"""The checks of what was measured of the audio: dead tracks, clipping, a tail of zeros.

Every code is explained in docs/problems.md. A microphone's own noise, and that of whatever it is
plugged into, is never exactly zero for long: exact zeros come from a muted digital input or
receiver, from nothing plugged in, or from a card that was filled ahead and never written. (Common
practice, no source.)
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import islice
from math import log10

from takehold.decide.coverage import Coverage, told
from takehold.decide.looked_into import coding, unmeasured
from takehold.decide.noticed import of_file
from takehold.decide.recorder import Recorder, recorders
from takehold.decide.standing import DayStanding, Standing
from takehold.decide.zeros import Track, name_of, tracks_alone, tracks_of
from takehold.formats.layout import MOST_CHANNELS, layout
from takehold.formats.levels import channels_of
from takehold.formats.wave import ENCODINGS
from takehold.model.finding import Finding, Relation, Severity
from takehold.model.measured import Channel
from takehold.model.recording import Recording
from takehold.model.settings import Role, Settings
from takehold.model.sound import Coding, Kind
from takehold.model.take import Take

LOOK, NOTE = Severity.LOOK, Severity.NOTE
# Seconds of exact zeros in which a track counts as dead, and in which a whole file does at its end.
DEAD = 1.0
TAIL = 0.25
# A track that is zero for more than half of a take in shorter pieces, one of them so many seconds
# long. Noise of 16 bits about its last bit is often zero, never for so long, and below this rms
# (-80 dB) all through. Chosen, no source.
PIECE = 0.1
NOISE = 1e-4
LISTEN = "Listen to it. Tell post, or record it again."
NAMED = 8

Asked = Callable[[Track], bool]


def sound_findings(view: DayStanding, settings: Settings, packs: Coverage) -> Iterator[Finding]:
    """Everything to say of a day's audio: of takes, and of each file that belongs to none here.

    Of the backup cards' what no primary card has, as what they hold is the only one then. `packs`
    tell which transmitter's own card has a track that is dead.
    """
    made = recorders(view, settings)
    heard: set[int] = set()
    for recorder in made:
        takes = [one for take in recorder.takes for one in (take, *take.again)]
        heard.update(number for take in takes for number in take.files)
        yield from _of_takes(recorder, takes, packs, lambda _: True)
    for recorder in made[:1]:  # beside each stand the same
        takes = [take for take in recorder.beside if not take.derived]
        takes = [take for take in takes if any(_lone(view, number) for number in take.files)]
        heard.update(n for take in takes for n in take.files if _lone(view, n))
        yield from _of_takes(recorder, takes, packs, lambda track: _is_lone(view, track))
    for standing in view.files:
        pack = standing.load.role is Role.BODYPACK
        if standing.current and (pack or standing.recording.id in heard):
            yield from _file(standing)
            yield from _tail(view.index, tracks_alone(standing.recording)) if pack else ()


def _lone(view: DayStanding, number: int) -> Sequence[int]:
    """The channels of a backup's file, from 1, that no primary card has."""
    answer = view.index[number].answer
    if answer is None or answer.relation is not Relation.MISSING:
        return answer.alone if answer else ()
    sound = view.index[number].recording.sound
    return range(1, len(channels_of(sound)) + 1) if sound else ()


def _is_lone(view: DayStanding, track: Track) -> bool:
    return any(track.channel + 1 in _lone(view, file.id) for file, _ in track.pieces)


def _of_takes(
    recorder: Recorder, takes: list[Take], packs: Coverage, asked: Asked
) -> Iterator[Finding]:
    """What there is to say of those tracks of takes that are `asked` for."""
    tracks = {take.first: [t for t in tracks_of(recorder, take) if t.frames] for take in takes}
    yield from _silent(recorder, takes, tracks, packs, asked)
    yield from _dead(recorder, takes, tracks, packs, asked)
    whole = [take for take in takes if all(map(asked, tracks[take.first]))]
    yield from _mostly_silent(recorder, whole, tracks)
    for take in whole:
        yield from _tail(recorder.index, tracks[take.first])


def _silent(
    recorder: Recorder,
    takes: list[Take],
    tracks: dict[int, list[Track]],
    packs: Coverage,
    asked: Asked,
) -> Iterator[Finding]:
    """Tracks without any sound: once for all takes of a card that lack the same ones."""
    silent = {n: [t for t in its if t.silent and asked(t)] for n, its in tracks.items()}
    odd = []
    for take in takes:
        its = silent[take.first]
        if its and len(its) == len(tracks[take.first]):
            odd.append((take, "no track holds any sound: it is exactly zero from beginning to end"))
        elif its:
            names = _listed([track.name for track in its])
            odd.append((take, f"no sound at all on {names}: exactly zero for the whole take"))
    for alike, says in recorder.alike(odd):
        instead = _instead(((take, silent[take.first]) for take in alike), packs)
        some = (t.first for t in alike if len(silent[t.first]) < len(tracks[t.first]))
        of = {first: _files(silent[first]) for first in some}
        yield recorder.noticed_of(alike, "track-silent", LOOK, says, instead + LISTEN, of=of)


def _dead(
    recorder: Recorder,
    takes: list[Take],
    tracks: dict[int, list[Track]],
    packs: Coverage,
    asked: Asked,
) -> Iterator[Finding]:
    """Tracks that go dead within a take, and those that begin late."""
    dead: dict[int, list[tuple[Track, str]]] = {}
    late: dict[int, list[tuple[Track, str]]] = {}
    for take in takes:
        sounding = [track for track in tracks[take.first] if not track.silent]
        # Where all end at once it is the file's end that is missing: said of the file.
        tail = _common_tail(sounding)
        told = filter(asked, sounding)
        gaps = [(track, _gap(track, take, tail) or _pieces(track, take)) for track in told]
        dead[take.first] = [(track, gap) for track, gap in gaps if gap]
        waits = ((track, _seconds(take, track.zeros[0])) for track, gap in gaps if not gap)
        mute = _mute(take, sounding)
        late[take.first] = [(track, time) for track, time in waits if time and not mute]
    for alike, says, where in _by_tracks(recorder, takes, dead, "goes dead within the take"):
        its = [(take, [track for track, _ in dead[take.first]]) for take in alike]
        do, of = _instead(its, packs) + LISTEN, {t.first: _files(tracks) for t, tracks in its}
        yield recorder.noticed_of(alike, "track-dead", LOOK, says, do, where, of)
    for alike, says, where in _by_tracks(
        recorder, takes, late, "exactly zero before the first sound"
    ):
        of = {take.first: _files(track for track, _ in late[take.first]) for take in alike}
        yield recorder.noticed_of(alike, "track-late", NOTE, says, "", where, of)


def _mostly_silent(
    recorder: Recorder, takes: list[Take], tracks: dict[int, list[Track]]
) -> Iterator[Finding]:
    """Takes that have sound on no track for more than half of their time: no microphone is so."""
    mute = {take.first: _mute(take, tracks[take.first]) for take in takes}
    says = "exactly zero on every track for more than half of its time, before the first sound"
    for alike, _ in recorder.alike((take, says) for take in takes if mute[take.first]):
        told = says if len(alike) > 1 else f"{says} ({mute[alike[0].first]})"
        where = {take.first: mute[take.first] for take in alike}
        yield recorder.noticed_of(alike, "track-late", LOOK, told, LISTEN, where)


def _mute(take: Take, tracks: Iterable[Track]) -> str:
    """The time before the first sound on any track, if that is more than half; else ""."""
    sounding = [track for track in tracks if not track.silent]
    frames = min((track.zeros[0] for track in sounding), default=0)
    most = max((track.frames for track in sounding), default=0)
    return _seconds(take, frames) if frames * 2 > most else ""


def _by_tracks(
    recorder: Recorder, takes: list[Take], odd: dict[int, list[tuple[Track, str]]], says: str
) -> Iterator[tuple[list[Take], str, dict[int, str]]]:
    """Takes of a card in which the same tracks are so, as one of playback is where a song ends.

    What is said of them, and of each take beside its name.
    """
    named = (
        (take, _listed([track.name for track, _ in odd[take.first]]))
        for take in takes
        if odd[take.first]
    )
    for alike, names in recorder.alike(named):
        if len(alike) > 1:
            where = {take.first: _listed([how for _, how in odd[take.first]]) for take in alike}
            yield alike, f"{says}: {names}", where
        else:
            told = [f"{track.name} ({how})" for track, how in odd[alike[0].first]]
            yield alike, f"{says}: {_listed(told)}", {}


def _files(tracks: Iterable[Track]) -> tuple[int, ...]:
    """Those of a take's set that have these tracks, in its first part."""
    return tuple(dict.fromkeys(track.pieces[0][0].id for track in tracks))


def _instead(lacking: Iterable[tuple[Take, list[Track]]], packs: Coverage) -> str:
    """Which packs have the tracks that these takes lack."""
    found = (
        told(cover, take)
        for take, tracks in lacking
        for track in tracks
        for cover in packs.covering(take, track.said)
    )
    return "".join(f"{one}. " for one in islice(dict.fromkeys(found), NAMED))


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return ", ".join(names[:NAMED]) + more


def _common_tail(sounding: list[Track]) -> int:
    """Frames in which all of them are zero at their end."""
    return min((track.zeros[2] for track in sounding), default=0)


def _gap(track: Track, take: Take, tail: int) -> str:
    """The longest time of zeros behind a sound, in words, but for `tail` frames; "" if short."""
    _, between, behind = track.zeros
    longest = max(between, behind - tail)
    text = _seconds(take, longest)
    at_end = text and longest == behind - tail
    return f"{text} at its end{track.last(behind)[1]}" if at_end else text


def _pieces(track: Track, take: Take) -> str:
    """The time that it is zero between its sounds, if that is most of it, as of a mute receiver."""
    longest = track.zeros[1]
    if track.loudest < NOISE or longest < PIECE * take.sample_rate:
        return ""
    text = _seconds(take, track.within) if track.within * 2 > track.frames else ""
    return f"{text} in all, in pieces of {longest / take.sample_rate:.1f} s at most" if text else ""


def _seconds(take: Take, frames: int) -> str:
    """So many frames in words; "" where they are too few to be said."""
    if not take.sample_rate or frames < DEAD * take.sample_rate:
        return ""
    return f"{frames / take.sample_rate:.1f} s"


def _tail(index: Mapping[int, Standing], tracks: list[Track]) -> Iterator[Finding]:
    """All tracks of a take end in zeros: said of the file in which they begin."""
    sounding = [track for track in tracks if not track.silent]
    tail = _common_tail(sounding)
    if not tail:
        return
    track = min(sounding, key=lambda one: one.zeros[2])
    recording, since = track.last(tail)
    made = recording.description.format
    if made is None or tail < TAIL * made.sample_rate:
        return
    whose = "its" if len(track.pieces) == 1 else "its take's"
    says = (
        f"{whose} last {tail / made.sample_rate:.1f} s are exactly zero on every track{since}, as "
        "where a card was filled ahead and lost power"
    )
    do = "Listen to its end. Look for the rest on the backup card and in the recorder."
    yield of_file(index[recording.id], "zero-tail", LOOK, says, do)


def _file(standing: Standing) -> Iterator[Finding]:
    recording = standing.recording
    yield from _unheard(standing)
    channels = channels_of(recording.sound) if recording.sound else ()
    yield from _loud(standing, channels)
    odd = [name_of(recording, n) for n, channel in enumerate(channels) if channel.not_finite]
    if odd:
        says = f"values that are no numbers on {_listed(odd)}"
        yield of_file(standing, "not-numbers", LOOK, says, "Listen to it, and tell post.")


def _unheard(standing: Standing) -> Iterator[Finding]:
    """Of what was not measured nothing else is said, and that is said."""
    if unmeasured(standing.recording) and standing.copies:
        says = "its audio was not measured yet: nothing is said of silence and clipping"
        do = "Leave a drive in that has it: it is measured by itself. Or listen to it."
        yield of_file(standing, "sound-unmeasured", LOOK, says, do)
    if why := _unmeasurable(standing.recording):
        about = "its length, silence" if coding(standing.recording.description) else "silence"
        says = f"its audio cannot be measured ({why}): nothing is said of {about} and clipping"
        yield of_file(standing, "sound-unmeasured", LOOK, says, "Listen to it.")


def _loud(standing: Standing, channels: tuple[Channel, ...]) -> Iterator[Finding]:
    """Waves that were cut off at full scale, and those of float that go on above it."""
    sound, clipped, above = standing.recording.sound, [], []
    for number, channel in enumerate(channels):
        if sound is not None and sound.coding is not Coding.INTEGER and channel.peak > 1:
            name = name_of(standing.recording, number)
            above.append(f"{name} (up to {20 * log10(channel.peak):.1f} dB)")
        elif channel.clipped:
            clipped.append(f"{name_of(standing.recording, number)} ({channel.clipped})")
    if clipped:
        yield of_file(standing, "clipped", NOTE, f"samples at full scale: {_listed(clipped)}")
    if above:
        says = f"goes above full scale, and nothing is lost of it in float: {_listed(above)}"
        do = "Tell post: it is cut off where it is made an integer file before it is lowered."
        yield of_file(standing, "above-full-scale", NOTE, says, do)


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
