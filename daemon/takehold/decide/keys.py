"""The names of work that may fail: troubles are kept by them."""

from __future__ import annotations

from takehold.model.recording import Copy


def stock_key(load: int, path: bytes) -> str:
    """The trouble key of one file that could not be described."""
    return f"stock {load} {path.hex()}"


def land_key(recording: int, root: str) -> str:
    """The trouble key of one recording's copy on one destination."""
    return f"land {recording} {root}"


def rec_key(recording: int) -> str:
    """The trouble key of reading one recording from its card."""
    return f"rec {recording}"


def salvage_key(recording: int) -> str:
    """The trouble key of saving what can be read of an unreadable recording."""
    return f"salvage {recording}"


def publish_key(day: str, number: int, root: str) -> str:
    """The trouble key of publishing one revision on one destination."""
    return f"publish {day} {number} {root}"


def prove_key(copy: Copy) -> str:
    """The trouble key of reading one copy again."""
    return f"prove {copy.recording} {copy.root} {copy.path.hex()}"


def root_of(key: str) -> str | None:
    """The drive that a trouble's work needs, None where it needs none."""
    word, _, about = key.partition(" ")
    if word == "land":
        return about.partition(" ")[2]
    if word == "publish":
        return about.split(" ", 2)[2]
    return about.partition(" ")[2].rpartition(" ")[0] if word == "prove" else None
