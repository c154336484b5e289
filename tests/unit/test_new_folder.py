"""A drive that is new: the folder of the config is made on it, and nowhere else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from makings import root_at
from takehold.adapters.disk import LocalDisk
from takehold.model.errors import VolumeGone
from takehold.model.volume import Root


def test_the_folder_of_a_new_drive_is_made(tmp_path: Path) -> None:
    top = root_at(tmp_path)
    volume = replace(top.volume, mount=bytes(tmp_path))
    root = Root(bytes(tmp_path / "audio" / "day"), volume, f"{volume.identity}:audio/day")
    with LocalDisk().destination(root) as tree:
        assert tree.free_bytes() > 0
    assert (tmp_path / "audio" / "day").is_dir()


def test_no_folder_is_made_where_the_volume_is_not(tmp_path: Path) -> None:
    """An empty mount point is no drive (P4)."""
    top = root_at(tmp_path)
    volume = replace(top.volume, mount=bytes(tmp_path), device="250:250")
    root = Root(bytes(tmp_path / "audio"), volume, f"{volume.identity}:audio")
    with pytest.raises(VolumeGone), LocalDisk().destination(root):
        pass
    assert not (tmp_path / "audio").exists()
