"""What single commands say and end with, as processes: watch folders, one drive, no root needed."""

from __future__ import annotations

import json
import os
import signal
import subprocess
from pathlib import Path

import pytest

from cardmaker import fill, take, today
from instance import PROGRAM, Instance


@pytest.fixture
def card(tmp_path: Path) -> Path:
    folder = tmp_path / "SND_A1"
    folder.mkdir()
    return folder


@pytest.fixture
def instance(tmp_path: Path, card: Path) -> Instance:
    """One watch folder, one drive that is a folder, one copy asked for."""
    (tmp_path / "shuttle").mkdir()
    return Instance(
        tmp_path / "laptop",
        {"primary": ("primary", card)},
        {"shuttle-1": tmp_path / "shuttle"},
        {"copies_required": 1},
    )


def test_once_without_a_recording_says_so(instance: Instance):
    """Nothing copied is not everything copied."""
    once = instance.run("once")
    assert once.returncode == 1
    assert "No recordings were found" in once.stdout
    assert instance.facts("once", status=1)["proven"] is False


def test_once_ends_with_the_days_verdict(instance: Instance, card: Path):
    fill(card, [(1, 1)])
    once = instance.run("once")
    assert once.returncode == 0, once.stdout
    lines = once.stdout.splitlines()
    assert lines[0] == "The file that is there has its proven copies."
    assert lines[1].startswith(f"Verdict of {today()}: ")
    assert lines[1].endswith(f"see: takehold day {today()}")
    assert set(instance.facts("once")["verdicts"]) == {today()}


def test_status_says_what_is_not_signed(instance: Instance, card: Path):
    fill(card, [(1, 1)])
    with instance.daemon() as daemon:
        daemon.wait_for(
            lambda: daemon.is_idle() and all(c["confirmed"] == 1 for c in daemon.state()["cards"])
        )
        said = instance.run("status").stdout
        assert f"{today()}: READY, not signed yet: no manifest was written." in said
        assert instance.run("wrap", today()).returncode == 0
        said = instance.run("status").stdout
        assert f"{today()}: READY, signed in r1" in said
        assert daemon.stop() == 0
    assert instance.facts("status", status=3)["cards"] is None
    log = [json.loads(line)["event"] for line in instance.log().splitlines()]
    for says in ("is in: 1 file.", "1 file copied and proven.", "was written and signed: READY."):
        assert sum(says in event for event in log) == 1, log


def test_a_mistake_in_the_config_does_not_hide_a_running_day(instance: Instance, card: Path):
    """The daemon goes on with what it read; status shows it, and the mistake, and ends with 1."""
    fill(card, [(1, 1)])
    with instance.daemon() as daemon:
        daemon.wait_for(lambda: daemon.cards() == {str(card)} or daemon.state()["cards"])
        instance.config.write_text(instance.config.read_text() + "\nbroken")
        status = instance.run("status")
        assert status.returncode == 1
        assert "shuttle-1 at " in status.stdout
        assert "broken: takes key = value" in status.stdout
        assert daemon.stop() == 0
    assert instance.run("status").returncode == 2


