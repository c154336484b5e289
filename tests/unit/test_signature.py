"""SSHSIG: what is refused. What is right is checked against ssh-keygen in tests/outside."""

import base64

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from takehold.formats import signature as sig
from takehold.model.errors import BadSignature, EvidenceError, Malformed

KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
PUBLIC = KEY.public_key().public_bytes_raw()
NAMESPACE = "takehold-manifest"
MESSAGE = b'{"day":"2031-05-06"}'
ARMOURED = sig.armour(PUBLIC, KEY.sign(sig.signed_bytes(MESSAGE, NAMESPACE)), NAMESPACE)


def rearmoured(blob: bytes) -> bytes:
    text = base64.b64encode(blob)
    lines = b"".join(text[i : i + 70] + b"\n" for i in range(0, len(text), 70))
    return b"-----BEGIN SSH SIGNATURE-----\n" + lines + b"-----END SSH SIGNATURE-----\n"


BLOB = base64.b64decode(b"".join(ARMOURED.split(b"\n")[1:-2]))


def test_a_signature_names_its_key() -> None:
    assert sig.verify(MESSAGE, ARMOURED, NAMESPACE) == PUBLIC
    assert rearmoured(BLOB) == ARMOURED


def test_a_signature_is_taken_apart() -> None:
    found = sig.read_armour(ARMOURED)
    assert (found.public_key, found.namespace, found.hash_algorithm) == (
        PUBLIC,
        NAMESPACE,
        "sha512",
    )


def test_changed_bytes_are_refused() -> None:
    with pytest.raises(BadSignature, match="changed"):
        sig.verify(MESSAGE + b" ", ARMOURED, NAMESPACE)


def test_another_namespace_is_refused() -> None:
    with pytest.raises(BadSignature, match="another purpose"):
        sig.verify(MESSAGE, ARMOURED, "takehold-receipt")


def test_a_relabelled_namespace_is_refused() -> None:
    """The namespace is part of what is signed, not only of the file."""
    relabelled = rearmoured(BLOB.replace(NAMESPACE.encode(), b"takehold-receipts"))
    with pytest.raises(BadSignature, match="changed"):
        sig.verify(MESSAGE, relabelled, "takehold-receipts")


def test_no_flipped_bit_is_accepted() -> None:
    for bit in range(len(BLOB) * 8):
        flipped = bytearray(BLOB)
        flipped[bit // 8] ^= 1 << bit % 8
        with pytest.raises(EvidenceError):
            sig.verify(MESSAGE, rearmoured(bytes(flipped)), NAMESPACE)


@pytest.mark.parametrize("length", [0, 1, 5, 6, 9, 10, 14, 30, 65, 90, 150, len(BLOB) - 1])
def test_a_blob_that_breaks_off_is_refused(length: int) -> None:
    with pytest.raises(EvidenceError):
        sig.read_armour(rearmoured(BLOB[:length]))


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"-----BEGIN SSH SIGNATURE-----\n",
        b"\n" + ARMOURED,
        ARMOURED.replace(b"\n", b"\r\n"),
        ARMOURED + b"more",
        ARMOURED + ARMOURED,
        ARMOURED.replace(b"U1NI", b"U1N!", 1),
        rearmoured(BLOB + b"\0"),
        rearmoured(BLOB + b"\0" * 10_000),
        rearmoured(BLOB.replace(NAMESPACE.encode(), b"\xff" * 17)),
    ],
)
def test_what_is_no_signature_file_is_malformed(raw: bytes) -> None:
    with pytest.raises(Malformed):
        sig.read_armour(raw)


def test_an_empty_namespace_is_malformed() -> None:
    with pytest.raises(Malformed, match="namespace"):
        sig.read_armour(sig.armour(PUBLIC, bytes(64), ""))


def test_another_kind_of_key_version_or_hash_is_a_bad_signature() -> None:
    for old, new in ((b"ssh-ed25519", b"ssh-ed25518"), (b"sha512", b"sha384"),
                     (b"SSHSIG\0\0\0\1", b"SSHSIG\0\0\0\2")):  # fmt: skip
        with pytest.raises(BadSignature):
            sig.read_armour(rearmoured(BLOB.replace(old, new)))


def test_key_and_signature_have_their_lengths() -> None:
    for key, signature in ((bytes(31), bytes(64)), (bytes(32), bytes(63))):
        with pytest.raises(Malformed, match="bytes"):
            sig.read_armour(sig.armour(key, signature, NAMESPACE))


def test_allowed_signers_read_back() -> None:
    raw = sig.allowed_signers("takehold", PUBLIC, NAMESPACE)
    assert sig.read_allowed_signers(raw) == (("takehold", PUBLIC),)
    assert sig.read_allowed_signers(raw, NAMESPACE) == (("takehold", PUBLIC),)
    assert sig.read_allowed_signers(raw, "takehold-receipt") == ()


@pytest.mark.parametrize("principal", ["", "a b", "a,b", "*", "!a", "a\nb", '"', "#a", "ü"])
def test_a_principal_with_a_meaning_of_its_own_is_refused(principal: str) -> None:
    with pytest.raises(Malformed):
        sig.allowed_signers(principal, PUBLIC, NAMESPACE)


def test_lines_that_cannot_be_judged_are_not_trusted() -> None:
    line = sig.public_line(PUBLIC)
    raw = "\n".join(
        [
            "# note",
            "",
            "ssh-rsa-user ssh-rsa AAAA",
            f"authority cert-authority {line}",
            f'dated valid-before="20200101" {line}',
            f'both namespaces="x",valid-after="20200101" {line}',
            f'pattern namespaces="take*" {line}',
            f"# a comment\u2028hidden {line}",
            f"open,second {line} a comment\r",
            f'\tlisted namespaces="git,{NAMESPACE}"  {line}  ',
        ]
    ).encode()
    told = sig.read_allowed_signers(raw, NAMESPACE)
    assert [principal for principal, _ in told] == ["open", "second", "listed"]


def test_a_broken_key_in_allowed_signers_is_malformed() -> None:
    line = sig.public_line(PUBLIC)
    for broken in (line[:-4], line + "AAAA", line.replace("AAAAC3", "AAAAC?")):
        with pytest.raises(Malformed):
            sig.read_allowed_signers(f"a {broken}".encode())
    with pytest.raises(Malformed):
        sig.read_allowed_signers(b"\xff")
    with pytest.raises(Malformed):
        sig.read_allowed_signers(b"#" * (1 << 21))
