"""What a manifest tells of one file's content, read again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from takehold.decide.check_file import COMPLAINTS
from takehold.decide.check_report import REPORT_CODES
from takehold.decide.day import DATED
from takehold.decide.manifest_file import COMPRESSED
from takehold.decide.manifest_levels import known_again
from takehold.decide.manifest_read import Entry, each, malformed, original, text, the, whole
from takehold.decide.severity import own_words
from takehold.formats.compressed import form_of
from takehold.formats.timecode import rate_named
from takehold.formats.wave import ENCODINGS, FRAMED
from takehold.model.sound import Complaint, Description, Kind, Metadata, Sound, Track, WaveFormat

TAGS = {encoding: tag for tag, encoding in ENCODINGS.items()}
# One of these is said of each file that is no audio.
OPAQUE = REPORT_CODES | {"content-not-looked-at"}
COMPRESSED_TAGS = {encoding: tag for tag, encoding in COMPRESSED.items()}


def description_in(entry: Entry, noted: Mapping[str, str]) -> Description:
    """What a file said of itself; `noted` has the sentences of its findings by their code."""
    said = the(entry, "metadata", dict)
    known = sorted(noted.keys() & COMPLAINTS.keys())
    complaints = (*(_complaint(code, noted[code]) for code in known), *_odd_date(entry))
    if "compressed" in entry:
        return replace(_compressed(entry), metadata=metadata_in(said), complaints=complaints)
    made, sound = audio_in(entry)
    # An opaque file of which an older version is told has neither audio nor metadata.
    opaque = not OPAQUE.isdisjoint(noted) or not the(entry, "current", bool)
    return Description(
        kind=Kind.OTHER if opaque and made is None and not said else Kind.WAVE,
        format=made,
        frames=sound.frames if sound and made and made.tag in FRAMED else None,
        metadata=metadata_in(said),
        complaints=complaints,
    )


def _compressed(entry: Entry) -> Description:
    """What the header of a compressed file said."""
    header = the(entry, "compressed", dict)
    tag = COMPRESSED_TAGS.get(the(header, "encoding", str))
    if tag is None:
        raise malformed("encoding")
    channels, rate = the(header, "channels", int), the(header, "sample_rate", int)
    made = form_of(tag, channels, rate, whole(header, "bits") or 0)
    return Description(Kind.COMPRESSED, made, frames=whole(header, "frames"))


def _complaint(code: str, says: str) -> Complaint:
    """Its sentence ends with the figures, in brackets."""
    figures = own_words(says).partition(f"{COMPLAINTS[code][1]} (")[2].removesuffix(").")
    return Complaint(code, original(figures).decode("utf-8", "surrogateescape"))


def _odd_date(entry: Entry) -> tuple[Complaint, ...]:
    """What was odd about its date; the findings tell it of the card."""
    if "odd_date" not in entry:
        return ()
    told = the(entry, "odd_date", dict)
    code, says = the(told, "code", str), the(told, "says", str)
    if code not in DATED:
        raise malformed("odd_date")
    return (Complaint(code, original(says).decode("utf-8", "surrogateescape")),)


def audio_in(entry: Entry) -> tuple[WaveFormat, Sound] | tuple[None, None]:
    """A frame's bytes follow from channels and bits; block digests are not told."""
    if entry.get("audio") is None:
        return None, None
    audio = the(entry, "audio", dict)
    encoding, digest = the(audio, "encoding", str), the(audio, "digest", str)
    known = (TAGS | COMPRESSED_TAGS).get(encoding)
    tag = int(encoding.removeprefix("tag ")) if known is None else known
    channels, rate, bits = (the(audio, key, int) for key in ("channels", "sample_rate", "bits"))
    made = WaveFormat(tag, channels, rate, bits, channels * -(-bits // 8))
    count = the(audio, "blocks" if "blocks" in audio else "frames", int)
    return made, known_again(Sound(count, digest, b""), audio)


def metadata_in(said: Entry) -> Metadata:
    """Its metadata."""
    count = text(said, "time_reference")
    return Metadata(
        project=text(said, "project"),
        scene=text(said, "scene"),
        take=text(said, "take"),
        tape=text(said, "tape"),
        circled=said.get("circled") is True,
        note=text(said, "note"),
        originator=text(said, "originator"),
        date=text(said, "date"),
        time=text(said, "time"),
        time_reference=int(count) if count else None,
        timecode_rate=rate_named(text(said, "timecode_rate")),
        file_uid=text(said, "file_uid"),
        family_uid=text(said, "family_uid"),
        total_files=the(said, "total_files", int) if "total_files" in said else None,
        set_index=text(said, "set_index"),
        parent_uid=text(said, "parent_uid"),
        parent_name=text(said, "parent_name"),
        types=tuple(map(str, the(said, "types", list))) if "types" in said else (),
        tracks=tuple(
            Track(the(t, "channel", int), the(t, "interleave", int), the(t, "name", str))
            for t in (each(said, "tracks") if "tracks" in said else ())
        ),
    )
