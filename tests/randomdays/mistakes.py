"""Deliberate mistakes in the product, each of which some history must show.

    python tests/randomdays/mistakes.py           # all of them, and the unchanged product
    python tests/randomdays/mistakes.py NAME      # one

Each is one change of text in a copy of the package, which is put first on the path; the histories
are run in a process of their own until a property breaks.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
PACKAGE = TESTS.parent / "daemon" / "takehold"
MOST_HISTORIES = 150
TIMEOUT_S = 85

RUN = """
import sys
from randomdays.history import run
for number in [{known}, *range(1, {most} + 1)]:
    try:
        run(number)
    except BaseException as fault:
        print(f"history {{number}}: {{type(fault).__name__}}: {{fault}}")
        sys.exit(1)
"""


@dataclass(frozen=True, slots=True)
class Mistake:
    """In `file` of the package, `right` becomes `wrong`; `history` is one that shows it."""

    name: str
    file: str
    right: str
    wrong: str
    history: int = 1


MISTAKES = (
    Mistake(
        "a copy is proven without being compared",
        "engine/proving.py",
        "if back != job.handed:",
        "if back is None:",
        2,
    ),
    Mistake(
        "a name that is taken counts as the copy",
        "engine/proving.py",
        "return (seen, there.mtime_ns) if found == digests else None",
        "return (seen, there.mtime_ns)",
        45,
    ),
    Mistake(
        "how a copy was read back is not asked",
        "engine/proving.py",
        "proof = Proof(self._clock.now(), seen, durable, mtime_ns)",
        "proof = Proof(self._clock.now(), Seen.MEDIUM, durable, mtime_ns)",
        14,
    ),
    Mistake(
        "durability is taken for granted",
        "engine/proving.py",
        "durable = copy.proof.durable and folder_durable",
        "durable = True",
        9,
    ),
    Mistake(
        "a failed copy is forgotten instead of tried again",
        "decide/backoff.py",
        "return before is None or not 0 < before.retry_at - now <= LONGEST_WAIT_S",
        "return before is None",
        2,
    ),
    Mistake(
        "an altered copy stays proven",
        "engine/recheck.py",
        "if digests != recording.digests:",
        "if digests is None:",
        45,
    ),
    Mistake(
        "one read confirms itself",
        "decide/standing.py",
        "if self.reads is Reads.AGREED:",
        "if self.reads is not Reads.NONE:",
        3,
    ),
    Mistake(
        "a file with other audio is a counterpart",
        "decide/by_digest.py",
        "if one.digest == other.digest and one.frames == other.frames:",
        "if one.frames:",
        3,
    ),
    Mistake(
        "two partitions of a disk are two devices",
        "decide/standing.py",
        "if group & joined:",
        "if group is joined:",
        31,
    ),
    Mistake(
        "copies that are short hold nothing up",
        "decide/check_file.py",
        "elif standing.devices < settings.copies_required:",
        "elif not standing.devices:",
        2,
    ),
    Mistake(
        "a read that was refuted is not copied anew",
        "decide/plan.py",
        "and not refuted(known)\n",
        "",
        39,
    ),
    Mistake(
        "the majority of reads is not asked",
        "decide/reads.py",
        "return Reads.AGREED if winner == recording.digests else Reads.FIRST_WRONG",
        "return Reads.AGREED",
        57,
    ),
    Mistake(
        "a destination that came late gets nothing",
        "decide/plan.py",
        "batch = tuple(_batch(late, ",
        "batch = tuple(_batch((), ",
        2,
    ),
    Mistake(
        "own temporary files are left",
        "engine/observe.py",
        "                tree.sweep()\n",
        "",
        8,
    ),
    Mistake(
        "two manifests of one turn name the same one before them",
        "engine/closing.py",
        "return any(isinstance(fact, Revised) for fact in facts)",
        "return False",
        1,
    ),
    Mistake(
        "a manifest is published once, wherever",
        "decide/plan.py",
        "stands = (revision.day, revision.number, root) in ledger.published",
        "stands = any(p[:2] == (revision.day, revision.number) for p in ledger.published)",
        2,
    ),
    Mistake(
        "a recheck is answered before it is done",
        "engine/closing.py",
        "if late and number in moving:",
        "if not copies:",
        4,
    ),
    Mistake(
        "a changed stamp is not seen",
        "decide/plan.py",
        "            and known.stamp == file.stamp\n",
        "",
        2,
    ),
)


def applied(mistake: Mistake | None, folder: Path) -> Path:
    """A copy of the package with the mistake in it; the folder to put first on the path."""
    shutil.copytree(PACKAGE, folder / "takehold", ignore=shutil.ignore_patterns("__pycache__"))
    if mistake is not None:
        path = folder / "takehold" / mistake.file
        text = path.read_text("utf-8")
        assert text.count(mistake.right) == 1, f"{mistake.name}: its text is not there once"
        path.write_text(text.replace(mistake.right, mistake.wrong), "utf-8")
    return folder


def shows(mistake: Mistake | None, most: int = MOST_HISTORIES) -> str:
    """What the first history that breaks says; empty if none of them does."""
    with tempfile.TemporaryDirectory() as made:
        first = applied(mistake, Path(made))
        path = {**os.environ, "PYTHONPATH": f"{first}{os.pathsep}{TESTS}"}
        path["PYTHONDONTWRITEBYTECODE"] = "1"
        done = subprocess.run(
            [sys.executable, "-c", RUN.format(most=most, known=mistake.history if mistake else 1)],
            env=path,
            capture_output=True,
            text=True,
            timeout=TIMEOUT_S,
        )
    if done.returncode == 0:
        return ""
    return done.stdout.strip() or done.stderr.strip()[-400:]


def main() -> int:
    """Each mistake, and what showed it. Exit status 1 if one was not shown."""
    wanted = [m for m in MISTAKES if not sys.argv[1:] or m.name in sys.argv[1:]]
    missed = 0
    for mistake in wanted:
        said = shows(mistake)
        missed += not said
        print(f"{mistake.name}\n    {said[:160] or 'NOT SHOWN'}", flush=True)
    if not sys.argv[1:]:
        said = shows(None)
        print(f"the product as it is\n    {said[:160] or 'keeps its promises'}")
        missed += bool(said)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
