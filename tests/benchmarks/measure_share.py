"""What the audio measure adds to copying: `python tests/benchmarks/measure_share.py`.

    python tests/benchmarks/measure_share.py [--kind media] [--role primary] [--megabytes 500]

One card of 8-track 24-bit takes goes through `takehold once` onto two drives, with the measure of
the channels and with it left out, turn by turn in one run. Printed: CPU seconds and wall time of
the whole command (start, copy, read-back and the second read of the card included), medians, and
their ratio. A primary card is read twice, one of another role once. Needs root; the kinds are those
of places.py, but for tmpfs: a copy there is not durable, and the command says so by its status.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np

from benchmarks.places import Places, places
from cardmaker import today
from corpus.wavs import RATE, Said, file_of, packed, voices
from instance import config_text

CHANNELS = 8
WITHOUT = """
import sys
if {bare}:
    import takehold.formats.audio as audio
    audio.layout = lambda form: None
sys.argv = ["takehold", "once"]
from takehold.cli.main import main
main()
"""


def card(folder: Path, megabytes: int) -> None:
    """Takes of a minute."""
    dice = np.random.default_rng(1)
    samples = voices(dice, 60 * RATE, CHANNELS)
    data = packed(samples)
    names = tuple(f"Track {n}" for n in range(CHANNELS))
    folder.mkdir()
    for number in range(max(1, megabytes * 10**6 // len(data))):
        start = (8 * 3600 + number * 90) * RATE
        said = Said(
            today(), "1", str(number + 1), start, names, uid=f"U{number}", family=f"F{number}"
        )
        (folder / f"T{number + 1:02}.WAV").write_bytes(file_of(said, data, CHANNELS))


def once(folder: Path, where: Places, role: str, *, bare: bool) -> tuple[float, float]:
    """CPU seconds and wall time of the command, from cold, with a laptop of its own."""
    where.clean()
    room = folder / "run"
    shutil.rmtree(room, ignore_errors=True)
    room.mkdir()
    drives = {drive.name: drive for drive in where.drives}
    config = room / "takehold.toml"
    keys = {"copies_required": 1}
    config.write_text(config_text({role: (role, where.card)}, drives, keys))
    signing = ["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", room / "signing_key"]
    subprocess.run(signing, check=True, timeout=20, stdin=subprocess.DEVNULL)
    env = {**os.environ, "TAKEHOLD_CONFIG": str(config), "TAKEHOLD_STATE": str(room / "state")}
    before, begun = os.times(), time.monotonic()
    command = [sys.executable, "-c", WITHOUT.format(bare=bare)]
    subprocess.run(command, env=env, check=True, timeout=600, capture_output=True)
    wall, after = time.monotonic() - begun, os.times()
    spent = after.children_user + after.children_system
    return spent - before.children_user - before.children_system, wall


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--kind", choices=("media", "loop", "exfat"), default="media")
    asked.add_argument("--role", choices=("primary", "backup"), default="primary")
    asked.add_argument("--megabytes", type=int, default=500)
    asked.add_argument("--rounds", type=int, default=5)
    given = asked.parse_args()
    taken: dict[bool, list[tuple[float, float]]] = {False: [], True: []}
    size = given.megabytes * 10**6
    with tempfile.TemporaryDirectory(prefix="measure-") as scratch:
        folder = Path(scratch)
        with places(folder / "places", given.kind, 2, size) as where:
            card(where.card / "SND", given.megabytes)
            where.slow_down()
            for _ in range(given.rounds):
                for bare in (False, True):
                    taken[bare].append(once(folder, where, given.role, bare=bare))
    figures = {
        bare: [statistics.median(part) for part in zip(*runs, strict=True)]
        for bare, runs in taken.items()
    }
    for bare, name in ((False, "with the measure"), (True, "without it")):
        print(f"{name:<18}{figures[bare][0]:8.2f} s of CPU{figures[bare][1]:8.2f} s wall")
    ratios = [full / less for full, less in zip(figures[False], figures[True], strict=True)]
    print(f"{'ratio':<18}{ratios[0]:8.2f}{ratios[1]:17.2f}")


if __name__ == "__main__":
    main()
