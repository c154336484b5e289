"""OpenSSH file signatures with Ed25519 keys, as `ssh-keygen -Y` makes and checks them.

Layout: PROTOCOL.sshsig of openssh-portable, version 1; wire types: RFC 4251, section 5; key and
signature: RFC 8709. Allowed signers: ssh-keygen(1), ALLOWED SIGNERS.

Rule of this file: nothing is accepted that `ssh-keygen -Y verify` would refuse.
"""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import dataclass

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from takehold.model.errors import BadSignature, Malformed

_MAGIC = b"SSHSIG"
_KEY_TYPE = b"ssh-ed25519"
_HASHES = {"sha256": hashlib.sha256, "sha512": hashlib.sha512}
_BEGIN = b"-----BEGIN SSH SIGNATURE-----\n"
_END = b"-----END SSH SIGNATURE-----\n"
_COLUMNS = 70
_ARMOUR_CAP = 8192
_LIST_CAP = 1 << 20
_PRINCIPAL = re.compile(r"[A-Za-z0-9._@+-]{1,128}")
_OPTION = re.compile(r'namespaces="([^"]*)"')
_SIGNER = re.compile(
    r'([^\s"]+)(?:[ \t]+((?:[^\s"]|"[^"]*")+))?[ \t]+ssh-ed25519[ \t]+(\S+)(?:[ \t].*)?', re.ASCII
)


@dataclass(frozen=True, slots=True)
class SshSignature:
    """A signature as it lies in its file: 32 bytes of key, 64 of signature. Not yet checked."""

    public_key: bytes
    namespace: str
    hash_algorithm: str
    signature: bytes


def signed_bytes(message: bytes, namespace: str, hash_algorithm: str = "sha512") -> bytes:
    """What the key signs for a message: `SSHSIG`, namespace, nothing, hash name, hash."""
    digest = _HASHES[hash_algorithm](message).digest()
    parts = (namespace.encode(), b"", hash_algorithm.encode(), digest)
    return _MAGIC + b"".join(map(_string, parts))


def armour(public_key: bytes, signature: bytes, namespace: str) -> bytes:
    """The signature file for a raw key (32 bytes) and raw signature (64 bytes) over SHA-512."""
    parts = (
        _key_blob(public_key),
        namespace.encode(),
        b"",
        b"sha512",
        _string(_KEY_TYPE) + _string(signature),
    )
    text = base64.b64encode(_MAGIC + (1).to_bytes(4, "big") + b"".join(map(_string, parts)))
    lines = (text[at : at + _COLUMNS] + b"\n" for at in range(0, len(text), _COLUMNS))
    return _BEGIN + b"".join(lines) + _END


def read_armour(raw: bytes) -> SshSignature:
    """A signature file taken apart.

    Raises Malformed where the layout is wrong, BadSignature where it is right and the signature is
    of a kind that is not made here (another key type, version or hash).
    """
    blob = _Wire(_unarmoured(raw))
    if blob.take(len(_MAGIC)) != _MAGIC:
        raise Malformed("The signature does not begin as an OpenSSH signature.")
    if blob.number() != 1:
        raise BadSignature("The signature is of an OpenSSH format that is not known here.")
    key = _inner(blob.string(), 32)
    namespace = _text(blob.string())
    blob.string()  # reserved: readers must not mind what it holds
    hash_algorithm = _text(blob.string())
    signature = _inner(blob.string(), 64)
    blob.end()
    if not namespace:
        raise Malformed("The signature has no namespace.")
    if hash_algorithm not in _HASHES:
        raise BadSignature("The signature uses a hash that OpenSSH does not allow.")
    return SshSignature(key, namespace, hash_algorithm, signature)


def verify(message: bytes, armoured: bytes, namespace: str) -> bytes:
    """The raw key (32 bytes) that signed this message for this namespace.

    Whether that key is the right one is the caller's question. Raises BadSignature, or Malformed
    where the file is no signature at all.
    """
    found = read_armour(armoured)
    if found.namespace != namespace:
        raise BadSignature(f"The signature was made for another purpose than {namespace}.")
    told = signed_bytes(message, namespace, found.hash_algorithm)
    try:
        Ed25519PublicKey.from_public_bytes(found.public_key).verify(found.signature, told)
    except (InvalidSignature, ValueError) as error:
        raise BadSignature("The signature does not fit these bytes: they were changed.") from error
    return found.public_key


def public_line(public_key: bytes) -> str:
    """A raw key (32 bytes) as in authorized_keys: `ssh-ed25519 AAAA…`."""
    return f"{_KEY_TYPE.decode()} {base64.b64encode(_key_blob(public_key)).decode()}"


