"""A `systemd-inhibit` to put first on the PATH: it keeps a diary and does as it is told.

The real one holds its lock as long as the command lives that it is given (systemd-inhibit(1)).
That one is noted in the diary before it begins: who hears of it finds the note.
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
trap 'kill $!; exit 1' TERM
sh -c 'echo "granted $PPID $$" >> "$0/diary"; exec "$1"' "$here" "$last" <&3 &
wait $!
"""


def alive(pid: int) -> bool:
    """Whether a process is there and no zombie (proc_pid_stat(5), the field after the name)."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):  # before it is opened, before it is read
        return False


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
        """Its calls so far, and what was granted."""
        diary = self.folder / "diary"
        return diary.read_text().splitlines() if diary.exists() else []

    def held(self) -> bool:
        """Whether a lock is held now: whoever was granted one lives."""
        return any(map(alive, self.pids()[1::2]))

    def pids(self) -> list[int]:
        """Every process that ever ran here: the command and its child."""
        return [
            int(w) for line in self.diary() if line.startswith("granted") for w in line.split()[1:]
        ]
