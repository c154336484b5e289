"""takehold as people run it: a config, a key and a state folder of its own, and real processes.

Every process is in a group of its own, is waited for with a limit, and is killed with its group at
the end of the block that began it; it also dies with the test process.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

PROGRAM = ("setpriv", "--pdeathsig", "KILL", sys.executable, "-m", "takehold")
POLL_S = 0.05
DEFAULTS: Mapping[str, object] = {
    "production": "Lantern Bay",
    "mixer": "The mixer",
    "copies_required": 2,
    "settle_seconds": 2,
    "look_every_seconds": 5,
    "reserve_megabytes": 1,
}

Place = str | Path
"""A volume's label, or the path of a folder."""


def config_text(
    sources: Mapping[str, tuple[str, Place]],
    destinations: Mapping[str, Place],
    keys: Mapping[str, object],
) -> str:
    """A config: sources by name with role and place, destinations by name with their place."""
    expect = keys.get("expect")
    top = [f"{k} = {_toml(v)}" for k, v in (DEFAULTS | dict(keys)).items() if k != "expect"]
    if isinstance(expect, Mapping):
        top += ["[expect]", *(f"{k} = {_toml(v)}" for k, v in expect.items())]
    for name, (role, place) in sources.items():
        top += ["[[source]]", f"name = {_toml(name)}", f"role = {_toml(role)}", _place(place)]
    for name, place in destinations.items():
        top += ["[[destination]]", f"name = {_toml(name)}", _place(place)]
    return "\n".join(top) + "\n"


def _place(place: Place) -> str:
    word = "path" if isinstance(place, Path) else "label"
    return f"{word} = {_toml(str(place))}"


def _toml(value: object) -> str:
    """JSON's strings, numbers, lists and booleans are TOML's too (TOML 1.0.0)."""
    return json.dumps(value)


class Daemon:
    """A running `takehold run`."""

    def __init__(self, owner: Instance, process: subprocess.Popen[bytes]) -> None:
        self._owner = owner
        self.process = process

    def state(self) -> dict[str, Any]:
        """What it shows of itself; empty before its first look."""
        try:
            found: dict[str, Any] = json.loads((self._owner.state / "live.json").read_bytes())
        except (OSError, ValueError):
            return {}
        return found

    def cards(self) -> set[str]:
        """Labels of the cards that it sees."""
        return {card["label"] for card in self.state().get("cards", ())}

    def is_idle(self) -> bool:
        """Whether nothing is at work."""
        state = self.state()
        return bool(state) and not state["work"]

    def wait_for(self, predicate: Callable[[], object], timeout: float = 60) -> None:
        """Poll until it is true; fails with what the daemon said if it ends before, or in time."""
        self._owner.wait_for(lambda: predicate() or self.process.poll() is not None, timeout)
        ended = self.process.poll()
        assert ended is None or predicate(), f"it ended with {ended}: {self._owner.said()}"

    def send(self, number: signal.Signals) -> None:
        """Send a signal to it."""
        self.process.send_signal(number)

    def stop(self, timeout: float = 30) -> int:
        """Ask it to end; its exit status."""
        self.send(signal.SIGTERM)
        return self.process.wait(timeout)

    def kill(self) -> None:
        """End it as a power cut would."""
        self.send(signal.SIGKILL)
        self.process.wait(60)


