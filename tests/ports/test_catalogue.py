"""One suite for ports/catalogue.Catalogue, on SQLite and on the fake."""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from memory_catalogue import MemoryCatalogue
from takehold.adapters import catalogue_file, catalogue_rows
from takehold.adapters.catalogue import SqliteCatalogue
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.dozing import Dozing
from takehold.model.finding import Relation
from takehold.model.ledger import Ledger
from takehold.model.recording import Copy, Digests, Load, Proof, Reading, Recording, Seen, Stamp
from takehold.model.settings import Role
from takehold.model.sound import (
    Coding,
    Complaint,
    Description,
    Kind,
    Metadata,
    Rate,
    Sound,
    Span,
    Track,
    WaveFormat,
)
from takehold.ports.catalogue import Catalogue

LOAD = Load(
    1, "primary", Role.PRIMARY, "uuid:1A2B-3C4D:64", "SND_A", b"SND_A", frozenset({"d1"}), 5, "d"
)
DESCRIPTION = Description(
    Kind.WAVE,
    WaveFormat(1, 2, 48_000, 24, 6),
    Span(700, 600),
    100,
    Metadata(
        scene="12A",
        circled=True,
        time_reference=2**63,
        timecode_rate=Rate(24_000, 1_001),
        tracks=(Track(1, 1, "Boom"), Track(2, 2, "Lav \x00 \u202e", "MIX")),
    ),
    (Complaint("odd-chunk", "junk 7"),),
)
RECORDING = Recording(
    2, 1, b"a/\xff\x00.wav", Stamp(1300, 2**70, 3), 6, "2031-03-14", b"p/a", 1, DESCRIPTION
)
READING = Reading(
    Digests("0" * 16, "1" * 64), Sound(100, "2" * 32, b"\x00\xff" * 4, 50), 7, Seen.MEDIUM
)
MEASURED = Sound(100, "2" * 32, b"", coding=Coding.FLOAT32, levels=b"\x00\xff" * 36)
UNMEASURED = READING._replace(sound=None)
LONG = Description(Kind.COMPRESSED, WaveFormat(0x55, 2, 48_000, 0, 1), frames=100)
BROKEN_OFF = replace(LONG, frames=None, complaints=(Complaint("not-decoded", "odd \udcff"),))
BLOCKS = f.ChannelBlocks(2, 2**40, (b"\x00\xff" * 8, b"\x01" * 16))
COMPARED = Comparison((2,), (7, 8), Relation.DIFFERENT, 9, frame=2**33, channels=(1, 3), offset=-5)
COPY = Copy(2, "shuttle", "root-1", frozenset({"d2", "d3"}), b"p/a", Proof(8, Seen.CACHE, False))
BROKEN = f.Broken(2, "shuttle", "root-1", b"p/a", "altered", 9)
KEPT = (("shuttle", "root-1", b"d.salvage/\xff"), ("raid", "root-2", b"d.salvage/x"))
SALVAGED = f.Salvaged(2, "boot disk 7", ((0, 512), (2**40, 2**40 + 1)), KEPT, 9)
MET = f.Met("d", 1, "cd", "shuttle", "root-1", 9, ours=True, loose=True)
SINCE = (f.Since("d", ("0f", "1f")), f.Since("e", ("2f",)))
TROUBLE = f.Trouble("read 2", "volume-gone", "Gone.", "Wait.", 1, 1, 2)
RECEIPT = f.Receipt("ab", "d", 1, 4, "DIT", "", 3, ("x",), (), ("y", "z"))


def known() -> list[f.Fact]:
    return [f.LoadSeen(LOAD), f.Inventoried(RECORDING)]


@pytest.fixture(params=["sqlite", "memory"])
def open_again(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[[], Any]]:
    """Opens the catalogue, and after that opens it anew: what is kept must be there still."""
    held: list[Any] = []

    def opened() -> Any:
        if request.param == "memory":
            held.append(held[-1] if held else MemoryCatalogue())
        else:
            if held:
                held[-1].close()
            held.append(SqliteCatalogue.open(str(tmp_path / "state" / "catalogue.db")))
        return held[-1]

    yield opened
    for catalogue in held:
        catalogue.close()


