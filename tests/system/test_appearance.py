"""The appearance of a volume: the same for all who ask, another one once it was away."""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import closing
from pathlib import Path

from faultlab.lab import Lab, faulty_lab  # noqa: F401
from takehold.adapters.volumes.appearance import appearance_of
from takehold.adapters.volumes.linux import LinuxVolumes
from takehold.model.volume import Volume

ASK = """
import sys
from takehold.adapters.volumes.appearance import appearance_of
print(appearance_of(sys.argv[1]))
"""


def volume_at(mount: Path) -> Volume:
    with closing(LinuxVolumes()) as volumes:
        [found] = [v for v in volumes.mounted() if v.mount == os.fsencode(mount)]
    return found


def test_a_share_that_came_back_has_another_one(lab: Lab):
    """Also where the mount's id and its device number are given again."""
    layer = lab.layer("share")
    first = volume_at(layer.mount)
    assert first.appearance
    assert volume_at(layer.mount) == first
    layer.unmount()
    layer.come_back()
    again = volume_at(layer.mount)
    assert again.identity == first.identity
    assert again.appearance != first.appearance


def test_another_process_with_mounts_of_its_own_sees_the_same(lab: Lab):
    """A service in a namespace of its own, started anew: no drive was out for that."""
    mine = volume_at(lab.layer("share").mount)
    command = ["unshare", "--mount", sys.executable, "-c", ASK, mine.device]
    answer = subprocess.run(command, capture_output=True, text=True, timeout=30, check=True)
    assert answer.stdout.strip() == mine.appearance


def test_a_drive_that_was_pulled_out_has_another_one(lab: Lab):
    """Its disk is counted, each time it is put in; another mount of it alone says nothing."""
    disk = lab.disk("shuttle")
    first = volume_at(disk.mount)
    disk.disk.unmount()
    disk.disk.mount_again(None)
    assert volume_at(disk.mount).appearance == first.appearance
    disk.unmount()
    disk.come_back()
    again = volume_at(disk.mount)
    assert again.identity == first.identity
    assert again.appearance != first.appearance


def test_where_nothing_tells_the_boot_does():
    """A number that no device has."""
    assert appearance_of("0:999999") == Path("/proc/sys/kernel/random/boot_id").read_text().strip()
