"""The disks of a recording after an end of power, mounted as a system would, and looked at.

Everything lies in memory, at the very paths where it was recorded, in a mount namespace of this
process's own.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import re
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from crash.power_checker import Told, at_once, at_quiet
from crash.power_medium import Media, Point
from crash.power_program import Program
from crash.power_recording import DISKS, DRIVES, Recording
from faultlab.checker import files_of, image_digest
from faultlab.write_log import NOTE, Record
from loopbench import Disk, attach, own_namespace, run

DIRTY_AT, DIRTY = 106, 2  # VolumeFlags, VolumeDirty: exFAT file system specification, 3.1.13
MENDED = re.compile(r"ERROR: /(.*?): ")  # as fsck.exfat (exfatprogs) tells it


@dataclass
class Stage:
    """Where points are played."""

    recording: Recording
    media: Media
    program: Program
    disks: Mapping[str, Disk]
    spoiled: dict[str, frozenset[str]] = field(default_factory=dict)
    unreadable: bool = False

    def play(self, point: Point, *, on: bool = True) -> None:
        """Cut, mount, look, go `on` to quiet, look again; AssertionError for what does not hold."""
        self.spoiled, self.unreadable = {}, False
        state = self.media.at(point)
        said = said_by(self.media.log[: point.position])
        with self._mounted({name: more for name, (_, more) in state.items()}):
            card = files_of(self.disks["card"].mount)
            before = image_digest(self.disks["card"].image)
            told = self._told(card)
            at_once(told, said)
            if on and (broken := self._broken()):
                self._holds(broken, card)
            elif on:
                self._restart(random.Random(f"{point} restart"))
                for name in ("laptop", *DRIVES):  # what counts is on the media, not in a cache
                    self._remount(self.disks[name])
                at_quiet(told)
        assert image_digest(self.disks["card"].image) == before, "the card was written to"

    def _told(self, card: Mapping[str, bytes]) -> Told:
        laptop = self.disks["laptop"].mount / "takehold"
        drives = {name: self.disks[name].mount for name in DRIVES}
        made = self.recording
        return Told(card, drives, laptop / "state", made.day, made.public_key, self.spoiled)

    def _restart(self, dice: random.Random) -> None:
        """As somebody does who comes back: `once` and `wrap`, or straight to `wrap`."""
        if dice.randrange(2):
            self._run("once")
        if any(self.spoiled.values()):
            self._decide()
        self._run("wrap", self.recording.day)

    def _broken(self) -> str:
        """The drive on which a folder cannot be read, though its check called it clean."""
        for name in DRIVES:
            failed: list[OSError] = []
            for _ in os.walk(self.disks[name].mount, onerror=failed.append):
                pass
            if failed:
                self.unreadable = True
                return name
        return ""

    def _holds(self, drive: str, card: Mapping[str, bytes]) -> None:
        """The day holds and says for which drive, which has no quiet end; others have it all."""
        status = self.program.run("wrap", self.recording.day)
        said = self.program.said()
        assert status == 1, f"wrap ended with {status}: {said[-600:]}"
        assert f"{drive}: the device failed" in said, said[-600:]
        for other in (name for name in DRIVES if name != drive):
            there = set(files_of(self.disks[other].mount).values())
            assert set(card.values()) <= there, f"{other} lacks a file of the card"

    def _decide(self) -> None:
        """What was spoiled stands in the way of a manifest: a person looks, and says so."""
        day = self.recording.day
        self.program.run("wrap", day)
        self.program.run("day", day, "--json")
        for finding in json.loads(self.program.said())["findings"]:
            if finding["severity"] == "look":
                self._run("ack", finding["id"], "--note", "the drive's file system was damaged")

    def _run(self, *words: str) -> None:
        status = self.program.run(*words)
        assert status == 0, f"{words} ended with {status}: {self.program.said()[-600:]}"

    def _remount(self, disk: Disk) -> None:
        run("umount", disk.mount)
        disk._reap(5)
        run("blockdev", "--flushbufs", disk.loop)
        disk.mount_again()

    @contextlib.contextmanager
    def _mounted(self, more: Mapping[str, Sequence[tuple[int, bytes]]]) -> Iterator[None]:
        try:
            for name, pieces in more.items():
                self._mount(self.disks[name], name, pieces)
            yield
        finally:
            for disk in self.disks.values():
                self._unmount(disk)

    def _mount(self, disk: Disk, name: str, pieces: Sequence[tuple[int, bytes]]) -> None:
        self.media.disks[name].image(disk.image, pieces)
        if disk.fs == "exfat":
            self._check_exfat(disk)
        if name == "card":  # so that a read-only mount finds nothing to mend
            run("e2fsck", "-p", disk.image, check=False)
        elif disk.fs == "ext4":
            _mend_superblock(disk.image)
        disk.loop = attach(disk.image)
        disk.mount_again(options="ro,noatime" if name == "card" else "noatime")

    def _check_exfat(self, disk: Disk) -> None:
        with disk.image.open("rb") as image:
            image.seek(DIRTY_AT)
            dirty = image.read(1)[0] & DIRTY
        if dirty:
            said = run("fsck.exfat", "-y", disk.image, check=False)
            self.spoiled[disk.name] = frozenset(MENDED.findall(said))

    def _unmount(self, disk: Disk) -> None:
        run("umount", disk.mount, check=False)
        disk._reap(5)
        if disk.loop:
            run("losetup", "-d", disk.loop, check=False)
            disk.loop = ""


def _mend_superblock(image: Path) -> None:
    """Its 1,024 bytes are two sectors: torn between them, only e2fsck reads it, as at a boot."""
    looked = subprocess.run(
        ["dumpe2fs", "-h", str(image)], capture_output=True, timeout=60, check=False
    )
    if looked.returncode:
        run("e2fsck", "-y", image, check=False)


def said_by(log: Sequence[Record]) -> list[str]:
    """The commands that had ended well, and so had given their word, before the power ended."""
    notes = [record.data.decode() for record in log if record.kind == NOTE]
    return [word.split()[1] for word in notes[: len(notes) // 2 * 2 : 2]]


@contextlib.contextmanager
def staged(recording: Recording, seed: int) -> Iterator[Stage]:
    """A stage in memory, and an end to all of it."""
    refused = own_namespace()
    assert refused is None, refused
    stage = recording.stage
    stage.mkdir(parents=True, exist_ok=True)
    run("mount", "-t", "tmpfs", "-o", "size=300m", "tmpfs", stage)
    disks = {}
    for name, fs in DISKS.items():
        image = stage / "served" / f"{name}-1" / "disk.img"
        image.parent.mkdir(parents=True)
        disks[name] = Disk(name, fs, image, "", stage / "media" / name, "")
    laptop = disks["laptop"].mount / "takehold"
    program = Program(laptop / "takehold.toml", laptop / "state", stage / "said")
    try:
        yield Stage(recording, Media(recording, seed), program, disks)
    finally:
        program.close()
        # The folder stays: to remove it would take away what others have mounted on it.
        run("umount", "-l", stage, check=False)
