"""A transmitter that was switched on before the day began: its first file is of the day before."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planworld import DAY, cards, copied, ledger, load, settings, taken, view
from takehold.decide.check import Around, check, verdict
from takehold.model import facts as f
from takehold.model.finding import Finding, Severity, Verdict
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Role, Settings, Source
from takeworld import DRIVES, HOUR, HZ, names, wav

BEFORE = "2031-05-05"
MINUTE = 60 * HZ
SIX = 6 * HOUR
PACK = load(3, Role.BODYPACK, source="keeper")
KEEPER = Source("keeper", Role.BODYPACK, label="PACK_*")


def worn(start: int = SIX - MINUTE, frames: int = HOUR, number: int = 50) -> Recording:
    """A file of the transmitter; one that begins before six in the morning is of the day before."""
    path, day = b"P%d.WAV" % number, BEFORE if start < SIX else DAY
    made = wav(number, path, start=start, frames=frames, of=3, tracks=names("Keeper"))
    return replace(made, day=day, place=made.place.replace(DAY.encode(), day.encode()))


def known(*packs: Recording, at: int = SIX + MINUTE) -> Ledger:
    """A day with one take, on both cards, at that time."""
    take = [wav(n, b"T.WAV", "1", "1", at, of=n, tracks=names("Keeper")) for n in (1, 2)]
    files = [replace(file, readings=file.readings * 2) for file in (*take, *packs)]
    there = [fact for file in files for fact in copied(file, *DRIVES)]
    return ledger(cards(), [f.LoadSeen(PACK)], taken(*files), there)


def made(*sources: Source) -> Settings:
    return settings(sources=sources or (*settings().sources, KEEPER))


def told(book: Ledger, day: str, using: Settings | None = None) -> list[Finding]:
    """What is said of cards and sources that were not seen."""
    using = using or made()
    found = check(view(book, using, day), book, using, Around())
    return [x for x in found if x.code.endswith("-not-seen")]


FOLDERS = (
    Source("primary", Role.PRIMARY, path=b"/srv/a"),
    Source("backup", Role.BACKUP, path=b"/srv/b"),
    Source("keeper", Role.BODYPACK, path=b"/srv/k"),
)


@pytest.mark.parametrize("using", [made(), made(*FOLDERS)], ids=["cards", "folders"])
def test_the_day_before_asks_for_nothing(using: Settings) -> None:
    """It was a day off; and today's own has what the transmitter has of it."""
    book = known(worn())
    (note,) = told(book, BEFORE, using)
    assert (note.code, note.severity) == ("primary-not-seen", Severity.NOTE)
    assert note.says == (
        "No primary card with a recording of 2031-05-05 was seen (primary); what there is are "
        "transmitters' own cards that ran on into the takes of 2031-05-06."
    )
    assert verdict((note,), {})[0] is Verdict.READY
    assert told(book, DAY, using) == []


def test_so_it_is_where_a_file_after_it_has_the_takes() -> None:
    last = worn(SIX + 4 * MINUTE, number=51)
    early = worn(SIX - 20 * MINUTE, 19 * MINUTE, 52)
    for packs in ([worn(frames=5 * MINUTE), last], [early, worn(frames=5 * MINUTE), last]):
        book = known(*packs, at=SIX + 30 * MINUTE)
        assert [x.severity for x in told(book, BEFORE)] == [Severity.NOTE]


@pytest.mark.parametrize(
    "packs",
    [
        [worn(SIX - 2 * HOUR, 3 * HOUR)],
        [worn(SIX - HOUR, MINUTE)],
        [worn(), worn(4 * HOUR, MINUTE, 51)],
        [worn(SIX - 40 * MINUTE, MINUTE), worn(SIX, HOUR, 51)],
        [worn(frames=MINUTE + 5 * HZ), worn(SIX + MINUTE, number=51)],
    ],
    ids=[
        "long before",
        "nothing of the next day",
        "work of its own",
        "ended before the day",
        "ended before the takes",
    ],
)
def test_one_that_may_have_takes_of_that_day_is_a_persons_decision(packs: list[Recording]) -> None:
    codes = [(x.code, x.severity) for x in told(known(*packs), BEFORE)]
    both = ("backup-not-seen", "primary-not-seen")
    assert codes == [(code, Severity.LOOK) for code in both]


def test_a_source_of_which_nothing_is_known_is_told_still() -> None:
    assert [x.code for x in told(known(), DAY)] == ["source-not-seen"]


def test_a_file_of_the_night_that_has_no_take_of_the_day_is_nothing_of_it() -> None:
    spilt = known(worn(frames=2 * MINUTE), at=SIX + 4 * HOUR)
    assert [x.code for x in told(spilt, DAY)] == ["source-not-seen"]
