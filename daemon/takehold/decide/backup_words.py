"""Words for what a backup does not hold of a recording, or holds otherwise."""

from __future__ import annotations

import math
from fractions import Fraction

from takehold.decide.looked_into import coding
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.levels import channels_of
from takehold.formats.names import brief, display, shown
from takehold.formats.timecode import day_samples, label
from takehold.model.finding import Counterpart, Relation
from takehold.model.recording import Recording
from takehold.model.sound import Coding

# A correlation below it shows nothing of one sound. Chosen, no source.
SHOWN = 0.2
STRETCHES = 4  # missing ones that are told one by one
HIGHER = "a higher"


def full_name(standing: Standing) -> str:
    """The file as a person knows it: the card and the path on it."""
    return f"{shown(standing.load.label)}/{display(standing.recording.path)}"


def quality(mine: Standing, its: Standing | None) -> str:
    """Of two that are one sound and not equal: `a lower` quality, `a higher`, or `another`.

    By their bits; a lossy coding has none.
    """
    made = [s.recording.description.format for s in (mine, its) if s is not None]
    bits = [form.bits for form in made if form is not None]
    if len(bits) < 2 or bits[0] == bits[1]:
        return "another"
    return "a lower" if bits[1] < bits[0] else HIGHER


def unshown(answer: Counterpart) -> bool:
    """Whether all that is held of it lies within the error of fewer bits: nothing of its sound."""
    below, alike = answer.residual_db, answer.correlation
    return below is not None and below >= 0 and (alike is None or alike < SHOWN)


def cut_peaks(mine: Standing, its: Standing | None, answer: Counterpart) -> str:
    """By how much a float recording goes over full scale, which the backup's integers cannot."""
    sound, held = mine.recording.sound, its.recording.sound if its else None
    if sound is None or held is None or sound.coding is held.coding:
        return ""
    lacking = {*answer.channels, *answer.alone}
    peaks = [c.peak for n, c in enumerate(channels_of(sound), 1) if n not in lacking]
    peak = max(peaks, default=0)
    if held.coding is not Coding.INTEGER or peak <= 1:
        return ""
    return f"; peaks of up to {20 * math.log10(peak):.1f} dB over full scale are cut off in it"


def lower_quality(standing: Standing, answer: Counterpart) -> str:
    """The figures of a backup of fewer bits, or a lossy one; "" of others."""
    below = answer.residual_db
    figures = []
    if below is not None:
        way = f"{-below:.1f} dB below it" if below < 0 else f"{below:.1f} dB above it"
        figures = [f"what differs lies {way}"]
    figures += [f"correlation {answer.correlation:.4f}"] if answer.correlation is not None else []
    longer = answer.duration_difference
    if figures and longer and answer.relation is Relation.REDUCED:  # else it is told how much
        way = "longer" if longer > 0 else "shorter"
        figures.append(f"{seconds(standing, abs(longer))} {way} than this file")
    return ", ".join(figures)


def told_by(answer: Counterpart, view: DayStanding) -> str:
    """Which other file of a take tells where it differs, "" where this one does, or none.

    A comparison goes on for no channel behind that.
    """
    other = view.of(answer.others[0]) if answer.others and answer.frames is None else None
    mates = other.answer.others if other and other.answer else ()
    for mate in filter(None, map(view.of, mates)):
        found = mate.answer
        if found and found.relation is answer.relation and found.frames is not None:
            return full_name(mate)
    return ""


def further(standing: Standing, answer: Counterpart, view: DayStanding) -> str:
    """What the backup holds beyond it; a file that ends with the backup's is not cut itself."""
    says = f"the backup holds {seconds(standing, answer.frames)} more"
    if all(answer.beyond):
        return f"{says}, {around(standing, answer)}: this file is cut"
    its = view.of(answer.others[-1]) if answer.others else None
    ends = [_end(one.recording) for one in (standing, its) if one is not None]
    if not answer.later and len(ends) == 2 and ends[0] is not None and ends[0] == ends[1]:
        return f"{says}, from before this file begins"
    return f"{says}: this file is cut"


def _end(recording: Recording) -> Fraction | None:
    """Where it ends, in seconds of the timecode day."""
    said, made = recording.description.metadata, recording.description.format
    frames, begin = recording.description.frames, said.time_reference
    day = day_samples(made.sample_rate, said.timecode_rate) if made else 0
    if made is None or frames is None or begin is None or not day:
        return None
    return Fraction((begin + frames) % day, made.sample_rate)


