"""Coverage-guided fuzzing of the readers, for a night: `python tests/fuzz/run.py TARGET SECONDS`.

TARGET is a name of targets.py, or `all`. Needs atheris (`pip install atheris`), which is not needed
for the tests. What it finds interesting is kept in `build/fuzz/TARGET`; an input that
breaks a target is written there as `crash-…` and belongs into the kept corpus once it is mended.
Exit status 1 if any target broke.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
FOUND = HERE.parents[1] / "build" / "fuzz"
GRACE_S = 120


def one(target: str, seconds: int) -> None:
    """Fuzz one target in this process; libFuzzer ends it."""
    import atheris  # noqa: PLC0415  the tests run without it

    with atheris.instrument_imports(include=["takehold", "targets", "json", "tomllib"]):
        from targets import TARGETS  # noqa: PLC0415  it is instrumented

    found = FOUND / target
    found.mkdir(parents=True, exist_ok=True)
    limits = [f"-max_total_time={seconds}", "-timeout=10", "-rss_limit_mb=1024", "-max_len=16384"]
    arguments = [*limits, "-print_final_stats=1", f"-artifact_prefix={found}/"]
    atheris.Setup(
        [sys.argv[0], *arguments, str(found), str(HERE / "corpus" / target)], TARGETS[target]
    )
    atheris.Fuzz()


def main() -> int:
    """Each target in a process of its own, since a fuzzer never returns."""
    if len(sys.argv) == 4 and sys.argv[1] == "--inside":
        sys.path[:0] = [str(HERE), str(HERE.parent)]
        one(sys.argv[2], int(sys.argv[3]))
        return 0
    if len(sys.argv) != 3 or not sys.argv[2].isdigit():
        print(__doc__)
        return 2
    wanted, seconds = sys.argv[1], int(sys.argv[2])
    corpus = sorted(path.name for path in (HERE / "corpus").iterdir())
    broken = []
    for target in corpus if wanted == "all" else [wanted]:
        inside = [sys.executable, __file__, "--inside", target, str(seconds)]
        done = subprocess.run(inside, timeout=seconds + GRACE_S, capture_output=True, text=True)
        said = done.stderr.splitlines()
        runs = next((line.split()[-1] for line in said if "number_of_executed_units" in line), "?")
        covered = next((line for line in reversed(said) if " cov: " in line), "").strip()
        print(f"{target}: {runs} inputs; {covered}", flush=True)
        if done.returncode:
            broken.append(target)
            print("\n".join([*done.stdout.splitlines()[-25:], *said[-25:]]), flush=True)
    print(f"broken: {', '.join(broken)}" if broken else "none broken")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
