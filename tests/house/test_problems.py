"""docs/problems.md explains every code that the program can show, and no other."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from takehold.decide.check_dates import ODD_DATES
from takehold.decide.check_file import COMPLAINTS
from takehold.decide.day import CLOCK_AHEAD, DATED
from takehold.model import errors

HOUSE = Path(__file__).parents[2]
PACKAGE = HOUSE / "daemon" / "takehold"
PAGE = HOUSE / "docs" / "problems.md"
ROW = re.compile(r"^\| `([a-z][a-z0-9-]*)` \|(.*)\|$", re.MULTILINE)
# Which argument of a call is the code.
ARGUMENT = {
    "finding": 0,
    "Complaint": 0,
    "Unlike": 0,
    "of_file": 1,
    "noticed": 1,
    "noticed_of": 1,
    "Trouble": 1,
    "_alarm": 2,
}


def words(nodes: list[ast.expr]) -> Iterator[str]:
    """The texts among some expressions."""
    for node in nodes:
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def of_call(node: ast.Call) -> Iterator[str]:
    """`finding("code", …)`, `SomeError(…, code="code")`."""
    name = getattr(node.func, "id", None) or getattr(node.func, "attr", "")
    at = ARGUMENT.get(name)
    if at is not None:
        yield from words(node.args[at : at + 1])
    yield from words([k.value for k in node.keywords if k.arg == "code"])


def of_name(target: ast.expr, value: ast.expr | None) -> Iterator[str]:
    """`code = "code"`, `error.code = "code"`, a table of sentences as `{"code": …}`."""
    name = getattr(target, "id", None) or getattr(target, "attr", "")
    if value is None:
        return
    if name == "code":
        yield from words([value])
    elif name in ("COMPLAINTS", "ODD_DATES") and isinstance(value, ast.Dict):
        yield from words([key for key in value.keys if key is not None])


def of_loop(node: ast.For) -> Iterator[str]:
    """`for role, code in ((…, "code"), …)`."""
    if any(getattr(n, "id", "") == "code" for n in ast.walk(node.target)):
        yield from words([n for n in ast.walk(node.iter) if isinstance(n, ast.Constant)])


def of_refusal(node: ast.Return) -> Iterator[str]:
    """`return "code", says, do`."""
    if isinstance(node.value, ast.Tuple) and len(node.value.elts) == 3:
        yield from (w for w in words(node.value.elts[:1]) if re.fullmatch(r"[a-z]+(-[a-z]+)+", w))


def codes(source: str) -> set[str]:
    """Every code that a source text can give to a person."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.Call():
                found |= set(of_call(node))
            case ast.Assign(targets=[target], value=value):
                found |= set(of_name(target, value))
            case ast.AnnAssign(target=target, value=value):
                found |= set(of_name(target, value))
            case ast.For():
                found |= set(of_loop(node))
            case ast.Return():
                found |= set(of_refusal(node))
            case _:
                pass
    return found


def raised() -> set[str]:
    """Those of the whole package."""
    return set().union(*(codes(p.read_text("utf-8")) for p in PACKAGE.rglob("*.py")))


def explained() -> dict[str, list[str]]:
    """The page's rows: what happened, what is safe, what to do."""
    rows = ROW.findall(PAGE.read_text("utf-8"))
    return {code: [cell.strip() for cell in rest.split("|")] for code, rest in rows}


def test_every_code_is_explained_and_no_other() -> None:
    """The page and the source name the same codes."""
    assert sorted(raised() - explained().keys()) == []
    assert sorted(explained().keys() - raised()) == []


def test_every_row_says_what_happened_what_is_safe_and_what_to_do() -> None:
    assert {
        code: cells for code, cells in explained().items() if len(cells) != 3 or "" in cells
    } == {}


def test_no_code_is_explained_twice() -> None:
    rows = [code for code, _ in ROW.findall(PAGE.read_text("utf-8"))]
    assert len(rows) == len(set(rows))


def test_the_search_finds_what_the_running_program_has() -> None:
    """Against the classes and the table themselves."""
    kinds = [k for k in vars(errors).values() if isinstance(k, type)]
    theirs = {k.code for k in kinds if issubclass(k, errors.TakeholdError)}
    assert raised() >= theirs | COMPLAINTS.keys()


def test_every_complaint_of_a_file_has_its_sentence() -> None:
    """The check looks each one up; formats and engine may raise no other."""
    said = set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Complaint":
                said |= set(words(node.args[:1]))
    assert said
    assert said - COMPLAINTS.keys() <= ODD_DATES.keys()
    assert DATED - {CLOCK_AHEAD} == ODD_DATES.keys()


@pytest.mark.parametrize(
    "source",
    [
        'finding("x-y", HOLD, name, says)',
        'of_file(standing, "x-y", LOOK, says)',
        'self._alarm(look, key, "x-y", says)',
        'Trouble(key, "x-y", says, do, 0, 1, 0)',
        'raise WorldError(says, do, code="x-y")',
        'late.code = "x-y"',
        'class Bad(WorldError):\n    code = "x-y"',
        'class Absent:\n    code: str = "x-y"',
        'COMPLAINTS = {"x-y": (LOOK, "", "")}',
        'for role, code in ((A, "x-y"),):\n    pass',
        'def f():\n    return "x-y", says, "Do it."',
        'Complaint("x-y", detail)',
    ],
)
def test_each_way_to_name_a_code_is_found(source: str) -> None:
    """The search above can fail: a planted code is found in every form that the package uses."""
    assert codes(source) == {"x-y"}
