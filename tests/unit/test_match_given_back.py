"""Takes whose names lead astray: what else they have in common, and what samples said, counts."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from planworld import SECOND, cards, ledger, load, reading, recording, settings, taken, view
from takehold.decide.check import Around, check
from takehold.decide.match import Beyond, Matched, match
from takehold.model import facts as f
from takehold.model.comparison import Comparison, Side
from takehold.model.finding import Counterpart, Finding, Relation
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Role
from takehold.model.sound import Kind, WaveFormat

COARSE = WaveFormat(1, 1, 48_000, 16, 2)
START = 36_000 * SECOND
SLATE = {"scene": "1", "take": "1", "time_reference": START}


def audio(number: int, seconds: float = 4.0) -> bytes:
    """That of a take which is like no other."""
    return (bytes(range(number, 250)) * (1 + int(seconds * SECOND) // 200))[: int(seconds * SECOND)]


# What each recording is of, by the digest of its payload: what a listener would know.
HEARD: dict[str, bytes] = {}
ROUGH = bytes(value ^ 1 for value in range(256))


def primary(number: int, path: bytes, sound: bytes, **said: Any) -> Recording:
    return heard(recording(number, path, audio=sound, said=said, head=b"a"), sound)


def backup(number: int, path: bytes, sound: bytes, of: int = 2, **said: Any) -> Recording:
    return heard(recording(number, path, of=of, audio=sound, said=said, head=b"b"), sound)


def heard(file: Recording, audio: bytes) -> Recording:
    HEARD[digest(file)] = audio
    return file


def digest(file: Recording) -> str:
    assert file.sound is not None
    return file.sound.digest


def rough(file: Recording, **changes: Any) -> Recording:
    """The same with other samples that sound like these."""
    audio = HEARD[digest(file)]
    made = replace(file, readings=(reading(audio.translate(ROUGH), b"r"),))
    return heard(replace(made, description=replace(made.description, **changes)), audio)


def coarse(file: Recording) -> Recording:
    """The same in 16 bits: no digest tells."""
    return rough(file, format=COARSE)


def lossy(file: Recording) -> Recording:
    """The same as an MP3: it has a name, and says nothing of itself."""
    return rough(file, kind=Kind.COMPRESSED)


def truth(
    known: dict[int, Recording], ours: tuple[int, ...], theirs: tuple[int, ...]
) -> Comparison:
    """What the samples of two sides say: the same in fewer bits, or from the start another."""
    one, other = ([HEARD[digest(known[n])] for n in side] for side in (ours, theirs))
    if one == other:
        return Comparison(ours, theirs, Relation.REDUCED, 1, residual_db=-60.0, correlation=1.0)
    return Comparison(ours, theirs, Relation.DIFFERENT, 1, 0)


def settled(ours: list[Recording], theirs: list[Recording]) -> tuple[Matched, int]:
    """The match once all that it asks for was compared, and how many comparisons that took."""
    known = {r.id: r for r in (*ours, *theirs)}
    compared: dict[Any, Comparison] = {}
    for _ in range(10):
        found = match(ours, theirs, compared)
        wanted = [pair for pair in found.uncompared if pair not in compared]
        if not wanted:
            return found, len(compared)
        compared |= {pair: truth(known, *pair) for pair in wanted}
    raise AssertionError("it always asks for more")


def others(found: Matched) -> dict[int, int | None]:
    return {a.recording: a.other for a in found.primaries}


def test_one_that_lacks_does_not_shift_all_that_follow() -> None:
    """A folder for each take, the same name in each: the length tells the files apart."""
    ours = [primary(n, b"T%d/Boom.WAV" % n, audio(n, 3 + n / 10)) for n in range(1, 6)]
    theirs = [
        coarse(backup(100 + n, b"B%d/Boom.WAV" % n, audio(n, 3 + n / 10))) for n in (1, 3, 4, 5)
    ]
    found, cost = settled(ours, theirs)
    assert others(found) == {1: 101, 2: None, 3: 103, 4: 104, 5: 105}
    assert cost == 4


def test_what_is_cut_is_known_by_its_blocks() -> None:
    ours = [primary(n, b"T%d/Boom.WAV" % n, audio(n)) for n in range(1, 6)]
    theirs = [backup(100 + n, b"B%d/Boom.WAV" % n, audio(n)[: 2 * SECOND]) for n in (1, 3, 4, 5)]
    found, _ = settled(ours, theirs)
    assert others(found) == {1: 101, 2: None, 3: 103, 4: 104, 5: 105}
    assert {a.relation for a in found.primaries} == {Relation.SHORT, Relation.MISSING}


def test_a_cut_copy_under_another_name_and_scene_is_short() -> None:
    mine = primary(1, b"1T01.WAV", audio(1), **SLATE)
    its = backup(101, b"1AT07.WAV", audio(1)[: 2 * SECOND], **{**SLATE, "scene": "1A"})
    (told,) = match([mine], [its]).primaries
    assert (told.relation, told.others) == (Relation.SHORT, (101,))


def test_of_two_with_one_beginning_that_of_its_name_is_the_cut_copy() -> None:
    """Paths alone would give the first backup to the first recording."""
    ours = [primary(n, b"T%d.WAV" % n, audio(1, 3 + n)) for n in (1, 2)]
    theirs = [backup(103 - n, b"X/T%d.WAV" % n, audio(1)[: n * SECOND]) for n in (1, 2)]
    theirs[0] = replace(theirs[0], path=b"Z/T1.WAV")
    assert others(match(ours, theirs)) == {1: 102, 2: 101}


def test_numbers_that_are_one_ahead_on_one_card() -> None:
    """By their names all differ; by length and samples each has its backup."""
    ours = [primary(n, b"A%d.WAV" % n, audio(n, 3 + n / 10)) for n in range(1, 6)]
    theirs = [coarse(backup(100 + n, b"A%d.WAV" % (n + 1), o)) for n, o in sounds_of(ours)]
    found, cost = settled(ours, theirs)
    assert others(found) == {n: 100 + n for n in range(1, 6)}
    assert {a.relation for a in (*found.primaries, *found.backups)} == {Relation.REDUCED}
    assert cost == 4 + 5


def test_so_it_is_where_all_are_of_one_length() -> None:
    """Then the order of the paths says which is compared with which."""
    ours = [primary(n, b"A%d.WAV" % n, audio(n)) for n in range(1, 6)]
    theirs = [coarse(backup(100 + n, b"A%d.WAV" % (n + 1), audio(n))) for n in range(1, 6)]
    found, _ = settled(ours, theirs)
    assert others(found) == {n: 100 + n for n in range(1, 6)}


def sounds_of(ours: list[Recording]) -> list[tuple[int, bytes]]:
    return [(n, audio(n, 3 + n / 10)) for n in (r.id for r in ours)]


def test_without_timecode_each_is_tried_with_what_is_left_over() -> None:
    """All begin at 0, are of one length, and have other names: one has no backup on either side."""
    ours = [primary(n, b"X%d.WAV" % n, audio(n), time_reference=0) for n in (1, 2, 3)]
    theirs = [coarse(backup(100 + n, b"Y%d.WAV" % -n, audio(n), time_reference=0)) for n in (2, 4)]
    found, cost = settled(ours, theirs)
    assert {a.recording: a.other for a in found.primaries if a.relation is Relation.REDUCED} == {
        2: 102
    }
    assert cost == 5


def test_what_is_as_long_without_timecode_is_no_copy_of_what_is_answered() -> None:
    """A recording of the backup only; so it is of a second primary card."""
    ours = [primary(1, b"X1.WAV", audio(1), time_reference=0)]
    theirs = [backup(100 + n, b"Y%d.WAV" % n, audio(n), time_reference=0) for n in (1, 2)]
    found, cost = settled(ours, theirs)
    assert (cost, found.backups[1]) == (0, Counterpart(102, Relation.MISSING))
    second = primary(2, b"Z2.WAV", audio(2), time_reference=0)
    found, cost = settled([*ours, replace(second, load=4)], theirs[:1])
    assert (cost, found.primaries[1]) == (0, Counterpart(2, Relation.MISSING))


def test_what_differs_and_finds_no_other_stays_different() -> None:
    """The same length is no proof: the samples are, and nothing is asked again."""
    ours = [primary(n, b"A%d.WAV" % n, audio(n)) for n in (1, 2)]
    theirs = [coarse(backup(100 + n, b"A%d.WAV" % n, audio(n + 50))) for n in (1, 2)]
    found, cost = settled(ours, theirs)
    assert {a.relation for a in found.primaries} == {Relation.DIFFERENT}
    assert cost <= 4


def test_what_agrees_little_takes_no_other_place() -> None:
    """Very quiet takes lie within the error of 16 bits whatever they hold."""
    ours = [primary(n, b"A%d.WAV" % n, audio(n, 3 + n)) for n in (1, 2)]
    theirs = [coarse(backup(102, b"A1.WAV", audio(50, 5)))]
    apart = Comparison((1,), (102,), Relation.DIFFERENT, 1, 0)
    quiet = Comparison((2,), (102,), Relation.REDUCED, 1, residual_db=40.0, correlation=0.01)
    found = match(ours, theirs, {(o.ours, o.theirs): o for o in (apart, quiet)})
    assert [a.relation for a in found.primaries] == [Relation.DIFFERENT, Relation.MISSING]


def test_two_recorders_with_the_same_names_are_told_by_their_originators() -> None:
    """The first has no backup; the second's is not taken for it."""
    ours = [primary(n, b"T1.WAV", audio(n), **SLATE, originator=f"recorder {n}") for n in (1, 2)]
    theirs = [coarse(backup(102, b"T1.WAV", audio(2), **SLATE, originator="recorder 2"))]
    found, _ = settled(ours, theirs)
    assert others(found) == {1: None, 2: 102}
    cut = [coarse(backup(102, b"T1.WAV", audio(2, 3), **SLATE, originator="recorder 2"))]
    assert others(match(ours, cut)) == {1: None, 2: 102}


