"""A backup card that holds the mix of each set of monos only: one decision for the card."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from itertools import product
from typing import Any

from test_check_backup import LINES, OTHER, TEN, about_backup, facts_of

from planworld import load
from takehold.model import facts as f
from takehold.model.finding import Finding, Severity
from takehold.model.settings import Role
from takehold.model.sound import Track
from twocards import HZ, Cards

NAMES = ("Mix", "Boom", "Keeper")


def sets(count: int, whole: Collection[int] = (), held: Collection[int] = (0,)) -> Cards:
    """So many takes of three monos, and of each the tracks `held` on the backup."""
    made = Cards()
    for n in range(count):
        for k, name in enumerate(NAMES):
            line = tuple(sample + 7 * n for sample in LINES[k])
            said = {"family_uid": f"F{n}", "total_files": 3, "set_index": str(k + 1)}
            said |= {"scene": "1", "take": str(n + 1), "tracks": (Track(k + 1, 1, name),)}
            at = TEN + n * 60 * HZ
            path = f"1T{n + 1:02}_{k + 1}.WAV"
            made.add(1, path, [line], at, number=10 * n + k + 1, **said)
            if k in held or n in whole:
                made.add(2, path, [line], at, number=1000 + 10 * n + k + 1, **said)
    return made


def said(made: Cards, *, twice: bool = True) -> list[Finding]:
    return about_backup(facts_of(made, twice=twice))


def test_what_most_sets_of_a_card_lack_is_one_decision_that_names_tracks_and_files() -> None:
    (one,) = said(sets(3))
    assert (one.code, one.severity, one.load) == ("backup-partial", Severity.LOOK, 1)
    assert one.says == (
        "SND_B1 holds other tracks only of 3 takes of SND_A1: tracks Boom, Keeper have no backup. "
        "The files are 1T01_2.WAV, 1T01_3.WAV, 1T02_2.WAV, 1T02_3.WAV, 1T03_2.WAV, 1T03_3.WAV."
    )
    more, fewer = (said(sets(4))[0], said(sets(4, held=(0, 1)))[0])
    assert len({one.id, more.id, fewer.id}) == 3, "a decision covers just these files"
    assert "4 takes of SND_A1: track Keeper has no backup" in fewer.says


def test_a_file_that_lacks_where_most_sets_are_whole_is_told_by_itself() -> None:
    told = said(sets(4, whole=(0, 1)))
    assert [(one.code, one.recording) for one in told] == [
        ("backup-missing", n) for n in (22, 23, 32, 33)
    ]


def test_other_tracks_from_take_to_take_were_lost() -> None:
    """One file of each set lacks, and each time another one."""
    made = sets(3, held=(0, 1, 2))
    for number in (1001, 1012, 1023):
        del made.files[number]
    assert [(one.code, one.recording) for one in said(made)] == [
        ("backup-missing", n) for n in (1, 12, 23)
    ]


def test_a_track_that_the_backup_has_of_any_take_was_lost_of_others() -> None:
    """As of a poly file without a slate; what it has of none is not written by its recorder."""
    made = sets(3)
    about = {"family_uid": "P"}
    for of in (1, 2):
        tracks = (Track(1, 1, "Mix"), Track(2, 2, "Boom"))
        lines = [tuple(s + 99 for s in line) for line in LINES[:2]]
        made.add(of, "NOISE.WAV", lines, TEN + 600 * HZ, tracks=tracks, **about)
    assert {one.code for one in said(made)} == {"backup-missing"}


def test_tracks_that_another_backup_card_has_of_other_takes_were_lost() -> None:
    """The card was changed, and the second one lacks the isos of all its takes."""
    made = sets(6)
    second = load(4, Role.BACKUP, identity="uuid:SND_B2", label="SND_B2", folder=b"SND_B2")
    for n, k in product(range(3), (1, 2)):
        mine = made.files[10 * n + k + 1]
        path = mine.path.decode()
        said = {"tracks": mine.description.metadata.tracks, "set_index": str(k + 1)}
        line = tuple(sample + 7 * n for sample in LINES[k])
        about = {"family_uid": f"F{n}", "total_files": 3, "scene": "1", "take": str(n + 1)}
        at = TEN + n * 60 * HZ
        made.add(4, path, [line], at, number=2000 + 10 * n + k, **said, **about)
    facts = [f.LoadSeen(second), *facts_of(made)]
    assert {one.code for one in about_backup(facts)} == {"backup-missing"}


def test_tracks_that_another_recorders_backup_has_are_no_matter() -> None:
    """A bag beside the cart, with a backup of its own: its tracks are called alike."""
    made = sets(3)
    bag = load(3, source="bag", identity="uuid:BAG_A", label="BAG_A", folder=b"BAG_A")
    its = load(4, Role.BACKUP, identity="uuid:BAG_B", label="BAG_B", folder=b"BAG_B")
    tracks = (Track(1, 1, "Boom"), Track(2, 2, "Keeper"))
    lines = [tuple(sample + 99 for sample in line) for line in LINES[1:3]]
    for of in (3, 4):
        made.add(of, "3T1.WAV", lines, TEN + 900 * HZ, tracks=tracks, family_uid="P", scene="3")
    facts = [f.LoadSeen(bag), f.LoadSeen(its), *facts_of(made)]
    assert {one.code for one in about_backup(facts)} == {"backup-partial"}


def test_takes_with_other_casts_are_one_decision() -> None:
    made = sets(3)
    for number in (2, 3):
        told = made.files[number].description
        its = replace(told.metadata, tracks=(Track(number, 1, f"Guest {number}"),))
        made.files[number] = replace(made.files[number], description=replace(told, metadata=its))
    (one,) = said(made)
    assert "tracks Guest 2, Guest 3, Boom, Keeper have no backup" in one.says


def test_a_part_of_which_nothing_is_there_or_a_track_that_is_in_another_one_was_lost() -> None:
    """Each take is split in two; the backup lacks the second parts, or one file of each of them."""
    for held in ((), (0, 1)):
        made = Cards()
        for of, part, n, k in product((1, 2), (0, 1), range(3), range(3)):
            if of == 1 or part == 0 or k in held:
                told = {"family_uid": f"F{n}", "total_files": 3, "set_index": str(k + 1)}
                told |= {"scene": "1", "take": str(n + 1), "tracks": (Track(k + 1, 1, NAMES[k]),)}
                line = tuple(sample + 7 * n + 100_000 * part for sample in LINES[k])
                at = TEN + n * 60 * HZ + part * len(line)
                path, number = f"1T{n + 1:02}_{part}{k}.WAV", 1000 * of + 100 * part + 10 * n + k
                made.add(of, path, [line], at, number=number, **told)
        told_of = said(made)
        assert {one.code for one in told_of} == {"backup-missing"}
        assert len(told_of) == 3 * (3 - len(held))


def test_a_mix_of_its_own_beside_the_tracks_is_of_their_take() -> None:
    """It has a family of its own; the tracks may be monos or in one file."""
    for split in (True, False):
        made = Cards()
        for n in range(3):
            about: dict[str, Any] = {"scene": "1", "take": str(n + 1)}
            lines, at = [tuple(s + 7 * n for s in line) for line in LINES], TEN + n * 60 * HZ
            mix = about | {"family_uid": f"M{n}", "tracks": (Track(1, 1, "Mix"),)}
            for of in (1, 2):
                made.add(of, f"1T{n}_MIX.WAV", lines[:1], at, **mix)
            isos = [[lines[1]], [lines[2]]] if split else [lines[1:]]
            for k, channels in enumerate(isos, 1):
                tracks = [Track(c + k, c, NAMES[c + k - 1]) for c in range(1, len(channels) + 1)]
                iso = about | {"family_uid": f"F{n}", "tracks": tuple(tracks)}
                made.add(1, f"1T{n}_{k}.WAV", channels, at, **iso)
        (one,) = said(made)
        assert "3 takes of SND_A1: tracks Boom, Keeper have no backup" in one.says


def test_a_take_of_which_nothing_is_there_is_told_by_itself() -> None:
    made = sets(4)
    del made.files[1001], made.samples[1001]
    told = said(made)
    alone = [one.recording for one in told if one.code == "backup-missing"]
    assert alone == [1, 2, 3]
    assert [one.load for one in told if one.code == "backup-partial"] == [1]


def test_what_the_backup_has_in_the_place_of_one_is_compared_first() -> None:
    """That is no part of the decision."""
    made = sets(4)
    said_there = {"family_uid": "F0", "total_files": 3, "set_index": "2"}
    said_there |= {"scene": "1", "take": "1", "tracks": (Track(2, 1, "Boom"),)}
    made.add(2, "1T01_2.WAV", [OTHER], TEN, number=1002, **said_there)
    told = said(made)
    assert 2 in {one.recording for one in told if one.code == "backup-uncompared"}
    assert not any("1T01_2.WAV" in one.says for one in told if one.code == "backup-partial")


def test_until_the_card_is_sure_of_itself_each_file_holds() -> None:
    told = said(sets(3), twice=False)
    assert {(one.code, one.severity) for one in told} == {("backup-missing", Severity.HOLD)}
