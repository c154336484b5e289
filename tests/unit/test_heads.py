"""engine/heads: a header whose bytes came again needs not be taken apart again (P8)."""

from __future__ import annotations

import pytest

from fakeworld import DAY, take
from takehold.engine.heads import Heads
from takehold.formats.describe import describe
from takehold.model.recording import Recording, Stamp

PATH = b"T01.WAV"


def reading(content: bytes):
    """What reads of the content give."""
    return lambda at, length: content[at : at + length]


def described(heads: Heads, content: bytes) -> Recording:
    """The file as it stands in the inventory."""
    stamp = Stamp(len(content), 5, 5)
    said = heads.describe(reading(content), 1, PATH, stamp)
    return Recording(1, 1, PATH, stamp, 0, DAY, b"x/" + PATH, 1, said)


def test_it_says_what_the_file_says() -> None:
    """The description is formats/describe's own."""
    content = take(1)
    assert described(Heads(), content).description == describe(reading(content), len(content))


def test_the_same_bytes_came_again_once() -> None:
    """What was noted serves one second read, and is forgotten: a third one is taken apart."""
    heads, content = Heads(), take(1)
    known = described(heads, content)
    assert heads.again(reading(content), known)
    assert not heads.again(reading(content), known)


def test_any_other_byte_around_the_sound_is_seen() -> None:
    """Each byte before the sound and behind it, whatever a reader makes of it."""
    content = take(1, frames=40) + b"JUNK\4\0\0\0abcd"
    content = content[:4] + (len(content) - 8).to_bytes(4, "little") + content[8:]
    data = described(Heads(), content).description.data
    assert data is not None
    around = [*range(data.offset), *range(data.offset + data.length, len(content))]
    assert len(around) > 300
    assert around[-1] == len(content) - 1 > data.offset + data.length
    heads = Heads()
    assert heads.again(reading(content), described(heads, content))
    for at in around:
        heads = Heads()
        known = described(heads, content)
        other = content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :]
        assert not heads.again(reading(other), known), at


def test_of_the_sound_nothing_is_compared() -> None:
    """The sound is the checksums' business."""
    heads, content = Heads(), take(1)
    known = described(heads, content)
    assert heads.again(reading(content[:-1] + bytes([content[-1] ^ 1])), known)


@pytest.mark.parametrize(("path", "mtime"), [(b"T02.WAV", 5), (PATH, 6)])
def test_another_file_has_another_head(path: bytes, mtime: int) -> None:
    """Of another path, or written anew since."""
    heads, content = Heads(), take(1)
    known = described(heads, content)
    stamp = Stamp(len(content), mtime, 5)
    other = Recording(2, 1, path, stamp, 0, DAY, b"x/" + path, 1, known.description)
    assert not heads.again(reading(content), other)


@pytest.mark.parametrize("damage", ["unfinished", "no-sound", "no-wave"])
def test_of_a_damaged_file_nothing_is_noted(damage: str) -> None:
    """Where a description may rest on bytes of the sound, it is taken apart again."""
    content = take(1, frames=200)
    at = content.index(b"data") + 4
    spoilt = {
        "unfinished": content[:at] + bytes(4) + content[at + 4 :],
        "no-sound": content[: at - 4],
        "no-wave": b"MOVI" + content[4:],
    }[damage]
    heads = Heads()
    assert not heads.again(reading(spoilt), described(heads, spoilt))


def test_described_anew_the_newer_counts() -> None:
    """A damaged second look leaves nothing of the first."""
    heads, content = Heads(), take(1)
    described(heads, content)
    known = described(heads, b"MOVI" + content[4:])
    assert not heads.again(reading(content), known)