def test_a_take_that_goes_on_on_the_next_backup_card() -> None:
    """The first was full. Both together are compared, and neither part is alone."""
    mine = primary(1, b"C.WAV", audio(1), **SLATE)
    theirs = [
        backup(101, b"C_1.WAV", audio(1)[: 2 * SECOND], **SLATE),
        backup(102, b"C_2.WAV", audio(1)[2 * SECOND :], of=3, **behind(2)),
    ]
    sides = (1,), (101, 102)
    assert match([mine], theirs).uncompared == (sides,)
    same = Comparison(*sides, Relation.OTHER_LAYOUT, 1)
    found = match([mine], theirs, {sides: same})
    assert {a.relation for a in (*found.primaries, *found.backups)} == {Relation.OTHER_LAYOUT}
    strange = recording(102, b"C_2.WAV", of=3, audio=audio(9), said={**behind(2), "scene": "7"})
    assert match([mine], [theirs[0], strange]).backups[1] == Counterpart(102, Relation.MISSING)


def behind(seconds: int) -> dict[str, Any]:
    return {**SLATE, "time_reference": START + seconds * SECOND}


def test_an_mp3_beside_its_take_on_the_backup_card_is_no_recording_of_its_own() -> None:
    """It names no recorder: its name must do, and the samples say the rest."""
    mine = primary(1, b"T1.WAV", audio(1), **SLATE, originator="recorder")
    its = backup(101, b"T1.WAV", audio(1), **SLATE, originator="recorder")
    copy = lossy(backup(102, b"T1.MP3", audio(1)))
    found, _ = settled([mine], [its, copy])
    assert [a.relation for a in found.backups] == [Relation.REDUCED, Relation.SAME_AUDIO]
    assert others(found) == {1: 101}
    other, _ = settled([mine], [its, lossy(backup(102, b"T2.MP3", audio(5)))])
    assert other.backups[1].relation is Relation.MISSING


