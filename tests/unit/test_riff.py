"""The chunk walker on well-formed, odd and damaged files (RIFF 1991, EBU Tech 3306)."""

import struct

import pytest

from takehold.formats.riff import MAX_CHUNKS, NotWave, Walk, walk


def chunk(name: bytes, body: bytes, pad: bool = True) -> bytes:
    return name + struct.pack("<I", len(body)) + body + bytes(len(body) % 2 if pad else 0)


FMT = chunk(b"fmt ", struct.pack("<HHIIHH", 1, 1, 48000, 96000, 2, 16))


def riff(*chunks: bytes, size: int | None = None, form: bytes = b"RIFF") -> bytes:
    body = b"WAVE" + b"".join(chunks)
    return form + struct.pack("<I", len(body) if size is None else size) + body


def walked(raw: bytes) -> Walk:
    return walk(lambda offset, length: raw[offset : offset + length], len(raw))


def codes(raw: bytes) -> list[str]:
    return [c.code for c in walked(raw).complaints]


def ids(raw: bytes) -> list[bytes]:
    return [c.id for c in walked(raw).chunks]


def test_sound_file_has_no_complaints():
    walk_ = walked(riff(FMT, chunk(b"data", bytes(10)), chunk(b"LIST", b"INFO")))
    assert walk_.form == "RIFF"
    assert walk_.complaints == ()
    assert [(c.id, c.offset, c.claimed, c.present) for c in walk_.chunks] == [
        (b"fmt ", 20, 16, 16),
        (b"data", 44, 10, 10),
        (b"LIST", 62, 4, 4),
    ]


@pytest.mark.parametrize("raw", [b"", b"RIFF", b"RIFF\4\0\0\0AVI ", b"ID3\4" + bytes(40)])
def test_what_is_no_wave_is_refused(raw: bytes):
    with pytest.raises(NotWave):
        walked(raw)


def test_odd_chunk_with_pad_byte():
    raw = riff(FMT, chunk(b"iXML", b"<a/>\n"), chunk(b"data", bytes(4)))
    assert ids(raw) == [b"fmt ", b"iXML", b"data"]
    assert codes(raw) == []


def test_odd_chunk_without_pad_byte_is_walked_and_noted():
    raw = riff(FMT, chunk(b"iXML", b"<a/>\n", pad=False), chunk(b"data", bytes(4)))
    assert ids(raw) == [b"fmt ", b"iXML", b"data"]
    assert codes(raw) == ["header-odd"]


@pytest.mark.parametrize("low", [0x05, 0x20, 0x45, 0x61, 0x7E, 0xF0])
def test_a_known_chunk_begins_where_the_pad_byte_was_left_out(low: int):
    """Its size may begin with a letter: `iXML` and `ataE` are both printable, one is known."""
    for first, then in ((b"iXML", b"data"), (b"data", b"iXML")):
        raw = riff(FMT, chunk(first, b"<a/>\n", pad=False), chunk(then, bytes(0x100 | low)))
        assert ids(raw) == [b"fmt ", first, then]
        assert codes(raw) == ["header-odd"]


def test_of_two_unknown_chunks_the_one_that_ends_in_the_file_is_taken():
    raw = riff(FMT, chunk(b"abcd", b"odd", pad=False), chunk(b"efgh", b"x" * 0x45))
    assert ids(raw) == [b"fmt ", b"abcd", b"efgh"]
    padded = FMT + chunk(b"abcd", b"odd", pad=False) + b"z" + chunk(b"efgh", b"x" * 0x44)
    assert ids(riff(padded)) == [b"fmt ", b"abcd", b"efgh"]


@pytest.mark.parametrize("counted", [0, 1])
def test_odd_data_at_the_end_without_pad_byte_is_only_odd(counted: int):
    """The RIFF size may count the missing pad byte or not."""
    body = FMT + chunk(b"data", bytes(3), pad=False)
    raw = riff(body, size=4 + len(body) + counted)
    assert codes(raw) == ["header-odd"]
    assert walked(raw).first(b"data").present == 3


def test_riff_size_that_counts_its_own_header_is_only_odd():
    body = FMT + chunk(b"data", bytes(4))
    assert codes(riff(body, size=4 + len(body) + 8)) == ["header-odd"]


def test_wrong_riff_size_is_untrue_and_the_walk_goes_to_the_end_of_the_file():
    raw = riff(FMT, chunk(b"data", bytes(400)), chunk(b"bext", bytes(602)), size=75)
    assert codes(raw) == ["header-untrue"]
    assert ids(raw) == [b"fmt ", b"data", b"bext"]


def test_lower_case_filler_ids_are_odd():
    raw = riff(FMT, chunk(b"junk", bytes(4)), chunk(b"data", bytes(4)))
    assert codes(raw) == ["header-odd"]


def test_file_cut_inside_its_data():
    raw = riff(FMT, chunk(b"data", bytes(1000)))[:500]
    data = walked(raw).first(b"data")
    assert (data.claimed, data.present) == (1000, 500 - 44)
    assert codes(raw) == ["header-untrue"]


@pytest.mark.parametrize("audio", [bytes(999), b"\x01\x80\xff" * 333, b"LIST" + b"\xff" * 995])
@pytest.mark.parametrize("riff_size", [0, None])
def test_data_size_0_before_audio_takes_the_rest(audio: bytes, riff_size: int | None):
    """Silence, noise, and samples that look like a chunk id."""
    raw = riff(FMT, b"data" + bytes(4) + audio, size=riff_size)
    data = walked(raw).first(b"data")
    assert (data.claimed, data.present) == (0, 999)
    assert codes(raw) == ["header-unfinished"]
    assert ids(raw) == [b"fmt ", b"data"]


