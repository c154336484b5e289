"""A card is full, or is changed, while a recorder rolls: the take goes on on the next one.

That recorders do so, and mirror cards, is common practice; no source. FAMILY_UID, TOTAL_FILES and
FILE_SET_INDEX are of the iXML specification; that parts follow each other to the sample by their
TimeReference is of EBU Tech 3285.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from planworld import DAY, cards, copied, ledger, load, settings, taken, target, view
from takehold.cli.take_facts import take_facts, take_table
from takehold.decide.backup_words import further
from takehold.decide.check import Around, check
from takehold.decide.coverage import Coverage
from takehold.decide.judge import judge
from takehold.decide.manifest import Writer, document
from takehold.decide.takes import takes, takes_of_day
from takehold.model import facts as f
from takehold.model.finding import Counterpart, Relation, Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Role
from takehold.model.take import Take
from takeworld import HZ, MORNING, monos, names, wav
from twocards import Cards, Line

LONG = 10 * HZ
# Loads: the two primary cards, and another two that mirror them; the two backup cards; two packs.
A1, A2, M1, M2, B1, B2, PACK_1, PACK_2 = 1, 11, 21, 31, 2, 12, 3, 13
TAKE_SCHEMA = json.loads(
    (Path(__file__).parents[2] / "docs" / "manifest.schema.json").read_text("utf-8")
)


def part(nth: int, of: int = A1, **said: Any) -> Recording:
    """The nth of two parts of one take, as a card has it that lacks the other."""
    known = {"family_uid": "F1", "total_files": 2, "set_index": "AB"[nth - 1], "channels": 2}
    known |= {"tracks": names("Boom", "Lav"), "file_uid": f"U{nth}"} | said
    at = known.pop("start", MORNING + (nth - 1) * LONG)
    return wav(100 * of + nth, b"1T3_%d.WAV" % nth, "1", "3", at, LONG, of=of, **known)


def member(nth: int, of: int = A1, **said: Any) -> Recording:
    """The nth of three files of a set."""
    one = monos(100 * of, "1", "3", MORNING, "Boom", "Lav", "Plant", of=of, **said)[nth - 1]
    return replace(one, id=100 * of + nth)


def plain(*found: Take) -> list[list[int]]:
    """The files of each take."""
    return [list(take.files) for take in found]


def found_of(*files: Recording) -> list[list[int]]:
    """The takes of cards of one role, the same in whatever order the files come."""
    made = takes(files)
    shuffled = list(files)
    random.Random(5).shuffle(shuffled)
    assert takes(shuffled) == made
    return plain(*made)


def test_a_take_that_goes_on_on_the_next_card_is_one() -> None:
    first, then = part(1, A1), part(2, A2)
    (take,) = takes([then, first])
    assert (take.files, take.load, take.expected) == ((101, 1102), A1, 2)
    assert (take.start, take.frames, len(take.parts)) == (MORNING, 2 * LONG, 2)


def test_a_set_that_lies_over_two_cards_is_one() -> None:
    (take,) = takes([member(1, A1), member(2, A2), member(3, A2)])
    assert (take.files, take.channels, len(take.parts)) == ((101, 1102, 1103), 3, 1)


def test_what_begins_with_the_sample_behind_anothers_last_one_needs_no_file_set() -> None:
    silent = {"family_uid": "", "total_files": None, "set_index": ""}
    assert found_of(part(1, A1, **silent), part(2, A2, **silent)) == [[101, 1102]]
    late = part(2, A2, **silent, start=MORNING + LONG + 1)
    assert found_of(part(1, A1, **silent), late) == [[101], [1102]]


def test_a_file_set_ties_parts_between_which_samples_are_lost() -> None:
    assert found_of(part(1, A1), part(2, A2, start=MORNING + LONG + 480)) == [[101, 1102]]


def test_a_take_may_go_on_over_three_cards() -> None:
    rows = [
        wav(100 * of, b"X.WAV", "1", "3", MORNING + nth * LONG, LONG, of=of)
        for nth, of in enumerate((A1, A2, M1))
    ]
    assert found_of(*rows) == [[100, 1100, 2100]]


def test_cards_that_mirror_each_other_hold_two_copies_of_a_take() -> None:
    whole = [part(nth, of) for of in (A1, M1) for nth in (1, 2)]
    assert found_of(*whole) == [[101, 102], [2101, 2102]]
    sets = [member(nth, of) for of in (A1, M1) for nth in (1, 2, 3)]
    assert found_of(*sets) == [[101, 102, 103], [2101, 2102, 2103]]


@pytest.mark.parametrize("lost", [(1, 1), (1, 2), (3, 2)])
def test_a_mirror_that_lost_a_file_is_no_part_of_the_other(lost: tuple[int, int]) -> None:
    """The same file on both: neither takes the other's, and both are told to be incomplete."""
    one, other = ([n for n in (1, 2, 3) if n != gone] for gone in lost)
    files = [*(member(n, A1) for n in one), *(member(n, M1) for n in other)]
    assert found_of(*files) == [[100 + n for n in one], [2100 + n for n in other]]


