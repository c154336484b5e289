"""What is said of sound that a backup card has and no primary card: it is taken from there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_check_sound import noise, poly

from takehold.decide.weighing import mirror
from takehold.model.finding import Counterpart, Finding, Relation, Severity
from takehold.model.recording import Recording
from takeworld import HZ, MORNING, found_on

TOLD = {"track-silent", "track-dead", "track-late", "zero-tail", "not-numbers"}
WORDS = "Boom", "Lav", "Plant"


def on_backup(one: Recording) -> Recording:
    """The same as a file of the backup card."""
    return replace(one, id=one.id + 50, load=2)


def told(*recordings: Recording) -> list[Finding]:
    return [x for x in found_on(list(recordings)) if x.code in TOLD]


def dying(*channels: int) -> np.ndarray:
    """Three tracks, of which these die."""
    samples = noise(3)
    samples[6 * HZ :, list(channels)] = 0
    return samples


def test_a_track_that_dies_in_a_take_of_the_backup_only() -> None:
    there = poly(noise(3), *WORDS)
    later = poly(dying(1), *WORDS, name=b"T02.WAV", start=MORNING + 60 * HZ, nth=2)
    (found,) = told(there, on_backup(there), on_backup(later))
    assert (found.code, found.severity) == ("track-dead", Severity.LOOK)
    assert "T02.WAV: goes dead within the take: Lav (4.0 s at its end" in found.says
    assert found.recording == 52


def test_of_what_both_cards_have_it_is_said_once() -> None:
    one = poly(dying(1), *WORDS)
    (found,) = told(one, on_backup(one))
    assert found.recording == one.id


@pytest.mark.parametrize("others", [(), (0,)])
def test_a_track_of_the_backup_only_that_dies_is_named_alone(
    others: tuple[int, ...],
) -> None:
    """What the primary card has too is said of that."""
    samples = dying(1, *others)
    some = poly(np.ascontiguousarray(samples[:, [0, 2]]), "Boom", "Plant")
    both = told(some, on_backup(poly(samples, *WORDS, name=b"B01.WAV")))
    names = [x.says.partition("take: ")[2].partition(" (")[0] for x in both]
    assert sorted(names) == ["Boom"] * len(others) + ["Lav"]


def test_what_is_missing_on_the_primary_card_has_no_track_that_is_so_besides() -> None:
    file = poly(noise(1), "Boom")
    answer = Counterpart(1, Relation.MISSING, theirs_alone=((file.id, 1),))
    assert mirror(file, [answer]).alone == ()
    less = answer._replace(relation=Relation.OTHER_LAYOUT)
    assert mirror(file, [less]).alone == (1,)
