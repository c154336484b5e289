"""adapters/plain: frozen values through JSON and back."""

from __future__ import annotations

import json
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from takehold.adapters import plain
from takehold.model.facts import Skip
from takehold.model.settings import Role
from takehold.model.sound import Description, Kind, Sound, Track


@dataclass(frozen=True, slots=True)
class Older:
    name: str
    gone: int


@dataclass(frozen=True, slots=True)
class Newer:
    name: str
    added: tuple[int, ...] = (7,)


@given(st.from_type(Description))
def test_any_description_comes_back(description: Description) -> None:
    """What goes in comes out, through one line of ASCII."""
    text = plain.dumps(description)
    assert text.isascii()
    assert "\n" not in text
    assert plain.loads(Description, text) == description


@given(st.from_type(Sound))
def test_bytes_are_hex(sound: Sound) -> None:
    """Bytes stand as hex in plain JSON, as the standard library reads it."""
    text = plain.dumps(sound)
    assert json.loads(text)["blocks"] == sound.blocks.hex()
    assert plain.loads(Sound, text) == sound


def test_fields_may_be_added_and_dropped() -> None:
    """A field that the text lacks takes its default; one that is no more is passed over."""
    assert plain.loads(Newer, plain.dumps(Older("a", 3))) == Newer("a")


def test_equal_parts_are_made_once() -> None:
    """A day's takes name the same tracks; what only looks equal is refused as ever."""
    text = '[{"channel":1,"interleave":2,"name":"Boom","function":""}]'
    kind = tuple[Track, ...]
    more = text[:-1] + text.replace("[", ",").replace("Boom", "Lav")
    one, other = plain.loads(kind, text), plain.loads(kind, more)
    assert one == (Track(1, 2, "Boom"),)
    assert one[0] is other[0]
    with pytest.raises(ValueError, match="int expected"):
        plain.loads(kind, text.replace("1", "true"))
    turned = '[{"name":"Boom","interleave":2,"channel":1,"more":[]}]'
    assert plain.loads(kind, turned) == one


def test_sets_have_one_order() -> None:
    """The same set gives the same text."""
    assert plain.dumps(frozenset({"b", "a", "c"})) == '["a","b","c"]'
    assert plain.loads(frozenset[str], '["b","a"]') == frozenset({"a", "b"})


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        (Description, "{}"),
        (Description, "[]"),
        (Description, '{"kind":"mp4"}'),
        (Description, '{"kind":"wave","frames":"9"}'),
        (Description, '{"kind":"wave","frames":true}'),
        (Description, "null"),
        (Track, '{"channel":1,"interleave":1,"name":null}'),
        (Skip, '{"path":"zz","why":""}'),
        (tuple[tuple[str, int], ...], '[["a"]]'),
        (Role, '"conductor"'),
        (Kind, "3"),
        (Sound, "{"),
        (Sound, "[" * 100_000),
    ],
)
def test_anything_else_is_a_value_error(kind: type, text: str) -> None:
    """A text that does not hold the value is refused, whatever it holds."""
    with pytest.raises(ValueError):  # noqa: PT011
        plain.loads(kind, text)
