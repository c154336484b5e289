"""Checksums of a file and the measure of its audio, from one stream of chunks."""

import hashlib
import random

import pytest
import xxhash

from takehold.formats.audio import AudioMeter
from takehold.formats.digest import FileDigest
from takehold.model.sound import BLOCK_FRAMES, Sound, Span, WaveFormat

HEADER, TAIL, ALIGN = 777, 333, 6
AUDIO = random.Random(7).randbytes((BLOCK_FRAMES * 2 + 5) * ALIGN)
# Blocks of a codec (tag 2, Microsoft ADPCM): no channel of it can be measured.
OPAQUE = WaveFormat(2, 2, 48_000, 4, ALIGN)
FILE = bytes(HEADER) + AUDIO + b"x" * TAIL


def measured(raw: bytes, span: Span, step: int) -> Sound:
    meter = AudioMeter(span, OPAQUE)
    for offset in range(0, len(raw), step):
        meter.feed(memoryview(raw)[offset : offset + step], offset)
    return meter.sound()


def expected(audio: bytes) -> Sound:
    block = BLOCK_FRAMES * ALIGN
    parts = [audio[n : n + block] for n in range(0, len(audio), block)]
    digests = b"".join(xxhash.xxh3_64_digest(part) for part in parts)
    return Sound(len(audio) // ALIGN, xxhash.xxh3_128(audio).hexdigest(), digests)


@pytest.mark.parametrize("step", [4096, 288_000, 288_001, 65_537, 1 << 22])
def test_only_the_payload_counts_wherever_chunks_are_cut(step: int):
    assert measured(FILE, Span(HEADER, len(AUDIO)), step) == expected(AUDIO)


def test_a_started_frame_at_the_end_is_left_out():
    assert measured(FILE, Span(HEADER, len(AUDIO) - 1), 4096) == expected(AUDIO[:-ALIGN])


def test_whole_blocks_leave_no_started_one():
    audio = AUDIO[: BLOCK_FRAMES * ALIGN]
    sound = measured(bytes(HEADER) + audio, Span(HEADER, len(audio)), 4096)
    assert sound == expected(audio)
    assert len(sound.blocks) == 8


def test_no_audio_is_measured_as_none():
    assert measured(FILE, Span(HEADER, 0), 4096) == expected(b"")


def test_a_file_that_ends_early_counts_what_was_there():
    assert measured(FILE[: HEADER + 60], Span(HEADER, len(AUDIO)), 100) == expected(AUDIO[:60])


def test_the_first_different_block_shows():
    other = bytearray(FILE)
    other[HEADER + BLOCK_FRAMES * ALIGN] ^= 1
    mine = measured(FILE, Span(HEADER, len(AUDIO)), 1 << 22).blocks
    theirs = measured(bytes(other), Span(HEADER, len(AUDIO)), 1 << 22).blocks
    assert [mine[n : n + 8] == theirs[n : n + 8] for n in (0, 8, 16)] == [True, False, True]


def test_a_gap_is_refused():
    meter = AudioMeter(Span(0, 100), OPAQUE)
    meter.feed(bytes(10), 0)
    with pytest.raises(ValueError, match="10 is next"):
        meter.feed(bytes(10), 20)


def test_file_digest_is_that_of_all_chunks():
    digest = FileDigest()
    digest.update(FILE[:1000])
    digest.update(memoryview(FILE)[1000:])
    assert digest.digests().xxh64 == xxhash.xxh64(FILE).hexdigest()
    assert digest.digests().sha256 == hashlib.sha256(FILE).hexdigest()
