"""`takehold receipt FILE`: a receipt from post, judged and made a fact."""

from __future__ import annotations

import os
import re
import stat
from datetime import UTC, datetime

from takehold.cli.received import midway
from takehold.cli.tables import count
from takehold.decide.receive import KEEP_CARDS
from takehold.decide.signed import RECEIPT_NAMESPACE, judge_signature, trusted
from takehold.formats.manifest_doc import RECEIPT_CAP, ReceiptDoc, read_receipt
from takehold.formats.names import shown
from takehold.model.errors import (
    BadSignature,
    EvidenceError,
    Malformed,
    NoRights,
    TakeholdError,
    UsageError,
    WorldError,
)
from takehold.model.facts import Receipt, Revised
from takehold.model.ledger import Ledger

_BINARY = getattr(os, "O_BINARY", 0)  # Windows only
KEYS_CAP = 1 << 20
SIGNATURE_CAP = 1 << 16
_FINGERPRINT = re.compile(r"SHA256:[A-Za-z0-9+/]{43}")


class NoSuchFile(UsageError):
    """A file that was named on the command line is not there."""


def take_in(path: str, ledger: Ledger, *, key: str | None) -> tuple[Receipt, list[str]]:
    """The receipt in a file, with `.sig` beside it, as a fact; and lines to print.

    `key` is a file with the receiver's public key, or its fingerprint. Raises EvidenceError where
    the receipt is malformed, its signature bad, or it answers no manifest that is known here;
    UsageError or WorldError where a file cannot be read.
    """
    given = None if key is None else given_keys(key, RECEIPT_NAMESPACE)
    raw = given_file(path, RECEIPT_CAP)
    signer, confirmed, signed = _signer(path, raw, given, ledger)
    doc = _read(path, raw)
    known = _known(ledger, doc)
    _check_counts(ledger, doc, known)
    fact = Receipt(
        manifest_sha256=doc.sha256,
        day=doc.day,
        number=doc.revision,
        at=_moment(doc.checked_at),
        received_by=doc.received_by,
        signer=signer,
        intact=doc.intact,
        altered=doc.altered,
        missing=doc.missing,
        unknown=doc.unknown,
        confirmed=confirmed,
    )
    return fact, [*_told(doc), signed, *_advice(ledger, fact, doc)]


def counts(fact: Receipt, ledger: Ledger) -> bool:
    """Whether it speaks for clearing: of the newest manifest, complete, by a key vouched for."""
    newest = ledger.newest(fact.day)
    is_newest = newest is not None and newest.sha256 == fact.manifest_sha256
    return is_newest and fact.complete and bool(fact.signer) and fact.confirmed


def given_keys(key: str, namespace: str) -> frozenset[str]:
    """The fingerprints that a person trusts: a file of public keys, or a fingerprint itself."""
    if key.startswith("SHA256:"):
        if not _FINGERPRINT.fullmatch(key.rstrip("=")):
            raise UsageError(f"{shown(key)} is no whole fingerprint: 43 characters follow SHA256:.")
        return frozenset({key.rstrip("=")})
    raw = given_file(key, KEYS_CAP)
    try:
        return trusted(raw, namespace)
    except TakeholdError as error:
        raise UsageError(
            f"{shown(key)} cannot be used as a key. {error.says}",
            "Give the .signers file, the .pub file, or the fingerprint SHA256:… itself.",
        ) from error


def given_file(path: str, cap: int) -> bytes:
    """A regular file that was named on the command line.

    Raises NoSuchFile, NoRights, UsageError (no regular file), Malformed (too large), WorldError.
    """
    try:
        # O_NONBLOCK: a pipe must not make it wait; it is refused below.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | _BINARY)
        with os.fdopen(handle, "rb") as file:
            if not stat.S_ISREG(os.fstat(handle).st_mode):
                raise UsageError(f"{shown(path)} is no regular file.")
            raw = file.read(cap + 1)
    except FileNotFoundError as error:
        raise NoSuchFile(f"There is no file {shown(path)}.") from error
    except PermissionError as error:
        raise NoRights(f"The system does not let this user read {shown(path)}.") from error
    except (OSError, ValueError) as error:
        raise WorldError(f"{shown(path)} cannot be read: {_reason(error)}.") from error
    if len(raw) > cap:
        raise Malformed(f"{shown(path)} is larger than the {cap} bytes that are read.")
    return raw


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)