def folded(facts: Any) -> Ledger:
    ledger = Ledger()
    ledger.apply(facts)
    return ledger


def told(ledger: Ledger) -> dict[str, Any]:
    """All that a ledger says, in the order it says it; empty entries say nothing."""
    return {
        "loads": ledger.loads,
        "listings": ledger.listings,
        "recordings": dict(ledger.recordings.items()),
        "of_load": {load: paths for load, paths in ledger.of_load.items() if paths},
        "of_day": {day: ids for day, ids in ledger.of_day.items() if ids},
        "copies": {r: list(held.items()) for r, held in ledger.copies.items() if held},
        "comparisons": ledger.comparisons,
        "broken": ledger.broken,
        "salvaged": ledger.salvaged,
        "revisions": ledger.revisions,
        "published": ledger.published,
        "met": ledger.met,
        "chain_end": ledger.chain_end,
        "troubles": list(ledger.troubles.values()),
        "acks": list(ledger.acks.values()),
        "receipts": ledger.receipts,
        "asked": ledger.asked,
        "answers": ledger.answers,
        "next_id": ledger.next_id,
    }


def test_both_answer_the_port(open_again: Callable[[], Any]) -> None:
    """Both have the port's methods (the types are checked by mypy as well)."""
    catalogue: Catalogue = open_again()
    assert list(catalogue.facts()) == []
    assert catalogue.asked() == ()


ONE_OF_EACH: list[list[f.Fact]] = [
    [f.Listed(1, 9, 3, ((".Trashes", 2),), (f.Skip(b"l\xfe", "a link"),), 2, SINCE)],
    [f.WasRead(2, READING), f.WasRead(2, READING._replace(sound=None, seen=Seen.UNKNOWN))],
    [f.SameBytes(2, Stamp(1300, 2**71, 0))],
    [f.Gone(2)],
    [MET, MET._replace(number=2, ours=False), MET._replace(loose=False)],
    [f.Proven(COPY), f.Proven(COPY._replace(proof=Proof(99, Seen.MEDIUM, True)))],
    [f.Proven(COPY), BROKEN],
    [f.Proven(COPY), BROKEN, f.Proven(COPY)],
    [f.Proven(COPY._replace(proof=Proof(8, Seen.UNKNOWN, False, 2**70, "boot disk 7", True)))],
    [SALVAGED, SALVAGED._replace(missing=(), kept=(), appearance="")],
    [SALVAGED, f.Gone(2)],
    [f.WasRead(2, READING._replace(sound=MEASURED)), BLOCKS],
    [f.WasRead(2, UNMEASURED), f.WasRead(2, UNMEASURED), f.WasMeasured(2, BROKEN_OFF, None)],
    [f.WasRead(2, UNMEASURED), f.WasRead(2, UNMEASURED), f.WasMeasured(2, LONG, MEASURED), BLOCKS],
    [f.Compared(COMPARED), f.Compared(replace(COMPARED, theirs=(9,), residual_db=-98.5))],
    [f.Compared(COMPARED), f.Compared(replace(COMPARED, at=9, correlation=0.25))],
    [
        f.Revised("d", 1, "d.r1", "ab", 3, "HOLD", "b1"),
        f.Revised("d", 2, "d.r2", "cd", 4, "READY", ""),
    ],
    [f.Published("d", 1, "shuttle", "root-1", 3), f.Published("d", 1, "raid", "root-2", 4)],
    [f.Weighed("d", 3), f.Weighed("e", 5), f.Weighed("d", 4)],
    [TROUBLE, TROUBLE._replace(key="b"), TROUBLE._replace(tries=2)],
    [TROUBLE, f.TroubleOver("read 2"), f.TroubleOver("never seen")],
    [f.Acked("id1", "heard it", 3), f.Acked("id1", "heard it twice", 4)],
    [RECEIPT, RECEIPT],
    [f.Asked(1, "wrap", "d", 3), f.Asked(2, "recheck", "", 4), f.Answered(1, "d.r1", 5)],
    [f.Inventoried(replace(RECORDING, day="other", readings=(READING, READING)))],
    [f.WasRead(2, READING), f.Inventoried(replace(RECORDING, path=b"b"))],
    [f.Inventoried(replace(RECORDING, id=3)), f.Gone(3), f.Inventoried(replace(RECORDING, id=4))],
    [f.Inventoried(replace(RECORDING, id=3)), f.Gone(3), f.Gone(2)],
    [f.Gone(2), f.Inventoried(RECORDING)],
    [f.LoadSeen(replace(LOAD, label="\udcff", identity="no\ud800te"))],
    [f.LoadSeen(replace(LOAD, id=70))],
]