def test_ctrl_c_ends_the_watching_quietly(instance: Instance):
    """Nothing is printed for it, and it is no failure."""
    environment = {
        **os.environ,
        "TAKEHOLD_CONFIG": str(instance.config),
        "TAKEHOLD_STATE": str(instance.state),
    }
    with subprocess.Popen(
        [*PROGRAM, "status", "--watch"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment,
    ) as process:
        try:
            assert process.stdout is not None
            assert b"takehold is not running" in process.stdout.readline()
            process.send_signal(signal.SIGINT)
            out, err = process.communicate(timeout=20)
        finally:
            process.kill()
    assert (process.returncode, err) == (0, b"")
    assert b"Stopped" not in out


def test_a_second_decision_names_the_first(instance: Instance, card: Path):
    """`ack` says when it counts, and what it replaces."""
    fill(card, [(1, 1)])
    (card / "empty.WAV").write_bytes(b"")
    assert instance.run("once").returncode == 0
    looks = [f for f in instance.facts("day")["findings"] if f["severity"] == "look"]
    assert looks
    code = instance.run("ack", looks[0]["code"], "--note", "not an id")
    assert (code.returncode, looks[0]["id"] in code.stderr) == (2, True)
    assert f"{looks[0]['code']} is a code" in code.stderr
    first = instance.run("ack", looks[0]["id"].upper(), "--note", "a slip of the finger")
    says = "Noted. It goes into the manifest with the next"
    assert first.stdout == f"{says} `takehold wrap {today()}`.\n"
    second = instance.run("ack", looks[0]["id"], "--note", "deleted on the recorder")
    assert second.returncode == 0
    assert "It replaces the decision of " in second.stdout
    assert "a slip of the finger" in second.stdout
    third = instance.facts("ack", looks[0]["id"], "--note", "as before", status=0)
    assert third["replaces"]["note"] == "deleted on the recorder"


def test_recheck_and_key_speak_json(instance: Instance, card: Path, tmp_path: Path):
    fill(card, [(1, 1)])
    assert instance.run("once").returncode == 0
    rechecked = instance.facts("recheck", status=0)
    assert (rechecked["known"], rechecked["broken"]) == (1, [])
    [copy] = (tmp_path / "shuttle").rglob("*.WAV")
    copy.write_bytes(take(9, 9))
    [broken] = instance.facts("recheck", status=1)["broken"]
    assert (broken["destination"], broken["why"]) == ("shuttle-1", "altered")
    key = instance.facts("key", "show", status=0)
    assert key["public_key"] in instance.public_key.read_text()
    told = subprocess.run(
        ["ssh-keygen", "-lf", instance.public_key],
        capture_output=True,
        text=True,
        timeout=20,
        check=True,
    )
    assert key["fingerprint"] == told.stdout.split()[1]


def test_a_receipt_ends_with_1_until_it_counts(instance: Instance, card: Path, tmp_path: Path):
    """Unsigned, then signed by a key nobody vouched for, then with the key given."""
    fill(card, [(1, 1)])
    assert instance.run("once").returncode == 0
    assert instance.run("wrap", today()).returncode in (0, 1)
    post = tmp_path / "post"
    post.mkdir()
    command = ["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", post / "key"]
    subprocess.run(command, check=True, timeout=20, stdin=subprocess.DEVNULL)
    shuttle = str(tmp_path / "shuttle")
    to = ("--receipt-to", str(post))
    assert instance.run("receive", shuttle, *to).returncode == 0
    assert instance.run("receive", shuttle, *to, "--sign-with", str(post / "key")).returncode == 0
    plain = post / f"Lantern Bay.{today()}.r1.receipt.json"
    signed = post / f"Lantern Bay.{today()}.r1.receipt-2.json"
    assert instance.run("receipt", str(plain)).returncode == 1
    assert instance.run("receipt", str(signed)).returncode == 1
    given = ("--key", str(post / "key.pub"))
    told = instance.facts("receipt", str(signed), *given, status=0)
    assert (told["complete"], told["counts"], told["number"]) == (True, True, 1)


@pytest.mark.parametrize(
    "words", [("receipt", "none.json"), ("receive", "none"), ("receive", ".", "--key", "none")]
)
def test_a_mistyped_name_is_wrong_usage(instance: Instance, words: tuple[str, ...]):
    done = instance.run(*words)
    assert done.returncode == 2
    assert "none" in done.stderr
    assert "Traceback" not in done.stderr


def test_an_unfinished_init_is_wrong_usage_and_writes_nothing(instance: Instance):
    """No answer comes: standard input is empty."""
    before = instance.config.read_bytes()
    done = instance.run("--config", str(instance.folder / "new" / "takehold.toml"), "init")
    assert done.returncode == 2
    assert "nothing was written" in done.stderr
    assert not (instance.folder / "new").exists()
    assert instance.config.read_bytes() == before


def test_help_says_what_a_command_is_for(instance: Instance):
    said = instance.run("--help").stdout
    assert "Take in the DIT's receipt (what arrived)." in said
    assert "Watch for cards all day" in said
