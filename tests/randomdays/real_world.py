"""A sound cart of real volumes: cards, their recorder, drives, and a laptop with the real program.

Each card and drive is a disk of the fault lab (tests/faultlab/lab.py), so that pulling it is
pulling it: requests under way fail. One number draws the same events in the same order each time;
how far the program has got when one comes is the machine's own chance.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import signal
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from random import Random
from subprocess import CompletedProcess

from cardmaker import name_of, put, take, today
from faultlab.checker import TEMPORARY, finals, image_digest, names_of
from faultlab.lab import FaultyDisk, Lab
from instance import Daemon, Instance
from loopbench import make, run

CARD_SYSTEMS = ("ext4", "exfat")
DRIVE_SYSTEMS = ("ext4", "exfat", "xfs", "btrfs")
FILLER = "filler.bin"
BREATH_S = 4.0  # longer than a few takes need; only a device that fails takes more
PULL_TRIES = 40
# What a recorder does with a card, unseen by the laptop: in a mount namespace of its own.
RECORDER = """
set -e
if [ "$2" = exfat ]; then
  loop=$(losetup --find --show "$1")
  setpriv --pdeathsig KILL mount.exfat-fuse -d -o noatime "$loop" "$3" >/dev/null 2>&1 &
  until mountpoint -q "$3"; do sleep 0.01; done
  cp -r "$4/." "$3/"; umount "$3"; wait; losetup -d "$loop"
else
  mount -o loop,noatime "$1" "$3"; cp -r "$4/." "$3/"; umount "$3"
