"""Signatures against ssh-keygen, the PyPI library sshsig, and RFC 8032.

Source of RFC8032: RFC 8032, section 7.1, tests 1, 2, 3 and SHA(abc). Source of FIXTURES: built from
PROTOCOL.sshsig of openssh-portable with the key of RFC 8032 test 1 and accepted by
`ssh-keygen -Y verify` of OpenSSH 9.2p1, which signs to the same bytes.
"""

import base64
import os
import subprocess
from pathlib import Path

import pytest
import sshsig
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from takehold.adapters.signer import KeySigner, load_key, new_key
from takehold.formats import signature as sig
from takehold.model.errors import BadSignature

NAMESPACE = "takehold-manifest"

RFC8032 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        (
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bac"
            "c61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
        ),
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        (
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e"
            "458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
        ),
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        (
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290"
            "ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"
        ),
    ),
    (
        "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
        "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
        (
            "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a2192992a274fc1a8"
            "36ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f"
        ),
        (
            "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9ac90b3ec"
            "fdfbc7c66431e0303dca179c138ac17ad9bef1177331a704"
        ),
    ),
]

# message, hash, what is signed, the signature's blob; the namespace is "example"
FIXTURES = [
    (
        b"",
        "sha512",
        (
            "535348534947000000076578616d706c65000000000000000673686135313200000040cf83e1357e"
            "efb8bdf1542850d66d8007d620e4050b5715dc83f4a921d36ce9ce47d0d13c5d85f2b0ff8318d287"
            "7eec2f63b931bd47417a81a538327af927da3e"
        ),
        (
            "53534853494700000001000000330000000b7373682d6564323535313900000020d75a980182b10a"
            "b7d54bfed3c964073a0ee172f3daa62325af021a68f707511a000000076578616d706c6500000000"
            "00000006736861353132000000530000000b7373682d6564323535313900000040126ba98b55c381"
            "5451ad7db2394ea09d44ee3cc0884b2a7bd95ab64742de1a19cd2b5e7a684adbda3f426e92824c89"
            "372431b78b0c49fd072be6daf873773708"
        ),
    ),
    (
        b"abc",
        "sha512",
        (
            "535348534947000000076578616d706c65000000000000000673686135313200000040ddaf35a193"
            "617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a2192992a274fc1a836ba3c23a3"
            "feebbd454d4423643ce80e2a9ac94fa54ca49f"
        ),
        (
            "53534853494700000001000000330000000b7373682d6564323535313900000020d75a980182b10a"
            "b7d54bfed3c964073a0ee172f3daa62325af021a68f707511a000000076578616d706c6500000000"
            "00000006736861353132000000530000000b7373682d6564323535313900000040f26c743a19f262"
            "2070e556340bd0159f3a589feb28cc5e18b8a3827893ebb53185c4677250570625b5dd571903c50a"
            "f8b9e4f1a5181730b577e7484ebc49b903"
        ),
    ),
    (
        b"abc",
        "sha256",
        (
            "535348534947000000076578616d706c65000000000000000673686132353600000020ba7816bf8f"
            "01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        ),
        (
            "53534853494700000001000000330000000b7373682d6564323535313900000020d75a980182b10a"
            "b7d54bfed3c964073a0ee172f3daa62325af021a68f707511a000000076578616d706c6500000000"
            "00000006736861323536000000530000000b7373682d6564323535313900000040cce766be77ce65"
            "dd5f4c3b8f3d3eed8281374bb68fc0510a4003ace3c54756d327c9408525b3c8e8b029cbdb1dc505"
            "cf06d9feabd915aae99c9a30bff1fc7a0f"
        ),
    ),
]


def key_from(secret: str) -> Ed25519PrivateKey:
    return Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))


def blob_of(armoured: bytes) -> bytes:
    return base64.b64decode(b"".join(armoured.split(b"\n")[1:-2]))


def armour_of(blob: bytes) -> bytes:
    lines = base64.encodebytes(blob)
    return b"-----BEGIN SSH SIGNATURE-----\n" + lines + b"-----END SSH SIGNATURE-----\n"