def test_mirrors_that_both_go_on_on_a_next_card_are_two_takes() -> None:
    files = [part(1, A1), part(1, M1), part(2, A2), part(2, M2)]
    assert sorted(found_of(*files)) == [[101, 1102], [2101, 3102]]


@pytest.mark.parametrize("who", [{"originator": "another recorder"}, {"tape": "R2"}])
def test_two_recorders_with_equal_uids_are_two_takes(who: dict[str, str]) -> None:
    assert found_of(part(1, A1), part(2, A2, **who)) == [[101], [1102]]


def test_whole_sets_of_one_uid_on_two_cards_are_two_takes() -> None:
    """A recorder that counts its UIDs from the start again on each card."""
    later = [member(n, A2) for n in (1, 2, 3)]
    moved = [
        replace(one, description=replace(one.description, metadata=replace(
            one.description.metadata, time_reference=MORNING + 900 * HZ)))
        for one in later
    ]  # fmt: skip
    assert len(found_of(*(member(n, A1) for n in (1, 2, 3)), *moved)) == 2


def test_files_that_do_not_tell_their_place_in_a_set_are_tied_to_no_other_card() -> None:
    """Nothing says that the two are not copies of one file."""
    one, other = (member(1, of, total_files=2) for of in (A1, M1))
    bare = [
        replace(r, description=replace(r.description, metadata=replace(
            r.description.metadata, set_index="", tracks=())))
        for r in (one, other)
    ]  # fmt: skip
    assert found_of(*bare) == [[101], [2101]]


def test_what_was_recorded_again_goes_on_as_well() -> None:
    original = wav(1, b"1T3.WAV", "1", "3", MORNING - 900 * HZ, 20 * HZ, channels=2)
    later = [part(1, A1, note="rerec"), part(2, A2, note="rerec")]
    (take,) = takes([original, *later], ["rerec"])
    assert (take.files, plain(*take.again)) == ((1,), [[101, 1102]])


def test_what_was_made_from_the_parts_of_a_take_stays_with_each_of_them() -> None:
    """Monos that a program split from the poly files, on both cards (iXML PARENT_UID)."""
    made = [
        wav(100 * of + 9, b"1T3_%d_mono.WAV" % nth, "1", "3", MORNING + (nth - 1) * LONG, LONG,
            of=of, parent_uid=f"U{nth}", family_uid="", total_files=None)
        for nth, of in ((1, A1), (2, A2))
    ]  # fmt: skip
    found = takes([part(1, A1), part(2, A2), *made])
    assert [(list(t.files), t.derived) for t in found] == [
        ([101, 1102], False),
        ([109], True),
        ([1109], True),
    ]


