"""One file's entry in the manifest."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from takehold.decide.day import DATED
from takehold.decide.looked_into import coding
from takehold.decide.manifest_levels import told
from takehold.decide.place import day_folder
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.compressed import FLAC, MP3
from takehold.formats.names import display, is_shown, shown
from takehold.formats.timecode import label, rate_name
from takehold.formats.wave import ENCODINGS
from takehold.model.finding import Relation
from takehold.model.recording import Copy, Load, Reading, Recording
from takehold.model.sound import Description, Kind, Sound, Track

COMPRESSED = {FLAC: "FLAC", MP3: "MP3"}
# What the figure of a counterpart counts.
FRAMES_KEYS = {
    Relation.SHORT: "missing_frames",
    Relation.LONGER: "further_frames",
    Relation.DIFFERENT: "first_difference_frame",
}
# The schema's limit for a text.
TEXT_CAP = 16_384


def file_entry(
    standing: Standing, view: DayStanding, production: str, stamp: Callable[[int], str]
) -> dict[str, object]:
    """What is known of one file that was read; `stamp` writes a moment."""
    recording = standing.recording
    digests = recording.digests
    assert digests is not None
    folder = day_folder(production, view.day) + b"/"
    return {
        "load": recording.load,
        **named("path", recording.path),
        **named("place", recording.place.removeprefix(folder)),
        "size": recording.stamp.size,
        "mtime": _time(recording.stamp.mtime_ns, stamp),
        "version": recording.version,
        "current": standing.current,
        "xxh64": digests.xxh64,
        "sha256": digests.sha256,
        "audio": _audio(recording.description, recording.sound),
        **_compressed(recording.description),
        **_odd_date(recording.description),
        "metadata": _metadata(recording.description),
        "reads": [_read(r, stamp) for r in recording.readings],
        "copies": [_copy(c, folder, stamp) for c in standing.copies],
        "counterpart": _counterpart(standing, view),
    }


def named(key: str, name: bytes) -> dict[str, object]:
    """A name as text; where it is not UTF-8, escaped, with its bytes in hex beside it."""
    try:
        return {key: name.decode()}
    except UnicodeDecodeError:
        return {key: display(name), f"{key}_hex": name.hex()}


@lru_cache(maxsize=256)  # each copy names its drive
def writable(text: str) -> str:
    """A text of the system's as JSON can hold it: escaped where hidden characters are in it."""
    return text if is_shown(text) else shown(text)


def fitting(text: str) -> str:
    """A text as the schema can hold it: a path of many long names makes a sentence too long."""
    return text[:TEXT_CAP]


def _time(ns: int, stamp: Callable[[int], str]) -> str:
    """A file's time to the ns: a rebuilt catalogue knows the file by it."""
    seconds, rest = divmod(ns, 10**9)
    return f"{stamp(seconds).removesuffix('Z')}.{rest:09d}Z" if rest else stamp(seconds)


def _read(reading: Reading, stamp: Callable[[int], str]) -> dict[str, object]:
    return {
        "at": stamp(reading.at),
        "from": reading.seen.value,
        "xxh64": reading.digests.xxh64,
        "sha256": reading.digests.sha256,
    }


def _copy(copy: Copy, folder: bytes, stamp: Callable[[int], str]) -> dict[str, object]:
    return {
        "destination": copy.destination,
        "identity": writable(copy.root),
        **named("path", copy.path.removeprefix(folder)),
        "proven_at": stamp(copy.proof.at),
        "read_back": copy.proof.seen.value,
        "durable": copy.proof.durable,
    }


def _audio(description: Description, sound: Sound | None) -> dict[str, object] | None:
    made = description.format
    if made is None or sound is None:
        return None
    named_by = COMPRESSED if description.kind is Kind.COMPRESSED else {}
    return {
        "encoding": (ENCODINGS | named_by).get(made.tag, f"tag {made.tag}"),
        "channels": made.channels,
        "sample_rate": made.sample_rate,
        "bits": made.bits,
        "blocks" if coding(description) else "frames": sound.frames,
        "digest": sound.digest,
        **told(sound),
    }


def _compressed(description: Description) -> dict[str, object]:
    """What the header of a compressed file says, nothing for others."""
    made = description.format
    if description.kind is not Kind.COMPRESSED or made is None:
        return {}
    said: dict[str, object] = {
        "encoding": COMPRESSED[made.tag],
        "channels": made.channels,
        "sample_rate": made.sample_rate,
    }
    known = {"bits": made.bits, "frames": description.frames}
    return {"compressed": said | {key: count for key, count in known.items() if count}}


def _odd_date(description: Description) -> dict[str, object]:
    """What was odd about its date at its first sight, nothing for others."""
    odd = [c for c in description.complaints if c.code in DATED]
    return {"odd_date": {"code": odd[0].code, "says": shown(odd[0].detail)}} if odd else {}


def _metadata(description: Description) -> dict[str, object]:
    said = description.metadata
    made = description.format
    texts = {
        "project": said.project,
        "scene": said.scene,
        "take": said.take,
        "tape": said.tape,
        "note": said.note,
        "file_uid": said.file_uid,
        "family_uid": said.family_uid,
        "set_index": said.set_index,
        "parent_uid": said.parent_uid,
        "parent_name": said.parent_name,
        "originator": said.originator,
        "date": said.date,
        "time": said.time,
    }
    facts: dict[str, object] = {k: v[:TEXT_CAP] for k, v in texts.items() if v}
    if said.circled:
        facts["circled"] = True
    if said.total_files is not None:
        facts["total_files"] = said.total_files
    if said.time_reference is not None:
        facts["time_reference"] = str(said.time_reference)
    if said.timecode_rate is not None:
        facts["timecode_rate"] = rate_name(said.timecode_rate)
        if said.time_reference is not None and made is not None and made.sample_rate:
            facts["start_timecode"] = label(
                said.time_reference, made.sample_rate, said.timecode_rate
            )
    if said.types:
        facts["types"] = [word[:TEXT_CAP] for word in said.types]
    if said.tracks:
        facts["tracks"] = [_track(t) for t in said.tracks]
    return facts


def _track(track: Track) -> dict[str, object]:
    name = track.name[:TEXT_CAP]
    return {"channel": track.channel, "interleave": track.interleave, "name": name}


def _counterpart(standing: Standing, view: DayStanding) -> dict[str, object] | None:
    answer = standing.answer
    if answer is None:
        return None
    entry: dict[str, object] = {"relation": answer.relation.value}
    found = (view.of(number) for number in answer.others)
    named_ones = [referred(other.recording, other.load, view.day) for other in found if other]
    if named_ones:
        entry |= named_ones[0]
    if named_ones[1:]:
        entry["also"] = named_ones[1:]
    key = FRAMES_KEYS.get(answer.relation)
    if key is not None and answer.frames is not None:
        entry[key] = answer.frames
    if answer.since is not None:
        entry["missing_from_frame"] = answer.since
    if answer.channels:
        entry["channels"] = list(answer.channels)
    if answer.alone:
        entry["alone"] = list(answer.alone)
    keys = ("residual_db", "correlation", "duration_difference")
    figures = {key: getattr(answer, key) for key in keys}
    return entry | {name: figure for name, figure in figures.items() if figure is not None}


def referred(recording: Recording, load: Load, day: str) -> dict[str, object]:
    """A file that an entry of `day` speaks of; one of another day is in that day's manifest."""
    if recording.day == day:
        return {"load": load.id, **named("path", recording.path)}
    read = recording.digests
    return {
        "day": recording.day,
        "card": writable(load.label),
        **named("path", recording.path),
        "sha256": read.sha256 if read else "",
    }