@pytest.mark.parametrize("facts", ONE_OF_EACH, ids=lambda facts: type(facts[-1]).__name__)
def test_each_fact_comes_back(open_again: Callable[[], Any], facts: list[f.Fact]) -> None:
    """After a restart the facts fold into the very ledger that was applied live."""
    open_again().record([*known(), *facts])
    assert told(folded(open_again().facts())) == told(folded([*known(), *facts]))


@pytest.mark.parametrize("facts", ONE_OF_EACH, ids=lambda facts: type(facts[-1]).__name__)
def test_day_by_day_it_tells_the_same(open_again: Callable[[], Any], facts: list[f.Fact]) -> None:
    """What is told at first, and each day when it is asked for, comes to all that is known."""
    open_again().record([*known(), *facts])
    kept = open_again()
    sleepy = Dozing.laid(kept, most=0)
    assert not dict.__len__(sleepy.recordings)
    assert told(sleepy) == told(folded([*known(), *facts]))


def test_all_or_nothing(open_again: Callable[[], Any]) -> None:
    """A fact about a recording that is not known takes the whole batch down."""
    catalogue = open_again()
    catalogue.record(known())
    with pytest.raises((KeyError, sqlite3.IntegrityError)):
        catalogue.record([TROUBLE, f.WasRead(77, READING)])
    assert told(folded(open_again().facts())) == told(folded(known()))
    open_again().record([TROUBLE])
    assert folded(open_again().facts()).troubles == {"read 2": TROUBLE}


def test_what_is_asked_stays_until_it_is_answered(open_again: Callable[[], Any]) -> None:
    """Requests have rising numbers, are listed oldest first, and vanish when answered."""
    catalogue = open_again()
    first, second = catalogue.ask("wrap", "2031-03-14", 10), catalogue.ask("recheck", "\udcff", 11)
    assert catalogue.asked() == (
        f.Asked(first, "wrap", "2031-03-14", 10),
        f.Asked(second, "recheck", "\udcff", 11),
    )
    assert catalogue.answer_of(first) is None
    catalogue.record([f.Answered(first, "2031-03-14.r1", 12)])
    catalogue = open_again()
    assert [a.id for a in catalogue.asked()] == [second]
    assert catalogue.answer_of(first) == f.Answered(first, "2031-03-14.r1", 12)
    assert catalogue.ask("wrap", "", 13) > second > first


def test_blocks_of_channels_are_asked_for_by_number(open_again: Callable[[], Any]) -> None:
    """The newest that were kept, and none of a recording that has none."""
    open_again().record([*known(), BLOCKS, BLOCKS._replace(first_sample=5)])
    assert open_again().channel_blocks(2) == BLOCKS._replace(first_sample=5)
    assert open_again().channel_blocks(3) is None


def test_asked_may_be_recorded_again(open_again: Callable[[], Any]) -> None:
    """Whoever keeps all facts that it folds may keep a request that another process stored."""
    catalogue = open_again()
    number = catalogue.ask("wrap", "", 1)
    catalogue.record(catalogue.asked())
    assert catalogue.asked() == (f.Asked(number, "wrap", "", 1),)


