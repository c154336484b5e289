"""Signing what the manifest says."""

from __future__ import annotations

from typing import Protocol


class Signer(Protocol):
    """Holds the production's key. Signatures are OpenSSH file signatures (SSHSIG, Ed25519)."""

    def sign(self, message: bytes, namespace: str) -> bytes:
        """The armoured signature."""

    def public_line(self) -> str:
        """The public key as in authorized_keys: `ssh-ed25519 AAAA…`."""

    def fingerprint(self) -> str:
        """`SHA256:…` as ssh-keygen shows it."""

    def allowed_signers(self, principal: str, namespace: str) -> bytes:
        """The line that `ssh-keygen -Y verify` needs of this key."""