@dataclass
class Instance:
    """One takehold below one folder."""

    folder: Path
    sources: Mapping[str, tuple[str, Place]]
    destinations: Mapping[str, Place]
    keys: Mapping[str, object] = field(default_factory=dict)
    environment: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        self.write_config()
        # A key as OpenSSH makes it; what `takehold key new` makes is another test's.
        command = ["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", self.folder / "signing_key"]
        subprocess.run(command, check=True, timeout=60, stdin=subprocess.DEVNULL)

    @property
    def config(self) -> Path:
        """Where its config lies."""
        return self.folder / "takehold.toml"

    @property
    def state(self) -> Path:
        """Its own folder."""
        return self.folder / "state"

    @property
    def public_key(self) -> Path:
        """The mixer's public key."""
        return self.folder / "signing_key.pub"

    def write_config(self, **keys: object) -> None:
        """Write the config anew with these keys changed."""
        self.keys = {**self.keys, **keys}
        self.config.write_text(config_text(self.sources, self.destinations, self.keys))

    def run(self, *words: str, timeout: float = 100) -> subprocess.CompletedProcess[str]:
        """Run one command to its end; bytes that are no UTF-8 come back as surrogates."""
        with self.begun(words, subprocess.PIPE, subprocess.PIPE) as process:
            try:
                out, err = process.communicate(timeout=timeout)
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, signal.SIGKILL)
                out, err = process.communicate(timeout=60)
                raise AssertionError(f"{words} did not end: {_text(out)} {_text(err)}") from None
        return subprocess.CompletedProcess(words, process.returncode, _text(out), _text(err))

    def facts(self, *words: str, status: int | None = None) -> Any:
        """What a command prints with --json, with its exit status checked if one is given."""
        done = self.run(*words, "--json")
        assert status is None or done.returncode == status, (done.stdout, done.stderr)
        return json.loads(done.stdout)

    @contextlib.contextmanager
    def daemon(self, timeout: float = 60) -> Iterator[Daemon]:
        """`takehold run`, ready to be asked; killed with its group at the end of the block."""
        (self.state / "live.json").unlink(missing_ok=True)
        with (
            (self.folder / "run.out").open("ab") as out,
            (self.folder / "run.err").open("ab") as err,
            self.begun(("run",), out.fileno(), err.fileno()) as process,
        ):
            begun = Daemon(self, process)
            begun.wait_for((self.state / "live.json").exists, timeout)
            yield begun

    def log(self) -> str:
        """The daemon's log so far."""
        log = self.state / "takehold.log"
        return log.read_text(errors="surrogateescape") if log.exists() else ""

    def said(self) -> str:
        """All that the daemon said, for a failing test."""
        files = (self.folder / "run.out", self.folder / "run.err")
        return "".join(f.read_text(errors="replace") for f in files if f.exists()) + self.log()

    def wait_for(self, predicate: Callable[[], object], timeout: float = 60) -> None:
        """Poll until it is true; fails with what the daemon said if it never is."""
        end = time.monotonic() + timeout
        while not predicate():
            assert time.monotonic() < end, f"not within {timeout} s: {self.said()}"
            time.sleep(POLL_S)

    @contextlib.contextmanager
    def begun(
        self, words: tuple[str, ...], out: int, err: int, through: tuple[str, ...] = ()
    ) -> Iterator[subprocess.Popen[bytes]]:
        """A command that was started, by the command `through` if there is one; killed at the end.

        `out` and `err` are file descriptors, or subprocess.PIPE.
        """
        environment = {
            **os.environ,
            "TAKEHOLD_CONFIG": str(self.config),
            "TAKEHOLD_STATE": str(self.state),
            **self.environment,
        }
        process = subprocess.Popen(
            [*through, *PROGRAM, *words],
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=err,
            cwd=self.folder,
            env=environment,
            start_new_session=True,
        )
        try:
            yield process
        finally:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait(60)
            for pipe in (process.stdout, process.stderr):
                if pipe is not None:
                    pipe.close()


def _text(raw: bytes) -> str:
    return raw.decode("utf-8", "surrogateescape")


def copies_below(root: Path) -> dict[str, Path]:
    """Every file below a destination but manifests and what belongs to them, by path."""
    paper = re.compile(r"\d{4}-\d\d-\d\d\.r\d+\.")
    return {name: path for name, path in files_below(root).items() if not paper.match(path.name)}


def finals_below(root: Path) -> dict[str, Path]:
    """The same without our temporary files: what has its final name."""
    found = copies_below(root)
    return {name: path for name, path in found.items() if not path.name.startswith(".takehold-")}


def files_below(root: Path) -> dict[str, Path]:
    """Every regular file below a folder, by its path there; a file system's own left out.

    FUSE keeps a file that was removed while it was open under a `.fuse_hidden` name for a moment.
    """
    return {
        str(path.relative_to(root)): path
        for path in sorted(root.rglob("*"))
        if path.is_file()
        and not path.is_symlink()
        and "lost+found" not in path.parts
        and not path.name.startswith(".fuse_hidden")
    }


def parts_below(root: Path) -> list[Path]:
    """Our temporary files below a folder (design: `.takehold-<token>.part`)."""
    return sorted(root.rglob(".takehold-*"))


def same_bytes(one: Path, other: Path) -> bool:
    """Whether cmp (POSIX) finds no difference."""
    command = ["cmp", "--silent", one, other]
    return subprocess.run(command, timeout=60, check=False).returncode == 0


def newest_revision(day_folder: Path) -> str:
    """The base name of the newest manifest in a day's folder."""
    found = [p.name.removesuffix(".manifest.json") for p in day_folder.glob("*.manifest.json")]
    return max(found, key=lambda name: int(name.rpartition(".r")[2]))


def stock_checks(day_folder: Path, public_key: Path, base: str | None = None) -> str:
    """What a DIT does with tools of every machine; all that they said.

    `sha256sum -c` (GNU coreutils), `xxhsum -c` (xxHash), `ssh-keygen -Y verify` (OpenSSH) with
    allowed signers written here from the public key that the mixer handed over.
    """
    base = base or newest_revision(day_folder)
    signers = public_key.with_name("allowed")
    signers.write_text(f"takehold {public_key.read_text()}")
    manifest = day_folder / f"{base}.manifest.json"
    principal = ("-I", "takehold", "-n", "takehold-manifest")
    commands: list[list[str | Path]] = [
        ["sha256sum", "--strict", "-c", f"{base}.sha256"],
        ["xxhsum", "--strict", "-c", f"{base}.xxh64"],
        ["ssh-keygen", "-Y", "verify", "-f", signers, *principal, "-s", f"{manifest}.sig"],
    ]
    said = ""
    for command in commands:
        with manifest.open("rb") as text:
            done = subprocess.run(
                command, cwd=day_folder, stdin=text, capture_output=True, timeout=60, check=False
            )
        answer = (done.stdout + done.stderr).decode(errors="replace")
        assert done.returncode == 0, f"{command}: {answer}"
        said += answer
    return said
