"""A day that is judged from its own cards' part of the catalogue comes out as from all of it."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from planworld import copied, ledger, load, target
from planworld import settings as made_settings
from takehold.adapters.catalogue import SqliteCatalogue
from takehold.cli.view import judged_day
from takehold.decide.check import Around
from takehold.decide.judge import judge
from takehold.decide.listing import UNREADABLE
from takehold.home import Home, days_known, reading
from takehold.model import facts as f
from takehold.model.recording import Recording
from takehold.model.settings import Role, Settings, Source
from takehold.model.sound import Complaint, Track
from takeworld import HZ, wav

DAYS = ("2031-05-05", "2031-05-06", "2031-05-07")
DRIVES = (target("shuttle-1"), target("shuttle-2"))
SHARE = Source("share", Role.PRIMARY, path=b"/srv/share")
LOADS = {
    1: load(1, day=DAYS[0]),
    2: load(2, Role.BACKUP, day=DAYS[0]),
    3: load(3, source="share", label="share", identity="uuid:S:share", day=DAYS[0]),
    4: load(4, day=DAYS[1], label="SND_A2", identity="uuid:SND_A2", folder=b"SND_A2"),
    6: load(6, source="share", label="share", identity="uuid:S:late", day=DAYS[2]),
    5: load(5, Role.BODYPACK, day=DAYS[2], label="PACK_1", identity="uuid:P", folder=b"PACK_1"),
}


def with_share() -> Settings:
    """Two cards and a watch folder."""
    usual = made_settings()
    return replace(usual, sources=(*usual.sources, SHARE))


@st.composite
def file(draw: st.DrawFn, number: int) -> Recording:
    """A take of one of two scenes, on any card, of any day; some were never read, or described."""
    of, day = draw(st.sampled_from(sorted(LOADS))), draw(st.sampled_from(DAYS))
    scene, take = draw(st.sampled_from("12")), draw(st.integers(1, 5))
    start = (9 * 3600 + 600 * number) * HZ
    if LOADS[of].role is Role.BODYPACK:  # into the next day
        start = 20 * 3600 * HZ
    long = (14 * 3600 if LOADS[of].role is Role.BODYPACK else 10) * HZ
    made = wav(number, b"%d.WAV" % number, scene, str(take), start, long, of=of, date=day)
    place = b"Lantern Bay/" + day.encode() + b"/%d/" % of + made.path
    made = replace(made, day=day, place=place)
    match draw(st.integers(0, 9)):
        case 0:
            return replace(made, readings=())
        case 1:
            odd = Complaint("not-described", "the header could not be read")
            return replace(
                made, readings=(), description=replace(made.description, complaints=(odd,))
            )
        case _:
            return made


@st.composite
def past(draw: st.DrawFn) -> list[f.Fact]:
    """Some files, most of them copied; cards with files not taken in, and folders not read."""
    files = [draw(file(10 + n)) for n in range(draw(st.integers(0, 8)))]
    facts: list[f.Fact] = [f.LoadSeen(one) for one in LOADS.values()]
    for number in draw(st.sets(st.sampled_from(sorted(LOADS)))):
        skipped = draw(st.sampled_from([(), (f.Skip(b"SOUND", f"{UNREADABLE}: it is damaged"),)]))
        untaken = draw(st.integers(0, 1))
        facts.append(f.Listed(number, LOADS[number].seen_at, 9, (), skipped, untaken))
    facts += [f.Inventoried(one) for one in files]
    for one in files:
        on = draw(st.sampled_from([DRIVES, DRIVES[:1], ()])) if one.readings else ()
        facts += copied(one, *on)
        if on and draw(st.integers(0, 9)) == 0:
            lost = DRIVES[0].root.identity
            facts.append(f.Broken(one.id, "shuttle-1", lost, one.place, "missing", 9))
    return facts


@contextmanager
def kept(facts: list[f.Fact]) -> Iterator[Home]:
    """A laptop whose catalogue holds these."""
    with tempfile.TemporaryDirectory() as folder:
        home = Home("", folder, "")
        catalogue = SqliteCatalogue.open(home.catalogue)
        catalogue.record(facts)
        catalogue.close()
        yield home


@settings(max_examples=80, deadline=None)
@given(past())
def test_a_day_alone_is_judged_as_among_all(facts: list[f.Fact]) -> None:
    """Findings, verdict, reasons, takes and every file's standing are the same."""
    asked, known = with_share(), ledger(facts)
    with kept(facts) as home:
        told = {n: known.listings.get(n) for n in LOADS}
        unknown = {n for n, one in told.items() if one is None or one.untaken or one.skipped}
        assert days_known(home) == {r.day for r in known.recordings.values()} | {
            LOADS[n].day for n in unknown
        }
        for day in DAYS:
            here = Around(loads=frozenset({1, 3}), now=LOADS[1].seen_at)
            alone, _ = judged_day(home, day, asked, here)
            among = judge(known, day, asked, here)
            assert alone.findings == among.findings
            assert (alone.verdict, alone.reasons) == (among.verdict, among.reasons)
            assert alone.takes == among.takes
            assert alone.coverage == among.coverage
            assert (alone.view.files, alone.view.loads) == (among.view.files, among.view.loads)