fi
"""


def sha(raw: bytes) -> str:
    """SHA-256 in hex, by the standard library."""
    return hashlib.sha256(raw).hexdigest()


@dataclass(eq=False)
class Thing:
    """A card or a drive.

    `truth` is what the recorder left on a card; `stood` what lay on a drive when it was last looked
    at, `settled` the paths that did while the program had nothing to do there. What the history
    itself spoilt is `damaged`.
    """

    name: str
    label: str
    disk: FaultyDisk
    truth: dict[str, bytes] = field(default_factory=dict)
    day_of: dict[str, str] = field(default_factory=dict)
    stood: dict[str, bytes] = field(default_factory=dict)
    settled: set[str] = field(default_factory=set)
    damaged: set[str] = field(default_factory=set)
    digest: str = ""

    @property
    def here(self) -> bool:
        return self.disk.server is not None

    @property
    def fs(self) -> str:
        return self.disk.disk.fs

    @property
    def mount(self) -> Path:
        return self.disk.mount


class RealWorld:
    """All of it, below one folder."""

    def __init__(self, number: int, lab: Lab) -> None:
        self.chance = Random(number)
        self.lab = lab
        self.log: list[str] = []
        self.takes = 0
        self.mounts = 0
        self.given: dict[str, bytes] = {}  # also what a misread made of it
        self.recorded: set[str] = set()
        self.manifests: dict[str, dict[str, object]] = {}
        self.done: Counter[str] = Counter()  # what happened indeed
        self.days: list[str] = []
        self.daemon: Daemon | None = None
        self._running = contextlib.ExitStack()
        backed = self.chance.random() < 0.8
        labels = [("a", "SND_A1"), ("b", self.chance.choice(("SND_A1", "SND_A2")))]
        self.primaries = [self._thing(f"card-{n}", label, CARD_SYSTEMS) for n, label in labels]
        self.backups = [self._thing("card-c", "SND_B1", CARD_SYSTEMS)] if backed else []
        names = ("shuttle-1", "shuttle-2", "cart-raid")[: self.chance.choice((2, 3))]
        self.drives = [self._thing(n, n.upper()[:11], DRIVE_SYSTEMS) for n in names]
        sources = {"primary": ("primary", "SND_A*"), "backup": ("backup", "SND_B*")}
        self.laptop = Instance(
            lab.folder / "laptop",
            sources if backed else {"primary": sources["primary"]},
            {d.name: d.label for d in self.drives},
            {"recheck_cards_at_wrap": self.chance.random() < 0.2},
        )

    def _thing(self, name: str, label: str, systems: tuple[str, ...]) -> Thing:
        disk = FaultyDisk(self.lab.folder, name, self.chance.choice(systems), label, None)
        self.lab.things.append(disk)
        return Thing(name, label, disk)

    @property
    def cards(self) -> list[Thing]:
        return [*self.primaries, *self.backups]

    @property
    def day(self) -> str:
        """The shooting day of now, as the recorder dates it."""
        return self.days[-1]

    def begin_days(self, count: int) -> list[str]:
        """The dates of so many days, today the last."""
        last = date.fromisoformat(today())
        return [(last - timedelta(days=n)).isoformat() for n in reversed(range(count))]

    # -- plugging

    def put_in(self, thing: Thing) -> None:
        """Plug it in, under a mount point and device that it never had."""
        self.mounts += 1
        thing.disk.come_back(self.lab.folder / "media" / f"{thing.name}-{self.mounts}")
        if thing in self.cards:
            for path in [*thing.truth][:1]:  # at the first file, ext4 notes where it is mounted
                with (thing.mount / path).open("rb") as file:
                    file.read(1)
            thing.disk.sync()
            thing.digest = image_digest(thing.disk.image)

    def take_out(self, thing: Thing, *, pull: bool = False) -> None:
        """Take it out as one should, or pull it under whoever uses it."""
        self.look_at(thing)
        for _ in range(0 if pull else PULL_TRIES):  # a look of the program, a moment long
            try:
                thing.disk.unmount()
            except AssertionError:
                time.sleep(0.05)
            else:
                return
        thing.disk.yank()

    def look_at(self, thing: Thing) -> None:
        """P1 for a card that is in. P2, P3 for a drive: see `drive_kept`."""
        if thing in self.cards and thing.here:
            thing.disk.sync()
            same = image_digest(thing.disk.image) == thing.digest
            assert same, f"P1: the card {thing.name} is not what it was when it was put in"
        elif thing.here:
            self.drive_kept(thing)

    def drive_kept(self, drive: Thing) -> None:
        """No name changed or went; each new one holds bytes that a card gave, or is paper."""
        names = [p for p in names_of(drive.mount) if os.path.basename(p) != FILLER]
        names = [p for p in names if not TEMPORARY.fullmatch(os.path.basename(p))]
        now = {p: (drive.mount / p).read_bytes() for p in names}
        for path, content in drive.stood.items():
            assert path in now or path in drive.damaged, f"P2: {path} went from {drive.name}"
            same = now.get(path) == content or path in drive.damaged
            assert same, f"P2: {path} on {drive.name} was overwritten"
        for path, content in finals(drive.mount).items():
            if path not in drive.stood and path in now:
                assert sha(content) in self.given, (
                    f"P3: {path} on {drive.name} holds what no card gave"
                )
        drive.stood = now

    def look(self) -> None:
        """Everything that must never be, now."""
        for thing in (*self.cards, *self.drives):
            self.look_at(thing)
        if self.daemon is not None:
            ended = self.daemon.process.poll()
            assert ended is None, (
                f"P6: the program ended with {ended}: {self.laptop.said()[-2000:]}"
            )

    # -- the recorder

    def record_take(self) -> None:
        """A take on a primary and a backup card that are in the recorder."""
        self.takes += 1
        scene, seconds = self.chance.randrange(1, 9), self.chance.choice((0.1, 0.3, 0.3, 4.0))
        content = take(scene, self.takes, seconds=seconds, channels=1, day=self.day)
        for cards in (self.primaries, self.backups):
            free = [c for c in cards if not c.here]
            if free and self.chance.random() < 0.95:
                self.write(self.chance.choice(free), {name_of(scene, self.takes): content})

    def write(self, card: Thing, files: dict[str, bytes]) -> None:
        """The recorder writes files, at times over others of that name."""
        stage = self.lab.folder / "stage"
        shutil.rmtree(stage, ignore_errors=True)
        for path, content in files.items():
            put(stage, path, content)
            self.given[sha(content)] = content
            self.recorded.add(sha(content))
            card.day_of[path] = self.day
        at = self.lab.folder / "recorder"
        at.mkdir(exist_ok=True)
        image = str(card.disk.image)
        words = ("unshare", "-m", "--propagation", "private", "sh", "-c", RECORDER, "recorder")
        run(*words, image, card.fs, str(at), str(stage))
        card.truth |= files

    def wipe(self, card: Thing, uuid: str | None) -> None:
        """The recorder formats a card: the same label, and a new identity or the given one."""
        make(card.fs, card.disk.image, card.label, uuid)
        card.truth.clear()
        card.day_of.clear()

    def clone(self, card: Thing) -> Thing:
        """Another card of the same bytes and identity."""
        number = len(self.cards)
        disk = FaultyDisk(self.lab.folder, f"clone-{number}", card.fs, card.label, None)
        self.lab.things.append(disk)
        run("cp", "--sparse=always", card.disk.image, disk.image)
        return Thing(f"clone-{number}", card.label, disk, dict(card.truth), dict(card.day_of))

    # -- the laptop

    def boot(self) -> None:
        """Start the program."""
        if self.daemon is None:
            self.daemon = self._running.enter_context(self.laptop.daemon())

    def shut(self, *, kill: bool = False) -> None:
        """End it: asked, or as the end of power would."""
        if self.daemon is None:
            return
        if kill:
            self.daemon.kill()
        else:
            self.daemon.send(signal.SIGTERM)
            assert self.daemon.process.wait(30) == 0, f"P6: {self.laptop.said()[-2000:]}"
        self.daemon = None
        self._running.close()

    def command(self, *words: str) -> CompletedProcess[str]:
        """A command, which ends in time and in a sentence."""
        done = self.laptop.run(*words, timeout=100)
        self.log.append(f"    {' '.join(words)}: {done.returncode}")
        assert "Traceback" not in done.stderr, done.stderr
        assert done.returncode in {0, 1, 2, 3}, (words, done.returncode, done.stderr)
        return done

    def breathe(self) -> None:
        """Let the program work until it has nothing to do, or for a while."""
        if self.daemon is None:
            self.command("once")
        else:
            end, idle = time.monotonic() + BREATH_S, 0
            while time.monotonic() < end and idle < 6:
                time.sleep(0.05)
                idle = idle + 1 if self.daemon.is_idle() else 0
            if idle < 6:
                return
        for drive in self.drives:
            if drive.here:
                self.drive_kept(drive)
                drive.settled = set(drive.stood)

    def close(self) -> None:
        """Nothing runs on."""
        self.daemon = None
        self._running.close()
