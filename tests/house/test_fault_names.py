"""docs/faults.md names tests that there are, and all of the hazards that matter most."""

from __future__ import annotations

import re
from pathlib import Path

HOUSE = Path(__file__).parents[2]
PAGE = (HOUSE / "docs" / "faults.md").read_text("utf-8")
TESTS = sorted((HOUSE / "tests").rglob("*.py"))
MOST = 25


def defined() -> set[str]:
    """Every test function and test file."""
    functions = (
        re.findall(r"^\s*def (test_\w+)", p.read_text("utf-8"), re.MULTILINE) for p in TESTS
    )
    return set().union(*functions) | {path.stem for path in TESTS}


def test_every_test_that_the_page_names_is_there() -> None:
    """By its name alone, or behind a path."""
    assert set(re.findall(r"\b(test_\w+)", PAGE)) - defined() == set()


def test_each_of_the_hazards_has_a_row_with_a_test() -> None:
    """Numbered without a gap; where nothing can be injected, something stands for it."""
    rows = re.findall(r"^\| (\d+) \| (.*) \|$", PAGE, re.MULTILINE)
    assert [int(number) for number, _ in rows] == list(range(1, MOST + 1))
    assert [number for number, row in rows if "test_" not in row] == []
