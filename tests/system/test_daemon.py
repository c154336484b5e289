"""The daemon over a day: cards come, drives go, power goes, people ask."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from cardmaker import fill, name_of, put, take, today
from faultlab.lab import FaultyDisk, Lab, faulty_lab, holding  # noqa: F401
from instance import Instance, copies_below, files_below, finals_below, parts_below
from loopbench import Bench, Disk

MANY = [(1 + n // 20, 1 + n % 20) for n in range(400)]
SHORT = 0.05


@pytest.fixture
def card(bench: Bench) -> Disk:
    return bench.disk("card", "ext4", label="SND_A1", options="noatime")


@pytest.fixture
def drive(bench: Bench) -> Disk:
    return bench.disk("drive", "ext4", label="SHUTTLE_1")


@pytest.fixture
def one_drive(card: Disk, drive: Disk, tmp_path: Path) -> Instance:
    """One card, one drive, one copy asked for."""
    return on_one_drive(tmp_path)


def on_one_drive(tmp_path: Path) -> Instance:
    return Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1"},
        {"copies_required": 1},
    )


def recordings_on(root: Path) -> dict[str, Path]:
    """The final names below a destination, by their path on the card."""
    return {n.split("/SND_A1/")[1]: p for n, p in finals_below(root).items()}


def stuck_card(lab: Lab, at: int) -> tuple[FaultyDisk, dict[str, bytes]]:
    """A card with many takes. One cannot be read beyond its header: whoever copies hangs there."""
    card = lab.disk("stuck", label="SND_A1", size_mb=32)
    made = fill(card.mount, MANY, seconds=2 * SHORT)
    card.sync()
    spoiled = made[sorted(made)[at]]
    card.set(stuck=[holding(spoiled, at=len(spoiled) - 1000)])
    return card, made


def all_true(root: Path, made: dict[str, bytes]) -> bool:
    """Whether each final name holds its card's bytes: read here, from the drive itself."""
    return all(path.read_bytes() == made[name] for name, path in recordings_on(root).items())


def test_a_card_that_is_put_in_later_is_noticed_and_wrapped(
    bench: Bench, card: Disk, drive: Disk, one_drive: Instance
):
    """The daemon sees a mount by itself; `wrap` is carried out by it at once."""
    made = fill(card.mount)
    card.unmount()
    with one_drive.daemon() as daemon:
        assert daemon.cards() == set()
        card.mount_again()
        daemon.wait_for(lambda: len(recordings_on(drive.mount)) == len(made))
        wrapped = one_drive.run("wrap", today())
        assert wrapped.returncode == 0, wrapped.stdout + wrapped.stderr
        assert f"Signed: {today()}.r1.manifest.json, on shuttle-1." in wrapped.stdout
        assert daemon.stop() == 0
    assert all_true(drive.mount, made)
    assert (drive.mount / "Lantern Bay" / today() / f"{today()}.r1.manifest.json").is_file()


@pytest.mark.parametrize("words", [("run",), ("once",)])
def test_a_second_one_ends_with_status_4(one_drive: Instance, words: tuple[str, ...]):
    """One catalogue has one takehold; the second says so and leaves the first at work."""
    with one_drive.daemon() as daemon:
        second = one_drive.run(*words)
        assert second.returncode == 4
        assert "Another takehold works with this catalogue" in second.stderr
        assert daemon.process.poll() is None


@pytest.mark.parametrize("after", [1, 40])
def test_killed_in_the_middle_of_copying(lab: Lab, drive: Disk, tmp_path: Path, after: int):
    """After kill -9 every final name is true; the next start sweeps, and goes on to the end."""
    card, made = stuck_card(lab, 200)
    one_drive = on_one_drive(tmp_path)
    with one_drive.daemon() as daemon, contextlib.ExitStack() as ends:
        ends.callback(card.mend)
        daemon.wait_for(lambda: len(recordings_on(drive.mount)) >= after)
        daemon.send(signal.SIGKILL)
        card.mend()  # a read that hangs in the kernel keeps the process there
        daemon.process.wait(60)
    assert after <= len(recordings_on(drive.mount)) < len(made)
    assert all_true(drive.mount, made)
    leftover = put(drive.mount, f"Lantern Bay/{today()}/.takehold-{'0a' * 8}.part", b"half")
    with one_drive.daemon() as daemon:
        daemon.wait_for(lambda: len(recordings_on(drive.mount)) == len(made) and daemon.is_idle())
        assert daemon.stop() == 0
    assert all_true(drive.mount, made)
    assert recordings_on(drive.mount).keys() == made.keys()
    assert not leftover.exists()
    assert not parts_below(drive.mount)
    day = one_drive.facts("wrap", today(), status=0)
    assert [len(file["copies"]) for file in day["files"]] == [1] * len(made)


