"""The key file: made private, and refused where it is not."""

import contextlib
import errno
import os
import stat
import subprocess
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    PrivateFormat,
)

from loopbench import Bench
from takehold.adapters import whole_file
from takehold.adapters.signer import load_key, new_key
from takehold.formats.signature import read_allowed_signers, verify
from takehold.model.errors import (
    FileMissing,
    Malformed,
    NameTaken,
    TakeholdError,
    UsageError,
    WorldError,
)
from takehold.ports.signer import Signer


@pytest.fixture
def path(tmp_path: Path) -> bytes:
    return os.fsencode(tmp_path / "key")


def test_a_new_key_is_private_and_loads_again(path: bytes) -> None:
    made: Signer = new_key(path)
    assert stat.S_IMODE(os.stat(path).st_mode) == 0o600
    assert Path(os.fsdecode(path) + ".pub").read_text() == made.public_line() + "\n"
    loaded = load_key(path)
    assert loaded.fingerprint() == made.fingerprint()
    assert loaded.sign(b"day", "n") == made.sign(b"day", "n")


def test_its_mode_holds_under_any_umask(path: bytes) -> None:
    before = os.umask(0)
    try:
        new_key(path)
    finally:
        os.umask(before)
    assert stat.S_IMODE(os.stat(path).st_mode) == 0o600


def test_its_allowed_signers_file_holds_the_key_that_signs(path: bytes) -> None:
    key = new_key(path)
    ((principal, public),) = read_allowed_signers(key.allowed_signers("takehold", "n"), "n")
    assert principal == "takehold"
    assert verify(b"day", key.sign(b"day", "n"), "n") == public


def test_each_new_key_is_another(tmp_path: Path) -> None:
    prints = {new_key(os.fsencode(tmp_path / str(i))).fingerprint() for i in range(3)}
    assert len(prints) == 3


@pytest.mark.parametrize("taken", ["key", "key.pub"])
def test_a_key_is_never_overwritten(path: bytes, tmp_path: Path, taken: str) -> None:
    (tmp_path / taken).write_text("mine")
    with pytest.raises(NameTaken):
        new_key(path)
    assert os.listdir(tmp_path) == [taken]
    assert (tmp_path / taken).read_text() == "mine"


def test_a_key_is_not_made_through_a_link(path: bytes, tmp_path: Path) -> None:
    (tmp_path / "key").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(NameTaken):
        new_key(path)
    assert not (tmp_path / "elsewhere").exists()


def test_a_folder_that_is_missing_is_said(tmp_path: Path) -> None:
    with pytest.raises(FileMissing):
        new_key(os.fsencode(tmp_path / "no" / "key"))


def test_a_file_system_without_modes_is_refused_and_nothing_stays(bench: Bench) -> None:
    """A real exFAT: its files are open to all, and it claims that a mode was set."""
    mount = bench.disk("STICK", "exfat").mount
    with pytest.raises(WorldError, match="other users") as caught:
        new_key(os.fsencode(mount / "key"))
    assert caught.value.code == "key-exposed"
    assert os.listdir(mount) == []


def test_a_key_that_is_not_durable_is_taken_back(
    path: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder's flush is the last step; where it fails, nothing is claimed and nothing stays."""

    def fail(_: bytes) -> None:
        raise OSError(errno.EIO, "it cannot be flushed")

    monkeypatch.setattr(whole_file, "_flush", fail)
    with pytest.raises(WorldError):
        new_key(path)
    assert os.listdir(os.path.dirname(path)) == []


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620, 0o601])
def test_a_key_open_to_others_is_refused(path: bytes, mode: int) -> None:
    new_key(path)
    os.chmod(path, mode)
    with pytest.raises(UsageError, match="other users") as caught:
        load_key(path)
    assert caught.value.code == "key-exposed"


def test_what_is_no_regular_file_is_refused(path: bytes, tmp_path: Path) -> None:
    new_key(path)
    (tmp_path / "link").symlink_to("key")
    os.mkfifo(tmp_path / "pipe", 0o600)
    (tmp_path / "folder").mkdir()
    for name, word in (("link", "link"), ("pipe", "regular"), ("folder", "regular")):
        before = os.listdir("/proc/self/fd")
        with pytest.raises(UsageError, match=word):
            load_key(os.fsencode(tmp_path / name))
        assert os.listdir("/proc/self/fd") == before


def test_the_public_half_does_not_sign(path: bytes) -> None:
    """Whatever its mode: nobody shall make it private, or a new key."""
    with pytest.raises(UsageError, match="is a public key") as told:
        load_key(path + b".pub")
    assert told.value.do == "It lies beside it, under the same name without .pub."


def test_a_missing_key_is_said(path: bytes) -> None:
    with pytest.raises(FileMissing):
        load_key(path)


@pytest.mark.parametrize("kind", ["rsa", "ecdsa"])
def test_another_kind_of_key_is_refused(path: bytes, kind: str) -> None:
    command = ["ssh-keygen", "-q", "-t", kind, "-N", "", "-f", os.fsdecode(path)]
    subprocess.run(command, check=True, timeout=60)
    with pytest.raises(Malformed, match="Ed25519"):
        load_key(path)


@pytest.mark.parametrize("content", [b"", b"no key", b"\xff" * 100, b"a" * 100_000])
def test_what_is_no_key_is_refused(path: bytes, content: bytes) -> None:
    private_file(path, content)
    with pytest.raises(Malformed):
        load_key(path)


def test_a_damaged_key_never_loads_as_another(path: bytes, tmp_path: Path) -> None:
    """Every character of the file changed: refused in a sentence, or the same key."""
    made = new_key(path)
    content = Path(os.fsdecode(path)).read_bytes()
    for at in range(len(content)):
        damaged = os.fsencode(tmp_path / f"damaged-{at}")
        private_file(damaged, content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :])
        with contextlib.suppress(TakeholdError):
            assert load_key(damaged).fingerprint() == made.fingerprint()


def test_a_passphrase_opens_only_its_own_key(path: bytes) -> None:
    key = Ed25519PrivateKey.generate()
    locked = key.private_bytes(Encoding.PEM, PrivateFormat.OpenSSH, BestAvailableEncryption(b"pw"))
    private_file(path, locked)
    assert load_key(path, b"pw").sign(b"m", "n")
    with pytest.raises(UsageError, match="none was given"):
        load_key(path)
    with pytest.raises(UsageError, match="does not open"):
        load_key(path, b"wrong")


def test_a_passphrase_for_an_open_key_is_said(path: bytes) -> None:
    new_key(path)
    with pytest.raises(UsageError, match="has no passphrase"):
        load_key(path, b"pw")


def private_file(path: bytes, content: bytes) -> None:
    Path(os.fsdecode(path)).write_bytes(content)
    os.chmod(path, 0o600)
