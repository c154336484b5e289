"""Backups on other days than what they answer: one to one, and the same from each day."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from planworld import SECOND, copied, ledger, load, recording, target, view
from planworld import settings as made_settings
from properties.test_day_alone import kept
from takehold.cli.view import judged_day
from takehold.decide.check import Around
from takehold.decide.judge import judge
from takehold.decide.standing import DayStanding, Standing
from takehold.model import facts as f
from takehold.model.finding import Counterpart, Relation
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Role

DAYS = tuple(f"2031-05-{n:02d}" for n in range(1, 8))
FAR = "2030-11-20"
LOADS = (
    load(1, day=DAYS[2]),
    load(2, Role.BACKUP, day=DAYS[2]),
    load(
        3, day=DAYS[4], label="SND_A2", identity="uuid:SND_A2", folder=b"A2", disks=frozenset("c")
    ),
    load(4, Role.BACKUP, day=DAYS[4], label="SND_B2", identity="uuid:B2", disks=frozenset("d")),
)
PIECES = {"x": b"x" * SECOND, "y": b"y" * SECOND, "t": b"t" * 7, "0": bytes([128]) * SECOND}
AUDIO = st.text("xy0", min_size=1, max_size=2).flatmap(
    lambda a: st.sampled_from(["", "t"]).map(lambda end: a + end)
)
FILES = st.lists(
    st.tuples(
        st.sampled_from([1, 2, 2, 3, 4]),
        st.sampled_from([b"T1.WAV", b"T2.WAV", b"T3.WAV"]),
        st.sampled_from((*DAYS, FAR)),
        AUDIO,
        st.sampled_from([b"", b"edited"]),
    ),
    max_size=10,
    unique_by=lambda one: one[:3],
)


def made(files: list[tuple[int, bytes, str, str, bytes]]) -> list[Recording]:
    found = []
    for number, (of, path, day, word, head) in enumerate(files, 10):
        audio = b"".join(PIECES[letter] for letter in word)
        path = day.encode() + b"/" + path
        place = b"Lantern Bay/" + day.encode() + b"/%d/" % of + path
        one = recording(number, path, of=of, audio=audio, head=head, place=place, day=day)
        found.append(replace(one, readings=one.readings * 2))
    return found


def facts_of(files: list[Recording]) -> list[f.Fact]:
    there = [fact for one in files for fact in copied(one, target("shuttle-1"))]
    return [*map(f.LoadSeen, LOADS), *map(f.Inventoried, files), *there]


def answers(known: Ledger, day: str) -> dict[int, Counterpart]:
    return {s.recording.id: s.answer for s in view(known, day=day).files if s.answer}


def across(day: DayStanding) -> set[tuple[int, int]]:
    """The pairs of a primary recording and a backup's that lie on two days, as this one says."""
    beside = {s.recording.id for s in day.beside}
    pairs = {
        (s.recording.id, other) if s.load.role is Role.PRIMARY else (other, s.recording.id)
        for s in day.files
        if s.answer
        for other in s.answer.others
        if other in beside
    }
    mirrored = {r for r in day.index if (s := day.of(r)) and s.load.id == 3}
    return {pair for pair in pairs if pair[0] not in mirrored}


def standing_of(day: DayStanding, number: int) -> Standing:
    found = day.of(number)
    assert found
    return found


@settings(max_examples=150, deadline=None)
@given(FILES)
def test_each_day_says_the_same_of_another(
    files: list[tuple[int, bytes, str, str, bytes]],
) -> None:
    """What answers a recording of another day is answered by it, and by no other."""
    known = ledger(facts_of([r for r in made(files) if r.load != 3]))
    days = {day: view(known, day=day) for day in (*DAYS, FAR)}
    pairs: dict[int, set[int]] = defaultdict(set)
    for day, standing in days.items():
        for mine, other in across(standing):
            one, two = known.recordings[mine], known.recordings[other]
            assert {one.day, two.day} & {day}
            if two.day == day and (mine, other) not in across(days[one.day]):
                # A further copy of what another file answers takes nothing.
                held = standing_of(days[one.day], mine).answer
                assert held
                assert held.others
                assert one.sound
                assert two.sound
                whole = one.sound.digest == two.sound.digest
                assert whole or one.sound.blocks[:8] == two.sound.blocks[:8]
                continue
            pairs[other].add(mine)
            assert (mine, other) in across(days[two.day])
            assert one.sound
            assert two.sound
            assert one.sound.blocks[:8] == two.sound.blocks[:8] or one.sound == two.sound
    assert all(len(ours) == 1 for ours in pairs.values())


@settings(max_examples=100, deadline=None)
@given(FILES, st.randoms(use_true_random=False))
def test_the_order_of_the_facts_does_not_matter(
    files: list[tuple[int, bytes, str, str, bytes]], random
) -> None:
    one, shuffled = made(files), made(files)
    random.shuffle(shuffled)
    for day in (*DAYS, FAR):
        assert answers(ledger(facts_of(one)), day) == answers(ledger(facts_of(shuffled)), day)


@settings(max_examples=60, deadline=None)
@given(FILES)
def test_a_day_alone_reads_the_days_that_may_answer_it(
    files: list[tuple[int, bytes, str, str, bytes]],
) -> None:
    """The commands read a part of the catalogue, the daemon all: both say the same."""
    facts = facts_of(made(files))
    known, asked = ledger(facts), made_settings()
    with kept(facts) as home:
        for day in (*DAYS, FAR):
            alone, _ = judged_day(home, day, asked, Around())
            among = judge(known, day, asked)
            assert alone.findings == among.findings
            assert alone.view.files == among.view.files
            assert alone.view.beside == among.view.beside


@settings(max_examples=60, deadline=None)
@given(FILES)
def test_nothing_of_another_day_is_ever_called_different(
    files: list[tuple[int, bytes, str, str, bytes]],
) -> None:
    known = ledger(facts_of(made(files)))
    for day in (*DAYS, FAR):
        standing = view(known, day=day)
        for mine, _ in across(standing):
            found = (standing.of(mine) or standing.files[0]).answer
            assert found
            assert found.relation not in (Relation.DIFFERENT, Relation.UNCOMPARED)


def test_a_day_alone_sees_who_else_wants_its_backup() -> None:
    """The backup's file lies between two days that have its audio: the later one gets it."""
    cards = [
        load(1, day=DAYS[0], label="A1", identity="a1"),
        load(2, Role.BACKUP, day=DAYS[1], label="B1", identity="b1"),
        load(3, day=DAYS[2], label="A2", identity="a2", disks=frozenset("c")),
    ]
    files = made([(n, b"T1.WAV", DAYS[n - 1], "xy", b"") for n in (1, 2, 3)])
    facts: list[f.Fact] = [*map(f.LoadSeen, cards), *map(f.Inventoried, files)]
    with kept(facts) as home:
        alone, _ = judged_day(home, DAYS[0], made_settings(), Around())
    assert alone.view.beside == ()
    assert alone.view.files == judge(ledger(facts), DAYS[0], made_settings()).view.files