def test_a_stop_while_copying_ends_soon_and_clean(lab: Lab, drive: Disk, tmp_path: Path):
    """SIGTERM: it ends with 0 within the ten seconds promised; what has a final name is true."""
    card, made = stuck_card(lab, 40)
    with on_one_drive(tmp_path).daemon() as daemon, contextlib.ExitStack() as ends:
        ends.callback(card.mend)
        daemon.wait_for(lambda: len(recordings_on(drive.mount)) >= 2)
        daemon.send(signal.SIGTERM)
        card.mend()  # of the files behind that one none is begun any more
        assert daemon.process.wait(10) == 0
    assert 2 <= len(recordings_on(drive.mount)) < len(made)
    assert all_true(drive.mount, made)
    assert not parts_below(drive.mount)


def test_hang_up_reads_the_config_again(bench: Bench, card: Disk, drive: Disk, one_drive: Instance):
    """SIGHUP with a bad config keeps the old one and says why; with a good one it is taken."""
    other = bench.disk("other", "ext4", label="TRK_C1")
    fill(other.mount, [(9, 1)])
    with one_drive.daemon() as daemon:
        good = one_drive.config.read_text()
        one_drive.config.write_text(good + 'colour = "blue"\n')
        daemon.send(signal.SIGHUP)
        daemon.wait_for(lambda: "The config was not taken; the old one goes on." in one_drive.log())
        assert "unknown key" in one_drive.log()
        fill(card.mount, [(1, 1)])
        one_drive.config.write_text(good.replace("SND_A*", "TRK_C*"))
        daemon.send(signal.SIGHUP)
        daemon.wait_for(lambda: daemon.cards() == {"TRK_C1"})
        daemon.wait_for(lambda: any("TRK_C1" in name for name in copies_below(drive.mount)))
        assert daemon.stop() == 0


