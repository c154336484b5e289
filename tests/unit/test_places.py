"""adapters/places: where things are kept, and how it is changed."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from takehold.adapters import places


@pytest.fixture(autouse=True)
def _home(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name in ("TAKEHOLD_CONFIG", "TAKEHOLD_STATE", "XDG_CONFIG_HOME", "XDG_STATE_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))


def test_defaults_are_the_freedesktop_folders(tmp_path: Path) -> None:
    """XDG Base Directory Specification: $HOME/.config and $HOME/.local/state."""
    assert places.config_file() == f"{tmp_path}/.config/takehold/takehold.toml"
    assert places.key_file() == f"{tmp_path}/.config/takehold/signing_key"
    assert places.state_folder() == f"{tmp_path}/.local/state/takehold"


def test_the_xdg_variables_are_honoured(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """XDG Base Directory Specification: XDG_CONFIG_HOME and XDG_STATE_HOME."""
    monkeypatch.setenv("XDG_CONFIG_HOME", f"{tmp_path}/c")
    monkeypatch.setenv("XDG_STATE_HOME", f"{tmp_path}/s")
    assert places.config_file() == f"{tmp_path}/c/takehold/takehold.toml"
    assert places.state_folder() == f"{tmp_path}/s/takehold"


def test_own_variables_win(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The key follows the config; paths are made absolute."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TAKEHOLD_CONFIG", "~/set/unit.toml")
    monkeypatch.setenv("TAKEHOLD_STATE", "state")
    assert places.config_file() == f"{tmp_path}/set/unit.toml"
    assert places.key_file() == f"{tmp_path}/set/signing_key"
    assert places.state_folder() == os.path.join(os.getcwd(), "state")


def test_an_empty_variable_counts_as_unset(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """As everywhere in a shell: set to nothing is not set."""
    monkeypatch.setenv("TAKEHOLD_STATE", "")
    assert places.state_folder() == f"{tmp_path}/.local/state/takehold"


def test_nothing_is_made(tmp_path: Path) -> None:
    """Asking where something would be creates no folder."""
    places.state_folder()
    places.key_file()
    assert list(tmp_path.iterdir()) == []
