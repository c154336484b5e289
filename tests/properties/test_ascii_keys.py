"""formats/names.same_key: the short way for ASCII gives what the long way does."""

from __future__ import annotations

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from takehold.formats.names import same_key


@given(st.binary(max_size=40) | st.text(max_size=20).map(lambda t: t.encode("utf-8", "ignore")))
def test_it_is_canonical_caseless_matching(path: bytes) -> None:
    """Unicode Standard, definition D145, in NFC."""
    text = unicodedata.normalize("NFD", path.decode("utf-8", "surrogateescape"))
    assert same_key(path) == unicodedata.normalize("NFC", text.casefold())


def test_all_of_ascii() -> None:
    """Every character of it, also those that are no letters."""
    for code in range(128):
        assert same_key(bytes([code])) == chr(code).casefold()
