"""Checksum lists: their bytes, and what is refused."""

import pytest

from takehold.formats.checksum_list import read_list, sha256_list, xxh64_list
from takehold.model.errors import Malformed

S = "ab" * 32
X = "0123456789abcdef"


def test_a_list_is_sorted_by_the_names_bytes() -> None:
    raw = sha256_list([(S, b"b.wav"), (S, b"\xff"), (S, b"B.wav")])
    assert raw == f"{S}  B.wav\n{S}  b.wav\n".encode() + S.encode() + b"  \xff\n"


def test_a_name_that_breaks_a_line_is_escaped_as_coreutils_does() -> None:
    assert sha256_list([(S, b"a\\b\nc\rd")]) == b"\\" + S.encode() + b"  a\\\\b\\nc\\rd\n"


def test_the_xxh64_list_leaves_out_and_names_what_it_cannot_hold() -> None:
    raw, left_out = xxh64_list([(X, b"z\ny"), (X, b"a\\b"), (X, b"c\rd")])
    assert raw == X.encode() + b"  a\\b\n"
    assert left_out == (b"c\rd", b"z\ny")


def test_an_empty_list_is_empty() -> None:
    assert sha256_list([]) == b""
    assert xxh64_list([]) == (b"", ())
    assert read_list(b"") == ()


def test_upper_case_and_the_binary_mark_are_read() -> None:
    assert read_list(S.upper().encode() + b" *a.wav\n") == ((S, b"a.wav"),)


@pytest.mark.parametrize(
    ("raw", "word"),
    [
        (f"{S}  a.wav".encode(), "no end"),
        (f"{S}  a.wav\r\n".encode(), "CR LF"),
        (f"{S}  a.wav\n\n".encode(), "Line 2"),
        (f"{S} a.wav\n".encode(), "Line 1"),
        (f"{S}  \n".encode(), "Line 1"),
        (f"{S[:-1]}  a.wav\n".encode(), "Line 1"),
        (f"{S}0  a.wav\n".encode(), "Line 1"),
        (b"\xef\xbb\xbf" + f"{S}  a.wav\n".encode(), "Line 1"),
        (f"# note\n{S}  a.wav\n".encode(), "Line 1"),
        (f"{S}  a\0b\n".encode(), "Line 1"),
        (f"\\{S}  a\\tb\n".encode(), "escape"),
        (f"\\{S}  a\\\n".encode(), "escape"),
        (f"{S}  a.wav\n{S}  a.wav\n".encode(), "twice"),
    ],
)
def test_a_list_in_another_form_is_refused_naming_the_line(raw: bytes, word: str) -> None:
    with pytest.raises(Malformed) as caught:
        read_list(raw)
    assert word in caught.value.says


def test_two_recordings_that_share_a_file_are_one_line() -> None:
    """A name that comes twice would be refused; with two sums it has to be."""
    shared = sha256_list([(S, b"a.wav"), (S, b"a.wav"), (S, b"b.wav")])
    assert read_list(shared) == ((S, b"a.wav"), (S, b"b.wav"))
    with pytest.raises(Malformed):
        read_list(sha256_list([(S, b"a.wav"), ("cd" * 32, b"a.wav")]))
