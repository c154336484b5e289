"""One card, two drives on loop devices and a laptop's folder, put back as they were for each kill.

The program runs in a forked child of a process that has imported it once: `takehold` as people
start it, with its arguments, its config and its key, and no more of it is replaced than how long a
pass sleeps before it looks again.
"""

from __future__ import annotations

import contextlib
import ctypes
import importlib
import os
import pkgutil
import random
import shutil
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import soundfile  # noqa: F401 - what it brings takes long, too

import takehold
from cardmaker import fill, put, take, today
from crash import inside
from crash.kills_checker import (
    NOTHING,
    Catalogue,
    catalogue,
    no_false_word,
    one_paper,
    papers_hold,
    revisions,
)
from crash.kills_counter import Ending, Kill, counted, undisturbed
from faultlab.checker import TEMPORARY, files_of, image_digest, unchanged, whole
from instance import config_text
from loopbench import Bench, Disk, own_namespace, run
from takehold.cli import main
from takehold.engine import once

LABELS = {"shuttle-1": "SHUTTLE_1", "shuttle-2": "SHUTTLE_2"}
SMALL = ((1, 1), (1, 2), (1, 3))
LATE = "DAY01/S03T01.WAV"
LARGE = "DAY01/LONG.DAT"  # beyond 1 MiB: written and read past the cache
# Imported here, once, so that each child has all of it: the program imports where it needs it.
for part in pkgutil.walk_packages(takehold.__path__, "takehold."):
    if part.name.rpartition(".")[2] not in ("__main__", "macos", "windows"):
        importlib.import_module(part.name)
# The one thing that is not as people have it: how long a pass sleeps before it looks again.
once.WAIT_S = 0.01

Answers = str


@dataclass
class Stage:
    """Where a scenario is played. Its parts are as the program leaves them until `put_back`."""

    bench: Bench
    card: Disk
    drives: dict[str, Path]
    laptop: Path
    made: dict[str, bytes] = field(default_factory=dict)
    day: str = field(default_factory=today)
    public_key: str = ""
    before: dict[str, dict[str, bytes]] = field(default_factory=dict)
    knew: Catalogue = NOTHING
    at_end: list[Callable[[], None]] = field(default_factory=list)

    @property
    def state(self) -> Path:
        return self.laptop / "state"

    @property
    def key(self) -> Path:
        return self.laptop / "signing_key"

    @property
    def saved(self) -> Path:
        return self.bench.folder / "saved"

    def write_config(self) -> None:
        """Everything by its label, as on a cart."""
        sources = {"primary": ("primary", "SND_A1")}
        (self.laptop / "takehold.toml").write_text(config_text(sources, LABELS, {}))

    def late_take(self) -> None:
        """One more file on the card."""
        self.made[LATE] = take(3, 1, seconds=0.05)
        put(self.card.mount, LATE, self.made[LATE])
        run("sync", "--file-system", self.card.mount)

    # -- the program

    def done(self, *words: str, says: Answers = "", status: int | None = 0) -> None:
        """Run a command undisturbed; fails if it does not end with that status."""
        ended = undisturbed(self._work(words, says))
        what = f"{' '.join(words)}: status {ended}: {self.said()[-800:]}"
        assert status is None or ended == status, what

    def play(
        self,
        words: tuple[str, ...],
        kill: Kill | None = None,
        *,
        says: Answers = "",
        looks: bool = True,
        lying: bool = False,
    ) -> Ending:
        """Run a command with its calls counted, to its end or its kill."""
        lies = self._lies if lying else None
        stays = words == ("run",)
        return counted(self._work(words, says), kill, looks=looks, spoil=lies, stays=stays)

    def _work(self, words: tuple[str, ...], says: Answers) -> Callable[[], int]:
        """The program in a child: its three files, its arguments, its folder."""
        (self.bench.folder / "stdin").write_text(says)

        def work() -> int:
            for number, name, flags in (
                (0, "stdin", os.O_RDONLY),
                (1, "said", os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_TRUNC),
                (2, "said", os.O_WRONLY | os.O_APPEND),
            ):
                os.dup2(os.open(self.bench.folder / name, flags, 0o644), number)
            sys.stdin = os.fdopen(0)
            os.chdir(self.laptop)
            return inside.takehold(main.main, words)

        return work

    def said(self) -> str:
        """What the last command printed."""
        return (self.bench.folder / "said").read_text(errors="replace")

    def _lies(self, file: str) -> bool:
        return file.startswith(str(self.drives["shuttle-2"])) and file.endswith(".part")

    # -- before and after

    def keep(self) -> None:
        """From now on `put_back` leads here."""
        shutil.rmtree(self.saved, ignore_errors=True)
        for name, folder in self._folders().items():
            shutil.copytree(folder, self.saved / name, ignore=_no_system)
        self.before = {name: files_of(folder) for name, folder in self.drives.items()}

    def put_back(self) -> None:
        """Drives and laptop as they were kept, on their media."""
        for name, folder in self._folders().items():
            _emptied(folder)
            shutil.copytree(self.saved / name, folder, dirs_exist_ok=True)
        for folder in self.drives.values():
            _flushed(folder)

    def _folders(self) -> dict[str, Path]:
        return {**self.drives, "laptop": self.laptop}

    def known(self) -> Catalogue:
        """What the catalogue says now."""
        return catalogue(self.state / "catalogue.sqlite")

    def assert_true(self, *, papers: bool = True) -> None:
        """What holds at any moment, however the program ended."""
        archive = self.state / "manifests"
        found = [revisions(archive, self.public_key)]
        for name, root in self.drives.items():
            whole(root, self.made)
            unchanged(self.before[name], root)
            if papers:
                found.append(papers_hold(root, name, self.public_key))
        one_paper(*found)
        if papers:
            no_false_word(self.known(), self.drives, archive)

    def assert_no_litter(self) -> None:
        """Nothing that was only meant for a while is left on laptop or drives."""
        for name, folder in self._folders().items():
            left = [p for p in files_of(folder) if TEMPORARY.fullmatch(os.path.basename(p))]
            assert left == [], f"{name} has leftovers: {left}"
        assert not (self.state / "live.json.new").exists()

    def card_digest(self) -> str:
        """Of the whole image; it stays mounted."""
        run("sync", "--file-system", self.card.mount)
        return image_digest(self.card.image)


