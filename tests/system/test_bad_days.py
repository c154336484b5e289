"""What goes wrong on a set: the rest goes on, and a sentence says which thing needs a hand."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

import pytest

from cardmaker import fill, name_of, put, take, today
from instance import Instance, Place, copies_below, same_bytes, stock_checks
from loopbench import Bench, Disk, make, run

SHUTTLES = {"shuttle-1": "SHUTTLE_1", "shuttle-2": "SHUTTLE_2"}
ONE = {"shuttle-1": "SHUTTLE_1"}


@pytest.fixture
def card(bench: Bench) -> Disk:
    return bench.disk("card", "ext4", label="SND_A1")


@pytest.fixture
def drive(bench: Bench) -> Disk:
    return bench.disk("drive", "ext4", label="SHUTTLE_1")


def laptop(tmp_path: Path, destinations: Mapping[str, Place], copies: int = 1) -> Instance:
    """A takehold with one source, the primary card."""
    return Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        destinations,
        {"copies_required": copies},
    )


# Drives


def test_a_full_drive_is_named_and_the_other_goes_on(
    bench: Bench, card: Disk, drive: Disk, tmp_path: Path
):
    """What fits is on it, true; the rest is on the other drive; `once` ends with 1."""
    small = bench.disk("small", "ext4", size_mb=8, label="SHUTTLE_2")
    made = fill(card.mount, [(1, n) for n in range(1, 13)], seconds=3)
    instance = laptop(tmp_path, SHUTTLES, copies=2)
    once = instance.run("once")
    assert once.returncode == 1
    assert "shuttle-2" in once.stdout
    assert "shuttle-1" not in once.stdout
    assert len(copies_below(drive.mount)) == len(made)
    on_small = copies_below(small.mount)
    assert 0 < len(on_small) < len(made)
    for copy in on_small.values():
        assert same_bytes(card.mount / "DAY01" / copy.name, copy)
    wrapped = instance.run("wrap", today())
    assert wrapped.returncode == 1
    assert "1 of 2 proven copies" in wrapped.stdout
    stock_checks(drive.mount / "Lantern Bay" / today(), instance.public_key)
    with pytest.raises(AssertionError) as told:
        stock_checks(small.mount / "Lantern Bay" / today(), instance.public_key)
    for name in made:
        good = f"{name}: OK" in str(told.value)
        assert good is (os.path.basename(name) in {copy.name for copy in on_small.values()})


def test_two_folders_of_one_disk_count_once(card: Disk, drive: Disk, tmp_path: Path):
    """Two copies are two devices (P5): both are made, the day holds, and it is said why."""
    folders = drive.mount / "a", drive.mount / "b"
    for folder in folders:
        folder.mkdir()
    fill(card.mount, [(1, 1)])
    instance = laptop(tmp_path, {"a": folders[0], "b": folders[1]}, copies=2)
    once = instance.run("once")
    assert once.returncode == 1
    assert "SND_A1/DAY01/S01T01.WAV: 1 of 2 proven copies." in once.stdout
    assert [len(copies_below(folder)) for folder in folders] == [1, 1]
    day = instance.facts("wrap", today(), status=1)
    assert day["verdict"] == "HOLD"
    assert [f["devices"] for f in day["files"]] == [1]
    assert [len(f["copies"]) for f in day["files"]] == [2]


def test_a_copy_in_memory_counts_for_nothing(bench: Bench, card: Disk, tmp_path: Path):
    """A tmpfs takes copies and is gone with the power: no proven copy, HOLD."""
    memory = bench.disk("memory", "tmpfs")
    fill(card.mount, [(1, 1)])
    instance = laptop(tmp_path, {"memory": memory.mount})
    assert instance.run("once").returncode == 1
    wrapped = instance.run("wrap", today())
    assert wrapped.returncode == 1
    assert "0 of 1 proven copies" in wrapped.stdout


def test_a_drive_that_takes_no_writes_is_named(card: Disk, drive: Disk, tmp_path: Path):
    """Mounted read-only: said in a sentence, exit 1; once it takes writes the rest follows."""
    fill(card.mount, [(1, 1)])
    instance = laptop(tmp_path, ONE)
    drive.unmount()
    drive.mount_again(options="ro")
    once = instance.run("once")
    assert once.returncode == 1
    assert f"shuttle-1 at {drive.mount} is mounted read-only." in once.stdout
    drive.unmount()
    drive.mount_again(options="defaults")
    assert instance.run("once").returncode == 0
    assert len(copies_below(drive.mount)) == 1


def test_a_copy_that_rots_is_found_by_recheck_and_made_again_beside(
    card: Disk, drive: Disk, tmp_path: Path
):
    """One flipped byte: `recheck` ends with 1 and names it; the altered file is left as it is."""
    made = fill(card.mount)
    instance = laptop(tmp_path, ONE)
    assert instance.run("once").returncode == 0
    assert instance.run("recheck").returncode == 0
    folder = drive.mount / "Lantern Bay" / today() / "SND_A1"
    rotten = folder / name_of(1, 2)
    with rotten.open("r+b") as file:
        file.seek(5000)
        file.write(bytes([made[name_of(1, 2)][5000] ^ 1]))
    recheck = instance.run("recheck")
    assert recheck.returncode == 1
    assert "S01T02.WAV is altered" in recheck.stdout
    assert instance.run("once").returncode == 0
    others = [p for p in copies_below(folder).values() if p.name not in map(os.path.basename, made)]
    assert len(others) == 1
    assert others[0].read_bytes() == made[name_of(1, 2)]
    assert rotten.read_bytes() != made[name_of(1, 2)]
    wrapped = instance.run("wrap", today())
    assert wrapped.returncode == 1
    assert "held a proven copy and had other bytes" in wrapped.stdout
    stock_checks(folder.parent, instance.public_key)


def test_a_copy_that_somebody_removed_is_noticed_at_wrap(card: Disk, drive: Disk, tmp_path: Path):
    """The manifest lists what is there: the copy is made again before the day is signed."""
    fill(card.mount)
    instance = laptop(tmp_path, ONE)
    assert instance.run("once").returncode == 0
    gone = drive.mount / "Lantern Bay" / today() / "SND_A1" / name_of(1, 1)
    gone.unlink()
    assert instance.run("wrap", today()).returncode == 0
    assert same_bytes(card.mount / name_of(1, 1), gone)
    stock_checks(drive.mount / "Lantern Bay" / today(), instance.public_key)


# Cards


def test_a_card_that_answers_to_two_sources_is_left_alone(
    bench: Bench, drive: Disk, card: Disk, tmp_path: Path
):
    """It would be its own backup: nothing is copied, the sentence names both sources."""
    fill(card.mount)
    instance = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*"), "backup": ("backup", "SND_*")},
        ONE,
        {"copies_required": 1},
    )
    once = instance.run("once")
    assert once.returncode in (1, 3)
    assert "answers to several sources (backup, primary); it is left alone." in once.stdout
    assert copies_below(drive.mount) == {}


def test_two_cards_of_one_label_are_two_loads(
    bench: Bench, card: Disk, drive: Disk, tmp_path: Path
):
    """Both are copied whole, into two folders, though their files have the same names."""
    twin = bench.disk("twin", "ext4", label="SND_A1")
    made = fill(card.mount), fill(twin.mount, sound=1)
    instance = laptop(tmp_path, ONE)
    assert instance.run("once").returncode == 0
    day = drive.mount / "Lantern Bay" / today()
    found = [copies_below(day / name) for name in ("SND_A1", "SND_A1.load-2")]
    contents = [{n: p.read_bytes() for n, p in copies.items()} for copies in found]
    assert sorted(contents, key=str) == sorted(made, key=str)
    assert len(instance.facts("card", "SND_A1")) == 2


@pytest.mark.parametrize("uuid", [None, "b1c2d3e4-0000-4000-8000-123456789abc"])
def test_a_card_that_was_formatted_begins_a_new_load(
    bench: Bench, drive: Disk, tmp_path: Path, uuid: str | None
):
    """Same label, same day, with a new UUID or the old one: `.load-2`, and nothing is replaced."""
    card = bench.disk("card", "ext4", label="SND_A1", uuid=uuid)
    first = fill(card.mount)
    instance = laptop(tmp_path, ONE)
    assert instance.run("once").returncode == 0
    card.unmount()
    make("ext4", card.image, "SND_A1", uuid)
    run("blockdev", "--flushbufs", card.loop)
    card.mount_again()
    second = fill(card.mount, sound=1, seconds=0.4)
    assert instance.run("once").returncode == 0
    day = drive.mount / "Lantern Bay" / today()
    for folder, made in (("SND_A1", first), ("SND_A1.load-2", second)):
        copies = copies_below(day / folder)
        assert {n: p.read_bytes() for n, p in copies.items()} == made


def test_an_edit_in_the_recorder_is_kept_beside_the_first_version(
    card: Disk, drive: Disk, tmp_path: Path
):
    """Same audio, another note: `.edit-2`, both versions kept, the day is READY with a note."""
    before = fill(card.mount)[name_of(1, 2)]
    instance = laptop(tmp_path, ONE)
    assert instance.run("once").returncode == 0
    after = take(1, 2, note="circled later")
    put(card.mount, name_of(1, 2), after)
    wrapped = instance.run("wrap", today())
    assert wrapped.returncode == 0, wrapped.stdout
    assert "its metadata was edited later; both versions are kept." in wrapped.stdout
    folder = drive.mount / "Lantern Bay" / today() / "SND_A1" / "DAY01"
    assert (folder / "S01T02.WAV").read_bytes() == before
    assert (folder / "S01T02.edit-2.WAV").read_bytes() == after
    stock_checks(folder.parents[1], instance.public_key)


def test_other_audio_under_a_known_name_wants_a_decision(card: Disk, drive: Disk, tmp_path: Path):
    """A re-recorded name: both kept, HOLD until a person decides, READY after `ack`."""
    fill(card.mount)
    instance = laptop(tmp_path, ONE)
    assert instance.run("once").returncode == 0
    fill(card.mount, [(1, 2)], sound=5, seconds=0.4)
    day = instance.facts("wrap", today(), status=1)
    (found,) = [f for f in day["findings"] if f["code"] == "other-audio"]
    acked = instance.run("ack", found["id"], "--note", "both are wanted")
    assert acked.returncode == 0, acked.stderr
    day = instance.facts("wrap", today(), status=0)
    assert day["verdict"] == "READY"
    assert [f["decision"] for f in day["findings"] if f["code"] == "other-audio"] == [
        "both are wanted"
    ]


# The laptop


COMMANDS = [("run",), ("once",), ("status",), ("day",), ("wrap",), ("card",), ("preflight",)]


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_a_config_that_cannot_be_used_is_told_whole(tmp_path: Path, words: tuple[str, ...]):
    """Every command ends with 2 and all complaints, each with its line; nothing is started."""
    instance = laptop(tmp_path, ONE)
    text = instance.config.read_text()
    instance.config.write_text(
        text.replace("copies_required = 1", "copies_required = 11").replace("role =", "rolle =")
        + 'colour = "blue"\n'
    )
    done = instance.run(*words)
    assert done.returncode == 2
    for wanted in ("takehold.toml, line", "copies_required = 11", "rolle", "colour"):
        assert wanted in done.stderr
    assert "Traceback" not in done.stderr
    assert not instance.state.exists()


@pytest.mark.parametrize("words", COMMANDS[:3], ids=" ".join)
def test_no_config_is_told_with_what_to_do(tmp_path: Path, words: tuple[str, ...]):
    """Exit 2, and the command that makes one."""
    instance = laptop(tmp_path, ONE)
    instance.config.unlink()
    done = instance.run(*words)
    assert done.returncode == 2
    assert "There is no config at" in done.stderr
    assert "takehold init" in done.stderr


def test_no_card_ends_with_3(bench: Bench, drive: Disk, tmp_path: Path):
    """Nothing is there to copy: that is the environment's fault, and no success."""
    once = laptop(tmp_path, ONE).run("once")
    assert once.returncode == 3
    assert "No card or watch folder of the config is there." in once.stdout