def test_folders_are_known_by_identity(open_again: Callable[[], Any]) -> None:
    """A folder's identity is kept and can be changed."""
    catalogue = open_again()
    assert catalogue.folder_identity("raid") is None
    catalogue.know_folder("raid", "uuid:1:2/srv")
    catalogue.know_folder("raid", "uuid:3:4/\udce9")
    assert open_again().folder_identity("raid") == "uuid:3:4/\udce9"


COUNTS = st.integers(0, 2**63 - 1)
SOUNDS = st.builds(Sound, COUNTS, st.text(max_size=3), st.binary(max_size=16), COUNTS)
READINGS = st.builds(
    Reading,
    st.builds(Digests, st.text(max_size=3), st.text(max_size=3)),
    st.none() | SOUNDS,
    COUNTS,
    st.sampled_from(Seen),
)


class Days:
    """Draws facts as the engine may record them: about what is known."""

    def __init__(self, draw: Any) -> None:
        self.draw = draw
        self.ledger = Ledger()
        self.facts: list[f.Fact] = []
        self.asked = 0

    def add(self) -> None:
        kinds = [self.load, self.trouble, self.ask, self.revise, self.ack]
        if self.ledger.loads:
            kinds += [self.inventory] * 3 + [self.list]
        if self.ledger.recordings:
            kinds += [self.read, self.prove, self.prove, self.breaks, self.stamp, self.gone]
            kinds += [self.measure]
        fact = self.draw(st.sampled_from(kinds))()
        if fact is not None:
            self.ledger.apply([fact])
            self.facts.append(fact)

    def some(self, known: Any) -> Any:
        return self.draw(st.sampled_from(sorted(known)))

    def load(self) -> f.Fact:
        number = self.draw(st.sampled_from([self.ledger.next_id, *self.ledger.loads]))
        text = self.draw(st.text(max_size=3))
        role = self.draw(st.sampled_from(Role))
        disks = frozenset(self.draw(st.lists(st.text(max_size=2), max_size=2)))
        return f.LoadSeen(Load(number, text, role, text, text, b"f", disks, 1, "d"))

    def list(self) -> f.Fact:
        skips = self.draw(st.lists(st.builds(f.Skip, st.binary(max_size=3), st.text(max_size=3))))
        return f.Listed(self.some(self.ledger.loads), 1, 2, (("x", 1),), tuple(skips), 0, SINCE)

    def inventory(self) -> f.Fact:
        number = self.draw(st.sampled_from([self.ledger.next_id, *self.ledger.recordings]))
        if number in self.ledger.copies:
            number = self.ledger.next_id
        return f.Inventoried(
            Recording(
                number,
                self.some(self.ledger.loads),
                self.draw(st.sampled_from([b"a", b"b\xff"])),
                self.draw(st.builds(Stamp, st.integers(0, 2**40), st.integers(-(2**70), 2**70))),
                1,
                self.draw(st.sampled_from(["d", "e"])),
                b"place",
                1,
                self.draw(st.from_type(Description)),
            )
        )

    def read(self) -> f.Fact:
        return f.WasRead(self.some(self.ledger.recordings), self.draw(READINGS))

    def measure(self) -> f.Fact | None:
        number = self.some(self.ledger.recordings)
        said, sound = self.draw(st.sampled_from([(LONG, MEASURED), (BROKEN_OFF, None)]))
        read = self.ledger.recordings[number].readings
        return f.WasMeasured(number, said, sound) if read else None

    def stamp(self) -> f.Fact:
        return f.SameBytes(self.some(self.ledger.recordings), Stamp(1, self.draw(st.integers())))

    def gone(self) -> f.Fact | None:
        number = self.some(self.ledger.recordings)
        unread = not self.ledger.recordings[number].readings
        kept = number in self.ledger.copies or number in self.ledger.broken
        return f.Gone(number) if unread and not kept else None

    def prove(self) -> f.Fact:
        return f.Proven(
            Copy(
                self.some(self.ledger.recordings),
                self.some("xy"),
                self.some("rs"),
                frozenset(self.draw(st.lists(st.text(max_size=2), max_size=2))),
                self.some([b"p", b"\xff"]),
                self.draw(
                    st.builds(Proof, st.integers(0, 99), st.sampled_from(Seen), st.booleans())
                ),
            )
        )

    def breaks(self) -> f.Fact:
        number = self.some(self.ledger.recordings)
        return f.Broken(
            number, self.some("xy"), self.some("rs"), self.some([b"p", b"\xff"]), "m", 3
        )

    def trouble(self) -> f.Fact:
        key = self.some(["k", "l", "m"])
        return self.draw(st.sampled_from([f.TroubleOver(key), TROUBLE._replace(key=key)]))

    def ask(self) -> f.Fact:
        if self.ledger.asked and self.draw(st.booleans()):
            return f.Answered(self.some(self.ledger.asked), self.draw(st.text(max_size=3)), 4)
        self.asked += 1
        return f.Asked(self.asked, "wrap", "", 3)

    def revise(self) -> f.Fact:
        day = self.some(["d", "e"])
        number = len(self.ledger.revisions.get(day, ())) + 1
        if number > 1 and self.draw(st.booleans()):
            return f.Published(day, number - 1, self.some("xy"), self.some("rs"), 5)
        return f.Revised(day, number, f"{day}.r{number}", "ab", 3, "HOLD", "b")

    def ack(self) -> f.Fact:
        text = st.text(max_size=2)
        receipt = st.builds(RECEIPT._replace, signer=text, missing=st.tuples(text))
        return self.draw(st.one_of(st.builds(f.Acked, text, text, st.integers(0, 9)), receipt))


