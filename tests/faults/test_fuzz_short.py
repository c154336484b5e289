"""The readers against the kept inputs, changes to them, and bytes made up by hypothesis.

The same for each run; tests/fuzz/run.py goes on for a night, guided by coverage.
"""

from __future__ import annotations

import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st

from fuzz import targets
from fuzz.mutations import CORPUS, changed, kept
from fuzz.targets import TARGETS
from takehold.model.errors import Malformed
from takehold.model.sound import Metadata

CHANGES = 4000
MOST_BYTES = 4096

every_target = pytest.mark.parametrize("target", sorted(TARGETS))


def test_every_reader_has_kept_inputs() -> None:
    """A few dozen small files for each, and none for a reader that is no more."""
    assert {path.name for path in CORPUS.iterdir()} == set(TARGETS)
    for target in TARGETS:
        assert 5 <= len(kept(target)) <= 60
        assert all(len(raw) < MOST_BYTES for raw in kept(target))


@every_target
def test_kept_inputs(target: str) -> None:
    """What was thought of, and what once broke a reader, breaks none."""
    for raw in kept(target):
        TARGETS[target](raw)


@every_target
def test_changes_to_kept_inputs(target: str) -> None:
    """Flipped, cut, doubled and spliced bytes, words that mean something, odd values."""
    for raw in changed(target, CHANGES):
        try:
            TARGETS[target](raw)
        except Exception:
            print(f"input: {raw!r}")
            raise


@every_target
@seed(20310506)
@settings(max_examples=60, derandomize=False, database=None)
@given(
    raw=st.binary(max_size=1200) | st.text(max_size=300).map(lambda t: t.encode("utf-8", "replace"))
)
def test_any_bytes(target: str, raw: bytes) -> None:
    """Bytes and text of no form at all."""
    TARGETS[target](raw)


def test_a_breach_is_noticed() -> None:
    """The targets can fail: a reader with another exception, a path that leaves, an escape."""
    with pytest.raises(AssertionError):
        targets._sentence(Malformed("a\x1b[2Jb"))
    with pytest.raises(AssertionError):
        targets._metadata(Metadata(note="a" * 100), 10)
