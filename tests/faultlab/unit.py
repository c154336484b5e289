"""A sound unit in the laboratory: one card, two drives, and a takehold that is a real process."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any

from cardmaker import fill, name_of, put, take, today
from faultlab.checker import image_digest, whole
from faultlab.lab import FaultyDisk, FaultyLayer, Lab
from instance import Instance, Place

SMALL = name_of(1, 2)  # written through the kernel's cache
LARGE = name_of(2, 1)  # 1.4 MB: written past it
TAKES = ((1, 1), (1, 2), (1, 3))

Thing = FaultyDisk | FaultyLayer


def fill_card(folder: Path) -> dict[str, bytes]:
    """Three small takes and a large one."""
    made = fill(folder, TAKES)
    made[LARGE] = take(2, 1, seconds=5)
    put(folder, LARGE, made[LARGE])
    return made


@dataclass
class Unit:
    """What a test looks at. `good` never fails; `bad` is for the test to spoil."""

    card: Thing
    good: FaultyDisk
    bad: Thing
    made: Mapping[str, bytes]
    takehold: Instance
    digest: str

    def once(self) -> CompletedProcess[str]:
        return self.takehold.run("once", timeout=100)

    def wrapped(self) -> Any:
        """What `wrap` says of today, which must not be READY."""
        return self.takehold.facts("wrap", today(), status=1)

    def on_good(self) -> set[str]:
        return whole(self.good.mount, self.made)

    def on_bad(self) -> set[str]:
        return whole(self.bad.mount, self.made)

    def is_all_there(self) -> bool:
        return self.on_good() == self.on_bad() == self.made.keys()

    def card_is_untouched(self) -> bool:
        """Not a bit of the image is other than before takehold saw it."""
        assert isinstance(self.card, FaultyDisk)
        self.card.sync()
        return image_digest(self.card.image) == self.digest


def unit(
    lab: Lab,
    *,
    fs: str = "ext4",
    card: Thing | None = None,
    bad: Thing | None = None,
    made: Mapping[str, bytes] | None = None,
    **keys: object,
) -> Unit:
    """One card SND_A1, the drives SHUTTLE_1 and SHUTTLE_2; the second has `fs`, or is `bad`."""
    card = card or lab.disk("card", label="SND_A1")
    made = made or fill_card(card.folder if isinstance(card, FaultyLayer) else card.mount)
    digest = ""
    if isinstance(card, FaultyDisk):
        card.sync()
        digest = image_digest(card.image)
    good = lab.disk("good", label="SHUTTLE_1")
    bad = bad or lab.disk("bad", fs, label="SHUTTLE_2")
    second: Place = bad.mount if isinstance(bad, FaultyLayer) else "SHUTTLE_2"
    takehold = Instance(
        lab.folder / "laptop",
        {"primary": ("primary", "SND_A1")},
        {"shuttle-1": "SHUTTLE_1", "shuttle-2": second},
        {"copies_required": 2, **keys},
    )
    return Unit(card, good, bad, made, takehold, digest)
