"""A made-up day on which every relation and every check is planted once: none missed, none in vain.

The record, with more takes, other seeds and odd layouts, is `tests/corpus/run.py`; the table is in
docs/matching.md.
"""

from __future__ import annotations

from pathlib import Path

from corpus.day import SCENE_TAKES
from corpus.rounds import ROUNDS
from corpus.run import PLANTS, play


def test_what_is_planted_is_found_and_nothing_else_is_said(tmp_path: Path):
    """Each plant once, in a scene of three takes; four cards, two drives."""
    everything = [name for name, _ in (*PLANTS, *ROUNDS)]
    result = play(tmp_path, len(everything) * SCENE_TAKES, seed=3, odd=False)
    assert result.planted.keys() >= set(everything)
    assert (result.missed, result.false_alarms) == ([], [])
