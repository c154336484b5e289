"""The running daemon as the other commands see it."""

from __future__ import annotations

import contextlib
import os
from typing import Any

import click

from takehold.adapters.clock import SystemClock
from takehold.adapters.live import read_live
from takehold.adapters.lock import InstanceLock
from takehold.adapters.pulse import beats
from takehold.decide.check import Around
from takehold.home import Home
from takehold.model.errors import AnotherInstance
from takehold.model.facts import Trouble

State = dict[str, Any]

SILENT = (
    "takehold is running and does not answer: it stands still, and nothing is copied now.",
    "If it was stopped in a terminal (Ctrl-Z), type fg there; else start it again: all is kept.",
)
# What the commands read of it (engine/progress writes it).
SHAPE = {
    "at": int,
    "answers_within": int,
    "day": str,
    "cards": [
        {
            **dict.fromkeys(("source", "label", "labelled", "role", "at"), str),
            **dict.fromkeys(("load", "files", "copied", "confirmed"), int),
            "in_use": bool,
        }
    ],
    "destinations": [{**dict.fromkeys(("name", "at", "root"), str), "free_bytes": int}],
    "absent": [str],
    "work": [
        {
            **dict.fromkeys(("what", "unit"), str),
            **dict.fromkeys(("done", "total", "rate", "still_seconds"), int),
            "seconds_left": int | None,
        }
    ],
    "unsettled": [str],
    "alarms": [{**dict.fromkeys(("code", "says", "do"), str), "unlisted": bool}],
}


def is_running(place: Home) -> bool:
    """Whether a takehold works with this catalogue now."""
    if not os.path.exists(place.lock):
        return False
    try:
        with InstanceLock(place.lock):
            return False
    except AnotherInstance:
        return True


def last_state(place: Home) -> State | None:
    """What was shown last, by a daemon or by a command that worked: the look that counted.

    None, too, if it is of another shape: of another program's version, or altered. A loop that
    lives shows only what changes, so that what it showed is of now.
    """
    state: State | None = read_live(place.state)
    if state is None or not _fits(state, SHAPE):
        return None
    if beats(place.pulse, state["answers_within"]):
        return {**state, "at": SystemClock().now()}
    return state


def is_silent(place: Home, state: State | None) -> bool:
    """Whether the one that runs has not come round for longer than it ever takes."""
    return state is not None and beats(place.pulse, state["answers_within"]) is False


def tell_silence(place: Home, state: State | None, *, err: bool) -> bool:
    """Say that the one that runs does not answer, if so; whether it was said.

    What is shown beside it may be old: no command ends with 0 then. `err` where `--json` is asked.
    """
    silent = is_running(place) and is_silent(place, state)
    if silent:
        click.echo("! " + " ".join(SILENT), err=err)
    return silent


def _fits(value: Any, shape: Any) -> bool:
    """Whether it has what `shape` names: a type, a list of one shape, or keys with theirs."""
    if isinstance(shape, dict):
        here = isinstance(value, dict)
        return here and all(k in value and _fits(value[k], shape[k]) for k in shape)
    if isinstance(shape, list):
        return isinstance(value, list) and all(_fits(entry, shape[0]) for entry in value)
    return isinstance(value, shape)


def called(label: str, labelled: str | None) -> str:
    """A card by the label under which it was first seen, with that of now if it is another."""
    return label if labelled in (None, label) else f"{label} (now {labelled})"


def ring(place: Home) -> None:
    """Have the daemon look at once for what was asked; unheard, it looks when its time comes."""
    with (
        contextlib.suppress(OSError),
        open(os.path.join(place.bell, "rung"), "w", encoding="utf-8") as file,
    ):
        file.write("asked\n")


def around_of(state: State | None) -> Around:
    """What the day check needs to know of this moment."""
    if state is None:
        return Around()
    unlisted = tuple(
        Trouble(a["says"], a["code"], a["says"], a["do"], 0, 1, 0)
        for a in state["alarms"]
        if a["unlisted"]
    )
    present = tuple((d["name"], d["root"]) for d in state["destinations"])
    loads = frozenset(card["load"] for card in state["cards"])
    here = tuple(state["absent"]), tuple(state["unsettled"])
    return Around(*here, unlisted, present, loads, state["at"])
