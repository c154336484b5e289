"""The signing key: an OpenSSH Ed25519 private key in a file that only its owner can read."""

from __future__ import annotations

import base64
import contextlib
import errno
import os
import stat

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_ssh_private_key,
)

from takehold.adapters.whole_file import write_whole
from takehold.formats import signature
from takehold.formats.names import display
from takehold.model.errors import (
    FileMissing,
    Malformed,
    NameTaken,
    NoRights,
    TakeholdError,
    UsageError,
    WorldError,
)

_KEY_CAP = 16_384
_OTHERS = stat.S_IRWXG | stat.S_IRWXO
# Windows keeps no such mode: there a user's folder is private by its access list. Its flags lack
# the two that this needs elsewhere.
_HAS_MODES = os.name == "posix"
_NO_FOLLOW = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0)
_NO_WAIT = getattr(os, "O_NONBLOCK", 0)
_BINARY = getattr(os, "O_BINARY", 0)


class KeySigner:
    """Signs with one Ed25519 key (ports/signer.Signer)."""

    def __init__(self, key: Ed25519PrivateKey) -> None:
        self._key = key
        self._public = key.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)

    def sign(self, message: bytes, namespace: str) -> bytes:
        """The armoured signature, byte for byte what `ssh-keygen -Y sign` makes."""
        raw = self._key.sign(signature.signed_bytes(message, namespace))
        return signature.armour(self._public, raw, namespace)

    def public_line(self) -> str:
        """The public key as in authorized_keys."""
        return signature.public_line(self._public)

    def fingerprint(self) -> str:
        """`SHA256:…` as ssh-keygen shows it."""
        return signature.fingerprint(self._public)

    def allowed_signers(self, principal: str, namespace: str) -> bytes:
        """The file with which a receiver checks this key's signatures."""
        return signature.allowed_signers(principal, self._public, namespace)


def new_key(path: bytes) -> KeySigner:
    """Make a key at `path` (mode 0600) and its public half at `path`.pub, durable on return.

    Raises NameTaken where either exists, WorldError where the file system cannot keep the key to
    its owner. What was begun is removed then. Each file is there whole or not at all, the key
    first: a public half that stands alone is not ours, and one that lacks can be made of the key.
    """
    for name in (path, _public(path)):
        if os.path.lexists(name):
            raise _taken(name)
    key = Ed25519PrivateKey.generate()
    signer = KeySigner(key)
    secret = key.private_bytes(Encoding.PEM, PrivateFormat.OpenSSH, NoEncryption())
    _write(path, secret, 0o600)
    try:
        _write(_public(path), _line(signer), 0o644)
    except BaseException:
        _remove(path)
        raise
    return signer


def complete_key(path: bytes, signer: KeySigner) -> None:
    """Write the public half of a key that lacks it: its maker was stopped between the two."""
    if not os.path.lexists(_public(path)):
        _write(_public(path), _line(signer), 0o644)


def load_key(path: bytes, passphrase: bytes | None = None) -> KeySigner:
    """The key at `path`.

    Raises FileMissing, NoRights, UsageError (a link, no regular file, open to others, a passphrase
    lacking or wrong) or Malformed (no OpenSSH key, no Ed25519 key).
    """
    return KeySigner(_decoded(_read(path), path, passphrase))


def _public(path: bytes) -> bytes:
    return path + b".pub"


def _line(signer: KeySigner) -> bytes:
    return f"{signer.public_line()}\n".encode()


def _write(name: bytes, content: bytes, mode: int) -> None:
    """Write one of a key's files; its mode is checked before a secret is written, and again."""
    try:
        write_whole(name, content, mode, lambda status: _check_kept(status, name, mode))
    except FileExistsError as error:
        raise _taken(name) from error
    except OSError as error:
        raise _failed(name, "written", error) from error


def _taken(name: bytes) -> NameTaken:
    return NameTaken(
        f"There is a file {display(name)} already; a key is never overwritten.",
        do="Use that key, or move both its files away and try again.",
    )


def _check_kept(status: os.stat_result, name: bytes, mode: int) -> None:
    if _HAS_MODES and not mode & _OTHERS and status.st_mode & _OTHERS:
        raise WorldError(
            f"The file system of {display(name)} cannot keep a key from other users; "
            "nothing was left there.",
            do="Keep the key on the laptop's own disk.",
            code="key-exposed",
        )


def _remove(name: bytes) -> None:
    with contextlib.suppress(OSError):
        os.unlink(name)


def _read(path: bytes) -> bytes:
    if path.endswith(b".pub"):
        says = f"{display(path)} is a public key: whoever signs needs the private one."
        raise UsageError(says, do="It lies beside it, under the same name without .pub.")
    try:
        handle = os.open(path, os.O_RDONLY | _NO_FOLLOW | _NO_WAIT | _BINARY)
        try:
            _check_private(os.fstat(handle), path)
            return os.read(handle, _KEY_CAP)
        finally:
            os.close(handle)
    except OSError as error:
        raise _failed(path, "read", error) from error


def _check_private(status: os.stat_result, path: bytes) -> None:
    if not stat.S_ISREG(status.st_mode):
        raise UsageError(f"The key {display(path)} is not a regular file.")
    if _HAS_MODES and status.st_mode & _OTHERS:
        raise UsageError(
            f"The key {display(path)} can be read or changed by other users of this machine.",
            do="If nobody else had it: chmod 600. Otherwise make a new key and tell post.",
            code="key-exposed",
        )


def _decoded(raw: bytes, path: bytes, passphrase: bytes | None) -> Ed25519PrivateKey:
    try:
        key = load_ssh_private_key(raw, passphrase)
    except TypeError as error:
        raise UsageError(
            f"The key {display(path)} is locked with a passphrase, and none was given."
            if passphrase is None
            else f"The key {display(path)} has no passphrase, and one was given."
        ) from error
    except UnsupportedAlgorithm as error:
        raise Malformed(f"The key {display(path)} is of a kind that is not known here.") from error
    except ValueError as error:
        if passphrase is not None:
            raise UsageError(f"The passphrase does not open the key {display(path)}.") from error
        raise Malformed(f"{display(path)} is no OpenSSH private key, or is damaged.") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise Malformed(
            f"The key {display(path)} is not an Ed25519 key.",
            do="Make one with: ssh-keygen -t ed25519",
        )
    if not _agrees(raw, key):
        raise Malformed(f"The key {display(path)} is damaged: its two halves do not fit.")
    return key


def _agrees(raw: bytes, key: Ed25519PrivateKey) -> bool:
    """Whether the public half in the file (PROTOCOL.key of openssh-portable) is the key's own.

    The library does not look at it: a damaged secret half would sign, as another key.
    """
    body = b"".join(line for line in raw.splitlines() if not line.startswith(b"-----"))
    public = key.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)
    try:
        return public in base64.b64decode(body)
    except ValueError:
        return False


def _failed(path: bytes, done: str, error: OSError) -> TakeholdError:
    where = display(path)
    if error.errno in (errno.ELOOP, errno.EMLINK):
        return UsageError(f"The key {where} is a link; give the file itself.")
    if isinstance(error, FileNotFoundError):
        return FileMissing(f"There is no {where}, or its folder is missing.")
    if isinstance(error, PermissionError):
        return NoRights(f"The system does not let this user have {where} {done}.")
    reason = error.strerror or type(error).__name__
    return WorldError(f"The file {where} could not be {done}: {reason}.")