def inodes(root: Path) -> dict[str, tuple[int, int]]:
    """Each copy's inode and time of change: one that is made again has others."""
    return {n: (p.stat().st_ino, p.stat().st_ctime_ns) for n, p in copies_below(root).items()}


def damage(catalogue: Path) -> None:
    """Overwrite what a drive's bad sectors would."""
    with catalogue.open("r+b") as file:
        file.write(b"\xa5" * min(4096, catalogue.stat().st_size))


@pytest.mark.parametrize("happens", [Path.unlink, damage])
def test_a_lost_catalogue_is_rebuilt_from_signed_manifests(
    bench: Bench, card: Disk, drive: Disk, tmp_path: Path, happens
):
    """Losing it costs time, never evidence: READY again, and no copy is made a second time."""
    backup = bench.disk("backup", "ext4", label="SND_B1")
    fill(card.mount)
    fill(backup.mount)
    instance = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*"), "backup": ("backup", "SND_B*")},
        ONE,
        {"copies_required": 1},
    )
    assert instance.run("once").returncode == 0
    assert instance.run("wrap", today()).returncode == 0
    before = inodes(drive.mount)
    happens(instance.state / "catalogue.sqlite")
    once = instance.run("once")
    assert once.returncode == 0, once.stdout + once.stderr
    assert "rebuilt from signed manifests" in once.stderr
    assert bool(aside(instance)) is (happens is damage)
    assert inodes(drive.mount) == before
    day = instance.facts("wrap", today(), status=0)
    assert day["verdict"] == "READY"
    assert inodes(drive.mount) == before
    stock_checks(drive.mount / "Lantern Bay" / today(), instance.public_key)


def aside(instance: Instance) -> list[str]:
    """Catalogues that were moved aside."""
    here = {"catalogue.sqlite", "catalogue.sqlite-journal"}
    return [p.name for p in instance.state.glob("catalogue.sqlite*") if p.name not in here]