def test_what_is_no_take_on_one_card_is_none_on_two() -> None:
    """Sets whose files have other channels than those before do not go on."""
    widths = ((A1, 1, 2), (A1, 2, 1), (A2, 3, 1), (A2, 4, 2))
    files = [
        wav(n, b"%d.WAV" % n, "1", "3", MORNING + (of == A2) * LONG, LONG, of=of, channels=wide)
        for of, n, wide in widths
    ]
    assert found_of(*files) == found_of(*(replace(one, load=A1) for one in files))


# -- a whole day


def known_day(*files: Recording) -> Ledger:
    """A day of these recordings; each stands on both drives."""
    roles = {1: Role.PRIMARY, 2: Role.BACKUP, 3: Role.BODYPACK}
    further_loads = [
        load(n, roles[n % 10], identity=f"uuid:CARD{n}", label=f"CARD{n}", folder=b"CARD%d" % n,
             disks=frozenset({f"disk of {n}"}))
        for n in sorted({r.load for r in files} - {A1, B1})
    ]  # fmt: skip
    drives = (target("shuttle-1"), target("shuttle-2"))
    seen = [*cards(), *map(f.LoadSeen, further_loads)]
    return ledger(seen, taken(*files), [x for r in files for x in copied(r, *drives)])


def told(*files: Recording) -> list[tuple[str, str]]:
    """Code and sentence of all that is said of takes."""
    known, using = known_day(*files), settings()
    said = check(view(known, using), known, using, Around())
    about = ("set-", "part-", "take-twice", "channels", "timecode-overlap", "tracks-")
    return [(one.code, one.says) for one in said if one.code.startswith(about)]


def test_nothing_is_said_of_a_take_that_lies_whole_over_two_cards() -> None:
    assert told(part(1, A1), part(2, A2)) == []
    assert told(member(1, A1), member(2, A2), member(3, A2)) == []


def test_what_both_cards_lack_is_said_once() -> None:
    ((code, says),) = told(member(1, A1), member(3, A2))
    assert (code, says.partition("incomplete: ")[2]) == (
        "set-incomplete",
        "2 of 3 files are there, not 2.",
    )


def test_a_gap_between_two_cards_is_told_as_any_between_two_parts() -> None:
    ((code, says),) = told(part(1, A1), part(2, A2, start=MORNING + LONG + 480))
    assert code == "part-gap"
    assert "480 samples (0.010 s) are missing between SND_A1/1T3_1.WAV and CARD11/1T3_2.WAV" in says


def test_files_of_two_roles_are_no_one_take() -> None:
    found = takes_of_day(view(known_day(part(1, A1), part(2, B1))), settings())
    assert {n: plain(*its) for n, its in found.items()} == {A1: [[101]], B1: [[202]]}


def test_the_cards_of_two_transmitters_are_never_one() -> None:
    """Both begin a new file each full hour, and name themselves alike."""
    hours = [
        wav(1, b"1.WAV", start=MORNING, frames=LONG, of=PACK_1),
        wav(2, b"2.WAV", start=MORNING + LONG, frames=LONG, of=PACK_2),
    ]
    found = takes_of_day(view(known_day(part(1), part(2), *hours)), settings())
    assert [plain(*found[n]) for n in (PACK_1, PACK_2)] == [[[1]], [[2]]]


def test_the_manifest_has_an_entry_for_each_card_and_the_table_one_row() -> None:
    """By the published schema: a take's files are on the load that its entry names."""
    known, using = known_day(part(1, A1), part(2, A2)), settings()
    judged = judge(known, DAY, using)
    doc = document(judged, known, using, (target(),), Writer("cart", "takehold 0"))
    entries: Any = doc["takes"]
    assert [(e["load"], e["parts"], e["frames"]) for e in entries] == [
        (A1, [[{"path": "1T3_1.WAV"}]], LONG),
        (A2, [[{"path": "1T3_2.WAV"}]], LONG),
    ]
    assert [e["start_timecode"] for e in entries] == ["09:00:00:00", "09:00:10:00"]
    schema = {**TAKE_SCHEMA, "$ref": "#/$defs/take"}
    valid = Draft202012Validator({"$ref": "#/$defs/take", "$defs": schema["$defs"]})
    assert [list(valid.iter_errors(e)) for e in entries] == [[], []]
    (take,) = judged.takes
    facts = take_facts(take, judged.view, Coverage())
    assert (facts["card"], facts["loads"], facts["seconds"]) == ("SND_A1", [A1, A2], 20.0)
    _, (row,) = take_table([facts], {A1: "SND_A1", A2: "SND_A2"})
    assert row[0] == "SND_A1, SND_A2"