def test_a_day_alone_leaves_other_cards_out() -> None:
    """Of a season only the day's cards are read, with all that lies on them."""
    mine = wav(10, b"1.WAV", "1", "1", 9 * 3600 * HZ, of=4)
    mine = replace(mine, day=DAYS[1])
    beside = replace(wav(11, b"2.WAV", "1", "2", 10 * 3600 * HZ, of=4), day=DAYS[2])
    other = replace(wav(12, b"3.WAV", "1", "3", 11 * 3600 * HZ, of=1), day=DAYS[2])
    facts: list[f.Fact] = [f.LoadSeen(one) for one in LOADS.values()]
    facts += [f.Inventoried(one) for one in (mine, beside, other)]
    with kept(facts) as home, reading(home, DAYS[1]) as (known, _):
        assert set(known.recordings) == {10, 11}
        assert set(known.loads) == set(LOADS)


def test_a_watch_folder_of_later_days_holds_no_earlier_one_up() -> None:
    """What was not looked at in it yet is new: its later files tell, which the day lacks."""
    listed = f.Listed(3, LOADS[3].seen_at, 9, (), (), untaken=1)
    later = replace(wav(10, b"1.WAV", "1", "1", 9 * 3600 * HZ, of=3), day=DAYS[2])
    mine = replace(wav(11, b"2.WAV", "1", "1", 9 * 3600 * HZ, of=4), day=DAYS[1])
    facts: list[f.Fact] = [f.LoadSeen(one) for one in LOADS.values()]
    facts += [listed, f.Inventoried(later), f.Inventoried(mine)]
    asked, known = with_share(), ledger(facts)
    with kept(facts) as home:
        alone, _ = judged_day(home, DAYS[1], asked, Around())
    among = judge(known, DAYS[1], asked)
    assert "inventory-incomplete" not in {found.code for found in among.findings}
    assert alone.findings == among.findings


def test_a_pack_of_another_day_is_held_against_the_takes_of_that() -> None:
    """Put in days later, it has takes of its own date, on a card that the day does not read."""
    track = (Track(1, 1, "Keeper"),)
    at = 9 * 3600 * HZ
    its = wav(10, b"1.WAV", "1", "1", at, 10 * HZ, of=1, tracks=track)
    mine = wav(11, b"2.WAV", "2", "1", at, 10 * HZ, of=4, tracks=track)
    worn = wav(12, b"P.WAV", start=at - 3600 * HZ, frames=3 * 3600 * HZ, of=5, tracks=track)
    days = {10: "2031-04-05", 11: DAYS[2], 12: "2031-04-05"}
    files = [replace(one, day=days[one.id]) for one in (its, mine, worn)]
    for taken, expected in ((files, False), (files[1:], True)):
        facts: list[f.Fact] = [f.LoadSeen(one) for one in LOADS.values()]
        facts += [f.Inventoried(one) for one in taken]
        asked, known = with_share(), ledger(facts)
        with kept(facts) as home:
            alone, _ = judged_day(home, DAYS[2], asked, Around())
        assert alone.findings == judge(known, DAYS[2], asked).findings
        assert ("pack-day-off" in {found.code for found in alone.findings}) is expected


def test_a_packs_file_of_the_evening_before_is_read_with_the_day() -> None:
    """Its card came in days later; the file reaches into the morning of the take."""
    track = (Track(1, 1, "Keeper"),)
    mine = wav(10, b"1.WAV", "1", "1", 9 * 3600 * HZ, of=1, date=DAYS[1], tracks=track)
    pack = wav(11, b"KEEPER.WAV", "", "", 20 * 3600 * HZ, 14 * 3600 * HZ, of=5, date=DAYS[0])
    files = (replace(mine, day=DAYS[1]), replace(pack, day=DAYS[0]))
    facts: list[f.Fact] = [f.LoadSeen(one) for one in LOADS.values()]
    facts += [f.Inventoried(one) for one in files]
    with kept(facts) as home:
        alone, _ = judged_day(home, DAYS[1], with_share(), Around())
    assert alone.coverage == judge(ledger(facts), DAYS[1], with_share(), Around()).coverage
    assert alone.coverage.packs


def test_a_watch_folder_that_came_later_holds_the_day_as_among_all() -> None:
    """Of one file nobody knows the day: its header cannot be read (P7)."""
    mine = replace(wav(10, b"1.WAV", "1", "1", 9 * 3600 * HZ, of=1), day=DAYS[0])
    odd = Complaint("not-described", "the header could not be read")
    lost = replace(wav(11, b"2.WAV", "1", "2", 10 * 3600 * HZ, of=6), day=DAYS[2], readings=())
    lost = replace(lost, description=replace(lost.description, complaints=(odd,)))
    facts: list[f.Fact] = [f.LoadSeen(one) for one in LOADS.values()]
    facts += [f.Listed(6, 9, 1, (), (), 1), f.Inventoried(mine), f.Inventoried(lost)]
    with kept(facts) as home:
        alone, _ = judged_day(home, DAYS[0], with_share(), Around())
    assert "inventory-incomplete" in {found.code for found in alone.findings}