@contextlib.contextmanager
def notify_socket(path: Path) -> Iterator[socket.socket]:
    """The other end of sd_notify(3): a datagram socket."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as server:
        server.bind(str(path))
        server.settimeout(60)
        yield server


def test_the_service_manager_is_told(one_drive: Instance, tmp_path: Path):
    """READY=1 once it works and STOPPING=1 before it ends, as sd_notify(3) has it."""
    at = tmp_path / "n"
    one_drive.environment = {"NOTIFY_SOCKET": str(at)}
    with notify_socket(at) as server, one_drive.daemon() as daemon:
        lines = server.recv(4096).decode().splitlines()
        while "READY=1" not in lines:
            lines += server.recv(4096).decode().splitlines()
        daemon.send(signal.SIGTERM)
        while "STOPPING=1" not in lines:
            lines += server.recv(4096).decode().splitlines()
        assert daemon.process.wait(60) == 0


def test_a_file_that_grows_in_a_watch_folder_is_left_until_it_stands_still(
    bench: Bench, drive: Disk, tmp_path: Path
):
    """A recorder writes into a share: not a byte is copied before the take is closed."""
    share = tmp_path / "share"
    share.mkdir()
    instance = Instance(
        tmp_path / "laptop",
        {"track": ("primary", share)},
        {"shuttle-1": "SHUTTLE_1"},
        {"copies_required": 1, "settle_seconds": 6},  # a pause that may last, less than all of it
    )
    whole = take(1, 1, seconds=0.6)
    step = len(whole) // 12
    pauses = iter(range(10_000))
    with instance.daemon() as daemon, (share / "T01.WAV").open("wb", buffering=0) as file:
        for at in range(0, len(whole), step):
            file.write(whole[at : at + step])
            turns = next(pauses) + 12
            daemon.wait_for(lambda turns=turns: next(pauses) > turns)  # about 0.6 s
            assert copies_below(drive.mount) == {}
        daemon.wait_for(lambda: daemon.state()["unsettled"] == ["track/T01.WAV"])
        assert instance.facts("status")["unsettled"] == ["track/T01.WAV"]
        daemon.wait_for(lambda: len(finals_below(drive.mount)) == 1)
        assert daemon.stop() == 0
    (copy,) = copies_below(drive.mount).values()
    assert copy.read_bytes() == whole


def test_a_drive_that_is_yanked_and_comes_back_elsewhere_is_finished(
    bench: Bench, card: Disk, tmp_path: Path
):
    """The other drive goes on meanwhile, nothing is written to the empty mount point."""
    one, two = (bench.disk(f"d{n}", "ext4", label=f"SHUTTLE_{n}") for n in (1, 2))
    instance = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1", "shuttle-2": "SHUTTLE_2"},
    )
    made = fill(card.mount, MANY, seconds=SHORT)
    with instance.daemon() as daemon:
        daemon.wait_for(lambda: len(recordings_on(two.mount)) >= 3)
        two.yank()
        daemon.wait_for(lambda: daemon.state()["absent"] == ["shuttle-2"])
        daemon.wait_for(lambda: len(recordings_on(one.mount)) == len(made))
        needs = instance.facts("status", status=1)["needs"]
        assert any("The destination shuttle-2 is not connected" in n["says"] for n in needs)
        assert os.listdir(two.mount) == []
        left = two.mount
        two.mount_again(at=bench.folder / "media" / "elsewhere")
        daemon.wait_for(lambda: len(recordings_on(two.mount)) == len(made) and daemon.is_idle())
        daemon.wait_for(lambda: instance.run("status").returncode == 0)
        assert daemon.stop() == 0
    assert os.listdir(left) == []
    for drive in (one, two):
        assert recordings_on(drive.mount).keys() == made.keys()
        assert all_true(drive.mount, made)
        assert not parts_below(drive.mount)


def test_a_card_that_is_yanked_while_it_is_read_is_finished_when_it_comes_back(
    bench: Bench, card: Disk, drive: Disk, one_drive: Instance
):
    """Nothing untrue has a final name, and the rest follows by itself at another mount point."""
    made = fill(card.mount, MANY, seconds=SHORT)
    with one_drive.daemon() as daemon:
        daemon.wait_for(lambda: len(recordings_on(drive.mount)) >= 3)
        card.yank()
        daemon.wait_for(lambda: daemon.cards() == set() and daemon.is_idle())
        assert all_true(drive.mount, made)
        card.mount_again(at=bench.folder / "media" / "other-port")
        daemon.wait_for(lambda: len(recordings_on(drive.mount)) == len(made) and daemon.is_idle())
        assert daemon.stop() == 0
    assert recordings_on(drive.mount).keys() == made.keys()
    assert all_true(drive.mount, made)
    assert one_drive.run("wrap", today()).returncode == 0


def test_a_folder_whose_volume_is_gone_is_never_written_to(
    bench: Bench, card: Disk, drive: Disk, tmp_path: Path
):
    """The path still is there, on the internal disk: it is another place, and stays empty (P4)."""
    folder = drive.mount / "audio"
    folder.mkdir()
    instance = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": folder},
        {"copies_required": 1},
    )
    fill(card.mount, [(1, 1)])
    assert instance.run("once").returncode == 0
    drive.unmount()
    folder.mkdir(parents=True)
    fill(card.mount, [(1, 2)])
    once = instance.run("once")
    assert once.returncode == 1
    assert f"{folder} is not there" in once.stdout
    assert files_below(drive.mount) == {}
    assert os.listdir(folder) == []
    folder.rmdir()
    once = instance.run("once")
    assert once.returncode == 1
    assert not folder.exists()
    drive.mount_again()
    assert instance.run("once").returncode == 0
    assert len(copies_below(folder)) == 2


def shape(value: object) -> object:
    """The keys of nested data, lists by their first entry."""
    if isinstance(value, dict):
        return {key: shape(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [shape(value[0])] if value else []
    return type(value).__name__


def test_what_json_says_of_a_running_day(card: Disk, drive: Disk, one_drive: Instance):
    """The keys that scripts count on, and the exit statuses beside them."""
    fill(card.mount)
    with one_drive.daemon() as daemon:
        daemon.wait_for(lambda: [c["confirmed"] for c in daemon.state()["cards"]] == [3])
        daemon.wait_for(lambda: one_drive.run("status").returncode == 0 and daemon.is_idle())
        status = one_drive.facts("status", status=0)
        assert status["running"] is True
        assert status["day"] == today()
        assert [c["label"] for c in status["cards"]] == ["SND_A1"]
        assert status["cards"][0]["in_use"] is False
        assert [d["name"] for d in status["destinations"]] == ["shuttle-1"]
        assert status["needs"] == status["absent"] == status["work"] == status["unsettled"] == []
        day = one_drive.facts("day", today(), status=0)
        assert {f["path"] for f in day["files"]} == {name_of(*t) for t in ((1, 1), (1, 2), (2, 1))}
        assert shape(day["files"][0]) == {
            "card": "str",
            "load": "int",
            "role": "str",
            "path": "str",
            "size": "int",
            "scene": "str",
            "take": "str",
            "circled": "bool",
            "start": "str",
            "seconds": "float",
            "tracks": ["str"],
            "copies": [{"destination": "str", "proven_at": "str", "read_back": "str"}],
            "devices": "int",
            "counterpart": "NoneType",
            "confirmed": "bool",
        }
        assert day["files"][0]["start"] == "10:11:00:00"
        assert day["manifest"] is None
        card_says = one_drive.facts("card", "SND_A1", status=1)
        assert card_says[0]["verdict"] == "HOLD"
        assert any("no manifest was written yet" in r for r in card_says[0]["against_hand_over"])
        assert one_drive.run("wrap", today()).returncode == 0
        card_says = one_drive.facts("card", "SND_A1", status=0)
        assert card_says[0]["verdict"] == "READY"
        assert card_says[0]["post_has_confirmed"] is False
        assert one_drive.run("card", "NO_SUCH").returncode == 2
        assert daemon.stop() == 0
    status = one_drive.facts("status", status=3)
    assert status["running"] is False
    assert "takehold is not running" in one_drive.run("status").stdout
