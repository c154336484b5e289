"""Walks the chunks of RIFF, RF64 and BW64 files, whatever their sizes claim.

Layouts: RIFF (IBM/Microsoft 1991), `ds64` (EBU Tech 3306, ITU-R BS.2088). Every size is held
against the size of the file; nothing is read or allocated because a file claims it.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from takehold.model.sound import Complaint

ReadAt = Callable[[int, int], bytes]
"""(offset, length) -> at most `length` bytes from `offset`, fewer at the end of the file only."""

FORMS = (b"RIFF", b"RF64", b"BW64")
IN_DS64 = 0xFFFFFFFF
MAX_CHUNKS = 4096
MAX_DS64 = 28 + 12 * 64
MAX_TOLD = 8  # oddities named one by one; more of them tell nothing new
# Chunks of RIFF 1991, EBU Tech 3285 and its supplements, ITU-R BS.2088 and the iXML specification.
KNOWN = frozenset(
    {
        *(b"fmt ", b"data", b"fact", b"cue ", b"plst", b"LIST", b"JUNK", b"bext", b"iXML"),
        *(b"mext", b"qlty", b"levl", b"link", b"axml", b"chna", b"bxml", b"sxml"),
    }
)


class NotWave(ValueError):
    """The bytes are no RIFF, RF64 or BW64 file of form WAVE."""


@dataclass(frozen=True, slots=True)
class Chunk:
    """A chunk: `offset` of its body, the bytes it claims and those of them that are there."""

    id: bytes
    offset: int
    claimed: int
    present: int


@dataclass(frozen=True, slots=True)
class Walk:
    """What the walk met, in file order."""

    form: str
    chunks: tuple[Chunk, ...]
    complaints: tuple[Complaint, ...]

    def first(self, chunk_id: bytes) -> Chunk | None:
        """The first chunk of that id."""
        return next((c for c in self.chunks if c.id == chunk_id), None)


@dataclass(slots=True)
class _Trail:
    """The walk under way; `end` is where the next chunk would begin."""

    chunks: list[Chunk] = field(default_factory=list)
    end: int = 12
    odd: list[str] = field(default_factory=list)
    untrue: list[str] = field(default_factory=list)
    unfinished: list[str] = field(default_factory=list)

    def has_data(self) -> bool:
        return any(c.id == b"data" for c in self.chunks)

    def complaints(self) -> tuple[Complaint, ...]:
        """One for each sort, so that a hostile file cannot make thousands."""
        sorts = {
            "header-unfinished": self.unfinished,
            "header-untrue": self.untrue,
            "header-odd": self.odd,
        }
        return tuple(
            Complaint(code, "; ".join(told[:MAX_TOLD])) for code, told in sorts.items() if told
        )


def walk(read: ReadAt, size: int) -> Walk:
    """All chunks of a file of `size` bytes.

    Walks to the end of the file, not to the end that the RIFF size claims. Raises NotWave.
    """
    head = read(0, 12)
    form = head[:4]
    if len(head) < 12 or form not in FORMS or head[8:] != b"WAVE":
        raise NotWave(f"begins with {shown(head)}")
    riff_size = int.from_bytes(head[4:8], "little")
    long_sizes = {} if form == b"RIFF" else _ds64(read)
    trail = _follow(read, size, long_sizes)
    _judge_empty_data(trail, size)
    _judge_order(trail)
    if riff_size == IN_DS64 and b"RIFF" not in long_sizes:
        trail.unfinished.append("RIFF size 0xFFFFFFFF without ds64")
    else:
        long_size = long_sizes.get(b"RIFF", 0)
        _judge_riff_size(trail, long_size if riff_size == IN_DS64 else riff_size, size)
    if form != b"RIFF" and not long_sizes:
        trail.odd.append(f"{form.decode()} without ds64")
    return Walk(form.decode(), tuple(trail.chunks), trail.complaints())


def shown(raw: bytes) -> str:
    """Bytes for people: printable ASCII, the rest escaped."""
    return repr(raw)[2:-1]


def _ds64(read: ReadAt) -> Mapping[bytes, int]:
    """64-bit sizes by chunk id, of `RIFF` and `data` too. 24 bytes without a table do occur."""
    head = read(12, 8)
    if len(head) < 8 or head[:4] != b"ds64":
        return {}
    claimed = int.from_bytes(head[4:], "little")
    body = read(20, min(claimed, MAX_DS64))
    if len(body) < 24:
        return {}
    riff_size, data_size = struct.unpack_from("<QQ", body)
    entries = min(int.from_bytes(body[24:28], "little"), (len(body) - 28) // 12)
    table = dict(struct.unpack_from("<4sQ", body, 28 + 12 * n) for n in range(max(entries, 0)))
    return {**table, b"RIFF": riff_size, b"data": data_size}


def _follow(read: ReadAt, size: int, long_sizes: Mapping[bytes, int]) -> _Trail:
    """From chunk to chunk; each step is at least 8 bytes forward."""
    trail = _Trail()
    while size - trail.end >= 8 and len(trail.chunks) < MAX_CHUNKS:
        head = read(trail.end, 8)
        if len(head) < 8:
            break
        chunk_id = head[:4]
        if not _printable(chunk_id) and trail.has_data():
            break
        short = int.from_bytes(head[4:], "little")
        claimed = long_sizes.get(chunk_id, short) if short == IN_DS64 else short
        body = trail.end + 8
        chunk = Chunk(chunk_id, body, claimed, min(claimed, size - body))
        trail.chunks.append(chunk)
        _judge_chunk(trail, chunk, short == IN_DS64 and chunk_id not in long_sizes)
        trail.end = _next(read, size, chunk, trail)
    _judge_rest(trail, size)
    return trail


def _judge_rest(trail: _Trail, size: int) -> None:
    """What lies after the last chunk: crumbs are harmless, more may be audio nobody counted."""
    rest = size - trail.end
    if rest >= 8 and len(trail.chunks) == MAX_CHUNKS:
        trail.odd.insert(0, f"more than {MAX_CHUNKS} chunks")  # eight are told; this one is
    elif rest:
        told = f"{rest} bytes from {trail.end} on are no chunk"
        (trail.untrue if rest >= 8 else trail.odd).append(told)


def _judge_chunk(trail: _Trail, chunk: Chunk, open_ended: bool) -> None:
    name = shown(chunk.id)
    if open_ended and chunk.id == b"data":
        trail.unfinished.append("data size 0xFFFFFFFF without ds64")
    elif chunk.present < chunk.claimed:
        trail.untrue.append(f"{name} claims {chunk.claimed} bytes, {chunk.present} are there")
    if not _printable(chunk.id) or chunk.id in (b"list", b"junk"):
        trail.odd.append(f"chunk id {name}")


def _next(read: ReadAt, size: int, chunk: Chunk, trail: _Trail) -> int:
    """Where the next chunk begins: after the pad byte of an odd one, unless it was left out."""
    end = chunk.offset + chunk.present
    if chunk.present % 2 == 0 or chunk.present < chunk.claimed:
        return end
    peek = read(end, 9)
    if end == size or _likely(peek[:8], size - end) > _likely(peek[1:], size - end - 1):
        trail.odd.append(f"{shown(chunk.id)} lacks its pad byte")
        return end
    return end + 1


def _likely(head: bytes, room: int) -> tuple[bool, bool, bool]:
    """How much the 8 bytes look like the head of a chunk, in a file that has `room` for it."""
    chunk_id, claimed = head[:4], int.from_bytes(head[4:], "little")
    named = _printable(chunk_id)
    return chunk_id in KNOWN, named, named and 8 + claimed <= room


def _printable(chunk_id: bytes) -> bool:
    return len(chunk_id) == 4 and chunk_id.isascii() and chunk_id.decode("ascii").isprintable()


def _judge_empty_data(trail: _Trail, size: int) -> None:
    """A data size of 0 is an unfinished header, unless sound chunks follow it to the very end."""
    at = next((n for n, c in enumerate(trail.chunks) if c.id == b"data"), None)
    if at is None:
        return
    data = trail.chunks[at]
    sound = trail.end == size and not trail.untrue and all(_printable(c.id) for c in trail.chunks)
    there = size - data.offset
    if data.claimed or not there or sound:
        return
    trail.unfinished.append(f"data size 0, {there} bytes follow")
    # What was taken for chunks is audio, and what was said of it void.
    trail.chunks[at:] = [replace(data, present=there)]
    trail.odd.clear()
    trail.untrue.clear()
    trail.end = size


def _judge_order(trail: _Trail) -> None:
    """One `fmt `, then one `data`; a reader takes the first of each."""
    order = [c.id for c in trail.chunks if c.id in (b"fmt ", b"data")]
    for chunk_id in (b"fmt ", b"data"):
        if order.count(chunk_id) > 1:
            trail.odd.append(f"{order.count(chunk_id)} chunks of {shown(chunk_id)}")
    if order[:1] == [b"data"] and b"fmt " in order:
        trail.odd.append("fmt stands after data")


def _judge_riff_size(trail: _Trail, claimed: int, size: int) -> None:
    excess = claimed + 8 - size
    told = f"RIFF size {claimed} in a file of {size} bytes"
    if claimed == 0:
        trail.unfinished.append(told)
    elif excess == 8 or (abs(excess) == 1 and _last_is_odd(trail)):
        # 8: the RIFF header itself was counted; 1: the last pad byte was, or was not.
        trail.odd.append(told)
    elif excess and not trail.unfinished:
        trail.untrue.append(told)


def _last_is_odd(trail: _Trail) -> bool:
    return bool(trail.chunks) and trail.chunks[-1].claimed % 2 == 1
