"""Whose signature is it? Judged over the raw bytes, before anything in them is believed."""

from __future__ import annotations

from dataclasses import dataclass

from takehold.decide.manifest import PRINCIPAL
from takehold.formats.signature import fingerprint, read_allowed_signers, verify
from takehold.model.errors import BadSignature, TakeholdError

RECEIPT_NAMESPACE = "takehold-receipt"
CONVERTED = (
    "its line endings were changed on the way (a mail or transfer program in text mode); "
    "get both files again in binary mode"
)
_PUBLIC = b"ssh-ed25519 "


@dataclass(frozen=True, slots=True)
class Signed:
    """`word` is one of manifest_doc.SIGNATURE_WORDS; `signer` a fingerprint, empty without one."""

    word: str
    signer: str
    says: str

    @property
    def good(self) -> bool:
        """Whether a key signed these very bytes, and nothing speaks against that key."""
        return self.word in ("confirmed", "first use")


def judge_signature(
    message: bytes,
    armoured: bytes | None,
    namespace: str,
    given: frozenset[str] | None,
    beside: bytes | None = None,
) -> Signed:
    """Judge a signature by the fingerprints that were given, else by the signers file beside it.

    A key that came with the folder only proves that key and bytes fit each other: `first use`.
    """
    if armoured is None:
        return Signed("none", "", "there is no signature beside it")
    try:
        signer = fingerprint(verify(message, armoured, namespace))
    except TakeholdError as error:
        says = CONVERTED if _converted(message, armoured, namespace) else error.says
        return Signed("bad", "", says)
    if given is not None:
        if signer in given:
            return Signed("confirmed", signer, f"by the key you gave, {signer}")
        return Signed("bad", signer, f"by another key than you gave: {signer}")
    return _first_use(signer, namespace, beside)


def _first_use(signer: str, namespace: str, beside: bytes | None) -> Signed:
    unconfirmed = f"{signer}, UNCONFIRMED: compare it with the mixer by phone"
    if beside is None:
        return Signed("first use", signer, f"by the key {unconfirmed}")
    try:
        pairs = read_allowed_signers(beside, namespace)
    except TakeholdError as error:
        return Signed("bad", signer, f"the signers file beside it is damaged: {error.says}")
    if signer in {fingerprint(key) for principal, key in pairs if principal == PRINCIPAL}:
        return Signed("first use", signer, f"by the key in the signers file beside, {unconfirmed}")
    return Signed("bad", signer, f"by another key than the signers file beside has: {signer}")


def trusted(raw: bytes, namespace: str) -> frozenset[str]:
    """The fingerprints in a file of keys: allowed signers, or public keys one a line.

    Raises BadSignature for a file with no Ed25519 key for that namespace, Malformed where it is
    damaged.
    """
    lines = raw.replace(b"\r\n", b"\n").split(b"\n")
    named = (b"given " + line if line.startswith(_PUBLIC) else line for line in lines)
    keys = read_allowed_signers(b"\n".join(named), namespace)
    if not keys:
        raise BadSignature(f"It holds no public Ed25519 key for {namespace}.")
    return frozenset(fingerprint(key) for _, key in keys)


def _converted(message: bytes, armoured: bytes, namespace: str) -> bool:
    """Whether the signature is good but for line ends that something changed."""
    plain = armoured.replace(b"\r\n", b"\n").rstrip(b"\n") + b"\n"
    lines = message.replace(b"\r\n", b"\n")
    bare = lines.rstrip(b"\n")
    for told in (message, lines, bare, bare + b"\n", bare.replace(b"\n", b"\r\n")):
        try:
            verify(told, plain, namespace)
        except TakeholdError:
            continue
        return True
    return False
