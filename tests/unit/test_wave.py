"""The `fmt ` chunk in its four lengths (Microsoft WAVEFORMATEX, WAVEFORMATEXTENSIBLE)."""

import struct

import pytest

from takehold.formats.wave import parse_format
from takehold.model.sound import Complaint, WaveFormat

PCM_24 = WaveFormat(tag=1, channels=2, sample_rate=48000, bits=24, block_align=6)
PLAIN = struct.pack("<HHIIHH", 1, 2, 48000, 288000, 6, 24)
# The GUIDs as published: 00000001-0000-0010-8000-00AA00389B71 and 00000003-...
PCM_GUID = bytes.fromhex("0100000000001000800000aa00389b71")
FLOAT_GUID = bytes.fromhex("0300000000001000800000aa00389b71")
AMBISONIC_GUID = bytes.fromhex("010000002107d3118644c8c1ca000000")


def extensible(guid: bytes) -> bytes:
    return struct.pack("<H", 0xFFFE) + PLAIN[2:] + struct.pack("<HHI", 22, 24, 3) + guid


@pytest.mark.parametrize("tail", [b"", bytes(2), b"\0\0??", struct.pack("<H", 22) + bytes(22)])
def test_plain_bodies_of_16_18_20_and_40_bytes(tail: bytes):
    assert parse_format(PLAIN + tail) == PCM_24


def test_extensible_becomes_the_classic_tag():
    assert parse_format(extensible(PCM_GUID)) == PCM_24
    assert parse_format(extensible(FLOAT_GUID)).tag == 3


def test_an_unknown_subformat_stays_extensible():
    assert parse_format(extensible(AMBISONIC_GUID)).tag == 0xFFFE
    assert parse_format(extensible(PCM_GUID)[:30]).tag == 0xFFFE


@pytest.mark.parametrize("body", [b"", PLAIN[:15], bytes(16), PLAIN[:12] + bytes(4)])
def test_what_gives_no_frames_is_no_format(body: bytes):
    complaint = parse_format(body)
    assert isinstance(complaint, Complaint)
    assert complaint.code == "no-fmt"
