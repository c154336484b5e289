"""Frozen values <-> JSON text, by their type hints.

Handles nested dataclasses, StrEnum, tuple, frozenset, Optional, bytes (as hex), str, int, bool.
Every field is written, so that a changed default never changes what was kept; a field that is not
in the text takes its default, so that a field can be added.
"""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from enum import StrEnum
from functools import cache
from types import NoneType, UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T")


def dumps(value: object) -> str:
    """A value as one line of ASCII JSON."""
    return json.dumps(_plain(value), separators=(",", ":"))


def loads(kind: type[T], text: str) -> T:
    """The value of that type; ValueError where the text does not hold one."""
    try:
        made: T = _made(kind, json.loads(text))
    except (TypeError, AttributeError, RecursionError) as error:
        raise ValueError(f"no {kind}: {error}") from error
    return made


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, tuple):
        return [_plain(v) for v in value]
    if isinstance(value, frozenset):
        return sorted(_plain(v) for v in value)  # type: ignore[type-var]  # sets of text only
    return value


def _made(kind: Any, plain: Any) -> Any:
    origin, args = get_origin(kind), get_args(kind)
    if origin in (Union, UnionType):
        inner = next(a for a in args if a is not NoneType)
        return None if plain is None else _made(inner, plain)
    if origin is tuple and args[-1] is not Ellipsis:
        return tuple(_made(a, p) for a, p in zip(args, plain, strict=True))
    if origin in (tuple, frozenset):
        return origin(_made(args[0], p) for p in plain)
    return _made_single(kind, plain)


def _made_single(kind: Any, plain: Any) -> Any:
    if hasattr(kind, "__dataclass_fields__"):
        hints = _hints(kind)
        return kind(**{name: _made(hints[name], p) for name, p in plain.items() if name in hints})
    if kind is bytes:
        return bytes.fromhex(plain)
    if issubclass(kind, StrEnum):
        return kind(plain)
    if type(plain) is not kind:
        raise ValueError(f"{kind.__name__} expected, not {plain!r:.40}")
    return plain


@cache
def _hints(kind: Any) -> dict[str, Any]:
    return get_type_hints(kind)
