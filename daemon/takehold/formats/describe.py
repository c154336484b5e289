"""What one file says of itself: the chunks, read together into a Description."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

from takehold.formats import bext, compressed, ixml, report_table, riff, wave
from takehold.formats.riff import Chunk, NotWave, ReadAt, Walk
from takehold.model.sound import Complaint, Description, Kind, Metadata, Span, WaveFormat

_GLANCE = 512  # bytes that show whether a file is text
# What a document can hold of a number (RFC 7493, section 2.2): half a million days at 192 kHz.
MOST_SAMPLES = 2**53 - 1


def describe(read: ReadAt, size: int) -> Description:
    """Describe a file of `size` bytes, whatever they are; only the errors of `read` pass through.

    Reads headers only: 1 MiB of iXML at most, a fixed few bytes of every other chunk; and text of
    1 MiB at most, for it may be a sound report.
    """
    if size == 0:
        return _other(Complaint("empty-file", "0 bytes"))
    try:
        walk = riff.walk(read, size)
    except NotWave as error:
        meant = read(0, 4) in riff.FORMS
        if meant:
            return _other(Complaint("not-wave", str(error)))
        known = compressed.describe(read, size)
        return known or _opaque(read, size)
    form = _read_format(read, walk)
    format_ = form if isinstance(form, WaveFormat) else None
    metadata, doubts = _metadata(read, walk, format_)
    data = walk.first(b"data")
    return Description(
        Kind.WAVE,
        format_,
        Span(data.offset, data.present) if data else None,
        _frames(data, format_),
        metadata,
        (
            *walk.complaints,
            *([form] if isinstance(form, Complaint) else []),
            *_data_complaints(data, format_),
            *doubts,
        ),
    )


def same_facts(one: Description, other: Description) -> bool:
    """Whether two reads of a header told the same; what was thought of it may have come later."""
    bare = (replace(said, complaints=()) for said in (one, other))
    return next(bare) == next(bare)


def _opaque(read: ReadAt, size: int) -> Description:
    """A file that is no audio that we know; of a table of text what may be file names in it."""
    may_be = size <= report_table.SIZE_CAP and report_table.is_text(read(0, _GLANCE))
    found = report_table.listing(read(0, size)) if may_be else None
    return Description(
        Kind.OTHER,
        listed=found.names if found else (),
        loosely=found is not None and found.loose,
        besides=found.besides if found else (),
    )


def _other(*complaints: Complaint) -> Description:
    return Description(Kind.OTHER, complaints=complaints)


def _read_format(read: ReadAt, walk: Walk) -> WaveFormat | Complaint:
    chunk = walk.first(b"fmt ")
    if chunk is None:
        return Complaint("no-fmt", "no fmt chunk")
    return wave.parse_format(_body(read, chunk, wave.MAX_BODY))


def _frames(data: Chunk | None, format_: WaveFormat | None) -> int | None:
    """Whole frames; unknown where a block of the codec is not one frame, and there is any."""
    if data is None or format_ is None or (data.present and format_.tag not in wave.FRAMED):
        return None
    return data.present // format_.block_align


def _data_complaints(data: Chunk | None, format_: WaveFormat | None) -> list[Complaint]:
    if data is None:
        return [Complaint("no-data", "no data chunk")]
    framed = format_ is not None and format_.tag in wave.FRAMED
    rest = data.present % format_.block_align if format_ and framed else 0
    if not rest:
        return []
    return [Complaint("frame-cut", f"{rest} bytes after the last whole frame")]


def _metadata(
    read: ReadAt, walk: Walk, format_: WaveFormat | None
) -> tuple[Metadata, list[Complaint]]:
    """Bext and iXML as one, and what is wrong with them."""
    basic = _parsed(read, walk.first(b"bext"), bext.MAX_BODY, bext.parse_bext)
    # One byte more than it takes, so that it can see that there is more.
    rich = _parsed(read, walk.first(b"iXML"), ixml.MAX_BODY + 1, ixml.parse_ixml)
    complaints = [said for said in (basic, rich) if isinstance(said, Complaint)]
    basic = basic if isinstance(basic, Metadata) else Metadata()
    rich = rich if isinstance(rich, Metadata) else Metadata()
    rich = replace(rich, time_reference=_at_file_rate(rich, format_))
    for code, said in (("bext-unreadable", basic), ("ixml-unreadable", rich)):
        if (said.time_reference or 0) > MOST_SAMPLES:
            says = f"{said.time_reference} samples since midnight cannot be right"
            complaints.append(Complaint(code, says))
    basic, rich = _believed(basic), _believed(rich)
    ours, theirs = basic.time_reference, rich.time_reference
    if ours is not None and theirs is not None and ours != theirs:
        says = f"bext TimeReference {ours}, iXML timestamp {theirs}"
        complaints.append(Complaint("metadata-disagrees", says))
    return _merged(basic, rich), complaints


def _believed(said: Metadata) -> Metadata:
    """Without a count of samples that no clock comes to: erased memory reads as all ones."""
    return replace(said, time_reference=None) if (said.time_reference or 0) > MOST_SAMPLES else said


def _parsed(
    read: ReadAt,
    chunk: Chunk | None,
    most: int,
    parse: Callable[[bytes], Metadata | Complaint],
) -> Metadata | Complaint:
    return parse(_body(read, chunk, most)) if chunk else Metadata()


def _at_file_rate(rich: Metadata, format_: WaveFormat | None) -> int | None:
    """The iXML timestamp, counted at the sample rate of `fmt`."""
    stamp, rate = rich.time_reference, rich.timestamp_sample_rate
    if stamp is None or not rate or format_ is None:
        return stamp
    return round(Fraction(stamp * format_.sample_rate, rate))


def _merged(basic: Metadata, rich: Metadata) -> Metadata:
    """Bext wins for what it holds itself, iXML for the rest; where one is silent, the other."""
    known = basic.time_reference is not None
    return Metadata(
        project=rich.project or basic.project,
        scene=rich.scene or basic.scene,
        take=rich.take or basic.take,
        tape=rich.tape or basic.tape,
        circled=basic.circled if rich == Metadata() else rich.circled,
        note=rich.note or basic.note,
        originator=basic.originator or rich.originator,
        description=basic.description or rich.description,
        date=basic.date or rich.date,
        time=basic.time or rich.time,
        time_reference=basic.time_reference if known else rich.time_reference,
        timecode_rate=rich.timecode_rate or basic.timecode_rate,
        timestamp_sample_rate=rich.timestamp_sample_rate,
        file_uid=rich.file_uid,
        family_uid=rich.family_uid,
        total_files=rich.total_files,
        set_index=rich.set_index,
        ubits=rich.ubits or basic.ubits,
        tracks=rich.tracks or basic.tracks,
        types=rich.types,
        parent_uid=rich.parent_uid,
        parent_name=rich.parent_name,
    )


def _body(read: ReadAt, chunk: Chunk, most: int) -> bytes:
    return read(chunk.offset, min(chunk.present, most))