# -- the other card


class Four(Cards):
    """Two primary cards and two backup cards."""

    def card(self, of: int) -> list[Recording]:
        return [file for file in self.files.values() if file.load % 10 == of]


def sound(seed: int, frames: int = 4_000, channels: int = 2) -> list[Line]:
    dice = random.Random(seed)
    return [tuple(dice.randrange(-(2**22), 2**22) for _ in range(frames)) for _ in range(channels)]


def cut(lines: Iterable[Line], first: int, end: int | None = None) -> list[Line]:
    return [line[first:end] for line in lines]


def relations(made: Cards, of: int = 1) -> list[Relation]:
    answers = made.match()[of - 1]
    return [answer.relation for answer in sorted(answers, key=lambda a: a.recording)]


def slate(**other: str) -> dict[str, Any]:
    return {"scene": "1", "take": "3", "originator": "recorder"} | other


@pytest.mark.parametrize("bits", [24, 16])
def test_parts_on_two_primary_cards_are_answered_by_the_whole_backup(bits: int) -> None:
    made, lines = Four(), sound(1)
    made.add(A1, "1T3_1.WAV", cut(lines, 0, 1500), MORNING, **slate())
    made.add(A2, "1T3_2.WAV", cut(lines, 1500), MORNING + 1500, **slate())
    made.add(B1, "1T3.WAV", lines, MORNING, bits, **slate())
    same = Relation.OTHER_LAYOUT if bits == 24 else Relation.REDUCED
    assert (relations(made), relations(made, 2)) == ([same, same], [same])


def test_a_sample_that_differs_on_the_second_card_is_told_of_its_file() -> None:
    made, lines = Four(), sound(2)
    other = [lines[0], (*lines[1][:2000], lines[1][2000] ^ 1, *lines[1][2001:])]
    one = made.add(A1, "1T3_1.WAV", cut(lines, 0, 1500), MORNING, **slate())
    two = made.add(A2, "1T3_2.WAV", cut(lines, 1500), MORNING + 1500, **slate())
    made.add(B1, "1T3.WAV", other, MORNING, **slate())
    answers = {a.recording: a for a in made.match().primaries}
    assert answers[one].relation is Relation.OTHER_LAYOUT
    assert (answers[two].relation, answers[two].frames, answers[two].channels) == (
        *(Relation.DIFFERENT, 500),
        (2,),
    )


@pytest.mark.parametrize("spoiled", [(A1, A2), (M1, M2)])
def test_of_mirrors_that_go_on_on_a_next_card_one_may_differ(spoiled: tuple[int, int]) -> None:
    """The backup answers both, whichever is looked at first: one as it is, one as other audio."""
    made, lines = Four(), sound(6)
    other = [lines[0], (*lines[1][:2000], lines[1][2000] ^ 1, *lines[1][2001:])]
    for first, then in ((A1, A2), (M1, M2)):
        held = other if (first, then) == spoiled else lines
        made.add(first, "1T3_1.WAV", cut(held, 0, 1500), MORNING, **slate())
        made.add(then, "1T3_2.WAV", cut(held, 1500), MORNING + 1500, **slate())
    made.add(B1, "1T3.WAV", lines, MORNING, **slate())
    told = {made.files[a.recording].load: a.relation for a in made.match().primaries}
    same = dict.fromkeys((A1, A2, M1, M2), Relation.OTHER_LAYOUT)
    assert told == {**same, spoiled[1]: Relation.DIFFERENT}


