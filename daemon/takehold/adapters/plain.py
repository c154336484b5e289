"""Frozen values <-> JSON text, by their type hints.

Handles nested dataclasses and named tuples, StrEnum, tuple, frozenset, Optional, bytes (as hex),
str, int, bool. Every field is written, so that a changed default never changes what was kept; a
field that is not in the text takes its default, so that a field can be added.

Many thousand values are read at each start: what makes a type is put together once, and equal
texts, sets, and parts of a tuple are one object in memory.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from enum import StrEnum
from functools import cache, lru_cache
from sys import intern
from types import NoneType, UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T")
Maker = Callable[[Any], Any]
# Of each kind of thing that comes again and again, as a day's track names: a day has few.
SHARED = 4096
PLAIN = frozenset({str, int, bool})
_encoded = json.JSONEncoder(separators=(",", ":")).encode


def dumps(value: object) -> str:
    """A value as one line of ASCII JSON."""
    return _encoded(_plain(value))


def loads(kind: type[T], text: str) -> T:
    """The value of that type; ValueError where the text does not hold one."""
    wanted: Any = kind
    try:
        made: T = _maker(wanted)(json.loads(text))
    except (TypeError, AttributeError, RecursionError) as error:
        raise ValueError(f"no {kind}: {error}") from error
    return made


def _plain(value: Any) -> Any:
    kind: Any = type(value)
    flat = _flattener(kind)
    return value if flat is None else flat(value)


@cache
def _flattener(kind: Any) -> Maker | None:
    """What takes a value of that type apart; None for one that JSON holds as it is."""
    if names := _names(kind):
        return lambda value: {name: _plain(getattr(value, name)) for name in names}
    if issubclass(kind, bytes):
        return bytes.hex
    if issubclass(kind, tuple):
        return lambda value: [_plain(v) for v in value]
    if issubclass(kind, frozenset):
        return lambda value: sorted(_plain(v) for v in value)  # of text
    return None


@cache
def _maker(kind: Any) -> Maker:
    """What makes a value of that type of plain JSON."""
    origin, args = get_origin(kind), get_args(kind)
    if origin in (Union, UnionType):
        inner = _maker(next(a for a in args if a is not NoneType))
        return lambda plain: None if plain is None else inner(plain)
    if origin is tuple and args[-1] is not Ellipsis:
        several = tuple(map(_maker, args))
        return lambda plain: tuple([m(p) for m, p in zip(several, plain, strict=True)])
    if origin in (tuple, frozenset):
        of = _part_maker(args[0])
        return lambda plain: shared(origin([of(p) for p in plain]))
    return _record_maker(kind) if _names(kind) else _single_maker(kind)


def _names(kind: Any) -> tuple[str, ...]:
    """The fields of a record; none for what is not one."""
    if is_dataclass(kind):
        return tuple(f.name for f in fields(kind))
    return getattr(kind, "_fields", ())


def _part_maker(kind: Any) -> Maker:
    """What makes a part of several: of one that is plain all through, an equal one is made once."""
    made = _maker(kind)
    names = [*_names(kind)]
    if not names or not PLAIN.issuperset(get_type_hints(kind).values()):
        return made

    @lru_cache(SHARED, typed=True)
    def of_values(*values: Any) -> Any:
        return made(dict(zip(names, values, strict=True)))

    return lambda plain: of_values(*plain.values()) if list(plain) == names else made(plain)


def _record_maker(kind: Any) -> Maker:
    hints = get_type_hints(kind)
    makers = {name: _maker(hints[name]) for name in _names(kind)}
    names, several = list(makers), list(makers.values())

    def made(plain: Any) -> Any:
        if list(plain) == names:  # as this program writes it
            return kind(*[maker(p) for maker, p in zip(several, plain.values(), strict=True)])
        return kind(**{name: makers[name](p) for name, p in plain.items() if name in makers})

    return made


def _single_maker(kind: Any) -> Maker:
    if kind is bytes:
        return bytes.fromhex
    if kind is str:
        return intern
    if issubclass(kind, StrEnum):
        word: Maker = kind
        return word

    def made(plain: Any) -> Any:
        if type(plain) is not kind:
            raise ValueError(f"{kind.__name__} expected, not {plain!r:.40}")
        return plain

    return made


@lru_cache(SHARED)
def shared(value: T) -> T:
    """An equal value that was met before, if it was lately."""
    return value
