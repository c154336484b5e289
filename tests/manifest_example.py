"""One full, invented manifest, as takehold writes them."""

from typing import Any


def file_entry(**changes: Any) -> dict[str, Any]:
    """A recording's entry in the manifest, with changes."""
    entry: dict[str, Any] = {
        "load": 1,
        "path": "12A-T03.wav",
        "place": "SND_A01/12A-T03.wav",
        "size": 144_044,
        "mtime": "2031-05-06T14:02:11.5Z",
        "version": 1,
        "current": True,
        "xxh64": "0123456789abcdef",
        "sha256": "ab" * 32,
        "audio": {
            "encoding": "PCM",
            "channels": 2,
            "sample_rate": 48_000,
            "bits": 24,
            "frames": 24_000,
            "digest": "cd" * 16,
        },
        "metadata": {
            "project": "Lantern Bay",
            "scene": "12A",
            "take": "3",
            "tape": "D07",
            "circled": True,
            "note": "plane at the end",
            "date": "2031-05-06",
            "time": "14:01:50",
            "start_timecode": "14:01:50:12",
            "timecode_rate": "23.976",
            "time_reference": "2425224000",
            "file_uid": "T0003",
            "family_uid": "FAM01",
            "set_index": "A",
            "total_files": 1,
            "originator": "a recorder",
            "tracks": [{"channel": 1, "interleave": 1, "name": "Boom"}],
        },
        "reads": [
            {
                "at": "2031-05-06T14:10:00Z",
                "from": "medium",
                "xxh64": "0123456789abcdef",
                "sha256": "ab" * 32,
            }
        ],
        "copies": [
            {
                "destination": "shuttle-1",
                "identity": "fs:1",
                "path": "SND_A01/12A-T03.wav",
                "proven_at": "2031-05-06T14:10:09Z",
                "read_back": "medium",
                "durable": True,
            }
        ],
        "counterpart": {
            "relation": "short",
            "load": 2,
            "path": "12A-T03.wav",
            "missing_frames": 9600,
        },
    }
    return entry | changes


def example() -> dict[str, Any]:
    """A day with two cards, two destinations, a recording and a file of another kind."""
    other = file_entry(
        path="\\xff.wav",
        path_hex="ff2e776176",
        place="SND_A01/%FF.wav",
        audio=None,
        metadata={},
        counterpart=None,
    )
    return {
        "schema": "takehold-manifest/1",
        "production": "Lantern Bay",
        "unit": "main",
        "mixer": "A. Mixer",
        "machine": "cart",
        "program": "takehold 0.1.0",
        "day": "2031-05-06",
        "revision": 2,
        "written_at": "2031-05-06T21:30:00Z",
        "previous": {
            "name": "2031-05-06.r1.manifest.json",
            "day": "2031-05-06",
            "revision": 1,
            "sha256": "ef" * 32,
        },
        "loads": [_load(1, "primary", "SND_A01"), _load(2, "backup", "SND_B01")],
        "destinations": [
            {"name": "shuttle-1", "identity": "fs:1", "disks": ["d1"], "present": True},
            {"name": "cart-raid", "identity": "fs:2", "disks": ["d2", "d3"], "present": False},
        ],
        "asked": {
            "copies_required": 2,
            "sources": [{"name": "primary", "role": "primary"}],
            "destinations": ["shuttle-1"],
        },
        "files": [file_entry(), other],
        "findings": [
            {
                "id": "f1",
                "code": "counterpart-short",
                "severity": "hold",
                "subject": "12A-T03.wav",
                "says": "The backup card has 0.2 s less.",
                "do": "Keep both cards.",
                "decision": {"note": "heard it", "at": "2031-05-06T21:00:00Z"},
            },
            {
                "id": "f2",
                "code": "name-encoded",
                "severity": "note",
                "subject": "\\xff.wav",
                "says": "Its name was encoded.",
                "do": "",
                "decision": None,
            },
        ],
        "totals": {"files": 2, "recordings": 1, "bytes": 288_088},
        "verdict": "HOLD",
        "reasons": ["One recording is short on the backup card."],
    }


def _load(number: int, role: str, label: str) -> dict[str, Any]:
    return {
        "id": number,
        "source": role,
        "role": role,
        "label": label,
        "folder": label,
        "identity": f"fs:{label}",
        "first_seen_at": "2031-05-06T14:09:00Z",
        "files": 2,
        "litter": [{"name": "Thumbs.db", "count": 1}],
        "skipped": [{"path": "a-link", "why": "a symbolic link"}],
    }
