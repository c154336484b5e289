"""A made-up day on two cards, with what is true of it; and what takehold says of it."""

from __future__ import annotations

import json
import os
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from cardmaker import today
from corpus.wavs import RATE, Said, Samples, file_of, packed, voices
from instance import Instance
from takehold.decide.day import NEAR

SCENE_TAKES = 3
CHANNELS = 3
NAMES = ("Mix", "Boom", "Keeper")
FIRST = 8 * 3600
SPACING = 40
"""Seconds from take to take."""
# What may be said of any day and is no matter of its audio.
BACKGROUND = {"litter", "read-back-not-provable", "not-durable", "second-read-not-provable"}
# Said once for the takes of a card that are alike in it.
OF_TAKES = {"track-silent", "track-dead", "tracks-unnamed", "channels", "timecode-off-clock"}


@dataclass
class Truth:
    """A finding that is owed: its code and words that its sentence has."""

    code: str
    words: str
    plant: str
    met: int = 0


@dataclass
class Day:
    """Two card folders; what was put on them and what is owed for it."""

    folder: Path
    dice: np.random.Generator
    odd: bool = False
    truths: list[Truth] = field(default_factory=list)
    relations: dict[str, tuple[str, str]] = field(default_factory=dict)
    """Path on the primary card: the relation, and the plant."""
    plants: Counter[str] = field(default_factory=Counter)
    made: int = 0
    plant: str = "plain"
    keys: dict[str, object] = field(default_factory=dict)
    cards: dict[str, str] = field(
        default_factory=lambda: {"primary": "primary", "backup": "backup"}
    )
    """The role of each card, by its name."""
    later: list[Callable[[], None]] = field(default_factory=list)
    """What is done to the cards once they were copied: then they are looked at again."""
    wrapped: dict[str, tuple[int, str]] = field(default_factory=dict)
    """Days that are wrapped each time: how many revisions there are in the end, and the plant."""
    unlike: dict[tuple[str, str, str, bool], list[tuple[str, str]]] = field(default_factory=dict)
    """Files by their card, the code and the words, with their plants."""
    covers: dict[tuple[str, str], str] = field(default_factory=dict)
    """How much of a take, by scene and number, the transmitter's own card has."""

    def card(self, name: str) -> Path:
        """The folder that is the card."""
        return self.folder / f"{name}_card"

    def put(self, card: str, name: str, content: bytes, at: int = FIRST * RATE) -> None:
        """A file on a card, dated as it was recorded."""
        path = self.card(card) / "DAY01" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        written = datetime.fromisoformat(today()) + timedelta(seconds=at // RATE)
        os.utime(path, (written.timestamp(),) * 2)

    def owed(self, code: str, words: str) -> None:
        """A finding must be there."""
        self.truths.append(Truth(code, words, self.plant))

    def set_up(self, card: str, code: str, name: str, what: str, *, same: bool = False) -> None:
        """What is told once for all files of a card of which it is so, as not what is expected.

        Of a backup's that are the `same` as the primary's, to the byte, it is told by itself.
        """
        self.unlike.setdefault((card, code, what, same), []).append((name, self.plant))

    def settle(self) -> None:
        """Once all is planted: what is owed for all files of a card together."""
        for (card, code, what, _), files in self.unlike.items():
            name, plant = files[0]
            one = f"{card}/DAY01/{name}: {what}"
            kind = "takes" if code in OF_TAKES else "files"
            words = one if len(files) == 1 else f"{card}: {len(files)} {kind}: {what}"
            self.truths.append(Truth(code, words, plant))

    def other_channels(self, name: str, count: int, usual: int) -> None:
        """A take of more or fewer channels than the others: told once, or there and back."""
        expect = self.keys["expect"]
        if isinstance(expect, dict) and "channels" in expect:
            self.set_up("primary", "channels", name, f"{count} channel")
        else:
            many, others = (f"{n} channel{'s' * (n > 1)}" for n in (count, usual))
            self.owed("channels-changed", f"DAY01/{name}: {many} after {usual}")
            self.owed("channels-changed", f": {others} after {count}")

    def relate(self, name: str, relation: str) -> None:
        """How the backup card answers this primary file."""
        self.relations[f"DAY01/{name}"] = (relation, self.plant)


@dataclass(frozen=True)
class Take:
    """One take as it was played to the recorder."""

    name: str
    said: Said
    samples: Samples

    @property
    def channels(self) -> int:
        """How many."""
        return int(self.samples.shape[1])


def a_take(day: Day, scene: str, number: int, channels: int = CHANNELS) -> Take:
    """The next take of the day, not put anywhere yet."""
    frames = int(day.dice.integers(int(1.6 * RATE), int(2.6 * RATE)))
    start = (FIRST + SPACING * day.made) * RATE + int(day.dice.integers(0, RATE // 2))
    day.made += 1
    names = (
        NAMES[:channels] if channels <= len(NAMES) else tuple(f"Iso {n}" for n in range(channels))
    )
    said = Said(today(), scene, str(number), start, names, uid=f"U{day.made:05}")
    said = said.but(family=f"F{day.made:05}")
    return Take(f"{scene}T{number:02}.WAV", said, voices(day.dice, frames, channels))


def whole(day: Day, take: Take, /, **other: Any) -> bytes:
    """The take as one poly file of 24 bits."""
    return file_of(take.said.but(**other), packed(take.samples), take.channels, odd=day.odd)


def plain(day: Day, take: Take) -> None:
    """Nothing is wrong: the same file on both cards."""
    content = whole(day, take)
    for role in ("primary", "backup"):
        day.put(role, take.name, content, take.said.start)
    day.relate(take.name, "identical")


def is_later_today(card: Path) -> bool:
    """Whether it holds takes of hours that are still to come: the corpus is a whole day."""
    latest = max((path.stat().st_mtime for path in card.rglob("*.WAV")), default=0)
    return latest > time.time() + NEAR.total_seconds()


Plant = Callable[[Day, Take], None]


def build(day: Day, plants: list[tuple[str, Plant]], takes: int) -> None:
    """Scenes of three takes; each plant has the second take of a scene, in a shuffled order."""
    scenes = takes // SCENE_TAKES
    waiting = [
        plants[n % len(plants)] for n in range(min(scenes, max(len(plants), scenes * 2 // 3)))
    ]
    order = day.dice.permutation(scenes)
    for number in range(scenes):
        scene = f"{number + 1}"
        for nth in range(1, SCENE_TAKES + 1):
            take = a_take(day, scene, nth)
            place = int(order[number])
            if nth == 2 and place < len(waiting):
                day.plant, plant = waiting[place]
                day.plants[day.plant] += 1
                plant(day, take)
                day.plant = "plain"
            else:
                day.plants["plain"] += 1
                plain(day, take)


def said_of(day: Day) -> dict[str, Any]:
    """What the real program says of the day: `once`, then `day --json`."""
    drives = {name: day.folder / name for name in ("drive_1", "drive_2")}
    for drive in drives.values():
        drive.mkdir()
    sources = {name: (role, day.card(name)) for name, role in day.cards.items()}
    keys = {"copies_required": 1, "settle_seconds": 2} | day.keys
    owner = Instance(day.folder / "laptop", sources, drives, keys)
    owner.run("once", timeout=1800)
    if day.later:
        for date in day.wrapped:
            owner.run("wrap", date, timeout=600)
        for change in day.later:
            change()
        owner.run("once", timeout=1800)
        for date in day.wrapped:
            owner.run("wrap", date, timeout=600)
    found: dict[str, Any] = json.loads(owner.run("day", today(), "--json").stdout)
    return found


@dataclass
class Result:
    """Plant by plant: how often planted, what was missed, and what was said in vain."""

    planted: Counter[str]
    missed: list[str]
    false_alarms: list[str]
    figures: list[str]


def weigh(day: Day, found: dict[str, Any]) -> Result:
    """Hold what was said against what is true: each truth is met once, and nothing else is said."""
    false_alarms = []
    day.settle()
    for finding in found["findings"]:
        fitting = [
            t
            for t in day.truths
            if t.code == finding["code"] and t.words in finding["says"] and not t.met
        ]
        if fitting:
            max(fitting, key=lambda t: len(t.words)).met += 1
        elif finding["code"] not in BACKGROUND:
            false_alarms.append(f"{finding['code']}: {finding['says']}")
    missed = [f"{t.plant}: {t.code} ({t.words})" for t in day.truths if not t.met]
    answers = {f["path"]: f["counterpart"] for f in found["files"] if f["role"] == "primary"}
    for path, (relation, plant) in day.relations.items():
        if answers.get(path) != relation:
            missed.append(f"{plant}: {path} is {answers.get(path)!r}, not {relation!r}")
    takes = (t for t in found["takes"] if t["role"] == "primary")
    packs = {(t["scene"], t["take"]): t["packs"] for t in takes}
    for key, covers in day.covers.items():
        told = [pack["covers"] for pack in packs[key]]
        if told != [covers]:
            missed.append(f"transmitter's own card: {key} is {told}, not {covers!r}")
    for date, (wanted, plant) in day.wrapped.items():
        made = list(day.folder.glob(f"drive_1/*/{date}/*.manifest.json"))
        if len(made) != wanted:
            missed.append(f"{plant}: {date} has {len(made)} revisions, not {wanted}")
    figures = [
        f"{f['path']}: {f['counterpart']}" for f in found["files"] if f["counterpart"] == "reduced"
    ]
    return Result(day.plants, missed, false_alarms, figures)
