"""The receiver against stock tools: coreutils `sha256sum` and OpenSSH `ssh-keygen`.

A folder whose checksums and signature those made is accepted, and both find the same damage.
"""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from received_folder import CONTENT, DAY, checked, document, entry, put
from takehold.cli.receive import receive

NAMES = ("manifest.json", "manifest.json.sig", "sha256", "signers")


def run(*command: str, cwd: Path, data: bytes | None = None) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        command,
        cwd=cwd,
        input=data,
        capture_output=True,
        timeout=60,
        check=False,
        env={"PATH": "/usr/local/bin:/usr/bin:/bin", "LC_ALL": "C"},
    )


@pytest.fixture
def day(tmp_path):
    """A day's folder made with sha256sum, and signed with ssh-keygen."""
    folder = tmp_path / DAY
    put(folder, CONTENT)
    listed = run("sha256sum", *sorted(CONTENT), cwd=folder).stdout
    sums = {line[66:]: line[:64] for line in listed.decode().splitlines()}
    files = [entry(place, content) | {"sha256": sums[place]} for place, content in CONTENT.items()]
    manifest, signature, sha256, signers = (folder / f"{DAY}.r1.{name}" for name in NAMES)
    sha256.write_bytes(listed)
    manifest.write_text(json.dumps(document(files), indent=2), encoding="utf-8")
    key = tmp_path / "key"
    run("ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(key), cwd=tmp_path)
    signed = ("-Y", "sign", "-n", "takehold-manifest", "-f", str(key), str(manifest))
    assert run("ssh-keygen", *signed, cwd=tmp_path).returncode == 0
    assert signature.exists()
    signers.write_text(f"takehold {Path(f'{key}.pub').read_text()}")
    return folder


def stock_verdict(folder: Path) -> dict[str, str]:
    """Place and answer by `sha256sum -c`: OK, FAILED, or FAILED open or read."""
    words = {"OK": "intact", "FAILED": "altered", "FAILED open or read": "missing"}
    told = run("sha256sum", "-c", f"{DAY}.r1.sha256", cwd=folder).stdout.decode().splitlines()
    return {place: words[word] for place, word in (line.rsplit(": ", 1) for line in told)}


def our_verdict(folder: Path) -> dict[str, str]:
    (one,) = checked(folder).days
    return {c.place.decode(): c.answer.value for c in one.compared.checked}


def test_what_stock_tools_made_is_accepted(day):
    fingerprint = run("ssh-keygen", "-lf", "../key.pub", cwd=day).stdout.split()[1].decode()
    received = checked(day, frozenset({fingerprint}))
    assert received.days[0].manifest.signed.word == "confirmed"
    assert received.days[0].manifest.signed.signer == fingerprint
    assert set(our_verdict(day).values()) == {"intact"} == set(stock_verdict(day).values())


@pytest.mark.parametrize(
    "damage",
    ["none", "bit", "cut", "grown", "removed", "renamed", "swapped", "emptied", "folder"],
)
def test_damage_is_found_as_sha256sum_finds_it(day, damage):
    """The same answer for each file, whatever was done to one."""
    one, two = day / "SND_A01/T01.wav", day / "SND_A01/T02.wav"
    raw = one.read_bytes()
    match damage:
        case "bit":
            one.write_bytes(raw[:-1] + bytes([raw[-1] ^ 1]))
        case "cut":
            one.write_bytes(raw[:-1])
        case "grown":
            one.write_bytes(raw + b"\0")
        case "removed":
            one.unlink()
        case "renamed":
            one.rename(day / "SND_A01/T01 (1).wav")
        case "swapped":
            one.write_bytes(two.read_bytes())
            two.write_bytes(raw)
        case "emptied":
            one.write_bytes(b"")
        case "folder":
            one.unlink()
            one.mkdir()
    assert our_verdict(day) == stock_verdict(day)


def test_the_signature_is_judged_as_ssh_keygen_judges_it(day):
    """Good, then with one byte of the manifest changed."""
    manifest = day / f"{DAY}.r1.manifest.json"

    def stock() -> bool:
        names = ("-f", f"{DAY}.r1.signers", "-s", f"{manifest.name}.sig")
        command = ("-Y", "verify", "-I", "takehold", "-n", "takehold-manifest", *names)
        return run("ssh-keygen", *command, cwd=day, data=manifest.read_bytes()).returncode == 0

    assert stock()
    assert checked(day).days[0].manifest.signed.good
    manifest.write_bytes(manifest.read_bytes().replace(b"A. Mixer", b"B. Mixer"))
    assert not stock()
    assert not checked(day).days[0].manifest.signed.good


def test_ssh_keygen_accepts_the_signature_on_a_receipt(day, tmp_path):
    """Signed by post's own key, checked by the mixer with stock tools."""
    status = receive(
        str(day),
        key=str(tmp_path / "key.pub"),
        sign_with=str(tmp_path / "key"),
        received_by="A. Receiver",
        receipt_to=str(tmp_path),
        as_json=True,
    )
    assert status == 0
    receipt = tmp_path / f"Lantern Bay.{DAY}.r1.receipt.json"
    (tmp_path / "post.signers").write_text(f"post {(tmp_path / 'key.pub').read_text()}")
    names = ("-f", "post.signers", "-s", f"{receipt.name}.sig")
    command = ("-Y", "verify", "-I", "post", "-n", "takehold-receipt", *names)
    told = run("ssh-keygen", *command, cwd=tmp_path, data=receipt.read_bytes())
    assert told.returncode == 0, told.stderr
