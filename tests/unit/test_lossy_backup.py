"""A backup card with an MP3 of each take only, where the primary card has that MP3, too."""

from __future__ import annotations

from dataclasses import replace

import pytest
from test_match_given_back import (
    SLATE,
    audio,
    codes,
    lossy,
    monos,
    of_set,
    primary,
    said_of,
    settled,
)

from takehold.decide.match import match
from takehold.model.finding import Relation
from takehold.model.recording import Recording

MIX = lossy(primary(2, b"1T1.MP3", audio(1)))
COPY = replace(MIX, id=102, load=2)


def take(of: int = 1) -> Recording:
    return primary(1, b"1T1.WAV", audio(of), **SLATE)


@pytest.mark.parametrize("path", [b"1T1.MP3", b"MP3/1T1.MP3"])
def test_the_mp3_takes_the_only_backup_from_no_take_that_it_was_made_from(path: bytes) -> None:
    """As it is without the primary's MP3: what an MP3 is beside changes no relation."""
    ours, theirs = [take(), replace(MIX, path=path)], [replace(COPY, path=path)]
    without, _ = settled(ours[:1], theirs)
    found, cost = settled(ours, theirs)
    told = {a.recording: a for a in found.primaries}
    assert (told[1].relation, told[1].others) == (Relation.REDUCED, (102,))
    assert told[1].relation is without.primaries[0].relation
    assert (told[2].relation, cost) == (Relation.IDENTICAL, 1)
    assert (found.backups[0].relation, found.backups[0].others) == (Relation.IDENTICAL, (2,))


def test_that_the_take_has_a_lower_quality_is_told_of_it() -> None:
    """It is no file that stands beside a better one: it is the better one."""
    told = said_of([take(), MIX], [COPY])
    assert "backup-reduced" in codes(told, 1)
    assert not codes(told, 2, 102) & {"backup-reduced", "only-on-backup", "backup-spare"}


def test_until_it_is_compared_the_take_waits() -> None:
    found = match([take(), MIX], [COPY])
    assert found.uncompared == (((1,), (102,)),)
    assert {a.recording: a.relation for a in found.primaries}[1] is Relation.UNCOMPARED


def test_an_mp3_of_another_take_under_its_name_is_no_backup_of_it() -> None:
    found, _ = settled([take(of=5), MIX], [COPY])
    assert {a.recording: a.relation for a in found.primaries}[1] is Relation.MISSING


def test_of_a_mono_set_the_mix_has_a_backup_and_the_others_none() -> None:
    ours, mix = monos(0, b"1T1_%d.WAV"), replace(MIX, id=9)
    sides = (1, 2, 3), (102,)
    assert match([*ours, mix], [COPY]).uncompared == (sides,)
    told = match([*ours, mix], [COPY], {sides: of_set(*sides)}).primaries
    relations = {a.recording: a.relation for a in told}
    assert relations == {
        1: Relation.REDUCED,
        2: Relation.MISSING,
        3: Relation.MISSING,
        9: Relation.IDENTICAL,
    }


@pytest.mark.parametrize("path", [b"1T1_Mix.MP3", b"MP3/1T1_mix.MP3"])
def test_a_word_behind_its_name_does_not_part_an_mp3_from_its_take(path: bytes) -> None:
    """On the primary card only, or on a second backup card: whole takes lie on both."""
    its = replace(take(), id=101, load=2)
    copy = replace(MIX, path=path)
    found, _ = settled([take(), copy], [its])
    told = {a.recording: a for a in found.primaries}
    assert (told[2].relation, told[2].others) == (Relation.REDUCED, (101,))
    found, _ = settled([take()], [its, replace(copy, id=102, load=3)])
    assert {a.recording: a.relation for a in found.backups}[102] is Relation.REDUCED
