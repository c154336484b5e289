"""A part between two others that lacks here, and is on the backup card or on none."""

from __future__ import annotations

from typing import Any

import pytest

from takehold.model.finding import Severity
from takehold.model.recording import Recording
from takeworld import HZ, MORNING, found_on, wav

PRIMARY, BACKUP = 1, 2


def twelve(nth: int, of: int = PRIMARY, **said: Any) -> Recording:
    """One of three parts of 12 seconds."""
    length = 12 * HZ
    path, at = b"T2_%d.WAV" % nth, MORNING + (nth - 1) * length
    tells = {"family_uid": "F", "set_index": str(nth), "total_files": 3} | said
    return wav(10 * of + nth, path, "4", "2", at, length, of=of, **tells)


@pytest.mark.parametrize("total", [3, None])
def test_the_part_between_two_is_a_look_where_the_backup_card_has_it(total: int | None) -> None:
    """Whether or not the set tells how many it has: it is one gap."""
    here = [twelve(n, total_files=total) for n in (1, 3)]
    there = [twelve(n, BACKUP, total_files=total) for n in (1, 2, 3)]
    told = {
        f.code: f for f in found_on(here, there) if f.code in ("part-missing", "set-incomplete")
    }
    assert {f.severity for f in told.values()} == {Severity.LOOK}
    assert told["part-missing"].says.endswith("; they are on the backup card SND_B1.")
    assert ("set-incomplete" in told) is (total == 3)


def test_the_part_between_two_holds_where_no_card_has_it() -> None:
    here = [twelve(n) for n in (1, 3)]
    told = found_on(here, [twelve(n, BACKUP) for n in (1, 3)])
    held = {f.code for f in told if f.severity is Severity.HOLD}
    assert held == {"part-missing", "set-incomplete"}
