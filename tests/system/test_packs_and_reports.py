"""A day with a transmitter's own card, a take that was recorded again, and a report on the card."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from cardmaker import TIMECODE, fill, name_of, put, take, today
from instance import Instance, copies_below, same_bytes, stock_checks
from takehold.formats.bwf_file import bwf
from takehold.model.sound import Metadata, Track, WaveFormat

HZ = 16_000
TEN = 10 * 3600
AGAIN = "DAY01/S01T01_REREC.WAV"
REPORT = (
    "Sound report;Lantern Bay\r\nScene;Take;File\r\n1;1;s01t01.wav\r\n1;2;S01T02\r\n1;3;GONE.WAV"
)


def pack(begins: float, ends: float) -> bytes:
    """What Keeper's transmitter recorded, in seconds since midnight: 16 kHz, 16 bits, mono."""
    said = Metadata(
        originator="test pack",
        date=today(),
        time="10:10:00",
        time_reference=int(begins * HZ),
        timecode_rate=TIMECODE,
        timestamp_sample_rate=HZ,
        tracks=(Track(1, 1, "KEEPER"),),
    )
    return bwf(WaveFormat(1, 1, HZ, 16, 2), said, bytes([1, 2]) * int((ends - begins) * HZ))


@pytest.fixture
def instance(tmp_path: Path) -> Instance:
    """Three folders as cards, two as drives; the takes are 0.3 s at 10:11, 10:12 and 10:21."""
    folders = {name: tmp_path / name for name in ("SND_A1", "SND_B1", "PACK_1", "one", "two")}
    for folder in folders.values():
        folder.mkdir()
    for card in ("SND_A1", "SND_B1"):
        fill(folders[card])
        put(folders[card], AGAIN, take(1, 1, note="rerec from pack", sound=7))
    put(folders["SND_A1"], "REPORT.TXT", REPORT.encode("utf-16"))
    # It ran from 10:10:50, was split at 10:11:00.1, and ended within the second take.
    put(folders["PACK_1"], "0001.WAV", pack(TEN + 650, TEN + 660.1))
    put(folders["PACK_1"], "0002.WAV", pack(TEN + 660.1, TEN + 720.16))
    return Instance(
        tmp_path / "laptop",
        {
            "primary": ("primary", folders["SND_A1"]),
            "backup": ("backup", folders["SND_B1"]),
            "pack-1": ("bodypack", folders["PACK_1"]),
        },
        {"one": folders["one"], "two": folders["two"]},
        {"copies_required": 1, "day_starts_at": "06:00"},
    )


def takes(facts: Any) -> dict[tuple[str, str], Any]:
    return {(t["scene"], t["take"]): t for t in facts["takes"] if t["role"] == "primary"}


def test_packs_and_reports_through_a_whole_day(instance: Instance, tmp_path: Path):
    once = instance.run("once")
    assert "has its proven copies" in once.stdout or "have their proven copies" in once.stdout
    facts = instance.facts("day", today())
    found = takes(facts)
    assert {key: [(p["name"], p["covers"]) for p in t["packs"]] for key, t in found.items()} == {
        ("1", "1"): [("KEEPER", "whole")],
        ("1", "2"): [("KEEPER", "partly")],
        ("2", "1"): [("KEEPER", "not")],
    }
    assert found["1", "1"]["packs"][0]["files"] == ["0001.WAV", "0002.WAV"]
    assert found["1", "2"]["packs"][0]["spans"] == [
        {"from": "10:12:00:00", "to": "10:12:00:04", "seconds": 0.16}
    ]
    # What was recorded again stands beside its original and nowhere else.
    assert [t["files"] for t in found["1", "1"]["again"]] == [[AGAIN]]
    codes = {f["code"]: f for f in facts["findings"]}
    assert not {"take-twice", "only-on-backup", "backup-missing"} & codes.keys()
    assert codes["pack-not-covering"]["severity"] == "note"
    assert "1 of 3 takes whole" in codes["pack-not-covering"]["says"]
    assert codes["report-names-missing"]["says"].endswith("not on that card: GONE.WAV.")
    assert codes["report-names-missing"]["path"] == "REPORT.TXT"
    omitted = codes["report-omits"]["says"]
    assert omitted.endswith(f"in no sound report: {AGAIN}, {name_of(2, 1)}.")
    files = {(f["role"], f["path"]): f for f in facts["files"]}
    for path in ("0001.WAV", "0002.WAV"):
        assert files["bodypack", path]["counterpart"] is None
        assert files["bodypack", path]["devices"] == 1

    said = instance.run("day", today()).stdout
    rows = [line.split() for line in said.splitlines()]
    (head,) = [row for row in rows if row[:3] == ["card", "scene", "take"]]
    assert "packs" in head
    assert any("KEEPER (partly)" in line for line in said.splitlines())
    assert any("1 again" in line for line in said.splitlines())

    for finding in [f for f in facts["findings"] if f["severity"] == "look"]:
        assert instance.run("ack", finding["id"], "--note", "known").returncode == 0
    assert instance.run("wrap", today()).returncode == 0
    facts = instance.facts("day", today(), status=0)
    assert facts["verdict"] == "READY"
    assert all(f["confirmed"] for f in facts["files"])
    day = tmp_path / "one" / "Lantern Bay" / today()
    stock_checks(day, instance.public_key)
    doc = json.loads((day / f"{today()}.r1.manifest.json").read_bytes())
    mine = {t["take"]: t for t in doc["takes"] if t.get("scene") == "1" and t["load"] == 1}
    assert [p["covers"] for p in mine["1"]["packs"] + mine["2"]["packs"]] == ["whole", "partly"]
    assert [p["path"] for t in mine["1"]["again"] for part in t["parts"] for p in part] == [AGAIN]
    copies = {name.rsplit("/", 1)[1]: path for name, path in copies_below(day).items()}
    for path in ("0001.WAV", "0002.WAV"):
        assert same_bytes(copies[path], tmp_path / "PACK_1" / path)
