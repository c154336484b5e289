"""Nothing unfinished and nothing of the machine that it was built on is left in a text file."""

from __future__ import annotations

from pathlib import Path

HOUSE = Path(__file__).parents[2]
MADE = {"__pycache__", "build", "dist"}

# Each is cut in two here, so that this file does not hold them.
UNWANTED = tuple(
    "trans|cript /wo|rk/ .lib|rary TO|DO FIX|ME NotImple|mentedError".replace("|", "").split()
)


def text_files(house: Path) -> dict[Path, str]:
    """Every file of the house that is UTF-8 text; hidden folders and what tools made left out."""
    found = {}
    for path in sorted(house.rglob("*")):
        parts = path.relative_to(house).parts
        if not path.is_file() or any(part in MADE or part.startswith(".") for part in parts[:-1]):
            continue
        try:
            found[path.relative_to(house)] = path.read_bytes().decode("utf-8")
        except UnicodeDecodeError:
            continue
    return found


def unwanted(house: Path) -> list[str]:
    """Where an unwanted word stands: `file:line word`."""
    return [
        f"{path}:{number} {word}"
        for path, text in text_files(house).items()
        for number, line in enumerate(text.splitlines(), start=1)
        for word in UNWANTED
        if word in line
    ]


def test_no_unwanted_word() -> None:
    """Code, tests, docs, configs and service files hold none of them."""
    assert unwanted(HOUSE) == []


def test_a_planted_word_is_found(tmp_path: Path) -> None:
    """The check above can fail, in any file of text and in no other."""
    (tmp_path / "docs").mkdir()
    (tmp_path / "docs" / "page.md").write_text(f"fine\nsee {UNWANTED[1]}there\n", "utf-8")
    (tmp_path / "docs" / "picture.bin").write_bytes(b"\xff\xfe" + UNWANTED[1].encode())
    assert unwanted(tmp_path) == [f"docs/page.md:2 {UNWANTED[1]}"]
