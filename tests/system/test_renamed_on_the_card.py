"""Cards that were copied, and whose files were renamed or deleted in the recorder since."""

from __future__ import annotations

import time
from pathlib import Path

from cardmaker import fill, name_of, put, take, today
from instance import Instance, copies_below
from loopbench import Bench, Disk, run

TOLD = {"edited", "deleted-on-card"}
KEPT, EDITED, DELETED = map(name_of, (1, 1, 2), (1, 2, 1))
RENAMED = "DAY01/S07T01.WAV"


def at_noon(bench: Bench, folder: Path) -> tuple[Instance, list[Disk], Disk]:
    """Two cards with three takes were copied, and are in the recorder again."""
    drive = bench.disk("drive", label="SHUTTLE_1")
    sources = {"primary": ("primary", "SND_A*"), "backup": ("backup", "SND_B*")}
    laptop = Instance(folder / "laptop", sources, {"s1": "SHUTTLE_1"}, {"copies_required": 1})
    cards = [
        bench.disk(label, "exfat", label=label, uuid=uuid)
        for label, uuid in (("SND_A1", "1234-5678"), ("SND_B1", "8765-4321"))
    ]
    for card in cards:
        fill(card.mount)
        run("sync", "--file-system", card.mount)
    assert laptop.run("once").returncode == 0
    for card in cards:
        card.unmount()
    return laptop, cards, drive


def noticed(laptop: Instance) -> set[tuple[str, str]]:
    """Code and file of what is said of that, and of all that is no note."""
    found = laptop.facts("day", today())["findings"]
    return {
        (f["code"], f["says"].partition(":")[0])
        for f in found
        if f["code"] in TOLD or f["severity"] != "note"
    }


def test_what_was_renamed_and_what_was_deleted(bench: Bench, tmp_path: Path) -> None:
    """The day is READY and has each take once; every copy stays where it is."""
    laptop, cards, drive = at_noon(bench, tmp_path)
    before = set(copies_below(drive.mount))
    for card in cards:
        card.mount_again()
        (card.mount / EDITED).unlink()
        put(card.mount, RENAMED, take(1, 2, note="circled"))
        (card.mount / DELETED).unlink()
        run("sync", "--file-system", card.mount)
    for _ in range(2):
        assert laptop.run("once").returncode == 0
        assert noticed(laptop) == {
            (code, f"{card}/{name}")
            for card in ("SND_A1", "SND_B1")
            for code, name in (("edited", EDITED), ("deleted-on-card", DELETED))
        }
    assert laptop.run("wrap").returncode == 0
    assert before < set(copies_below(drive.mount))
    day = laptop.facts("day", today())
    files = {f["path"]: f["counterpart"] for f in day["files"]}
    assert (day["verdict"], files) == (
        "READY",
        dict.fromkeys((KEPT, RENAMED, DELETED), "identical"),
    )


def test_cards_that_were_labelled_anew_are_told_by_both_labels(
    bench: Bench, tmp_path: Path
) -> None:
    """Exchanged by mistake: by what each is labelled now it is found, and has its role."""
    laptop, cards, _ = at_noon(bench, tmp_path)
    for card, label in zip(cards, ("SND_B1", "SND_A1"), strict=True):
        run("exfatlabel", card.loop, label)
        card.mount_again()
    assert laptop.run("once").returncode == 0
    for asked in (["card"], ["card", "SND_B1"]):
        said = laptop.run(*asked).stdout
        assert "SND_A1 (now SND_B1) (backup, first seen" in said
        assert "SND_B1 (now SND_A1) (primary, first seen" in said


def test_a_card_that_was_formatted_tells_nothing(bench: Bench, tmp_path: Path) -> None:
    """Under the same serial number, with a file of a name, size and length that it had before."""
    laptop, cards, _ = at_noon(bench, tmp_path)
    noon = int(time.time())
    while int(time.time()) == noon:  # no card is formatted and filled within a second
        time.sleep(0.05)
    for number, card in enumerate(cards):
        card.mount_again()
        for path in card.mount.rglob("*.WAV"):
            path.unlink()
        if number == 0:
            put(card.mount, KEPT, take(1, 1, sound=1))
        run("sync", "--file-system", card.mount)
    laptop.run("once")
    assert {code for code, _ in noticed(laptop)} & TOLD == set()
