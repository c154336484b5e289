"""A ledger of which all but one day sleeps answers as one that is awake; so do plan and verdict."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from memory_catalogue import MemoryCatalogue
from planworld import HERE, NOON, copied, copy, digests, ledger, load, sight, situation, target
from planworld import settings as made_settings
from takehold.adapters.catalogue import SqliteCatalogue
from takehold.decide.check import Around
from takehold.decide.comparing import open_pairs
from takehold.decide.judge import judge
from takehold.decide.keys import prove_key
from takehold.decide.measuring import to_measure
from takehold.decide.plan import Wanted, plan, short_of_room
from takehold.decide.schedule import unclosed, wraps_due
from takehold.decide.stale import days_to_weigh, is_stale
from takehold.engine.closing import compared_at, news_since
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.dozing import Dozing
from takehold.model.finding import Relation
from takehold.model.ledger import Ledger
from takehold.model.recording import Proof, Recording, Seen, Stamp
from takehold.model.settings import Role
from takehold.model.sound import Kind
from takeworld import HZ, wav

DAYS = ("2031-05-04", "2031-05-05", "2031-05-06")
LOADS = {
    1: load(1, day=DAYS[0]),
    2: load(2, Role.BACKUP, day=DAYS[0]),
    3: load(3, source="share", label="share", identity="uuid:S:share", day=DAYS[0]),
}
DRIVES = (target("shuttle-1"), target("shuttle-2", free=700_000), target("shuttle-3", free=0))
FIRST, DAY_S = 10, 86_400
ROOTS = [drive.root.identity for drive in DRIVES]
OURS = b"Lantern Bay/"


@st.composite
def file(draw: st.DrawFn, number: int) -> Recording:
    """A file of any card and day, of this production or another, read or not."""
    of, day = draw(st.sampled_from(sorted(LOADS))), draw(st.sampled_from(DAYS))
    path = b"%d.WAV" % draw(st.integers(0, 3))
    take = draw(st.integers(1, 3))
    start = (9 * 3600 + 600 * take) * HZ
    made = wav(take, path, "12", str(take), start, 10 * HZ, of=of, date=day)
    folder = draw(st.sampled_from([OURS, OURS, OURS, b"Old Mill/"]))
    made = replace(made, id=number, day=day, place=folder + day.encode() + b"/%d" % number)
    made = replace(made, seen_at=NOON - draw(st.integers(0, 30)) * DAY_S)
    match draw(st.integers(0, 5)):
        case 0:
            return replace(made, readings=())
        case 1:  # compressed, and not measured yet
            said = replace(made.description, kind=Kind.COMPRESSED)
            bare = made.readings[0]._replace(sound=None)
            return replace(made, description=said, readings=(bare,))
        case _:
            return made


@st.composite
def proof(draw: st.DrawFn) -> Proof:
    """Old or new, dated ahead, with and without the promise of a flush."""
    at = NOON + draw(st.sampled_from([-90, -31, -1, 0, 1, 60])) * DAY_S
    durable = draw(st.booleans())
    where = "" if durable else draw(st.sampled_from(["", "put in: 1"]))
    return Proof(at, Seen.MEDIUM, durable, 0, where, not durable and draw(st.booleans()))


@st.composite
def of_files(draw: st.DrawFn, files: list[Recording]) -> list[f.Fact]:
    """What became known of these: copies, losses, reads, measures, comparisons."""
    facts: list[f.Fact] = []
    for one in draw(st.lists(st.sampled_from(files), max_size=12)) if files else ():
        drive = draw(st.sampled_from(DRIVES))
        match draw(st.integers(0, 5)) if one.readings else 4:
            case 0 | 1 | 2:
                made = draw(proof())
                facts.append(f.Proven(copy(one, drive)._replace(proof=made)))
            case 3:
                about = drive.name, drive.root.identity, one.place
                facts += copied(one, drive)
                facts.append(f.Broken(one.id, *about, "missing", NOON))
            case 4:
                facts.append(f.SameBytes(one.id, Stamp(one.stamp.size, draw(st.integers(1, 9)))))
            case _:
                again = one.readings[0]
                if draw(st.booleans()):
                    again = again._replace(digests=digests(b"other"))
                facts.append(f.WasRead(one.id, again._replace(at=NOON + 5)))
    read = [one for one in files if one.readings]
    for one in read[:1] if draw(st.booleans()) else []:
        facts.append(f.WasMeasured(one.id, one.description, one.readings[0].sound))
        facts.append(f.Compared(Comparison((one.id,), (read[-1].id,), Relation.DIFFERENT, NOON)))
    for proven in [x for x in facts if isinstance(x, f.Proven)][:2] if draw(st.booleans()) else []:
        key = draw(st.sampled_from([prove_key(proven.copy), f"rec {proven.copy.recording}"]))
        retry_at = NOON + draw(st.sampled_from([-1, DAY_S]))
        facts.append(f.Trouble(key, "device-failed", "It failed.", "", NOON, 1, retry_at))
    for day in draw(st.sets(st.sampled_from(DAYS))):
        number = 1 + len([x for x in facts if isinstance(x, f.Revised)])
        facts.append(f.Revised(day, number, f"{day}.r", day, NOON, "READY", "basis"))
        facts.append(f.Published(day, number, DRIVES[0].name, ROOTS[0], NOON))
    return facts


@st.composite
def history(draw: st.DrawFn) -> tuple[list[f.Fact], list[f.Fact]]:
    """What is known when the program starts, and what becomes known then, also of old days."""
    count = draw(st.integers(0, 8))
    files = [draw(file(FIRST + n)) for n in range(count)]
    late = [draw(file(FIRST + count + n)) for n in range(draw(st.integers(0, 3)))]
    before: list[f.Fact] = [f.LoadSeen(one) for one in LOADS.values()]
    before += [*map(f.Inventoried, files), *draw(of_files(files))]
    after: list[f.Fact] = [f.Inventoried(one) for one in late]
    after += draw(of_files([*files, *late]).map(lambda facts: [*facts]))
    moved = [one for one in files if not one.readings][:1] if draw(st.booleans()) else []
    after += [f.Inventoried(replace(one, day=DAYS[0], version=2)) for one in moved]
    if late and not late[-1].readings and draw(st.booleans()):
        after.append(f.Gone(late[-1].id))
    numbered = [x for x in after if not isinstance(x, f.Revised | f.Published)]
    return before, numbered


@contextmanager
def kept(kind: str) -> Iterator[Any]:
    """An empty catalogue."""
    if kind == "memory":
        yield MemoryCatalogue()
        return
    with TemporaryDirectory() as folder:
        catalogue = SqliteCatalogue.open(str(Path(folder, "catalogue.db")))
        with closing(catalogue):
            yield catalogue


def dozing(catalogue: Any) -> Dozing:
    """Nothing is awake but what was asked for last."""
    return Dozing.laid(catalogue, most=0)


def questions(known: Ledger) -> Iterator[Any]:
    """All that can be asked of a ledger, in an order that jumps from day to day."""
    yield sorted(known.recordings), len(known.recordings)
    numbers = sorted(known.recordings, key=lambda n: (n % 3, n))
    for number in numbers:
        yield known.recordings[number], known.recordings.get(number), number in known.recordings
        yield known.copies_of(number), list(known.copies.get(number, {}).items())
        yield (
            known.size_of(number),
            known.is_below(number, OURS),
            known.is_below(number, b"Old Mill/"),
        )
    for number in (0, 99):
        yield known.recordings.get(number), known.copies.get(number), number in known.recordings
    yield sorted(known.recordings.items()) == [(n, known.recordings[n]) for n in sorted(numbers)]
    yield sorted(known.recordings.values(), key=lambda one: one.id)
    yield {n: list(held.items()) for n, held in known.copies.items() if held}
    yield sorted(n for n in known.recordings if known.copies.get(n))
    for number in sorted(LOADS):
        yield known.traces(number)
        yield known.of_load.get(number) or {}
        for path in (b"0.WAV", b"1.WAV", b"2.WAV", b"3.WAV"):
            yield known.versions(number, path), known.current(number, path)
    yield {number: paths for number, paths in known.of_load.items() if paths}
    yield {day: numbers for day, numbers in known.of_day.items() if numbers}
    for day in (*DAYS, "2031-01-01"):
        yield known.day(day), known.seen_last(day), known.times(day), known.scenes(day)
    yield [(known.on(root), known.lacking(root)) for root in ROOTS]
    yield [known.stands_on(n, ROOTS[:at]) for n in numbers for at in range(4)]
    yield [known.held_of(day, root) for day in DAYS for root in ROOTS]
    yield known.differing, known.next_id
    yield known.comparisons, known.broken, known.revisions, known.published, known.chain_end


def decisions(known: Ledger) -> Iterator[Any]:
    """What the verbs say of it, some of which look at outlines only."""
    asked = made_settings(sources=(*made_settings().sources,), wrap_at=22 * 60)
    cards = [sight(1, *known.day(DAYS[2])[:2]), sight(2)]
    for now in (NOON, NOON + 3 * DAY_S, NOON + 40 * DAY_S):
        seen = situation(*cards, targets=DRIVES, now=now)
        for rechecks in ((), (f.Asked(1, "recheck", "shuttle-1", now - 9),)):
            for closing_days in ({}, {DAYS[0]: now}):
                wanted = Wanted(closing=closing_days, rechecks=rechecks)
                yield plan(known, seen, asked, wanted)
        yield [(t.name, n) for t, n in short_of_room(known, seen, asked, frozenset())]
        yield open_pairs(known, asked, {}, now), to_measure(known, asked, {}, now)
    yield unclosed(known, asked, HERE), wraps_due(known, asked, HERE)
    compared = compared_at(known)
    yield [news_since(known, revised[-1], compared) for revised in known.revisions.values()]
    for day in DAYS:
        judged = judge(known, day, asked, Around(now=NOON))
        yield judged.findings, judged.verdict, judged.takes, judged.view.files


def same(one: Ledger, other: Ledger, ask: Any) -> None:
    for mine, its in zip(ask(one), ask(other), strict=True):
        assert mine == its


@pytest.mark.parametrize("kind", ["memory", "sqlite"])
@settings(max_examples=60, deadline=None)
@given(facts=history())
def test_a_ledger_that_sleeps_answers_as_one_that_is_awake(
    kind: str, facts: tuple[list[f.Fact], list[f.Fact]]
) -> None:
    """Whatever is asked, before and after more became known of days that sleep."""
    before, after = facts
    with kept(kind) as catalogue:
        catalogue.record(before)
        awake, sleepy = ledger(before), dozing(catalogue)
        same(awake, sleepy, questions)
        for fact in after:
            sleepy.rouse([fact])
            catalogue.record([fact])
            sleepy.apply([fact])
            awake.apply([fact])
        same(awake, sleepy, questions)
        again = dozing(catalogue)
        again.rouse([])
        same(awake, again, questions)


@pytest.mark.parametrize("kind", ["memory", "sqlite"])
@settings(max_examples=40, deadline=None)
@given(facts=history())
def test_plan_and_verdict_know_nothing_of_sleep(
    kind: str, facts: tuple[list[f.Fact], list[f.Fact]]
) -> None:
    """Steps, alarms, findings and takes are the very same; also where facts come in one batch."""
    before, after = facts
    with kept(kind) as catalogue:
        catalogue.record(before)
        awake, sleepy = ledger(before), dozing(catalogue)
        same(awake, sleepy, decisions)
        sleepy.rouse(after)
        catalogue.record(after)
        sleepy.apply(after)
        awake.apply(after)
        same(awake, sleepy, decisions)
        same(awake, sleepy, questions)


@settings(max_examples=80, deadline=None)
@given(facts=history(), now=st.integers(-40, 80), asked=st.booleans())
def test_no_stale_copy_is_passed_over_because_its_day_sleeps(
    facts: tuple[list[f.Fact], list[f.Fact]], now: int, asked: bool
) -> None:
    """What the outline lets pass holds no copy that is to be read again."""
    at, used = NOON + now * DAY_S, made_settings()
    catalogue = MemoryCatalogue()
    catalogue.record(facts[0])
    awake, sleepy = ledger(facts[0]), dozing(catalogue)
    for drive in DRIVES:
        about = drive, at, used, at - 5 if asked else None
        days = days_to_weigh(sleepy, *about)
        copies = (c for n in awake.on(drive.root.identity) for c in awake.copies_of(n))
        stale = {
            awake.day_of(c.recording) for c in _there(copies, drive) if is_stale(awake, c, *about)
        }
        assert stale <= set(days)
        assert days == [day for day in days_to_weigh(awake, *about) if day in days]


def _there(copies: Iterable[Any], drive: Any) -> list[Any]:
    return [one for one in copies if one.root == drive.root.identity]