@st.composite
def days(draw: Any) -> list[f.Fact]:
    made = Days(draw)
    for _ in range(draw(st.integers(0, 25))):
        made.add()
    return made.facts


@pytest.mark.parametrize("kind", ["sqlite", "memory"])
@settings(max_examples=60)
@given(facts=days(), cut=st.integers(0, 25))
def test_any_day_folds_into_the_same_ledger(kind: str, facts: list[f.Fact], cut: int) -> None:
    """Whatever is recorded, in two batches: a restart knows what the living process knew."""
    with tempfile.TemporaryDirectory() as folder:
        path = f"{folder}/catalogue.db"
        catalogue: Any = MemoryCatalogue() if kind == "memory" else SqliteCatalogue.open(path)
        catalogue.record(facts[:cut])
        catalogue.record(facts[cut:])
        known_live = told(folded(facts))
        assert told(folded(catalogue.facts())) == known_live
        catalogue.close()
        if kind == "sqlite":
            reader = SqliteCatalogue.open_to_read(path)
            assert told(folded(reader.facts())) == known_live
            reader.close()


def test_a_catalogue_of_the_first_form_is_brought_up_with_its_copies(tmp_path: Path) -> None:
    """Where a copy without a promise was written is not known of old: nothing is claimed."""
    path = str(tmp_path / "catalogue.db")
    first = catalogue_file.migrations()[:1]
    old = catalogue_file.open_to_write(path, first)
    with catalogue_file.transaction(old, path):
        for fact in known():
            catalogue_rows.write(old, fact)
        row = "2, 'shuttle', 'root-1', '[\"d2\",\"d3\"]', x'702f61', 8, 'cache', 0, '7'"
        names = "recording, destination, root, disks, path, at, seen, durable, mtime"
        old.execute(f"INSERT INTO copy ({names}) VALUES ({row})")
    old.close()
    with closing(SqliteCatalogue.open(path)) as catalogue:
        [found] = [fact for fact in catalogue.facts() if isinstance(fact, f.Proven)]
        assert found.copy == COPY._replace(proof=Proof(8, Seen.CACHE, False, 7, "", False))
        catalogue.record([SALVAGED])
    with closing(SqliteCatalogue.open(path)) as catalogue:
        assert SALVAGED in list(catalogue.facts())
