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
from takehold.cli.exits import FINE, MEDIA
from takehold.cli.receipt import given_keys
from takehold.cli.tables import print_json, table
from takehold.decide.manifest import NAMESPACE
from takehold.decide.receive import KEEP_CARDS, Answer, day_conclusion, faults
from takehold.decide.signed import RECEIPT_NAMESPACE
from takehold.engine.receive import Day, Received, Receiver, Watcher
from takehold.engine.receive import receive as check
from takehold.formats.manifest_doc import ReceiptDoc, receipt_bytes
from takehold.formats.names import display, safe_part, shown
from takehold.model.errors import NameTaken, UsageError, WorldError
from takehold.model.volume import Root
from takehold.ports.volumes import Absent

if TYPE_CHECKING:
    from rich.progress import Progress

MOST_SHOWN = 200
MOST_RECEIPTS = 1000
_NAME_LENGTH = 200
_BAR_NAME = 40


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
    signer = None if sign_with is None else load_key(os.fsencode(sign_with))
    to = _receipt_folder(receipt_to, root.path)
    who = Receiver(shown(received_by)[:_NAME_LENGTH], root.path, f"takehold {__version__}")
    with LocalDisk().source(root) as tree, _watching(as_json) as watcher:
        received = check(tree, given, who, SystemClock(), watcher)
    if not as_json:
        _show(received)
    written = [_write(to, day.receipt, signer) for day in received.days]
    says = conclusion(received)
    if as_json:
        receipts = [json.loads(receipt_bytes(day.receipt)) for day in received.days]
        print_json({"receipts": receipts, "written": written, "conclusion": says})
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
    if told:
        good = days - len(bad)
        return f"NOT confirmed as a whole: {'; '.join(told)}; {good} of {days} checked days match."
    if all(d.manifest.signed.word == "confirmed" for d in received.days):
        return f"Everything arrived intact: all {days} days, signed by the key you gave."
    keys = sorted({d.manifest.signed.signer for d in received.days})
    return (
        f"All {days} days match their manifests, but their keys are unconfirmed: "
        f"compare {' and '.join(keys)} with the mixer by phone."
    )


def _root(folder: str) -> Root:
    path = os.path.abspath(folder)
    if os.path.islink(path):
        raise UsageError(
            f"{shown(folder)} is a link; links are not followed.",
            f"Give the real folder: {shown(os.path.realpath(path))}",
        )
    found = volumes().folder(os.fsencode(path), None)
    if isinstance(found, Absent):
        raise WorldError(found.says, code=found.code)
    return found


def _receipt_folder(receipt_to: str | None, folder: bytes) -> str:
    """Where receipts go; looked at before hours of reading."""
    to = os.path.abspath(receipt_to or os.curdir)
    if not os.path.isdir(to):
        raise UsageError(f"There is no folder {shown(to)} for the receipt.")
    real, below = os.path.realpath(os.fsencode(to)), os.path.realpath(folder)
    if receipt_to is None and os.path.commonpath([real, below]) == below:
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
        path = base + (b"" if number == 1 else b".%d" % number) + b".receipt.json"
        if os.path.lexists(path + b".sig") or not _made(path, raw):
            continue
        if signer is not None and not _made(path + b".sig", signer.sign(raw, RECEIPT_NAMESPACE)):
            raise NameTaken(f"{display(path)}.sig appeared meanwhile; the receipt is unsigned.")
        return os.fsdecode(path)
    raise NameTaken(f"{shown(to)} holds {MOST_RECEIPTS - 1} receipts for that day already.")


def _made(path: bytes, content: bytes) -> bool:
    """Write a new file; False if the name is taken."""
    try:
        with open(path, "xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError:
        return False
    except OSError as error:
        raise WorldError(
            f"The receipt {display(path)} could not be written: {error.strerror}.",
            "Give another folder with --receipt-to, and check again.",
        ) from error
    return True


def _show(received: Received) -> None:
    for day in received.days:
        _show_day(day)
        if len(received.days) > 1:
            click.echo(f"  {day_conclusion(day.manifest, day.compared)}")
    for path, says in received.unread:
        click.echo(f"! {display(path)} cannot be read: {says}")
    for path in received.older:
        click.echo(f"! {display(path)} is an older revision; its folder was not checked.")
    _show_rows([("beside", display(path), "") for path in received.outside.beside])
    if received.outside.elsewhere:
        click.echo(f"{received.outside.elsewhere} files elsewhere on it were not looked at.")


def _show_day(day: Day) -> None:
    doc, compared = day.manifest.doc, day.compared
    where = display(day.manifest.named.path)
    click.echo(f"{shown(doc.production)}, {doc.day}, revision {doc.revision} ({where})")
    says = day.manifest.signed.says
    click.echo(f"  signature: {day.manifest.signed.word}, {says}")
    reasons = "".join(f"\n    {shown(reason)}" for reason in doc.reasons)
    click.echo(f"  the mixer's verdict: {doc.verdict.value}{reasons}")
    counts = ", ".join(f"{len(compared.of(a))} {a.value}" for a in Answer)
    click.echo(f"  {counts}, {len(compared.strangers)} not in the manifest")
    if compared.warm:
        click.echo(f"  {compared.warm} files may have been read from memory, not from the medium")
    refused = "its path leaves the folder or meets another"
    rows = [(c.answer.value, display(c.place), c.why) for c in compared.checked if c.why]
    rows += [("not opened", place, refused) for place in doc.refused]
    rows += [("not in the manifest", name, "") for name in compared.strangers]
    rows += [("unfinished", name, "a copy never completed") for name in compared.unfinished]
    _show_rows(rows)


def _show_rows(rows: list[tuple[str, str, str]]) -> None:
    """A table on a terminal, else a line each."""
    if rows and sys.stdout.isatty():
        table(("answer", "file", "why"), rows[:MOST_SHOWN])
    else:
        for answer, name, why in rows[:MOST_SHOWN]:
            click.echo(f"  {answer}: {name}" + (f" ({why})" if why else ""))
    if len(rows) > MOST_SHOWN:
        click.echo(f"  and {len(rows) - MOST_SHOWN} more; the receipt names them.")


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
