"""A world without hardware for tests of the engine: time, mounts, a signer, a keep of manifests.

    site = Site()
    card = site.card("SND_A1", {b"T01.WAV": take(1)})
    site.drive("SHUTTLE_1")
    site.work()

The threads are real; what they touch is in memory. `work` ends by itself, or fails the test.
"""

from __future__ import annotations

import hashlib
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from fakedisk import FakeDisk, FakeVolume
from memory_catalogue import MemoryCatalogue
from takehold.decide.judge import judge
from takehold.decide.judged import Judged
from takehold.decide.manifest import Writer
from takehold.engine.cycle import Engine, World
from takehold.engine.days import Days
from takehold.formats import signature as signature_format
from takehold.formats.bwf_file import bwf
from takehold.model.dozing import Dozing
from takehold.model.errors import FileMissing, NameTaken, TakeholdError
from takehold.model.facts import Fact
from takehold.model.recording import Recording
from takehold.model.settings import Destination, Role, Settings, Source
from takehold.model.sound import Metadata, WaveFormat
from takehold.model.volume import Root, Volume
from takehold.ports.disk import Reader
from takehold.ports.keep_awake import Answer
from takehold.ports.volumes import Absent, Silent

DAY = "2031-03-14"
NOON = datetime(2031, 3, 14, 12, 0, tzinfo=UTC)
PATIENCE_S = 60
FORMAT = WaveFormat(tag=1, channels=2, sample_rate=48_000, bits=16, block_align=4)
CARDS = (
    Source("primary", Role.PRIMARY, label="SND_A*"),
    Source("backup", Role.BACKUP, label="SND_B*"),
)
DRIVES = (Destination("shuttle-1", label="SHUTTLE_1"), Destination("shuttle-2", label="SHUTTLE_2"))


class Clock:
    """Wall time moves when a test says so; steady time runs, `speed` times as fast as it does."""

    def __init__(self, speed: int = 1) -> None:
        self.passed = 0
        self.slept = 0
        self.off = 0
        self.speed = speed

    def now(self) -> int:
        return int(NOON.timestamp()) + self.passed + self.slept + self.off

    def local(self) -> datetime:
        return datetime.fromtimestamp(self.now(), UTC)

    def steady_ns(self) -> int:
        return time.monotonic_ns() * self.speed + self.passed * 10**9

    def asleep_ns(self) -> int:
        return self.slept * 10**9

    def let_pass(self) -> None:
        """Asked while a test waits: see tests/idleclock.py."""

    def advance(self, seconds: int) -> None:
        self.passed += seconds

    def sleep(self, seconds: int) -> None:
        """The machine sleeps: wall time goes on, steady time does not."""
        self.slept += seconds

    def set_by(self, seconds: int) -> None:
        """Somebody sets the wall clock; no time has passed."""
        self.off += seconds


class Volumes:
    """What of a fake disk is mounted; folders are volumes of their own."""

    def __init__(self, disk: FakeDisk) -> None:
        self._disk = disk
        self.forgotten = 0
        self.fails: TakeholdError | None = None

    def forget(self) -> None:
        self.forgotten += 1

    def silent(self) -> tuple[Silent, ...]:
        return ()

    def mounted(self) -> tuple[Volume, ...]:
        if self.fails is not None:
            raise self.fails
        return tuple(v.root.volume for v in list(self._disk.volumes.values()) if not v.gone)

    def root(self, volume: Volume, folder: bytes = b"") -> Root:
        assert not folder
        return Root(volume.mount, volume, volume.identity)

    def folder(self, path: bytes, known_identity: str | None) -> Root | Absent:
        there = self._disk.volumes.get(path)
        if there is None or there.gone:
            return Absent(f"{path.decode()} is not there.")
        if known_identity not in {None, there.root.identity}:
            return Absent(f"{path.decode()} lies on another volume.")
        return there.root


class Wake:
    """An event; `watched` is what was asked for last, `waits` how long each wait was to be."""

    def __init__(self, longest_s: float = 0.2) -> None:
        self._event = threading.Event()
        self._longest_s = longest_s
        self.watched: list[bytes] = []
        self.waits: list[float] = []

    def wait(self, timeout_s: float) -> None:
        self.waits.append(timeout_s)
        self._event.wait(min(timeout_s, self._longest_s))
        self._event.clear()

    def nudge(self) -> None:
        self._event.set()

    def watch_folders(self, paths: Iterable[bytes]) -> None:
        self.watched = list(paths)