def lacks(standing: Standing, answer: Counterpart, who: str = "the backup") -> str:
    """How many seconds a short backup lacks, where, and of which tracks."""
    total, since = standing.recording.description.frames, answer.since
    at_end = since is None or total is None or since + (answer.frames or 0) >= total
    holds = "the beginning" if at_end and not answer.missing else "a part"
    are = "is" if answer.frames == 1 else "are"
    missing = f"{seconds(standing, answer.frames)} {are} missing"
    if answer.missing:
        told = answer.missing[:STRETCHES]
        each = (f"{seconds(standing, end - n)}{from_there(standing, n)}" for n, end in told)
        more = len(answer.missing) - len(told)
        missing += f": {', and '.join(each)}" + (f" and in {more} more places" if more else "")
    else:
        missing += (" at its end" if at_end else "") + from_there(standing, since)
    return f"{who} holds {holds} only; {missing}{on_tracks(standing, answer.channels)}"


def around(standing: Standing, answer: Counterpart) -> str:
    """What the backup holds before this file begins, and behind its end; "" for nothing."""
    where = zip(answer.beyond, ("before it begins", "behind its end"), strict=True)
    return " and ".join(f"{seconds(standing, more)} {place}" for more, place in where if more)


def displaced(standing: Standing, answer: Counterpart) -> str:
    """That the sound of both files does not lie as their TimeReferences say."""
    if not answer.later:
        return ""
    way = "later" if answer.later > 0 else "earlier"
    says = f"; its sound lies {seconds(standing, abs(answer.later))} {way} than both"
    return f"{says} TimeReferences say"


def undecoded(standing: Standing, answer: Counterpart, view: DayStanding) -> str:
    """Which of the files does not decode, as far as they were measured; else what was found."""
    if answer.residual_db is not None and answer.correlation is None:
        return "they are too short to show that both are of one take"
    if figures := lower_quality(standing, answer):
        return (
            "nothing shows both to be of one take, for each is loud in places where the other "
            "holds something else, as another take with the same playback does, or a mix with "
            f"more: {figures}"
        )
    theirs = [view.index[number] for number in answer.others]
    for one in (standing, *theirs):
        if name := coding(one.recording.description):
            whose = "this file" if one is standing else "the backup's file"
            return f"the audio of {whose} is coded otherwise ({name}), which is not decoded here"
    if any(_fails_to_decode(other) for other in theirs):
        return "the backup's file does not decode"
    return f"{'this file' if _fails_to_decode(standing) else 'one of the files'} does not decode"


def _fails_to_decode(standing: Standing) -> bool:
    return any(c.code == "not-decoded" for c in standing.recording.description.complaints)


def other_audio(mine: Standing, its: Standing | None, where: str) -> str:
    """What is said where samples differ; of another sample rate, they were not compared."""
    made = [s.recording.description.format for s in (mine, its) if s is not None]
    rates = [form.sample_rate for form in made if form is not None]
    if len(rates) == 2 and rates[0] != rates[1]:
        return f"has a sample rate of {rates[1]} Hz, the primary's {rates[0]} Hz: not comparable"
    return f"holds other audio{where}"


def on_tracks(standing: Standing, channels: tuple[int, ...]) -> str:
    """Which of several tracks are meant, "" where it is the only one, or not known."""
    made = standing.recording.description.format
    if not channels or made is None or made.channels == 1:
        return ""
    return ", on " + tracks(standing, channels)


def tracks(standing: Standing, channels: tuple[int, ...]) -> str:
    """The tracks on these channels of a file, by number and name."""
    named = {t.interleave: t.name for t in standing.recording.description.metadata.tracks}
    words = [f"{n} ({brief(named[n])})" if named.get(n) else str(n) for n in channels]
    return f"{'track' if len(words) == 1 else 'tracks'} {', '.join(words)}"


def seconds(standing: Standing, frames: int | None) -> str:
    """So many frames in seconds, below 1 ms as frames."""
    made = standing.recording.description.format
    if frames is None or made is None or not made.sample_rate:
        return "some seconds"
    if frames * 1000 < made.sample_rate:
        return "1 frame" if frames == 1 else f"{frames} frames"
    return f"{frames / made.sample_rate:.3f} s"


def from_there(standing: Standing, frames: int | None) -> str:
    """The timecode of a frame of the file, else how many seconds lie before it."""
    description = standing.recording.description
    made, metadata = description.format, description.metadata
    if frames is None or made is None or not made.sample_rate:
        return ""
    if metadata.time_reference is None or metadata.timecode_rate is None:
        ms = frames * 1000 // made.sample_rate  # never behind what is meant
        return f", from {ms / 1000:.3f} s on"
    start = metadata.time_reference + frames
    return f", from {label(start, made.sample_rate, metadata.timecode_rate)} on"