def test_an_mp3_beside_its_take_on_the_primary_card_is_held_by_what_answers_that() -> None:
    """It takes nothing from it; one that holds another take has no backup."""
    ours = [primary(1, b"T1.WAV", audio(1), **SLATE), lossy(primary(2, b"T1.MP3", audio(1)))]
    its = backup(101, b"T1.WAV", audio(1), **SLATE)
    found, cost = settled(ours, [its])
    told = {a.recording: a for a in found.primaries}
    assert (told[2].relation, told[2].others, cost) == (Relation.REDUCED, (101,), 1)
    assert (told[1].relation, found.backups[0].others) == (Relation.SAME_AUDIO, (1,))
    ours[1] = lossy(primary(2, b"T1.MP3", audio(9)))
    found, _ = settled(ours, [its])
    assert {a.recording: a.relation for a in found.primaries}[2] is Relation.MISSING


def monos(number: int, name: bytes, make: Any = primary) -> list[Recording]:
    """Mix, boom and a wireless in files of their own; the mix sounds like `audio(1)`."""
    said = {**SLATE, "scene": "A", "originator": "recorder"}
    return [make(number + n, name % n, audio(n), **said) for n in (1, 2, 3)]


def of_set(ours: Side, theirs: Side) -> Comparison:
    """What samples say of a set's files, the mix first, and an MP3 of the mix."""
    rest = (2, 3) if len(ours) > 1 else ()
    figures = {"residual_db": -20.0, "correlation": 0.9}
    return Comparison(ours, theirs, Relation.REDUCED, 1, channels=rest, **figures)


