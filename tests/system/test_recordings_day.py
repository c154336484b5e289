"""The whole job over real recordings from public collections.

They are not part of this project: where their folder is absent the tests are skipped.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
import wavinfo

from instance import Instance, copies_below, files_below, same_bytes, stock_checks
from loopbench import Bench

RECORDERS = ("recorder_", "daw_")


@pytest.fixture
def recordings() -> Path:
    found = Path(__file__).parents[3] / "shared" / "realwav"
    if not found.is_dir():
        pytest.skip(f"no real recordings in {found}")
    return found


def said_by_wavinfo(path: Path) -> dict[str, object]:
    """What another reader (wavinfo, from PyPI) finds, under the manifest's words; texts kept."""
    said = wavinfo.WavInfoReader(str(path))
    found: dict[str, object] = {"frames": said.data.frame_count, "channels": said.fmt.channel_count}
    if said.bext is not None:
        found["time_reference"] = str(said.bext.time_reference)
        found["date"], found["time"] = said.bext.originator_date, said.bext.originator_time
    if said.ixml is not None:
        found |= {"scene": said.ixml.scene, "take": said.ixml.take, "tape": said.ixml.tape}
        found["tracks"] = [
            (int(t.channel_index), int(t.interleave_index), t.name) for t in said.ixml.track_list
        ]
    return {key: value for key, value in found.items() if value}


def said_by_us(file: dict[str, Any]) -> dict[str, object]:
    """The same words out of a manifest's file."""
    metadata = file["metadata"]
    found = {
        k: metadata.get(k) for k in ("time_reference", "date", "time", "scene", "take", "tape")
    }
    found |= {"frames": file["audio"]["frames"], "channels": file["audio"]["channels"]}
    found["tracks"] = [
        (t["channel"], t["interleave"], t["name"]) for t in metadata.get("tracks", ())
    ]
    return found


def test_real_recordings_are_copied_proven_and_told_as_another_reader_tells_them(
    bench: Bench, tmp_path: Path, recordings: Path
):
    """Whole, damaged and odd files: every one on both drives, and in one manifest, once."""
    card = bench.disk("card", "exfat", label="SND_A1")
    drives = bench.disk("one", "ext4", label="SH_1"), bench.disk("two", "exfat", label="SH_2")
    shutil.copytree(recordings, card.mount, dirs_exist_ok=True)
    instance = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"one": "SH_1", "two": "SH_2"},
    )
    once = instance.run("once", timeout=110)
    assert once.returncode == 0, once.stdout + once.stderr
    originals = files_below(recordings)
    assert len(originals) >= 50
    told: dict[str, Any] = {}
    for day in sorted(p.name for p in (drives[0].mount / "Lantern Bay").iterdir()):
        assert instance.run("wrap", day).returncode in (0, 1)
        for drive in drives:
            stock_checks(drive.mount / "Lantern Bay" / day, instance.public_key)
        text = (drives[0].mount / "Lantern Bay" / day / f"{day}.r1.manifest.json").read_bytes()
        told |= {file["path"]: file for file in json.loads(text)["files"]}
    assert told.keys() == originals.keys()
    for drive in drives:
        copies = copies_below(drive.mount)
        on_card = {name.split("/SND_A1/")[1]: path for name, path in copies.items()}
        assert on_card.keys() == originals.keys()
        assert all(same_bytes(originals[name], path) for name, path in on_card.items())
    agreed = 0
    for name, path in originals.items():
        if not name.startswith(RECORDERS):
            continue
        ours, theirs = said_by_us(told[name]), said_by_wavinfo(path)
        assert {key: ours[key] for key in theirs} == theirs, name
        agreed += 1
    assert agreed >= 12
