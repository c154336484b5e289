"""Mistakes of the kind that only a kill shows: each is well undisturbed, and found by some point.

Each is a few changes of text in a copy of the package, which is put first on the path. Where the
mistake would last one call only, it lingers: so many calls that change nothing, so that a coarse
run meets it.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from randomdays.mistakes import TESTS, applied

TIMEOUT_S = 110
LINGER = 'for _ in range(40): __import__("os").close(__import__("os").open("/dev/null", 1))'
# Where what was told is recorded by another thread: that has its time between two of the calls.
WAIT = f'{LINGER}; __import__("time").sleep(0.002)'
RUN = """
from crash.kills import Part, play
print("\\n".join(play(Part({scenario!r}, 0, 1, {every}, 1, to_the_first=True)).failed))
"""


@dataclass(frozen=True, slots=True)
class Mistake:
    """In `file` of the package, each `right` becomes its `wrong`; every so many calls show it."""

    name: str
    scenario: str
    every: int
    file: str
    changes: tuple[tuple[str, str], ...]
    shows: str


IN_PLACE = f"""\
    with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb", 0) as file:
        file.write(content[:20])
        {LINGER}
        file.write(content[20:])
    if path:
        return
"""
COMPARED = "            if back != job.handed:\n"
NAMED = "            path, there = self._keep(job, written.part, job.digests)\n"
TAKEN_BACK = f"""\
{NAMED}            {LINGER}
{COMPARED}                import os
                os.unlink(os.path.join(self._course.target.root.path, path))
"""
PROVEN_EARLY = f"""\
            target = self._course.target
            early = Proof(self._clock.now(), seen, written.durable, mtime_ns)
            copy = Copy(job.recording.id, target.name, target.root.identity, target.root.disks,
                        job.recording.place, early)
            self._course._report(job, target, copy)
            {WAIT}
{NAMED}"""
PUBLISHING = "    key = publish_key(step.day, step.number, root)\n"
PUBLISHED_EARLY = f"""\
{PUBLISHING}    early = Published(step.day, step.number, step.target.name, root, clock.now())
    tell(Outcome((early,), key))
    {WAIT}
"""
AT_ONCE = "    with transaction(db, path):  # one for all"
IN_STEPS = "    if path:  # one for all"

MISTAKES = (
    Mistake(
        "a file of our own is written in its place",
        "receive",
        9,
        "adapters/whole_file.py",
        (("    sweep(folder)\n", IN_PLACE),),
        "is not whole",
    ),
    Mistake(
        "a copy is named before it is compared, and taken back",
        "lying",
        23,
        "engine/proving.py",
        ((f"{NAMED}        except", "        except"), (COMPARED, TAKEN_BACK)),
        "has a final name and other bytes than the card",
    ),
    Mistake(
        "a copy is recorded before it is named",
        "copy",
        23,
        "engine/proving.py",
        ((NAMED, PROVEN_EARLY),),
        "a proof is recorded",
    ),
    Mistake(
        "lists are published before their manifest",
        "wrap",
        19,
        "engine/publish.py",
        (("in files.items():\n", "in reversed(files.items()):\n"),),
        "stands before its manifest",
    ),
    Mistake(
        "a manifest is recorded as published before it is",
        "wrap",
        19,
        "engine/publish.py",
        ((PUBLISHING, PUBLISHED_EARLY),),
        "is recorded as published without",
    ),
    Mistake(
        "a new form of the catalogue is brought up step by step",
        "migrate",
        5,
        "adapters/catalogue_file.py",
        ((AT_ONCE, IN_STEPS),),
        "table extra already exists",
    ),
    Mistake(
        "what was being written is left lying",
        "copy",
        23,
        "engine/observe.py",
        (("tree.sweep()\n", "pass\n"),),
        "has leftovers",
    ),
)


def shown(mistake: Mistake) -> str:
    """What the first point that fails says; empty if none of them does."""
    with tempfile.TemporaryDirectory() as made:
        applied(None, Path(made))
        path = Path(made) / "takehold" / mistake.file
        text = path.read_text("utf-8")
        for right, wrong in mistake.changes:
            assert text.count(right) == 1, f"{mistake.name}: its text is not there once: {right}"
            text = text.replace(right, wrong)
        path.write_text(text, "utf-8")
        done = subprocess.run(
            [
                "setpriv",
                "--pdeathsig",
                "KILL",
                sys.executable,
                "-c",
                RUN.format(scenario=mistake.scenario, every=mistake.every),
            ],
            env={
                **os.environ,
                "PYTHONPATH": f"{made}{os.pathsep}{TESTS}",
                "PYTHONDONTWRITEBYTECODE": "1",
            },
            capture_output=True,
            text=True,
            timeout=TIMEOUT_S,
            check=False,
        )
    assert done.returncode == 0, f"{mistake.name}: not even undisturbed: {done.stderr[-800:]}"
    return done.stdout.strip()