@contextlib.contextmanager
def staged(folder: Path) -> Iterator[Stage]:
    """A stage below a folder, with a config and a filled card, and an end to all of it."""
    refused = own_namespace()
    assert refused is None, refused
    folder.mkdir(parents=True)
    with contextlib.closing(Bench(folder)) as bench:
        disk = bench.disk("card", label="SND_A1", size_mb=16, options="noatime")
        drives = {
            name: bench.disk(name, label=label, size_mb=24).mount for name, label in LABELS.items()
        }
        for made in bench.disks:  # let go of with its mount, which ends with this process
            run("losetup", "-d", made.loop)
        laptop = folder / "laptop"
        laptop.mkdir()
        os.environ["TAKEHOLD_CONFIG"] = str(laptop / "takehold.toml")
        os.environ["TAKEHOLD_STATE"] = str(laptop / "state")
        stage = Stage(bench, disk, drives, laptop)
        stage.made = fill(disk.mount, SMALL, seconds=0.05)
        for path, content in (
            (LARGE, random.Random(LARGE).randbytes(1_100_000)),
            ("NOTES.TXT", b"harbour wall\n"),
        ):
            stage.made[path] = content
            put(disk.mount, path, content)
        run("sync", "--file-system", disk.mount)
        try:
            yield stage
        finally:
            for undo in stage.at_end:
                undo()
    shutil.rmtree(folder)


def _no_system(_: str, names: list[str]) -> list[str]:
    return [name for name in names if name == "lost+found"]


def _emptied(folder: Path) -> None:
    for entry in os.scandir(folder):
        if entry.name == "lost+found":
            continue
        if entry.is_dir(follow_symlinks=False):
            shutil.rmtree(entry.path)
        else:
            os.unlink(entry.path)


def _flushed(folder: Path) -> None:
    fd = os.open(folder, os.O_RDONLY)
    try:
        assert ctypes.CDLL(None).syncfs(fd) == 0
    finally:
        os.close(fd)
