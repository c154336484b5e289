"""JSON: written in one canonical form, read without trust."""

from __future__ import annotations

import json
import math
from collections.abc import Set as AbstractSet
from functools import lru_cache
from json.encoder import encode_basestring
from typing import NoReturn

import rfc8785

from takehold.model.errors import Malformed

DEPTH = 32
"""Our documents nest 6 deep."""

LARGEST_INT = 2**53 - 1
"""Beyond it two integers share one double (RFC 7493, section 2.2)."""

_WORDS = {None: "null", True: "true", False: "false"}


def canonical(value: object, without: AbstractSet[str] = frozenset()) -> bytes:
    """The one byte form of a JSON value (RFC 8785); members named in `without` are left out.

    Raises Malformed for NaN, infinity, integers beyond 2^53-1, lone surrogates and other types.
    """
    try:
        return _written(value, frozenset(without)).encode()
    except (rfc8785.CanonicalizationError, UnicodeEncodeError, RecursionError) as error:
        raise Malformed(f"This cannot be written as canonical JSON: {error}.") from error


def _written(value: object, without: frozenset[str]) -> str:
    """What a day's manifest is made of, three times as fast as the library that writes the rest.

    Texts are escaped as RFC 8785 asks (3.2.2.2): `encode_basestring` leaves what is not ASCII.
    """
    if type(value) is str:
        return encode_basestring(value)
    if type(value) is dict:
        members = _members(tuple(value), without)
        return "{" + ",".join([said + _written(value[key], without) for key, said in members]) + "}"
    if type(value) is list:
        return "[" + ",".join([_written(item, without) for item in value]) + "]"
    if type(value) is int and -LARGEST_INT <= value <= LARGEST_INT:
        return repr(value)
    if value is None or type(value) is bool:
        return _WORDS[value]
    return rfc8785.dumps(value).decode()  # type: ignore[arg-type]  # it checks the types itself


@lru_cache(maxsize=256)  # a document has few kinds of objects
def _members(keys: tuple[object, ...], without: frozenset[str]) -> tuple[tuple[str, str], ...]:
    """The keys of an object in order, by their UTF-16 (RFC 8785, 3.2.3), each as it is written."""
    kept = [key for key in keys if isinstance(key, str) and key not in without]
    if len(kept) + len(without.intersection(keys)) < len(keys):
        raise rfc8785.CanonicalizationError("object keys must be strings")
    kept.sort(key=lambda key: key.encode("utf-16-be"))
    return tuple((key, encode_basestring(key) + ":") for key in kept)


def parse(raw: bytes, cap: int) -> object:
    """A JSON value (RFC 8259, narrowed to I-JSON, RFC 7493) of at most `cap` bytes.

    Raises Malformed for more bytes, more than `DEPTH` levels, no UTF-8, keys that come twice, NaN,
    infinity, integers beyond 2^53-1 and lone surrogates.
    """
    if len(raw) > cap:
        raise Malformed(f"This document has {len(raw)} bytes; at most {cap} are read.")
    try:
        value = json.loads(
            raw.decode("utf-8"),
            object_pairs_hook=_no_key_twice,
            parse_int=_safe_int,
            parse_float=_finite,
            parse_constant=_no_constant,
        )
    except UnicodeDecodeError as error:
        raise Malformed(f"This document is not UTF-8 from byte {error.start} on.") from error
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise Malformed(f"This document is not JSON: {error.msg}, {where}.") from error
    except RecursionError as error:
        raise Malformed("This document nests too deep.") from error
    _check(value)
    return value


def _no_key_twice(pairs: list[tuple[str, object]]) -> dict[str, object]:
    value = dict(pairs)
    if len(value) != len(pairs):
        raise Malformed("This document has the same key twice in one object.")
    return value


def _safe_int(digits: str) -> int:
    # The length is looked at first: a million digits would take long to convert.
    if len(digits) > 17 or abs(int(digits)) > LARGEST_INT:
        raise Malformed("This document holds an integer beyond 2^53-1.")
    return int(digits)


def _finite(digits: str) -> float:
    value = float(digits)
    if not math.isfinite(value):
        raise Malformed("This document holds a number that is too large.")
    return value


def _no_constant(word: str) -> NoReturn:
    raise Malformed(f"This document holds {word}, which is not JSON.")


def _check(value: object) -> None:
    """Level by level, so that depth costs no stack."""
    level = [value]
    for _ in range(DEPTH):
        for item in level:
            _check_text(item)
        level = [inner for item in level for inner in _inner(item)]
        if not level:
            return
    raise Malformed(f"This document nests more than {DEPTH} levels deep.")


def _inner(value: object) -> list[object]:
    if isinstance(value, dict):
        return [*value.keys(), *value.values()]
    return value if isinstance(value, list) else []


def _check_text(value: object) -> None:
    if not isinstance(value, str) or value.isascii():
        return
    try:
        value.encode("utf-8")
    except UnicodeEncodeError as error:
        raise Malformed("This document holds half of a surrogate pair.") from error
