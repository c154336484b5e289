"""People's commands, stored in the catalogue: what each becomes when it is answered."""

from __future__ import annotations

import json

from takehold.model.errors import Malformed
from takehold.model.facts import Acked, Asked, Fact, Receipt

# Answered at once; `wrap` and `recheck` are answered when their work is done.
AT_ONCE = frozenset({"ack", "receipt"})


def ack_text(finding: str, note: str) -> str:
    """An ack as it is stored."""
    readable = note.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    return json.dumps({"finding": finding, "note": readable})


def receipt_text(receipt: Receipt) -> str:
    """A receipt as it is stored."""
    return json.dumps({name: getattr(receipt, name) for name in Receipt._fields})


def facts_of(asked: Asked) -> tuple[Fact, ...]:
    """The facts that a command answered at once comes to; Malformed if it cannot be read."""
    try:
        said = json.loads(asked.about)
        if asked.kind == "ack":
            return (Acked(str(said["finding"]), str(said["note"]), asked.at),)
        lists = {k: tuple(said[k]) for k in ("altered", "missing", "unknown")}
        return (Receipt(**{**said, **lists}),)
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise Malformed(f"The stored command {asked.id} cannot be read.") from error