@pytest.mark.parametrize("name", [b"A1.MP3", b"A1_Mix.MP3", b"other/A1.MP3"])
@pytest.mark.parametrize("members", [b"A1_%d.WAV", b"A1_Tr%d.WAV", b"day/A1-%d.WAV"])
def test_an_mp3_of_the_mix_has_the_name_that_a_mono_set_has_in_common(
    name: bytes, members: bytes
) -> None:
    """On the backup card alone: the mix is of lower quality, the others are missing."""
    ours, copy = monos(0, members), lossy(backup(101, name, audio(1)))
    sides = (1, 2, 3), (101,)
    assert match(ours, [copy]).uncompared == (sides,)
    found = match(ours, [copy], {sides: of_set(*sides)})
    assert [a.relation for a in found.primaries] == [Relation.REDUCED, *[Relation.MISSING] * 2]
    assert (found.primaries[0].residual_db, found.primaries[0].correlation) == (-20.0, 0.9)
    assert found.backups[0].others == (1,)


def test_an_mp3_beside_a_mono_set_on_either_card_is_held_by_the_set() -> None:
    ours, theirs = monos(0, b"A1_%d.WAV"), monos(100, b"A1_%d.WAV", backup)
    copy = lossy(backup(110, b"A1.MP3", audio(1)))
    sides = (1, 2, 3), (110,)
    assert match(ours, [*theirs, copy]).uncompared == (sides,)
    spare = match(ours, [*theirs, copy], {sides: of_set(*sides)}).backups[0]
    assert (spare.recording, spare.relation, spare.other) == (110, Relation.REDUCED, 1)
    copy = lossy(primary(10, b"A1.MP3", audio(1)))
    sides = (10,), (101, 102, 103)
    assert match([*ours, copy], theirs).uncompared == (sides,)
    held = match([*ours, copy], theirs, {sides: of_set(*sides)}).primaries[0]
    assert (held.recording, held.relation, held.others) == (10, Relation.REDUCED, sides[1])


def test_an_mp3_on_a_second_primary_card_is_held_by_what_answers_the_first() -> None:
    """It takes nothing from it; of its own card a file of its name comes first."""
    first = primary(1, b"T1.WAV", audio(1), **SLATE)
    copy = replace(lossy(primary(2, b"T1.MP3", audio(1))), load=3)
    found, cost = settled([first, copy], [backup(101, b"T1.WAV", audio(1), **SLATE)])
    told = {a.recording: a for a in found.primaries}
    assert (told[2].relation, told[2].others, cost) == (Relation.REDUCED, (101,), 1)
    assert found.backups[0].others == (1,)
    own = replace(primary(3, b"T1.WAV", audio(5), **behind(60)), load=3)
    theirs = [backup(101, b"T1.WAV", audio(1), **SLATE)]
    theirs += [backup(105, b"T1.WAV", audio(5), **behind(60))]
    of_own = replace(lossy(primary(2, b"T1.MP3", audio(5))), load=3)
    found, cost = settled([first, of_own, own], theirs)
    assert ({a.recording: a for a in found.primaries}[2].others, cost) == ((105,), 1)


def said_of(ours: list[Recording], theirs: list[Recording]) -> list[Finding]:
    """What a day says once all is compared."""
    known = {r.id: r for r in (*ours, *theirs)}
    third = f.LoadSeen(load(3, Role.BACKUP, identity="uuid:third"))
    facts: Ledger = ledger(cards(), third, taken(*known.values()))
    for _ in range(4):
        wanted = view(facts).uncompared
        facts.apply([f.Compared(truth(known, *pair)) for pair in wanted])
    return list(check(view(facts), facts, settings(), Around()))


