"""Canonical JSON, and reading JSON without trust."""

import pytest

from takehold.formats.canonical import DEPTH, LARGEST_INT, canonical, parse
from takehold.model.errors import Malformed

CAP = 1 << 20


def test_keys_are_sorted_and_nothing_is_put_between() -> None:
    assert canonical({"b": [1, None, True], "a": "ü"}) == '{"a":"ü","b":[1,null,true]}'.encode()


@pytest.mark.parametrize(
    "value",
    [
        float("nan"),
        float("inf"),
        2**53,
        -(2**53),
        "\ud800",
        {"\udfff": 1},
        b"raw",
        {1: 2},
        object(),
    ],
)
def test_what_has_no_canonical_form_is_refused(value: object) -> None:
    with pytest.raises(Malformed):
        canonical({"a": value})


def test_what_was_written_is_read() -> None:
    value = {"a": [1, -5, 1.5, LARGEST_INT, None, True, "🎤\u2028"], "b": {"c": {}}}
    assert parse(canonical(value), CAP) == value


@pytest.mark.parametrize(
    ("raw", "word"),
    [
        (b'{"a":1,"a":2}', "twice"),
        (b'{"a":1,"\\u0061":2}', "twice"),
        (b'[{"b":{"a":1,"a":1}}]', "twice"),
        (b"[NaN]", "NaN"),
        (b"[-Infinity]", "-Infinity"),
        (b"[1e999]", "too large"),
        (b"[9007199254740992]", "2^53-1"),
        (b"[-9007199254740992]", "2^53-1"),
        (b"[" + b"9" * 100_000 + b"]", "2^53-1"),
        (b'["\\ud800"]', "surrogate"),
        (b'{"\\udc00":1}', "surrogate"),
        (b'["\xff"]', "UTF-8 from byte 2"),
        (b'["\xed\xa0\x80"]', "UTF-8"),
        (b'\xef\xbb\xbf{"a":1}', "not JSON"),
        (b'{"a":1} x', "column 9"),
        (b"{'a':1}", "not JSON"),
        (b'["a\nb"]', "not JSON"),
        (b"", "not JSON"),
        (b"[" * 100_000, "too deep"),
        (b"[" * 100_000 + b"]" * 100_000, "too deep"),
    ],
)
def test_anything_but_plain_json_is_refused_in_a_sentence(raw: bytes, word: str) -> None:
    with pytest.raises(Malformed) as caught:
        parse(raw, CAP)
    assert word in caught.value.says


def test_depth_has_a_limit() -> None:
    assert parse(b"[" * DEPTH + b"]" * DEPTH, CAP) is not None
    with pytest.raises(Malformed, match="levels deep"):
        parse(b"[" * (DEPTH + 1) + b"]" * (DEPTH + 1), CAP)


def test_size_has_a_limit() -> None:
    assert parse(b"[1]", 3) == [1]
    with pytest.raises(Malformed, match="4 bytes; at most 3"):
        parse(b"[12]", 3)
