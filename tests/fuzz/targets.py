"""What hostile bytes may do to a reader: nothing but its documented error, or a result.

One function a reader, from bytes to None. Each raises only on a breach: another exception, a
result that claims what is not there, more reads or more text than the reader promises.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from takehold.decide.place import place_of
from takehold.decide.signed import judge_signature
from takehold.engine.requests import facts_of
from takehold.formats.bext import parse_bext
from takehold.formats.canonical import canonical, parse
from takehold.formats.checksum_list import read_list, sha256_list
from takehold.formats.config import ConfigError, read_config
from takehold.formats.describe import describe
from takehold.formats.ixml import MAX_BODY as IXML_BODY
from takehold.formats.ixml import parse_ixml
from takehold.formats.manifest_doc import read_manifest, read_receipt, receipt_bytes
from takehold.formats.names import (
    PART_BYTES,
    display,
    good_relative,
    is_shown,
    safe_part,
    safe_path,
    shown,
)
from takehold.formats.report_table import NAME_CAP, NAMES_CAP, listing
from takehold.formats.riff import MAX_CHUNKS, MAX_DS64, MAX_TOLD, NotWave, walk
from takehold.formats.signature import read_allowed_signers, read_armour
from takehold.formats.timecode import label
from takehold.formats.wave import MAX_BODY as FMT_BODY
from takehold.formats.wave import parse_format
from takehold.model.errors import BadSignature, EvidenceError, Malformed
from takehold.model.facts import Asked
from takehold.model.sound import Complaint, Metadata
from ways_back import unsafe_part

BEYOND = 1 << 40
TRACKS_CAP = 1 << 17  # `<TRACK/>` takes 8 bytes of the 1 MiB that is read of iXML


class Counted:
    """Bytes as `ReadAt`, telling how often it was asked and how many bytes it gave."""

    def __init__(self, raw: bytes) -> None:
        self._raw = raw
        self.calls = 0
        self.largest = 0

    def __call__(self, offset: int, length: int) -> bytes:
        assert offset >= 0, offset
        assert length >= 0, length
        self.calls += 1
        self.largest = max(self.largest, length)
        return self._raw[offset : offset + length]


def walker(raw: bytes) -> None:
    """`riff.walk`, on a file of that size and on one that shrank since its size was asked."""
    for size in (len(raw), len(raw) + BEYOND):
        read = Counted(raw)
        try:
            found = walk(read, size)
        except NotWave:
            continue
        finally:
            assert read.calls <= 3 * MAX_CHUNKS, read.calls
            assert read.largest <= MAX_DS64, read.largest
        assert len(found.chunks) <= MAX_CHUNKS
        assert all(12 <= c.offset <= c.offset + c.present <= size for c in found.chunks)
        assert all(c.present <= c.claimed or c.id == b"data" for c in found.chunks)
        assert all(len(c.detail) < 100 * MAX_TOLD for c in found.complaints)
        assert all(c.detail.isprintable() for c in found.complaints)


def described(raw: bytes) -> None:
    """The whole description of a file."""
    for size in (len(raw), len(raw) + BEYOND):
        read = Counted(raw)
        found = describe(read, size)
        assert read.calls <= 3 * MAX_CHUNKS + 8, read.calls
        assert read.largest <= IXML_BODY + 1, read.largest
        if found.data is not None:
            assert 0 < found.data.offset <= found.data.offset + found.data.length <= size
        if found.data is not None and found.frames is not None and found.format is not None:
            assert found.frames * found.format.block_align <= found.data.length
        _metadata(found.metadata, len(raw))
        _timecode(found.metadata, found.format.sample_rate if found.format else 0)


def report_table(raw: bytes) -> None:
    """`report_table.listing`."""
    found = listing(raw)
    if found is not None:
        columns = (found.names, *found.besides)
        assert 0 < max(map(len, columns)) <= NAMES_CAP
        assert sum(map(len, found.besides)) <= NAMES_CAP
        names = [name for column in columns for name in column]
        assert all(0 < len(name) <= NAME_CAP for name in names)
        assert sum(map(len, names)) <= len(raw)
        for name in names:
            name.encode()


def fmt(raw: bytes) -> None:
    """`wave.parse_format`."""
    found = parse_format(raw[:FMT_BODY])
    if not isinstance(found, Complaint):
        assert found.channels > 0
        assert found.sample_rate > 0
        assert found.block_align > 0


def bext(raw: bytes) -> None:
    """`bext.parse_bext`."""
    found = parse_bext(raw)
    if isinstance(found, Metadata):
        _metadata(found, len(raw))
        _timecode(found, 48_000)


def ixml(raw: bytes) -> None:
    """`ixml.parse_ixml`."""
    found = parse_ixml(raw)
    if isinstance(found, Metadata):
        _metadata(found, len(raw))
        _timecode(found, found.timestamp_sample_rate or 0)


def _metadata(said: Metadata, length: int) -> None:
    """Nothing expands: all the text together is no longer than the bytes it was read from.

    One byte of Latin-1 makes one character; text that stands in bext twice is read twice.
    """
    texts = (said.project, said.scene, said.take, said.tape, said.note, said.originator)
    texts += (said.description, said.date, said.time, said.file_uid, said.family_uid)
    texts += (said.set_index, said.ubits, *(t.name + t.function for t in said.tracks))
    assert sum(map(len, texts)) <= 2 * length
    assert len(said.tracks) <= TRACKS_CAP
    assert all(is_shown(shown(text)) for text in texts)
    assert said.time_reference is None or said.time_reference >= 0
    assert said.total_files is None or 0 <= said.total_files < 10**10


def _timecode(said: Metadata, sample_rate: int) -> None:
    """What the manifest makes of it: a label for any reference and any rate."""
    if said.time_reference is not None and said.timecode_rate is not None and sample_rate:
        assert is_shown(label(said.time_reference, sample_rate, said.timecode_rate))


def config(raw: bytes) -> None:
    """`config.read_config`: settings or sentences that may be printed."""
    try:
        found = read_config(raw.decode("utf-8", "surrogateescape"), "takehold.toml")
    except ConfigError as error:
        _complaints(error.complaints)
        return
    assert found.sources
    assert found.destinations
    assert 1 <= found.copies_required <= len(found.destinations)
    assert all(not d.folder or good_relative(d.folder) for d in found.destinations)


def _complaints(says: tuple[str, ...]) -> None:
    assert says
    assert not {"\x1b", "\u202e"} & set("".join(says))


def manifest(raw: bytes) -> None:
    """`manifest_doc.read_manifest`: no path that it lets through leaves the day's folder."""
    try:
        found = read_manifest(raw)
    except Malformed as error:
        _sentence(error)
        return
    for file in found.files:
        assert good_relative(file.place)
        assert all(map(good_relative, file.copy_paths))
        assert file.size >= 0
    assert all(map(is_shown, found.refused))
    if found.previous is not None:
        assert good_relative(found.previous.name.encode())


