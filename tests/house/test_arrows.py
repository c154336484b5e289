"""The import contracts of pyproject.toml hold, and would tell if they did not."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2]


def lint(house: Path) -> subprocess.CompletedProcess[str]:
    """Run import-linter over a house's own package."""
    program = shutil.which("lint-imports", path=os.path.dirname(sys.executable))
    assert program, "lint-imports is missing: pip install 'takehold[dev]'"
    return subprocess.run(
        [program, "--no-cache"],
        cwd=house,
        env=os.environ | {"PYTHONPATH": str(house / "daemon"), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )


def test_the_arrows_point_one_way() -> None:
    """All contracts are kept."""
    done = lint(HOUSE)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("planted", "line", "broken"),
    [
        ("model/volume.py", "import takehold.ports.disk", "Arrows point one way"),
        ("decide/__init__.py", "import takehold.adapters", "Arrows point one way"),
        ("formats/__init__.py", "import os", "The centre touches no world"),
        ("engine/__init__.py", "import sqlite3", "The engine reaches the world through ports"),
    ],
)
def test_a_planted_import_breaks_its_contract(
    tmp_path: Path, planted: str, line: str, broken: str
) -> None:
    """One wrong import in a copy of the package, and the contract that forbids it is named."""
    shutil.copy(HOUSE / "pyproject.toml", tmp_path)
    shutil.copytree(
        HOUSE / "daemon", tmp_path / "daemon", ignore=shutil.ignore_patterns("__pycache__")
    )
    with (tmp_path / "daemon" / "takehold" / planted).open("a", encoding="utf-8") as file:
        file.write(f"\n{line}\n")
    done = lint(tmp_path)
    assert done.returncode == 1, done.stdout + done.stderr
    assert f"{broken} BROKEN" in done.stdout
