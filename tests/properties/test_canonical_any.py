"""Canonical JSON of any value: the bytes that rfc8785 (PyPI, Trail of Bits) writes, or refused."""

from __future__ import annotations

import pytest
import rfc8785
from hypothesis import example, given
from hypothesis import strategies as st

from takehold.formats.canonical import canonical
from takehold.model.errors import Malformed

# Lone surrogates too, and what sorts otherwise by code point than by UTF-16 (RFC 8785, 3.2.3).
TEXTS = st.text() | st.text(st.sampled_from('\x00\x1f\x7f"\\/é\u2028\ue000\U0001f600\ud800'))
LEAVES = (
    st.none()
    | st.booleans()
    | st.integers(-(2**54), 2**54)
    | st.floats()
    | st.floats(-1e-3, 1e-3)
    | st.integers(-(2**70), 2**70).map(float)
    | TEXTS
)
VALUES = st.recursive(
    LEAVES, lambda inner: st.lists(inner) | st.dictionaries(TEXTS, inner) | st.tuples(inner)
)


def by_the_library(value: object) -> bytes | None:
    """What rfc8785 writes, None where it refuses."""
    try:
        return rfc8785.dumps(value)  # type: ignore[arg-type]
    except (rfc8785.CanonicalizationError, UnicodeEncodeError):
        return None


@given(VALUES)
@example({"\ue000": 1, "\U0001f600": 2, "a": -0.0, "b": 1e21, "c": 1e-7, "d": 56.0})
@example([3e-05, 0.0, 2**53 - 1, -(2**53 - 1), True, None])
@example(2**53)
@example(float("nan"))
@example({1: "a"})
@example({"a": {2, 3}})
def test_the_bytes_are_those_of_the_library(value):
    """What it refuses is refused here as well."""
    wanted = by_the_library(value)
    if wanted is None:
        with pytest.raises(Malformed):
            canonical(value)
    else:
        assert canonical(value) == wanted


def without(value: object, names: set[str]) -> object:
    """A copy that lacks these members, at any depth."""
    if isinstance(value, dict):
        return {k: without(v, names) for k, v in value.items() if k not in names}
    if isinstance(value, list):
        return [without(v, names) for v in value]
    return value


KEYS = st.sampled_from(["at", "path", "proven_at"])


@given(
    st.recursive(
        st.integers(0, 9),
        lambda inner: st.lists(inner) | st.dictionaries(KEYS, inner),
        max_leaves=20,
    ),
    st.sets(KEYS),
)
def test_members_are_left_out_at_any_depth(value, names):
    """The bytes are those of a copy that lacks them."""
    assert canonical(value, without=names) == canonical(without(value, names))
