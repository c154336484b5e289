"""The running daemon as the other commands see it."""

from __future__ import annotations

import contextlib
import os
from typing import Any

from takehold.adapters.live import read_live
from takehold.adapters.lock import InstanceLock
from takehold.decide.check import Around
from takehold.home import Home
from takehold.model.errors import AnotherInstance
from takehold.model.facts import Trouble

State = dict[str, Any]


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
    """What was shown last, by a daemon or by a command that worked: the look that counted."""
    return read_live(place.state)


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
    loads = frozenset(card["load"] for card in state["cards"] if "load" in card)
    here = tuple(state["absent"]), tuple(state["unsettled"])
    return Around(*here, unlisted, present, loads, state.get("at", 0))
