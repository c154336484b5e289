"""What the pages name exists, and every page can be reached."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2]
ENTRANCES = ("README.md", "DEVELOPERS.md")
FOLDERS = ("daemon", "tests", "docs", "config", "service_files")

NAMED = re.compile(rf"`((?:{'|'.join(FOLDERS)})/[^`\s]*|[\w.-]+\.md|pyproject\.toml)`")
LINKED = re.compile(r"\]\(([^)#\s]+)(?:#[^)]*)?\)")
FENCED = re.compile(r"^```.*?^```", re.MULTILINE | re.DOTALL)
# `<day>.md`, `tests/*`: a pattern, not a path.
PATTERN = re.compile(r"[<>*{}…]")


def pages() -> list[Path]:
    """The docs pages and the two entrances, as far as they are written."""
    entrances = [HOUSE / name for name in ENTRANCES if (HOUSE / name).exists()]
    return entrances + sorted((HOUSE / "docs").rglob("*.md"))


def links(page: Path) -> set[Path]:
    """The files and folders of this house that a page links to."""
    targets = LINKED.findall(FENCED.sub("", page.read_text("utf-8")))
    return {(page.parent / target).resolve() for target in targets if "://" not in target}


def names(text: str) -> set[str]:
    """The paths below the house that a text names in backticks, a test's name cut off."""
    found = {name.partition("::")[0] for name in NAMED.findall(FENCED.sub("", text))}
    return {name for name in found if not PATTERN.search(name)}


@pytest.mark.parametrize("page", pages(), ids=lambda page: str(page.relative_to(HOUSE)))
def test_every_path_that_a_page_names_exists(page: Path) -> None:
    """In backticks from the house's top, or beside the page; links from the page's folder."""
    missing = {
        name
        for name in names(page.read_text("utf-8"))
        if not (HOUSE / name).exists() and not (page.parent / name).exists()
    }
    assert missing == set()
    assert {target for target in links(page) if not target.exists()} == set()


def test_every_page_is_linked_from_an_entrance() -> None:
    """From README.md or DEVELOPERS.md, by itself or by its folder below docs/."""
    entrances = [HOUSE / name for name in ENTRANCES if (HOUSE / name).exists()]
    reached = {target for page in entrances for target in links(page)} - {HOUSE / "docs"}
    unreached = {
        str(page.relative_to(HOUSE))
        for page in (HOUSE / "docs").rglob("*.md")
        if page not in reached and page.parent not in reached
    }
    assert unreached == set()


def test_names_are_told_from_patterns() -> None:
    """What counts as a path, and what does not."""
    text = "`docs/a.md` `tests/unit/test_x.py::test_y` `<day>.md` `docs/*.md` `takehold run`"
    assert names(text) == {"docs/a.md", "tests/unit/test_x.py"}
    assert names("```\n`docs/fenced.md`\n```\n`pyproject.toml`") == {"pyproject.toml"}