def codes(found: list[Finding], *about: int) -> set[str]:
    return {x.code for x in found if x.recording in about}


SAID = {"backup-missing", "take-twice", "only-on-backup", "backup-spare", "primary-reduced"}


def test_of_mp3s_beside_their_takes_nothing_is_said() -> None:
    ours = [primary(1, b"1T1.WAV", audio(1), **SLATE), lossy(primary(2, b"1T1.MP3", audio(1)))]
    theirs = [backup(101, b"1T1.WAV", audio(1), **SLATE)]
    assert not codes(said_of(ours, theirs), 1, 2, 101) & SAID
    theirs += [lossy(backup(102, b"1T1.MP3", audio(1)))]
    assert not codes(said_of(ours, theirs), 1, 2, 101, 102) & SAID
    assert not codes(said_of(ours[:1], theirs), 1, 101, 102) & SAID


def test_of_an_mp3_beside_a_mono_set_no_take_is_there_twice() -> None:
    ours = monos(0, b"1T1_%d.WAV")
    ours = [replace_said(file, scene="1") for file in ours]
    copy = lossy(primary(9, b"1T1.MP3", audio(1)))
    assert "take-twice" not in codes(said_of([*ours, copy], []), 1, 2, 3, 9)
    copy = lossy(primary(9, b"1T1_Mix.MP3", audio(1)))
    assert "take-twice" not in codes(said_of([*ours, copy], []), 1, 2, 3, 9)


def replace_said(file: Recording, **said: Any) -> Recording:
    about = file.description
    return replace(file, description=replace(about, metadata=replace(about.metadata, **said)))


def test_an_mp3_that_is_not_beside_a_better_one_is_told() -> None:
    """One alone has a backup of a higher quality; one on the other backup card is a spare."""
    its = backup(101, b"1T1.WAV", audio(1), **SLATE)
    alone = [lossy(primary(2, b"1T1.MP3", audio(1)))]
    assert codes(said_of(alone, [its]), 2) & {"primary-reduced", "backup-reduced"}
    apart = lossy(backup(102, b"1T1.MP3", audio(1), of=3))
    ours = [primary(1, b"1T1.WAV", audio(1), **SLATE)]
    assert "backup-spare" in codes(said_of(ours, [its, apart]), 102)


def test_a_track_that_the_primary_card_lost_is_no_copy_of_another() -> None:
    """The other files of its set answer, and it has nothing in common with them."""
    said = {**SLATE, "family_uid": "F", "total_files": 3}
    members = [
        (b"T1_%d.WAV" % n, audio(n), {**said, "set_index": f"{n}", "file_uid": f"U{n}"})
        for n in (1, 2, 3)
    ]
    ours = [primary(n, path, sound, **about) for n, (path, sound, about) in enumerate(members[:2])]
    theirs = [backup(100 + n, p, sound, **about) for n, (p, sound, about) in enumerate(members)]
    found, _ = settled(ours, theirs)
    assert [a.relation for a in found.backups] == [
        Relation.SAME_AUDIO,
        Relation.SAME_AUDIO,
        Relation.MISSING,
    ]


def test_a_weaker_file_of_another_day_does_not_take_the_place_of_its_own_days() -> None:
    """An MP3 of the mix has no date, so it is of the day on which it was seen."""
    mine = primary(1, b"F.WAV", audio(1), **SLATE)
    its = coarse(backup(101, b"F.WAV", audio(1), **SLATE))
    weak = Counterpart(1, Relation.REDUCED, 900, None, (900,), (2, 3), residual_db=-15.0)
    beyond = Beyond(answers={1: weak})
    sides = (1,), (101,)
    told = match([mine], [its], {}, (), beyond)
    assert (told.primaries[0].other, told.uncompared) == (900, (sides,))
    same = Comparison(*sides, Relation.REDUCED, 1, residual_db=-60.0, correlation=1.0)
    told = match([mine], [its], {sides: same}, (), beyond)
    assert told.primaries[0].others == (101,)
    worse = replace(same, channels=(1,), relation=Relation.DIFFERENT)
    assert match([mine], [its], {sides: worse}, (), beyond).primaries[0].others == (900,)