class Awake:
    """`ports.KeepAwake` that says what a test sets; `asked` are the calls."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.says = Answer(held=True)

    def hold(self) -> None:
        self.asked.append("hold")

    def release(self) -> None:
        self.asked.append("release")

    def answer(self) -> Answer:
        return self.says


class Decoder:
    """Agrees with everything unless told."""

    def __init__(self) -> None:
        self.says: str | None = None

    def complaint(self, reader: Reader, size: int, frames: int) -> str | None:
        return self.says


class Signer:
    """A key that is the same in every run."""

    def __init__(self) -> None:
        self._key = Ed25519PrivateKey.from_private_bytes(b"k" * 32)
        self._public = self._key.public_key().public_bytes_raw()

    def sign(self, message: bytes, namespace: str) -> bytes:
        signature = self._key.sign(signature_format.signed_bytes(message, namespace))
        return signature_format.armour(self._public, signature, namespace)

    def public_line(self) -> str:
        return signature_format.public_line(self._public)

    def fingerprint(self) -> str:
        return signature_format.fingerprint(self._public)

    def allowed_signers(self, principal: str, namespace: str) -> bytes:
        return signature_format.allowed_signers(principal, self._public, namespace)


class MemoryArchive:
    """Write-once files by day and name; `refuses`, if set, is raised by every keep."""

    def __init__(self) -> None:
        self.kept: dict[str, dict[str, bytes]] = {}
        self.refuses: TakeholdError | None = None

    def keep(self, day: str, files: dict[str, bytes]) -> None:
        if self.refuses is not None:
            raise self.refuses
        shelf = self.kept.setdefault(day, {})
        if any(shelf.get(name, data) != data for name, data in files.items()):
            raise NameTaken("The archive holds that name with other bytes.")
        shelf.update(files)

    def read(self, day: str, name: str) -> bytes:
        try:
            return self.kept[day][name]
        except KeyError:
            raise FileMissing(f"{name} is not kept.") from None

    def names(self, day: str) -> tuple[str, ...]:
        return tuple(sorted(self.kept.get(day, {})))

    def days(self) -> tuple[str, ...]:
        return tuple(sorted(self.kept))


def take(number: int, frames: int = 3000, note: str = "", day: str = DAY) -> bytes:
    """A whole file of two tracks; each number has its own audio."""
    about = Metadata(
        scene="12", take=str(number), note=note, date=day, time="11:30:00", time_reference=48_000
    )
    return bwf(FORMAT, about, bytes((number * 31 + i) % 251 for i in range(frames * 4)))


class Site:
    """A cart: an engine, its disk, its clock and what it knows.

    `awake` is how many recordings may be: with none, whatever is not asked for sleeps.
    """

    awake = 0

    def __init__(self, clock: Clock | None = None, **settings: Any) -> None:
        given = {"reserve_megabytes": 0, "stall_seconds": 5, "settle_seconds": 1, **settings}
        given.setdefault("sources", CARDS)
        given.setdefault("destinations", DRIVES)
        self.settings = Settings("Lantern Bay", **given)
        self.disk = FakeDisk()
        self.clock = clock or Clock()
        self.volumes = Volumes(self.disk)
        self.catalogue = MemoryCatalogue()
        self.archive = MemoryArchive()
        self.signer = Signer()
        self.wake = Wake()
        self.decoder = Decoder()
        self.engine = self.start()

    def start(self) -> Engine:
        """A new engine over what is known: what a restart is."""
        world = World(self.volumes, self.disk, self.catalogue, self.clock, self.decoder)
        known = Dozing.laid(self.catalogue, self.awake)
        self.engine = Engine(self.settings, world, self.days(), self.wake.nudge, known)
        self.engine.lanes.nudge_every_ns = 0  # so that a test sees each fact when it is told
        return self.engine

    def days(self) -> Days:
        writer = Writer("cart", "takehold 0")
        return Days(self.settings, self.archive, self.signer, self.clock, writer)

    # -- what is mounted

    def card(self, label: str, files: dict[bytes, bytes]) -> FakeVolume:
        return self.disk.volume(b"/media/" + label.encode(), files)

    def drive(self, label: str, **about: Any) -> FakeVolume:
        return self.disk.volume(b"/media/" + label.encode(), **about)

    def remount(self, volume: FakeVolume, path: bytes | None = None) -> None:
        """It comes back as a new mount, perhaps elsewhere; what is open of the old stays dead."""
        old = volume.root
        number = f"{old.volume.mount_id} again"
        home = replace(old.volume, mount=path or old.path, mount_id=number, appearance=number)
        del self.disk.volumes[old.path]
        volume.root = Root(home.mount, home, old.identity)
        volume.give_back()
        self.disk.volumes[home.mount] = volume

    # -- work

    def work(self, until: Callable[[], bool] | None = None) -> None:
        """Turn until nothing is due, or until something is so; troubles wait for their time."""
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            self.engine.collect()
            busy = self.engine.turn()
            if until() if until is not None else not busy:
                return
            if self.engine.lanes.running:
                self.wake.wait(0.05)
                self.clock.let_pass()
        running = [r.step for r in self.engine.lanes.running.values()]
        raise AssertionError(f"no end: {running} {self.engine.ledger.troubles}")

    def later(self, seconds: int = 400) -> None:
        """Work after the longest wait for another try; what runs is waited for, it did not hang."""
        for running in list(self.engine.lanes.running.values()):
            assert running.thread is not None
            running.thread.join(PATIENCE_S)
        self.clock.advance(seconds)
        self.work()

    def wrap(self, day: str = DAY) -> str:
        """Ask for it, work, and the answer."""
        number = self.catalogue.ask("wrap", day, self.clock.now())
        self.work(lambda: self.catalogue.answer_of(number) is not None)
        self.work()
        answered = self.catalogue.answer_of(number)
        assert answered is not None
        return answered.answer

    # -- what came of it

    @property
    def facts(self) -> list[Fact]:
        return list(self.catalogue.facts())

    def told(self, kind: type) -> list[Any]:
        return [fact for fact in self.facts if isinstance(fact, kind)]

    def judged(self, day: str = DAY) -> Judged:
        return judge(self.engine.ledger, day, self.settings, self.engine.now.around)

    def codes(self, day: str = DAY) -> set[str]:
        return {finding.code for finding in self.judged(day).findings}

    def recording(self, path: bytes, label: str = "SND_A1") -> Recording:
        ledger = self.engine.ledger
        [load] = [load for load in ledger.loads.values() if load.label == label]
        found = ledger.current(load.id, path)
        assert found is not None
        return found

    def on(self, volume: FakeVolume, ending: bytes = b".WAV") -> dict[bytes, bytes]:
        return {path: data for path, data in volume.files.items() if path.endswith(ending)}

    def no_false_word(self) -> None:
        """Every proven copy stands on its volume with the bytes that were read; no part is left."""
        by_identity = {v.root.identity: v for v in self.disk.volumes.values()}
        for held in self.engine.ledger.copies.values():
            for copy in held.values():
                known = self.engine.ledger.recordings[copy.recording]
                data = by_identity[copy.root].files[copy.path]
                assert known.digests is not None
                assert hashlib.sha256(data).hexdigest() == known.digests.sha256
        for volume in self.disk.volumes.values():
            assert not [p for p in volume.files if p.endswith(b".part")]


@contextmanager
def ending(*hangs: threading.Event) -> Iterator[None]:
    """Let everything that hangs go on, whatever happens."""
    try:
        yield
    finally:
        for hang in hangs:
            hang.set()


def call_count(volume: FakeVolume, op: str, path: bytes | None = None) -> int:
    """How often something was asked of a volume."""
    return sum(o == op and path in (None, p) for o, p in list(volume.calls))


def within(seconds: float, so: Callable[[], bool]) -> bool:
    """Whether it came to be so in time."""
    deadline = time.monotonic() + seconds
    while not so():
        if time.monotonic() > deadline:
            return False
        time.sleep(0.005)
    return True
