"""A day's findings as lines: what waits for a person first, and many of one kind told as one."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from itertools import groupby
from typing import Any

from takehold.cli.tables import Row, count
from takehold.decide.check_file import COMPLAINTS
from takehold.formats.names import shown

FEW = 3
"""Files of one card that are told one by one; more become one line."""

_INDENT = " " * 16
_DETAIL = re.compile(r" \(.*\)(?=\.$)")


def finding_lines(facts: Row, *, each: bool) -> Iterator[str]:
    """The lines of all findings: the undecided ones before the decided ones, the gravest first."""
    findings: Any = facts["findings"]
    for decided in (False, True):
        chosen = [f for f in findings if bool(f["decision"]) is decided]
        for _, group in groupby(sorted(chosen, key=_rank), key=_kind):
            alike = list(group)
            if each or len(alike) <= FEW:
                for finding in alike:
                    yield from _one(finding, facts)
            else:
                yield from _many(alike, facts)


def _rank(finding: Any) -> tuple[int, str, int, str]:
    order = ("hold", "look", "note").index(finding["severity"])
    return order, finding["code"], finding["load"] or 0, finding["subject"]


def _kind(finding: Any) -> tuple[str, ...]:
    """Findings that may be told in one line; what is about no file stands alone."""
    alone = finding["id"] if finding["load"] is None else str(finding["load"])
    return finding["severity"], finding["code"], alone


def _one(finding: Any, facts: Row) -> Iterator[str]:
    decided = f" [decided: {shown(finding['decision'])}]" if finding["decision"] else ""
    told = f"{finding['code']}: {plainly(finding, facts)}{decided}"
    yield f"{finding['severity']:>4}  {finding['id']}  {told}"
    if not decided:
        yield from _advice(finding)


def _many(alike: list[Any], facts: Row) -> Iterator[str]:
    first = alike[0]
    file = _file_of(first, facts)  # none of an earlier version
    folder = str(first["subject"]).removesuffix(f"/{first['path']}")
    card = file["card"] if file else folder.rpartition("/")[2]
    takes = _takes(first["load"], facts)
    rests, sets = zip(*(_rest(f, takes) for f in alike), strict=True)
    rest = rests[0].rstrip(".") + ("" if len(set(rests)) == 1 else ", or similar")
    paths = list(dict.fromkeys(f["path"] for f in alike))
    names = ", ".join(paths[:FEW]) + (", …" if len(paths) > FEW else "")
    many = count(len(paths), "file")
    if any(sets):
        many = count(len({takes.get(path, path) for path in paths}), "take")
    told = f"{first['code']}: {many} of {card}: {rest}: {names}"
    yield f"{first['severity']:>4}  {'':8}  {told} (takehold day --all shows each)"
    if not first["decision"]:
        yield from _advice(first)


def _advice(finding: Any) -> Iterator[str]:
    if finding["do"] and finding["severity"] != "note":
        yield _INDENT + finding["do"]


def plainly(finding: Any, facts: Row) -> str:
    """The sentence without what only an engineer reads; `--json` has all of it."""
    says = str(finding["says"])
    if finding["code"] not in COMPLAINTS:
        return says
    says = _DETAIL.sub("", says)
    seconds = (_file_of(finding, facts) or {}).get("seconds")
    if finding["code"] == "header-unfinished" and seconds:
        return says.removesuffix(".") + f"; about {seconds:.1f} s of sound are in it."
    return says


def _takes(load: Any, facts: Row) -> dict[str, object]:
    """The files of a card by their paths: the take of each, else its path."""
    files: Any = facts["files"]
    takes: Any = facts["takes"]
    found = {f["path"]: f["path"] for f in files if f["load"] == load}
    for number, take in enumerate(takes):
        its = zip(take["files"], take["loads"], strict=True)
        found |= {path: number for path, of in its if of == load}
    return found


def _rest(finding: Any, known: Collection[str]) -> tuple[str, bool]:
    """What is said of a file without its name, or of several of a take; and whether it is those."""
    says = str(finding["says"])
    _, _, behind = says.partition(f"/{finding['path']}")
    others, colon, rest = behind.partition(": ")
    no, *names = others.split(", ")
    told = bool(colon) and not no and all(name in known for name in names)
    says = rest if told else says
    says = _DETAIL.sub("", says) if finding["code"] in COMPLAINTS else says
    return says, told and bool(names)


def _file_of(finding: Any, facts: Row) -> Any:
    """The facts of the file that a finding is about; None where it is not shown."""
    files: Any = facts["files"]
    key = (finding["load"], finding["path"])
    return next((f for f in files if (f["load"], f["path"]) == key), None)
