"""The `bext` chunk (EBU Tech 3285) and the lines recorders write into its description."""

import struct

import pytest

from takehold.formats.bext import parse_bext
from takehold.model.sound import Complaint, Metadata, Rate, Track


def bext(
    description: bytes = b"",
    originator: bytes = b"",
    date: bytes = b"2026-03-14",
    time: bytes = b"09:26:53",
    reference: int = 0,
    version: int = 1,
) -> bytes:
    low, high = reference & 0xFFFFFFFF, reference >> 32
    fields = (description, originator, b"", date, time, low, high, version, b"")
    return struct.pack("<256s32s32s10s8sIIH254s", *fields)


def parsed(body: bytes) -> Metadata:
    metadata = parse_bext(body)
    assert isinstance(metadata, Metadata)
    return metadata


def test_fields_stand_at_their_published_offsets():
    metadata = parsed(bext(b"Harbour, wide", b"Mixer 7", reference=0x1_2345_6789))
    assert metadata.description == "Harbour, wide"
    assert metadata.originator == "Mixer 7"
    assert (metadata.date, metadata.time) == ("2026-03-14", "09:26:53")
    assert metadata.time_reference == 0x1_2345_6789


@pytest.mark.parametrize("version", [0, 1, 2, 8, 65535])
def test_any_version_is_read(version: int):
    assert parsed(bext(reference=7, version=version)).time_reference == 7


def test_stale_memory_after_the_nul_is_no_text():
    assert parsed(bext(originator=b"Mixer\0rubbish")).originator == "Mixer"


def test_utf_8_and_latin_1_text():
    assert parsed(bext("Café".encode())).description == "Café"
    assert parsed(bext("Café".encode("latin-1") + b" 2")).description == "Café 2"


def test_a_character_cut_by_the_end_of_the_field_is_left_out():
    assert parsed(bext(originator=b"x" * 31 + "é".encode())).originator == "x" * 31


def test_date_text_is_kept_as_found():
    assert parsed(bext(date=b"BWDate")).date == "BWDate"


def test_description_lines_with_and_without_the_maker_s_letter():
    lines = "sSCENE=12A\r\nTAKE=3\r\nzTAPE=R7\r\nsPROJECT=Lantern Bay\r\nsNOTE=boom=low\r\n"
    metadata = parsed(bext((lines + "sUBITS=$12311801\r\nsCIRCLED=TRUE\r\n").encode()))
    assert (metadata.scene, metadata.take, metadata.tape) == ("12A", "3", "R7")
    assert (metadata.project, metadata.note) == ("Lantern Bay", "boom=low")
    assert (metadata.ubits, metadata.circled) == ("12311801", True)


@pytest.mark.parametrize(
    ("line", "rate"),
    [
        ("sSPEED=023.976-ND", Rate(24000, 1001)),
        ("dSPEED=023.976-NDF", Rate(24000, 1001)),
        ("dFRAMERATE=23.976ND", Rate(24000, 1001)),
        ("SPEED=25.000ND", Rate(25, 1)),
        ("SPEED=029.970-DF", Rate(30000, 1001, drop=True)),
        ("SPEED=fast", None),
    ],
)
def test_rate_lines(line: str, rate: Rate | None):
    assert parsed(bext(line.encode())).timecode_rate == rate


def test_track_lines():
    """A mono of a set names its own track only; it is the first channel of its file."""
    assert parsed(bext(b"sTRK1=Boom\r\nsTRK2=Lav\r\n")).tracks == (
        Track(1, 1, "Boom"),
        Track(2, 2, "Lav"),
    )
    assert parsed(bext(b"sTRK4=Lav\r\n")).tracks == (Track(4, 1, "Lav"),)
    assert parsed(bext(b"TRR=Right\r\nTRL=Left\r\n")).tracks == (
        Track(1, 1, "Left"),
        Track(2, 2, "Right"),
    )
    assert parsed(bext(b"TR3=Plant\r\nTRK=?\r\nTRK0=?\r\n")).tracks == (Track(3, 1, "Plant"),)


def test_a_body_that_ends_before_time_reference_is_unreadable():
    complaint = parse_bext(bext()[:345])
    assert isinstance(complaint, Complaint)
    assert complaint.code == "bext-unreadable"
    assert parsed(bext(reference=9)[:346]).time_reference == 9