def test_empty_data_before_sound_chunks_is_really_empty():
    raw = riff(FMT, chunk(b"data", b""), chunk(b"iXML", b"<BWFXML/>"))
    assert walked(raw).first(b"data").present == 0
    assert codes(raw) == []


def test_streaming_sizes_without_ds64_are_unfinished():
    raw = riff(FMT, b"data" + b"\xff" * 4 + bytes(600), size=0xFFFFFFFF)
    assert walked(raw).first(b"data").present == 600
    assert codes(raw) == ["header-unfinished"]


def test_two_data_chunks_are_noted():
    assert codes(riff(FMT, chunk(b"data", bytes(4)), chunk(b"data", bytes(4)))) == ["header-odd"]


def test_fmt_after_data_is_noted():
    assert codes(riff(chunk(b"data", bytes(4)), FMT)) == ["header-odd"]


@pytest.mark.parametrize("form", [b"RF64", b"BW64"])
@pytest.mark.parametrize("ds64_length", [24, 28])
def test_ds64_gives_the_sizes(form: bytes, ds64_length: int):
    """24 bytes, without the table's length, do occur (conformance files of an archive)."""
    size = 4 + 8 + ds64_length + len(FMT) + 8 + 64
    ds64 = chunk(b"ds64", struct.pack("<QQQI", size, 64, 32, 0)[:ds64_length])
    raw = riff(ds64, FMT, b"data" + b"\xff" * 4 + bytes(64), size=0xFFFFFFFF, form=form)
    assert walked(raw).form == form.decode()
    assert walked(raw).first(b"data").claimed == 64
    assert codes(raw) == []


def test_ds64_table_gives_the_size_of_another_chunk():
    table = struct.pack("<4sQ", b"axml", 6)
    fixed = 4 + 8 + 40 + len(FMT) + 8 + 2 + 8 + 6
    ds64 = chunk(b"ds64", struct.pack("<QQQI", fixed, 2, 1, 1) + table)
    axml = b"axml" + b"\xff" * 4 + b"<axml>"
    raw = riff(ds64, FMT, chunk(b"data", bytes(2)), axml, size=0xFFFFFFFF, form=b"RF64")
    assert walked(raw).first(b"axml").claimed == 6
    assert codes(raw) == []


def test_ds64_beyond_the_file_is_untrue():
    ds64 = chunk(b"ds64", struct.pack("<QQQI", 1 << 63, 1 << 62, 0, 0xFFFFFFFF))
    raw = riff(ds64, FMT, b"data" + b"\xff" * 4 + bytes(6), size=0xFFFFFFFF, form=b"RF64")
    data = walked(raw).first(b"data")
    assert (data.claimed, data.present) == (1 << 62, 6)
    assert codes(raw) == ["header-untrue"]


def test_rf64_without_ds64_but_with_true_sizes_is_odd():
    raw = riff(FMT, chunk(b"data", bytes(4)), form=b"RF64")
    assert codes(raw) == ["header-odd"]


def test_real_32_bit_sizes_in_rf64_are_used_as_they_are():
    ds64 = chunk(b"ds64", struct.pack("<QQQI", 0, 0, 0, 0))
    raw = riff(ds64, FMT, chunk(b"data", bytes(4)), form=b"RF64")
    assert walked(raw).first(b"data").claimed == 4
    assert codes(raw) == []


def test_countless_chunks_end_at_the_cap_with_one_complaint():
    raw = riff(FMT, chunk(b"data", bytes(2)), chunk(b"abcd", b"") * (MAX_CHUNKS * 2))
    assert len(walked(raw).chunks) == MAX_CHUNKS


def test_too_many_chunks_are_told_among_many_oddities() -> None:
    """Only some oddities are told; that the rest of the file was not looked at is one of them."""
    raw = riff(FMT, chunk(b"data", bytes(2)), chunk(b"junk", b"") * (MAX_CHUNKS * 2))
    [odd] = [c for c in walked(raw).complaints if c.code == "header-odd"]
    assert f"more than {MAX_CHUNKS} chunks" in odd.detail
    assert codes(raw) == ["header-odd"]


def test_oddities_are_told_once_and_short():
    raw = riff(FMT, *[chunk(b"junk", b"")] * 1000, chunk(b"data", bytes(2)))
    (complaint,) = walked(raw).complaints
    assert len(complaint.detail) < 300


def test_hostile_ids_are_told_escaped():
    raw = riff(chunk(b"\x1b[2J", bytes(4)), FMT, chunk(b"data", bytes(2)))
    assert "\x1b" not in walked(raw).complaints[0].detail


@pytest.mark.parametrize("rest", [bytes(5000), b"\x80\x01\xfe" * 900])
def test_bytes_that_no_size_accounts_for_make_the_header_untrue(rest: bytes):
    """A data size from before the power went: the audio after it was never counted."""
    raw = riff(FMT, chunk(b"data", b"\1\2\3\4"), rest)
    assert ids(raw) == [b"fmt ", b"data"]
    assert codes(raw) == ["header-untrue"]


def test_crumbs_after_the_last_chunk_are_only_odd():
    assert codes(riff(FMT, chunk(b"data", bytes(4)), bytes(2))) == ["header-odd"]


def test_a_file_that_shrinks_while_it_is_walked_ends_the_walk():
    raw = riff(FMT, chunk(b"data", bytes(4)))
    short = walk(lambda offset, length: raw[:40][offset : offset + length], len(raw))
    assert [c.id for c in short.chunks] == [b"fmt "]