def fingerprint(public_key: bytes) -> str:
    """A raw key's `SHA256:…`, as ssh-keygen shows it."""
    digest = hashlib.sha256(_key_blob(public_key)).digest()
    return "SHA256:" + base64.b64encode(digest).decode().rstrip("=")


def allowed_signers(principal: str, public_key: bytes, namespace: str) -> bytes:
    """The file for `ssh-keygen -Y verify -f`: this key, for this namespace only.

    Raises Malformed for a principal with a blank, a comma, a pattern or anything else special.
    """
    if not _PRINCIPAL.fullmatch(principal):
        raise Malformed("A signer's name takes letters, digits and . _ @ + - only.")
    return f'{principal} namespaces="{namespace}" {public_line(public_key)}\n'.encode()


def read_allowed_signers(raw: bytes, namespace: str | None = None) -> tuple[tuple[str, bytes], ...]:
    """The (principal, raw key) pairs of an allowed signers file that hold for a namespace.

    Left out, so never trusted: other key types, and lines with options that cannot be judged here
    (authorities, dates, namespace patterns). Raises Malformed where the file is none.
    """
    if len(raw) > _LIST_CAP:
        raise Malformed("The list of allowed signers is too large.")
    lines = (line.strip(" \t\r") for line in _text(raw).split("\n"))
    told = [_signers(line, namespace) for line in lines if line and not line.startswith("#")]
    return tuple(pair for pairs in told for pair in pairs)


def _signers(line: str, namespace: str | None) -> list[tuple[str, bytes]]:
    found = _SIGNER.fullmatch(line)
    if found is None or not _holds_for(found.group(2), namespace):
        return []
    key = _inner(_unbase64(found.group(3).encode()), 32)
    return [(principal, key) for principal in found.group(1).split(",")]


def _holds_for(options: str | None, namespace: str | None) -> bool:
    if options is None:
        return True
    only = _OPTION.fullmatch(options)
    return only is not None and (namespace is None or namespace in only.group(1).split(","))


def _string(value: bytes) -> bytes:
    return len(value).to_bytes(4, "big") + value


def _key_blob(public_key: bytes) -> bytes:
    return _string(_KEY_TYPE) + _string(public_key)


def _unarmoured(raw: bytes) -> bytes:
    if len(raw) > _ARMOUR_CAP or not raw.startswith(_BEGIN):
        raise Malformed("This is no OpenSSH signature file.")
    # OpenSSH takes any text after the last line; here only the end of that line is.
    body, end, rest = raw.removeprefix(_BEGIN).partition(b"\n" + _END.rstrip(b"\n"))
    if not end or rest not in (b"", b"\n"):
        raise Malformed("The OpenSSH signature file breaks off or holds more than one signature.")
    return _unbase64(body.replace(b"\n", b""))


def _unbase64(text: bytes) -> bytes:
    """Strict: the one base64 form of the bytes and no other."""
    try:
        value = base64.b64decode(text, validate=True)
    except ValueError as error:
        raise Malformed("The OpenSSH key or signature is not base64.") from error
    if base64.b64encode(value) != text:
        raise Malformed("The OpenSSH key or signature is not base64 in its usual form.")
    return value


def _text(raw: bytes) -> str:
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise Malformed("The OpenSSH key or signature holds text that is not UTF-8.") from error


def _inner(blob: bytes, length: int) -> bytes:
    """The key or signature within its own blob: type, value."""
    wire = _Wire(blob)
    if wire.string() != _KEY_TYPE:
        raise BadSignature("The key or signature is of another type than Ed25519.")
    value = wire.string()
    wire.end()
    if len(value) != length:
        raise Malformed(f"The Ed25519 key or signature has not {length} bytes.")
    return value


class _Wire:
    """Reads SSH wire types from the front of some bytes (RFC 4251, section 5)."""

    __slots__ = ("_at", "_raw")

    def __init__(self, raw: bytes) -> None:
        self._raw = raw
        self._at = 0

    def take(self, length: int) -> bytes:
        value = self._raw[self._at : self._at + length]
        if len(value) != length:
            raise Malformed("The OpenSSH key or signature breaks off.")
        self._at += length
        return value

    def number(self) -> int:
        return int.from_bytes(self.take(4), "big")

    def string(self) -> bytes:
        return self.take(self.number())

    def end(self) -> None:
        if self._at != len(self._raw):
            raise Malformed("The OpenSSH key or signature holds more than it should.")
