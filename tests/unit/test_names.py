"""Names: shown without harm, and made holdable by every common file system."""

import pytest

from takehold.formats.names import (
    PART_BYTES,
    display,
    good_relative,
    is_shown,
    safe_part,
    safe_path,
    same_key,
    shown,
)
from ways_back import unsafe_part


@pytest.mark.parametrize(
    ("name", "text"),
    [
        (b"12A-T03.wav", "12A-T03.wav"),
        ("Küche 🎤.wav".encode(), "Küche 🎤.wav"),
        (b"\x1b[2J.wav", "\\x1b[2J.wav"),
        (b"a\rb\nc\x7f", "\\x0d".join(("a", "b\\x0ac\\x7f"))),
        ("\u202egpj.wav".encode(), "\\u202egpj.wav"),
        ("a\u200bb\u2028c\u2029d\ufeff".encode(), "a\\u200bb\\u2028c\\u2029d\\ufeff"),
        ("\U000e0041".encode(), "\\U000e0041"),
        ("\u3164.wav".encode(), "\\u3164.wav"),
        (b"\xff\xfe.wav", "\\xff\\xfe.wav"),
        (b"\xed\xa0\x80", "\\xed\\xa0\\x80"),
        (b"a\\b", "a\\\\b"),
    ],
)
def test_hidden_characters_are_shown_as_escapes(name: bytes, text: str) -> None:
    assert display(name) == text
    assert is_shown(text)


def test_a_c1_control_and_a_stray_byte_of_the_same_number_look_different() -> None:
    assert display("\x85".encode()) == "\\u0085"
    assert display(b"\x85") == "\\x85"


def test_text_from_outside_is_shown_like_a_name() -> None:
    assert shown("a\x1bb\\") == "a\\x1bb\\\\"
    assert shown("\udcff") == "\\udcff"
    assert shown("\ud83d") == "\\ud83d"


@pytest.mark.parametrize("text", ["\x1b", "\x9b", "\u202e", "\u2066", "\u200d", "\ud800", "\n"])
def test_text_with_something_hidden_is_not_shown_as_it_is(text: str) -> None:
    assert not is_shown(f"a{text}b")


@pytest.mark.parametrize(
    ("part", "safe"),
    [
        (b"12A-T03.wav", b"12A-T03.wav"),
        ("Küche 🎤.wav".encode(), "Küche 🎤.wav".encode()),
        (b'a"b*c:d<e>f?g\\h|i/j', b"a%22b%2Ac%3Ad%3Ce%3Ef%3Fg%5Ch%7Ci%2Fj"),
        (b"a\x1b\n\x7f\0", b"a%1B%0A%7F%00"),
        (b"\xff.wav", b"%FF.wav"),
        (b"100%.wav", b"100%.wav"),
        (b"100%41.wav", b"100%2541.wav"),
        (b"100%aF.wav", b"100%25aF.wav"),
        (b"a%~b", b"a%25~b"),
        (b"%%41", b"%%2541"),
        (b"%:", b"%%3A"),
        (b"trail.", b"trail%2E"),
        (b"trail..", b"trail.%2E"),
        (b"trail ", b"trail%20"),
        (b".", b"%2E"),
        (b"..", b".%2E"),
        (b"CON", b"%43ON"),
        (b"nul.wav", b"%6Eul.wav"),
        (b"Com1.tar.gz", b"%43om1.tar.gz"),
        (b"aux .wav", b"%61ux .wav"),
        ("COM\u00b9".encode(), "%43OM\u00b9".encode()),
        (b"CONSOLE.wav", b"CONSOLE.wav"),
        (b"COM10.wav", b"COM10.wav"),
        (b".takehold-x.part", b"%2Etakehold-x.part"),
        (b".TAKEHOLD-x.part", b"%2ETAKEHOLD-x.part"),
        (".ta\u212aehold-x".encode(), "%2Eta\u212aehold-x".encode()),
        (b".takehold", b".takehold"),
    ],
)
def test_a_part_is_encoded_only_where_it_must_be_and_comes_back(part: bytes, safe: bytes) -> None:
    assert safe_part(part) == safe
    assert unsafe_part(safe) == part


def test_an_empty_part_gets_a_name_that_no_file_has() -> None:
    assert safe_part(b"") == b"%00"


def test_a_long_part_is_cut_stably_and_keeps_its_extension() -> None:
    long = b"take " * 60 + b".wav"
    cut = safe_part(long)
    assert len(cut) == PART_BYTES
    assert cut.startswith(b"take take ")
    assert cut.endswith(b".wav")
    assert cut == safe_part(long)
    assert cut != safe_part(long + b".wav")
    assert unsafe_part(cut) is None


def test_a_cut_name_meets_no_other_name() -> None:
    """A card may hold a file that is called like the cut form of another."""
    cut = safe_part(b"x" * 300 + b".wav")
    assert safe_part(cut) != cut
    assert unsafe_part(safe_part(cut)) is None or unsafe_part(safe_part(cut)) == cut


@pytest.mark.parametrize("lead", range(8))
def test_a_cut_never_splits_a_character_or_an_escape(lead: int) -> None:
    for body in ("🎤".encode(), b":", b"\xff"):
        cut = safe_part(b"a" * lead + body * 120 + b".wav")
        head = cut.split(b"%~")[0]
        assert len(cut) <= PART_BYTES
        assert safe_part(unsafe_part(head) or b"") == head


def test_a_long_name_without_a_real_extension_is_cut_whole() -> None:
    for long in (b"x" * 300, b"." + b"x" * 300, b"a." + b"b" * 300):
        assert len(safe_part(long)) == PART_BYTES


def test_a_path_is_made_safe_part_by_part() -> None:
    assert safe_path(b"day:1/../CON/a.wav") == b"day%3A1/.%2E/%43ON/a.wav"
    assert safe_path(b"/etc/passwd") == b"%00/etc/passwd"


def test_names_meet_where_case_and_unicode_form_do_not_count() -> None:
    composed, decomposed = "Küche.WAV".encode(), "ku\u0308che.wav".encode()
    assert same_key(composed) == same_key(decomposed)
    assert same_key(b"a.wav") != same_key(b"b.wav")
    assert same_key(b"\xffA") == same_key(b"\xffa") != same_key(b"\xfea")


@pytest.mark.parametrize(
    "path",
    [b"", b"/", b"/a", b"a/", b"a//b", b".", b"..", b"a/../b", b"./a", b"a\0b", b"C:a", b"c:/a",
     b"..\\a", b"a\\..\\b", b"\\a", b"\\\\host\\a", b"a/..\\b"],
)  # fmt: skip
def test_a_path_that_could_leave_its_folder_is_refused(path: bytes) -> None:
    assert not good_relative(path)


@pytest.mark.parametrize("path", [b"a", b"a/b.wav", b"..a/b..", b"...", b"a b", b"\xff", b"-"])
def test_a_path_below_its_folder_is_good(path: bytes) -> None:
    assert good_relative(path)
