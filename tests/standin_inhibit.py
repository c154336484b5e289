"""A `systemd-inhibit` to put first on the PATH: it keeps a diary and does as it is told.

The real one holds its lock as long as the command lives that it is given (systemd-inhibit(1)).
"""

from __future__ import annotations

import os
from pathlib import Path

SCRIPT = """#!/bin/sh
here=$(dirname "$0")
echo "asked $*" >> "$here/diary"
case $(cat "$here/mood") in
refuse) echo "Failed to inhibit: Access denied" >&2; exit 1 ;;
hang) exec sleep 20 ;;
esac
for last; do :; done
exec 3<&0  # a command in the background gets no input unless it is handed over
"$last" <&3 &
child=$!
trap 'kill $child; echo "ended $child" >> "$here/diary"; exit 1' TERM
echo "granted $$ $child" >> "$here/diary"
wait $child
echo "ended $child" >> "$here/diary"
"""


class Inhibit:
    """The stand-in in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True)
        self.mood("grant")
        script = folder / "systemd-inhibit"
        script.write_text(SCRIPT)
        script.chmod(0o755)

    def mood(self, what: str) -> None:
        """grant, refuse, or hang."""
        (self.folder / "mood").write_text(what)

    def path(self) -> str:
        """A PATH on which it comes first."""
        return f"{self.folder}{os.pathsep}{os.environ['PATH']}"

    def diary(self) -> list[str]:
        """Its calls and ends so far."""
        diary = self.folder / "diary"
        return diary.read_text().splitlines() if diary.exists() else []

    def held(self) -> bool:
        """Whether a lock is held now."""
        diary = [line.split()[0] for line in self.diary()]
        return diary.count("granted") > diary.count("ended")

    def pids(self) -> list[int]:
        """Every process that ever ran here: the command and its child."""
        return [
            int(w) for line in self.diary() if line.startswith("granted") for w in line.split()[1:]
        ]