def _signer(
    path: str, raw: bytes, given: frozenset[str] | None, ledger: Ledger
) -> tuple[str, bool, str]:
    """The fingerprint of the receipt's key, empty without one; whether it counts; what to say."""
    try:
        armoured = given_file(path + ".sig", SIGNATURE_CAP)
    except NoSuchFile:
        armoured = None
    signed = judge_signature(raw, armoured, RECEIPT_NAMESPACE, given)
    if signed.word == "bad" or (signed.word == "none" and given is not None):
        raise BadSignature(
            f"The receipt's signature is not good: {midway(signed.says)}. "
            "The receipt was not taken in.",
            "Ask post to send the receipt and its .sig file again, as attachments.",
        )
    match signed.word:
        case "none":
            return "", False, "It is not signed: it was taken in, but it does not clear a card."
        case "confirmed":
            return signed.signer, True, f"It is signed {signed.says}."
    before = [r.day for r in ledger.receipts if r.signer == signed.signer and r.confirmed]
    if before:
        says = f"It is signed by {signed.signer}, as the confirmed receipt for {before[-1]} was."
        return signed.signer, True, says
    says = (
        f"It is signed by {signed.signer}, a key that nobody vouched for yet: compare it with post "
        f"by phone, then take the receipt in again with --key {signed.signer}"
    )
    return signed.signer, False, says


def _read(path: str, raw: bytes) -> ReceiptDoc:
    """The receipt; what is none is told by the file's name."""
    if not raw.lstrip().startswith(b"{"):
        raise Malformed(
            f"{shown(path)} is not a receipt.",
            "Give the file that ends in .receipt.json, as post sent it.",
        )
    try:
        return read_receipt(raw)
    except Malformed as error:
        do = error.do or "Ask post to send it again, as an attachment."
        raise Malformed(f"{shown(path)}: {error.says}", do) from error


def _known(ledger: Ledger, doc: ReceiptDoc) -> Revised:
    """The revision that the receipt answers, by the manifest's own bytes."""
    all_ = (r for revisions in ledger.revisions.values() for r in revisions)
    known = next((r for r in all_ if r.sha256 == doc.sha256), None)
    if known is None:
        raise EvidenceError(
            f"This receipt answers another manifest than any written here: it names "
            f"{shown(doc.name)} of {shown(doc.production)}, with other bytes.",
            "Ask post which drive they checked, and whether the manifest there is the one you "
            "wrote (takehold day shows yours).",
            code="receipt-unknown",
        )
    if (known.day, known.number) != (doc.day, doc.revision):
        raise Malformed(
            f"This receipt contradicts itself: its checksum is that of {known.name}, "
            f"but it names {doc.day} r{doc.revision}."
        )
    return known


def _check_counts(ledger: Ledger, doc: ReceiptDoc, known: Revised) -> None:
    """The receipt must answer every file of the manifest once, or it would clear what it forgot.

    Superseded versions may be left out: a drive that came later need not have them. A reading in
    the second of the manifest may be in it or not.
    """
    read = [(r, r.readings[0].at) for r in ledger.day(known.day) if r.readings]
    most = sum(at <= known.at for _, at in read)
    sure = {
        (r.load, r.path)
        for r, at in read
        if at < known.at
        and (ledger.current(r.load, r.path) is r or r.id in ledger.copies or r.id in ledger.broken)
    }
    told = doc.intact + len(doc.altered) + len(doc.missing)
    if not len(sure) <= told <= most:
        raise Malformed(
            f"This receipt answers {count(told, 'file')}, and {known.name} has {most}. "
            "It was not taken in.",
            "Ask post to run takehold receive on the whole folder again.",
        )


def _moment(text: str) -> int:
    """Seconds since 1970 of RFC 3339 in UTC."""
    try:
        return int(datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC).timestamp())
    except ValueError as error:
        raise Malformed(f"This receipt has a time that is none: {shown(text)}.") from error


def _told(doc: ReceiptDoc) -> list[str]:
    """What the receipt says, in lines."""
    who = shown(doc.received_by) or "somebody who gave no name"
    lists = (
        ("altered or unreadable", doc.altered),
        ("missing", doc.missing),
        ("not in the manifest", doc.unknown),
    )
    about = f"{shown(doc.name)} of {shown(doc.production)}"
    return [
        f"Receipt for {about}, by {who}, checked {doc.checked_at}.",
        f"{count(doc.intact, 'file')} intact, "
        + ", ".join(f"{len(names)} {word}" for word, names in lists)
        + ".",
        *(f"  {word}: {name}" for word, names in lists for name in names),
        f"Post found the manifest's signature: {doc.signature} {shown(doc.signer)}".rstrip(),
    ]


def _advice(ledger: Ledger, fact: Receipt, doc: ReceiptDoc) -> list[str]:
    lines = []
    newest = ledger.newest(fact.day)
    if newest is not None and newest.number != fact.number:
        lines.append(
            f"It answers r{fact.number}; the newest manifest is r{newest.number}: "
            "a card is only cleared by a receipt for the newest."
        )
    if doc.signature == "bad":
        lines.append("Ask post what was wrong with the manifest's signature on that drive.")
    if not fact.complete:
        lines.append("Not everything arrived intact: keep the cards, and send those files again.")
    return [*lines, KEEP_CARDS]
