"""A file has one subject and a function one job: neither grows past what is read at one sitting."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "daemon" / "takehold"
FILE_LINES = 400
FUNCTION_LINES = 60


def long_functions(source: str) -> list[str]:
    """The functions of a source text that have more lines than they may."""
    return [
        node.name
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and (node.end_lineno or node.lineno) - node.lineno >= FUNCTION_LINES
    ]


@pytest.mark.parametrize(
    "path", sorted(PACKAGE.rglob("*.py")), ids=lambda path: str(path.relative_to(PACKAGE))
)
def test_files_and_functions_stay_short(path: Path) -> None:
    """No product file over 400 lines, no function over 60."""
    source = path.read_text("utf-8")
    assert len(source.splitlines()) <= FILE_LINES
    assert long_functions(source) == []


def test_a_long_function_is_found_and_one_at_the_limit_is_not() -> None:
    """The check above can fail: 61 lines are told, 60 are not."""
    body = "    x = 1\n"
    source = f"def fits():\n{body * 59}\nclass A:\n  async def too_long(self):\n{body * 60}"
    assert long_functions(source) == ["too_long"]