def keygen(*args: str | Path, stdin: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    command = ["ssh-keygen", *map(str, args)]
    return subprocess.run(command, input=stdin, capture_output=True, timeout=20, check=False)


@pytest.fixture
def key(tmp_path: Path) -> KeySigner:
    return new_key(os.fsencode(tmp_path / "key"))


@pytest.fixture
def allowed(tmp_path: Path, key: KeySigner) -> Path:
    path = tmp_path / "signers"
    path.write_bytes(key.allowed_signers("takehold", NAMESPACE))
    return path


def check(
    tmp_path: Path, allowed: Path, armoured: bytes, message: bytes, namespace: str = NAMESPACE
) -> subprocess.CompletedProcess[bytes]:
    signed = tmp_path / "message.sig"
    signed.write_bytes(armoured)
    return keygen(
        "-Y", "verify", "-f", allowed, "-I", "takehold", "-n", namespace, "-s", signed,
        stdin=message,
    )  # fmt: skip


@pytest.mark.parametrize(("secret", "public", "message", "expected"), RFC8032)
def test_the_library_signs_as_rfc_8032_shows(
    secret: str, public: str, message: str, expected: str
) -> None:
    key = key_from(secret)
    assert key.public_key().public_bytes_raw().hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == expected


@pytest.mark.parametrize(("message", "hash_name", "told", "blob"), FIXTURES)
def test_the_fixtures_layout_is_ours(message: bytes, hash_name: str, told: str, blob: str) -> None:
    assert sig.signed_bytes(message, "example", hash_name).hex() == told
    armoured = armour_of(bytes.fromhex(blob))
    assert sig.read_armour(armoured).hash_algorithm == hash_name
    assert sig.verify(message, armoured, "example").hex() == RFC8032[0][1]
    if hash_name == "sha512":
        ours = KeySigner(key_from(RFC8032[0][0])).sign(message, "example")
        assert blob_of(ours).hex() == blob


@pytest.mark.parametrize("message", [b"", b"abc", b"\0" * 100_000, b"{}\n"])
def test_ssh_keygen_signs_to_the_same_bytes(tmp_path: Path, key: KeySigner, message: bytes) -> None:
    theirs = keygen("-Y", "sign", "-f", tmp_path / "key", "-n", NAMESPACE, stdin=message)
    assert theirs.returncode == 0
    assert theirs.stdout == key.sign(message, NAMESPACE)


def test_ssh_keygen_accepts_ours_and_names_the_key(
    tmp_path: Path, key: KeySigner, allowed: Path
) -> None:
    said = check(tmp_path, allowed, key.sign(b"day", NAMESPACE), b"day")
    assert said.returncode == 0
    assert said.stdout.decode() == (
        f'Good "{NAMESPACE}" signature for takehold with ED25519 key {key.fingerprint()}\n'
    )


def test_ssh_keygen_refuses_what_was_changed(tmp_path: Path, key: KeySigner, allowed: Path) -> None:
    armoured = key.sign(b"day", NAMESPACE)
    other = new_key(os.fsencode(tmp_path / "other")).sign(b"day", NAMESPACE)
    assert check(tmp_path, allowed, armoured, b"dax").returncode == 255
    assert check(tmp_path, allowed, armoured, b"day", "takehold-receipt").returncode == 255
    assert check(tmp_path, allowed, other, b"day").returncode == 255


def test_the_allowed_signers_file_holds_for_its_namespace_only(
    tmp_path: Path, key: KeySigner, allowed: Path
) -> None:
    armoured = key.sign(b"day", "git")
    assert check(tmp_path, allowed, armoured, b"day", "git").returncode == 255


def test_what_ssh_keygen_does_not_take_for_a_signature_is_none_here(
    tmp_path: Path, key: KeySigner, allowed: Path
) -> None:
    armoured = key.sign(b"day", NAMESPACE)
    for broken in (armoured.replace(b"\n", b"\r\n"), b"\n" + armoured, armoured[:-40]):
        assert check(tmp_path, allowed, broken, b"day").returncode == 255
        with pytest.raises(Exception, match="OpenSSH"):
            sig.verify(b"day", broken, NAMESPACE)


@pytest.mark.parametrize("option", ["sha256", "sha512"])
def test_a_signature_by_ssh_keygen_is_accepted(tmp_path: Path, key: KeySigner, option: str) -> None:
    theirs = keygen(
        "-Y", "sign", "-O", f"hashalg={option}", "-f", tmp_path / "key", "-n", NAMESPACE,
        stdin=b"day",
    )  # fmt: skip
    assert sig.fingerprint(sig.verify(b"day", theirs.stdout, NAMESPACE)) == key.fingerprint()


def test_a_signature_by_an_rsa_key_is_refused_in_a_sentence(tmp_path: Path) -> None:
    keygen("-q", "-t", "rsa", "-N", "", "-f", tmp_path / "rsa")
    theirs = keygen("-Y", "sign", "-f", tmp_path / "rsa", "-n", NAMESPACE, stdin=b"day")
    with pytest.raises(BadSignature, match="Ed25519"):
        sig.verify(b"day", theirs.stdout, NAMESPACE)


def test_ssh_keygen_reads_the_key_files(tmp_path: Path, key: KeySigner) -> None:
    derived = keygen("-y", "-f", tmp_path / "key")
    assert derived.stdout.decode().strip() == key.public_line()
    for name in ("key", "key.pub"):
        assert key.fingerprint() in keygen("-l", "-f", tmp_path / name).stdout.decode()


def test_keys_made_by_ssh_keygen_load(tmp_path: Path) -> None:
    keygen("-q", "-t", "ed25519", "-N", "", "-C", "a comment", "-f", tmp_path / "a")
    keygen("-q", "-t", "ed25519", "-N", "secret", "-f", tmp_path / "b")
    for name, passphrase in (("a", None), ("b", b"secret")):
        loaded = load_key(os.fsencode(tmp_path / name), passphrase)
        told = keygen("-l", "-f", tmp_path / f"{name}.pub").stdout.decode()
        assert loaded.fingerprint() in told


def test_the_sshsig_library_agrees(key: KeySigner) -> None:
    """PyPI sshsig, an independent reader: the key it finds is the key that signed."""
    armoured = key.sign(b"day", NAMESPACE).decode()
    sshsig.check_signature(b"day", armoured, namespace=NAMESPACE)
    with pytest.raises(sshsig.InvalidSignature):
        sshsig.check_signature(b"dax", armoured, namespace=NAMESPACE)


def test_a_raw_key_of_rfc_8032_becomes_a_file_that_both_read(tmp_path: Path) -> None:
    path = tmp_path / "rfc"
    secret = key_from(RFC8032[1][0])
    path.write_bytes(secret.private_bytes(Encoding.PEM, PrivateFormat.OpenSSH, NoEncryption()))
    path.chmod(0o600)
    loaded = load_key(os.fsencode(path))
    assert loaded.public_line() == sig.public_line(bytes.fromhex(RFC8032[1][1]))
    assert loaded.fingerprint() in keygen("-l", "-f", path).stdout.decode()
