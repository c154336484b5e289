"""`takehold demo`: a made-up shooting day goes through the whole job, with the real commands."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from datetime import date

import click

from takehold.adapters.clock import SystemClock
from takehold.cli.demo_day import DemoDay, make_cards, mend
from takehold.cli.exits import FINE, MEDIA
from takehold.decide.day import shooting_day
from takehold.formats.config_template import quoted
from takehold.formats.names import shown
from takehold.model.errors import UsageError, WorldError

CONFIG = """\
production = "Lantern Bay"
mixer = "The mixer"
copies_required = {copies}
day_starts_at = "{starts_at}"
settle_seconds = 2

[expect]
timecode_rate = "23.976"
sample_rate = 48000
bit_depth = 24

[[source]]
name = "primary"
role = "primary"
path = {primary}

[[source]]
name = "backup"
role = "backup"
path = {backup}
"""
DRIVE = """
[[destination]]
name = "{name}"
path = {path}
"""
DAY_STARTS_AT = 6 * 60  # minutes since midnight
COMMAND_S = 120


def demo(folder: str | None) -> int:
    """Show the day in `folder`, which must be new, or in a scratch folder. 0 if all went well."""
    if folder and os.path.lexists(folder):
        _check_empty(folder)
    top = os.path.abspath(folder) if folder else tempfile.mkdtemp(prefix="takehold-demo-")
    today = shooting_day(SystemClock().local(), DAY_STARTS_AT)
    day = make_cards(top, date.fromisoformat(today))
    show = Show(day, top)
    show.say(f"A made-up day of an invented production, in {top}.")
    show.say("Two cards: five takes on the primary one. The backup card lacks a take, and one")
    show.say("file's header was never finished, as when a recorder loses power.")
    if day.ends > SystemClock().local():
        show.say("It is early: these takes are of later today. A note will say so of each card.")
    show.config()
    show.run("key", "new")
    show.title("The cards are put in: everything is copied to both drives and proven")
    show.run("once", expect=FINE)
    show.title("Wrap: the day is checked, and the verdict is HOLD")
    show.run("wrap", expect=MEDIA)
    show.title("The recorder finishes the header, and the missing take turns up on the backup card")
    mend(day)
    show.run("wrap", expect=FINE)
    show.title("The DIT checks a drive: first with tools that are on every machine")
    show.stock_checks()
    show.title("... then with one command, which writes a receipt")
    show.receive()
    show.title("The receipt comes back: may the cards be cleared?")
    show.run("card", expect=FINE)
    show.say(f"\nEverything lies in {top}: the cards, the drives, config, manifests, receipt.")
    return FINE


def _check_empty(folder: str) -> None:
    """The demo writes into no folder that holds anything already."""
    try:
        empty = not os.listdir(folder)
    except OSError as error:
        says = f"{shown(folder)} cannot be used: {error.strerror}."
        raise UsageError(says, "Name a new folder.") from error
    if not empty:
        raise UsageError(f"{shown(folder)} is not empty.", "Name a new or an empty folder.")


class Show:
    """Runs the real commands for one scratch folder and prints what they print."""

    def __init__(self, day: DemoDay, top: str) -> None:
        self._day = day
        self._top = top
        self._home = os.path.join(top, "laptop")
        os.makedirs(self._home)
        config = os.path.join(self._home, "takehold.toml")
        state = os.path.join(self._home, "state")
        self._env = {**os.environ, "TAKEHOLD_CONFIG": config, "TAKEHOLD_STATE": state}

    def say(self, text: str) -> None:
        """A line of explanation."""
        click.echo(text)

    def title(self, text: str) -> None:
        """What comes next."""
        click.echo(f"\n== {text}")

    def config(self) -> None:
        """Write the config: both drives are folders here, so one proven copy is asked for."""
        text = CONFIG.format(
            copies=1,
            starts_at=f"{DAY_STARTS_AT // 60:02}:{DAY_STARTS_AT % 60:02}",
            primary=quoted(self._day.primary),
            backup=quoted(self._day.backup),
        )
        for drive in self._day.drives:
            text += DRIVE.format(name=os.path.basename(drive).lower(), path=quoted(drive))
        with open(self._env["TAKEHOLD_CONFIG"], "w", encoding="utf-8") as file:
            file.write(text)
        click.echo("(Both drives are folders of one disk here, which is one device: the demo asks")
        click.echo("for one proven copy. A real day asks for two, on two drives.)")

    def run(self, *words: str, expect: int = FINE) -> None:
        """One of our own commands."""
        self._command([sys.executable, "-m", "takehold", *words], "takehold", words, expect)

    def _command(
        self,
        full: Sequence[str],
        name: str,
        words: Sequence[str],
        expect: int,
        cwd: str | None = None,
    ) -> None:
        click.echo(f"\n$ {name} {' '.join(words)}")
        sys.stdout.flush()
        done = subprocess.run(  # noqa: S603 - our own command, or a tool named here
            full, env=self._env, cwd=cwd or self._home, timeout=COMMAND_S, check=False
        )
        if done.returncode != expect:
            says = f"{name} ended with status {done.returncode}; {expect} was expected."
            raise WorldError(says, f"Look at {self._top}.")

    def _day_folder(self) -> str:
        production = os.path.join(self._day.drives[0], "Lantern Bay")
        return os.path.join(production, max(os.listdir(production)))

    def _newest(self) -> str:
        """The newest revision's base name in the day's folder."""
        names = [n for n in os.listdir(self._day_folder()) if n.endswith(".manifest.json")]
        newest = max(names, key=lambda n: int(n.split(".r")[1].split(".")[0]))
        return newest.removesuffix(".manifest.json")

    def stock_checks(self) -> None:
        """What a DIT has without installing anything; a tool that is missing is said."""
        base = self._newest()
        folder = self._day_folder()
        self._tool(["sha256sum", "--quiet", "-c", f"{base}.sha256"], folder)
        self._tool(["xxhsum", "--quiet", "-c", f"{base}.xxh64"], folder)
        manifest = f"{base}.manifest.json"
        line = (
            f"ssh-keygen -Y verify -f {base}.signers -I takehold -n takehold-manifest "
            f"-s {manifest}.sig < {manifest}"
        )
        if shutil.which("ssh-keygen"):
            self._command(["/bin/sh", "-c", line], line, (), FINE, folder)

    def _tool(self, words: list[str], folder: str) -> None:
        if shutil.which(words[0]) is None:
            click.echo(f"\n({words[0]} is not on this machine; skipped)")
            return
        self._command(words, words[0], words[1:], FINE, folder)

    def receive(self) -> None:
        """The DIT's own answer, signed with the DIT's own key, and taken in by the mixer."""
        key = os.path.join(self._top, "dit", "signing_key")
        os.makedirs(os.path.dirname(key))
        env = dict(self._env)
        self._env["TAKEHOLD_CONFIG"] = os.path.join(self._top, "dit", "none.toml")
        self.run("key", "new")
        folder = self._day_folder()
        receipts = os.path.join(self._top, "dit")
        signers = os.path.join(self._home, "signing_key.pub")
        words = ("receive", folder, "--key", signers, "--by", "The DIT", "--sign-with", key)
        self.run(*words, "--receipt-to", receipts)
        self._env = env
        receipt = max(n for n in os.listdir(receipts) if n.endswith(".receipt.json"))
        self.run("receipt", os.path.join(receipts, receipt), "--key", key + ".pub")
