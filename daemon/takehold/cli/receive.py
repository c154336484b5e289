"""`takehold receive FOLDER`: the DIT's side, without any config."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from takehold import __version__
from takehold.adapters.clock import SystemClock
from takehold.adapters.disk import LocalDisk
from takehold.adapters.signer import KeySigner, load_key
from takehold.adapters.volumes import volumes
from takehold.adapters.whole_file import write_whole
from takehold.cli.exits import FINE, MEDIA
from takehold.cli.receipt import given_keys
from takehold.cli.received import day_row, show
from takehold.cli.tables import print_json
from takehold.decide.manifest import NAMESPACE
from takehold.decide.receive import KEEP_CARDS, day_conclusion, faults, verdict_of
from takehold.decide.signed import RECEIPT_NAMESPACE
from takehold.engine.receive import Received, Receiver, Watcher
from takehold.engine.receive import receive as check
from takehold.formats.manifest_doc import ReceiptDoc, receipt_bytes
from takehold.formats.names import display, safe_part, shown
from takehold.model.errors import NameTaken, UsageError, WorldError
from takehold.model.finding import Verdict
from takehold.model.volume import Root
from takehold.ports.volumes import Absent

if TYPE_CHECKING:
    from rich.progress import Progress

MOST_RECEIPTS = 1000
_NAME_LENGTH = 200
_BAR_NAME = 40
KEY_BESIDE = (
    "The key file lies in the folder that is checked: whoever made the folder made it too. "
    "It counts as first use only; give the fingerprint that the mixer told you by voice."
)


def receive(
    folder: str,
    *,
    key: str | None,
    sign_with: str | None,
    received_by: str,
    receipt_to: str | None,
    as_json: bool,
) -> int:
    """Check a folder against its newest manifests and write a receipt for each day.

    Answers with the exit status: 0 if all is intact and the signature good, else 1. Raises
    UsageError for a link as folder, an unusable key or place for receipts, and WorldError where
    the folder cannot be read, holds no manifest, or the receipt cannot be written.
    """
    root = _root(folder)
    given = None if key is None else given_keys(key, NAMESPACE)
    beside = key is not None and _lies_in(key, root.path)
    if beside:
        given = None
    signer = None if sign_with is None else _signer(sign_with)
    to = _receipt_folder(receipt_to, root.path)
    who = Receiver(shown(received_by)[:_NAME_LENGTH], root.path, f"takehold {__version__}")
    with LocalDisk().source(root) as tree, _watching(as_json) as watcher:
        received = check(tree, given, who, SystemClock(), watcher)
    try:
        if not as_json:
            if beside:
                click.echo(f"! {KEY_BESIDE}")
            show(received)
    finally:  # an answer that nobody could read costs no receipt
        written = [_write(to, day.receipt, signer) for day in received.days]
    says = conclusion(received)
    if as_json:
        receipts = [json.loads(receipt_bytes(day.receipt)) for day in received.days]
        facts = [day_row(day) for day in received.days]
        note = KEY_BESIDE if beside else None
        told = {"receipts": receipts, "days": facts, "written": written, "conclusion": says}
        print_json({**told, "key_note": note})
    else:
        for path in written:
            click.echo(f"Receipt: {shown(path)}" + (", signed" if signer else ", not signed"))
        click.echo(says)
        click.echo(KEEP_CARDS)
    return FINE if in_order(received) else MEDIA


def in_order(received: Received) -> bool:
    """Whether nothing stands against confirming all that was found."""
    aside = received.unread or received.older or received.outside.beside
    return not aside and not any(faults(d.manifest, d.compared) for d in received.days)


def conclusion(received: Received) -> str:
    """One sentence for the whole folder."""
    against = [
        (len(received.unread), "manifests that cannot be read"),
        (len(received.older), "folders of an older revision, not checked"),
        (len(received.outside.beside), "files beside the days' folders that no manifest names"),
    ]
    told = [f"{count} {word}" for count, word in against if count]
    if len(received.days) == 1 and not told:
        return day_conclusion(received.days[0].manifest, received.days[0].compared)
    bad = [d.manifest.doc.day for d in received.days if faults(d.manifest, d.compared)]
    if bad:
        told.insert(0, "days with faults: " + ", ".join(bad))
    days = len(received.days)
    held = [d.manifest.doc.day for d in received.days if verdict_of(d.manifest) is Verdict.HOLD]
    hold = f"the mixer's verdict is HOLD for {', '.join(held)}." if held else ""
    if told:
        good = days - len(bad)
        whole = f"NOT confirmed as a whole: {'; '.join(told)}; {good} of {days} checked days match."
        return whole + (f" And {hold}" if held else "")
    if all(d.manifest.signed.word == "confirmed" for d in received.days):
        arrived = f"Everything arrived intact: all {days} days, signed by the key you gave"
        return arrived + (f", but {hold}" if held else ".")
    keys = sorted({d.manifest.signed.signer for d in received.days})
    return (
        f"All {days} days match their manifests, but their keys are unconfirmed: "
        f"compare {' and '.join(keys)} with the mixer by phone." + (f" And {hold}" if held else "")
    )


def _root(folder: str) -> Root:
    path = os.path.abspath(folder)
    if os.path.islink(path):
        raise UsageError(
            f"{shown(folder)} is a link; links are not followed.",
            f"Give the real folder: {shown(os.path.realpath(path))}",
        )
    if not os.path.lexists(path):
        raise UsageError(
            f"There is no folder {shown(folder)}.", "Correct it, or connect its drive."
        )
    found = volumes().folder(os.fsencode(path), None)
    if isinstance(found, Absent):
        raise WorldError(found.says, code=found.code)
    return found


def _signer(path: str) -> KeySigner:
    if not os.path.exists(path):
        raise UsageError(f"There is no key {shown(path)}.", "Make one: takehold key new")
    return load_key(os.fsencode(path))


def _lies_in(key: str, folder: bytes) -> bool:
    """Whether a key file lies in the folder that is checked, under its real name."""
    if key.startswith("SHA256:"):
        return False
    return _is_below(os.fsencode(key), folder)


def _is_below(path: bytes, folder: bytes) -> bool:
    """Whether a path's real name is a folder's own or lies below it."""
    real, top = os.path.realpath(path), os.path.realpath(folder)
    return real == top or real.startswith(top.rstrip(os.fsencode(os.sep)) + os.fsencode(os.sep))


def _receipt_folder(receipt_to: str | None, folder: bytes) -> str:
    """Where receipts go; looked at before hours of reading."""
    to = os.path.abspath(receipt_to or os.curdir)
    if not os.path.isdir(to):
        raise UsageError(f"There is no folder {shown(to)} for the receipt.")
    if receipt_to is None and _is_below(os.fsencode(to), folder):
        raise UsageError(
            "The current folder lies in the one to be checked; nothing is written there unasked.",
            "Say where the receipt should go, with --receipt-to FOLDER.",
        )
    if not os.access(to, os.W_OK):
        raise UsageError(f"The receipt cannot be written to {shown(to)}: this user may not.")
    return to


def _write(to: str, receipt: ReceiptDoc, signer: KeySigner | None) -> str:
    """Write a receipt under a free name, with its signature beside it; the path."""
    raw = receipt_bytes(receipt)
    production = safe_part(receipt.production.encode())
    base = os.path.join(
        os.fsencode(to), production + f".{receipt.day}.r{receipt.revision}".encode()
    )
    for number in range(1, MOST_RECEIPTS):
        path = base + (b".receipt" if number == 1 else b".receipt-%d" % number) + b".json"
        if os.path.lexists(path + b".sig") or not _made(path, raw):
            continue
        if signer is not None and not _made(path + b".sig", signer.sign(raw, RECEIPT_NAMESPACE)):
            raise NameTaken(f"{display(path)}.sig appeared meanwhile; the receipt is unsigned.")
        return os.fsdecode(path)
    raise NameTaken(f"{shown(to)} holds {MOST_RECEIPTS - 1} receipts for that day already.")


def _made(path: bytes, content: bytes) -> bool:
    """Write a new file, whole or not at all; False if the name is taken."""
    try:
        write_whole(path, content)
    except FileExistsError:
        return False
    except OSError as error:
        raise WorldError(
            f"The receipt {display(path)} could not be written: {error.strerror}.",
            "Give another folder with --receipt-to, and check again.",
        ) from error
    return True


class _Quiet:
    """A Watcher that tells nobody."""

    def begins(self, files: int, size: int) -> None:
        """Nothing to show."""

    def reads(self, path: bytes) -> None:
        """Nothing to show."""

    def moved(self, size: int) -> None:
        """Nothing to show."""


class _Bar:
    """A Watcher that moves a bar of rich."""

    def __init__(self, progress: Progress) -> None:
        self._progress = progress
        self._task = progress.add_task("", file="", total=None)

    def begins(self, files: int, size: int) -> None:
        """The bar's length, in bytes."""
        self._progress.update(self._task, total=size, file=f"{files} files")

    def reads(self, path: bytes) -> None:
        """The file's name behind the bar."""
        self._progress.update(self._task, file=display(path)[-_BAR_NAME:])

    def moved(self, size: int) -> None:
        """The bar moves."""
        self._progress.advance(self._task, size)


@contextmanager
def _watching(as_json: bool) -> Iterator[Watcher]:
    """A bar on standard error, where that is a terminal."""
    if as_json or not sys.stderr.isatty():
        yield _Quiet()
        return
    from rich.console import Console
    from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TimeRemainingColumn

    name = TextColumn("{task.fields[file]}", markup=False)
    columns = (BarColumn(), DownloadColumn(), TimeRemainingColumn(), name)
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        yield _Bar(progress)