def receipt(raw: bytes) -> None:
    """`manifest_doc.read_receipt`: what was read can be written, and reads the same."""
    try:
        found = read_receipt(raw)
    except Malformed as error:
        _sentence(error)
        return
    assert good_relative(found.name.encode())
    assert all(map(is_shown, (*found.altered, *found.missing, *found.unknown)))
    assert read_receipt(receipt_bytes(found)) == found


def checksum_list(raw: bytes) -> None:
    """`checksum_list.read_list`: what was read can be written, and reads the same."""
    try:
        found = read_list(raw)
    except Malformed as error:
        _sentence(error)
        return
    assert len({name for _, name in found}) == len(found)
    long = [entry for entry in found if len(entry[0]) == 64]
    assert sorted(read_list(sha256_list(long))) == sorted(long)


def json_text(raw: bytes) -> None:
    """`canonical.parse`: what passes has one canonical form, which reads the same."""
    try:
        found = parse(raw, 1 << 20)
    except Malformed as error:
        _sentence(error)
        return
    try:
        form = canonical(found)
    except Malformed:
        return
    try:
        again = parse(form, 1 << 22)
    except Malformed:  # 11e15 is a float, and its canonical form an integer beyond 2^53-1
        assert re.search(rb"[0-9]{16}", form), form
        return
    assert canonical(again) == form


def signature(raw: bytes) -> None:
    """Signatures and signers from a received folder: never good for bytes that nobody signed."""
    for read in (read_armour, read_allowed_signers):
        try:
            read(raw)
        except (Malformed, BadSignature) as error:
            _sentence(error)
    judged = judge_signature(b"nobody signed this", raw, "takehold-manifest", None, raw)
    assert not judged.good
    assert is_shown(judged.says)


def command(raw: bytes) -> None:
    """A stored command in a catalogue that somebody wrote to."""
    for kind in ("ack", "receipt"):
        try:
            facts_of(Asked(1, kind, raw.decode("utf-8", "surrogateescape"), 0))
        except Malformed as error:
            _sentence(error)


def names(raw: bytes) -> None:
    """A name from a card: shown without anything hidden, held by every file system, below."""
    assert is_shown(display(raw))
    safe = safe_part(raw)
    assert len(safe) <= PART_BYTES
    assert good_relative(safe)
    assert b"/" not in safe
    back = unsafe_part(safe)
    assert back is None or not raw or back == raw
    assert good_relative(safe_path(raw))
    place = place_of("Lantern Bay", "2031-05-06", b"SND_A01", raw, 2, frozenset())
    assert good_relative(place)
    assert place.startswith(b"Lantern Bay/2031-05-06/SND_A01/")


def _sentence(error: EvidenceError) -> None:
    """What is said of hostile bytes is short and may be printed."""
    assert is_shown(error.says.replace("\\", "")), error.says
    assert len(error.says) < 4096


TARGETS: dict[str, Callable[[bytes], None]] = {
    f.__name__: f
    for f in (
        walker,
        described,
        report_table,
        fmt,
        bext,
        ixml,
        config,
        manifest,
        receipt,
        checksum_list,
        json_text,
        signature,
        command,
        names,
    )
}