@pytest.mark.parametrize("edited", ["", "primary", "backup"])
def test_both_cards_may_be_changed_at_other_places_and_scene_and_take_be_edited(
    edited: str,
) -> None:
    made, lines = Four(), sound(3)
    said = {role: slate(scene="9", take="51") if role == edited else slate()
            for role in ("primary", "backup")}  # fmt: skip
    for role, loads, at in (("primary", (A1, A2), 1500), ("backup", (B1, B2), 2300)):
        made.add(loads[0], "1T3_1.WAV", cut(lines, 0, at), MORNING, **said[role])
        made.add(loads[1], "1T3_2.WAV", cut(lines, at), MORNING + at, **said[role])
    same = [Relation.OTHER_LAYOUT] * 2
    assert (relations(made), relations(made, 2)) == (same, same)


@pytest.mark.parametrize("edited", [False, True])
def test_a_part_behind_a_hole_is_known_by_what_the_backups_own_files_say(*, edited: bool) -> None:
    """The middle third is on no backup card; the last one goes with the first."""
    made, lines = Four(), sound(4, 6_000)
    made.add(A1, "1T3.WAV", lines, MORNING, **(slate(scene="9") if edited else slate()))
    made.add(B1, "1T3_1.WAV", cut(lines, 0, 2000), MORNING, **slate())
    made.add(B2, "1T3_3.WAV", cut(lines, 4000), MORNING + 4000, **slate())
    made.match()
    assert made.asked[0][1] == (2001, 12002)


def test_a_set_that_the_primary_lost_is_whole_over_two_backup_cards() -> None:
    """What the primary lacks is on the backup only: no copies of the file that it has."""
    kept = [member(1, A1), member(1, B1), member(2, B2), member(3, B2)]
    said = [says for code, says in told(*kept) if code == "set-incomplete"]
    assert len(said) == 1
    assert "(1 of 3 files are there, not 2, 3) and whole on the backup card" in said[0]


def test_a_set_that_a_mirror_has_whole_can_be_decided() -> None:
    """A second primary card; the backup card lacks what the first one lacks."""
    files = [member(n, of) for of in (A1, B1) for n in (1, 3)]
    known, using = known_day(*files, *(member(n, M1) for n in (1, 2, 3))), settings()
    said = check(view(known, using), known, using, Around())
    (one,) = (found for found in said if found.code == "set-incomplete")
    assert one.severity is Severity.LOOK
    card = known.loads[M1].label
    assert f"(2 of 3 files are there, not 2) and whole on the card {card}." in one.says


def test_what_only_the_second_backup_card_has_of_a_set_is_no_copy_of_what_answers() -> None:
    made, lines = Four(), sound(5, channels=3)
    for of, nth in ((A1, 1), (B1, 1), (B2, 2), (B2, 3)):
        of_set = {"family_uid": "F", "total_files": 3, "set_index": str(nth)}
        made.add(of, f"1T3_{nth}.WAV", [lines[nth - 1]], MORNING, **slate(), **of_set)
    assert relations(made) == [Relation.IDENTICAL]
    assert relations(made, 2) == [Relation.IDENTICAL, Relation.MISSING, Relation.MISSING]


@pytest.mark.parametrize(
    ("mine", "says"),
    [
        (part(2), "the backup holds 10.000 s more, from before this file begins"),
        (part(1), "the backup holds 10.000 s more: this file is cut"),
    ],
)
def test_a_file_that_ends_with_the_backups_is_not_called_cut(mine: Recording, says: str) -> None:
    whole = wav(7, b"1T3.WAV", "1", "3", MORNING, 2 * LONG, of=B1, channels=2)
    seen = view(known_day(mine, whole))
    answer = Counterpart(mine.id, Relation.LONGER, 7, LONG, (7,))
    assert further(seen.index[mine.id], answer, seen) == says
