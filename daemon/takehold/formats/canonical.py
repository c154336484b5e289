"""JSON: written in one canonical form, read without trust."""

from __future__ import annotations

import json
import math
from typing import NoReturn

import rfc8785

from takehold.model.errors import Malformed

DEPTH = 32
"""Our documents nest 6 deep."""

LARGEST_INT = 2**53 - 1
"""Beyond it two integers share one double (RFC 7493, section 2.2)."""


def canonical(value: object) -> bytes:
    """The one byte form of a JSON value (RFC 8785).

    Raises Malformed for NaN, infinity, integers beyond 2^53-1, lone surrogates and other types.
    """
    try:
        return rfc8785.dumps(value)  # type: ignore[arg-type]  # it checks the types itself
    except (rfc8785.CanonicalizationError, UnicodeEncodeError, RecursionError) as error:
        raise Malformed(f"This cannot be written as canonical JSON: {error}.") from error


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
