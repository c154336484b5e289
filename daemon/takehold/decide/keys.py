"""The names under which things are kept: work that may fail, folders of the config."""

from __future__ import annotations

from takehold.formats.names import display
from takehold.model.comparison import Side
from takehold.model.recording import Copy

# A card that was in on a day and could not be looked at, and what it is known by: remembered for
# that day until it could be listed.
OF_A_DAY = ("list", "twice", "mute")
AWAY = "away"


def away_key(day: str, source: str) -> str:
    """The trouble key of a watch folder that was not there when a day was closed."""
    return f"{AWAY} {day} {source}"


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


def compare_key(ours: Side, theirs: Side) -> str:
    """The trouble key of comparing the samples of two sides."""
    return f"compare {','.join(map(str, ours))} {','.join(map(str, theirs))}"


def root_of(key: str) -> str | None:
    """The drive that a trouble's work needs, None where it needs none."""
    word, _, about = key.partition(" ")
    if word == "land":
        return about.partition(" ")[2]
    if word == "publish":
        return about.split(" ", 2)[2]
    return about.partition(" ")[2].rpartition(" ")[0] if word == "prove" else None


def folder_key(name: str, path: bytes) -> str:
    """The name under which a configured folder's volume is recorded.

    Another path in the config is another folder: its volume is recorded anew.
    """
    return f"{name} {display(path)}"
