"""Backup recordings that lie on another shooting day than what they answer."""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import Any

import pytest

from planworld import DAY, SECOND, cards, ledger, load, recording, settings, taken, view
from takehold.decide.astray import beyond
from takehold.decide.match import Beyond
from takehold.decide.standing import DayStanding, Standing
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.finding import Counterpart, Relation
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Role
from takehold.model.sound import Kind
from twocards import Cards

BEFORE, AFTER = "2031-05-05", "2031-05-07"
LONG = bytes(range(1, 251)) * 800  # 200,000 frames: four seconds and a bit
TAKE = Random(7).randbytes(len(LONG))  # no second of it comes again


def on(day: str, made: Recording) -> Recording:
    """The same of another day."""
    about = replace(made.description.metadata, date=day)
    place = made.place.replace(DAY.encode(), day.encode())
    return replace(
        made, day=day, place=place, description=replace(made.description, metadata=about)
    )


def primary(number: int = 1, day: str = DAY, **changes: Any) -> Recording:
    return on(day, recording(number, changes.pop("path", b"T01.WAV"), head=b"a", **changes))


def backup(number: int = 101, day: str = BEFORE, **changes: Any) -> Recording:
    return on(day, recording(number, changes.pop("path", b"T01.WAV"), of=2, head=b"b", **changes))


def known(*files: Recording) -> Ledger:
    return ledger(cards(), taken(*files))


def standing(day: DayStanding, number: int) -> Standing:
    found = day.of(number)
    assert found is not None
    return found


def answer(day: DayStanding, number: int) -> Counterpart:
    found = standing(day, number).answer
    assert found is not None
    return found


@pytest.mark.parametrize("day", [BEFORE, AFTER])
def test_the_same_audio_of_the_day_beside_is_a_backup(day: str) -> None:
    """Seen from both days, and from neither it is missing."""
    facts = known(primary(audio=LONG), backup(day=day, audio=LONG))
    here, there = view(facts), view(facts, day=day)
    assert answer(here, 1).relation is Relation.SAME_AUDIO
    assert answer(here, 1).others == (101,)
    assert answer(there, 101).relation is Relation.SAME_AUDIO
    assert answer(there, 101).others == (1,)
    assert [s.recording.id for s in here.beside] == [101]
    assert [s.recording.id for s in there.beside] == [1]
    assert here.left_open
    assert there.left_open


def test_a_name_alone_is_none() -> None:
    """The same name, beginning and length come again every day: the samples are asked."""
    said = {"time_reference": 36_000 * SECOND, "scene": "1", "take": "1", "file_uid": "U"}
    facts = known(primary(audio=LONG, said=said), backup(audio=LONG[::-1], said=said))
    assert answer(view(facts), 1).relation is Relation.MISSING
    assert answer(view(facts, day=BEFORE), 101).relation is Relation.MISSING
    sides = (1,), (101,)
    assert view(facts).uncompared == (sides,)
    facts.apply([f.Compared(Comparison(*sides, Relation.DIFFERENT, 1, 0))])
    assert answer(view(facts), 1).relation is Relation.MISSING
    assert view(facts).uncompared == ()


@pytest.mark.parametrize(
    "said",
    [
        {"time_reference": 36_000 * SECOND, "scene": "1", "take": "1"},
        {"file_uid": "U"},
        {},  # of an MP3 the name and the length
    ],
)
@pytest.mark.parametrize("day", [BEFORE, AFTER])
def test_a_lower_quality_of_another_day_is_known_by_its_samples(
    said: dict[str, Any], day: str
) -> None:
    """Names, timecode and length say what to compare; what that says is told on both days."""
    facts = known(primary(audio=LONG, said=said), backup(day=day, audio=LONG[::-1], said=said))
    sides = (1,), (101,)
    assert view(facts).uncompared == (sides,)
    facts.apply([f.Compared(Comparison(*sides, Relation.REDUCED, 1, residual_db=-75.0))])
    assert answer(view(facts), 1).relation is Relation.REDUCED
    assert answer(view(facts, day=day), 101).relation is Relation.REDUCED
    assert view(facts).uncompared == view(facts, day=day).uncompared == ()


def test_of_a_mono_set_an_mp3_of_the_mix_has_the_name_that_its_files_have_in_common() -> None:
    said = {"time_reference": 36_000 * SECOND, "scene": "1", "take": "1"}
    ours = [primary(n, path=b"A1_%d.WAV" % n, audio=LONG[n:] + LONG[:n], said=said) for n in (1, 2)]
    copy = backup(path=b"A1_Mix.MP3", audio=LONG[::-1])
    copy = replace(copy, description=replace(copy.description, kind=Kind.COMPRESSED))
    facts = known(*ours, copy)
    sides = (1, 2), (101,)
    assert view(facts).uncompared == (sides,)
    found = Comparison(*sides, Relation.REDUCED, 1, channels=(2,), residual_db=-20.0)
    facts.apply([f.Compared(found)])
    relations = [answer(view(facts), n).relation for n in (1, 2)]
    assert relations == [Relation.REDUCED, Relation.MISSING]
    assert answer(view(facts, day=BEFORE), 101).relation is Relation.REDUCED


@pytest.mark.parametrize("idle", [True, False])
def test_an_idle_track_in_common_is_no_evidence(idle: bool) -> None:
    """Of the same name, beginning and length, and one track of both is the same."""
    made, second = Cards(), [1 if idle else n * 900 + 1 for n in range(40)]
    said = {"scene": "1", "take": "1"}
    for of, step in ((1, 700), (2, 1100)):
        lines = [tuple(n * step + 1 for n in range(40)), tuple(second)]
        made.add(of, "A.WAV", lines, 36_000 * SECOND, number=of, **said)
    facts = known(made.files[1], on(BEFORE, made.files[2]))
    apart = Comparison((1,), (2,), Relation.DIFFERENT, 1, 1, channels=(1,))
    facts.apply([f.Compared(apart)])
    told = Relation.MISSING if idle else Relation.DIFFERENT
    assert answer(view(facts), 1).relation is told


def test_what_is_known_on_its_own_day_is_not_suspected() -> None:
    """Days of MP3: their names come again, and each is answered by its own day's."""
    own = backup(101, DAY, audio=LONG[::-1])
    facts = known(primary(audio=LONG), own, backup(102, BEFORE, audio=LONG[1:] + b"1"))
    good = f.Compared(Comparison((1,), (101,), Relation.REDUCED, 1, residual_db=-75.0))
    facts.apply([good])
    assert view(facts).uncompared == ()
    assert answer(view(facts), 1).others == (101,)


@pytest.mark.parametrize("second", [0, 2, 3])
def test_of_another_day_one_changed_second_is_different(second: int) -> None:
    """Most of its blocks are the same, wherever the other one lies, and whatever its name."""
    changed = bytearray(TAKE)
    changed[second * SECOND + 5] ^= 1
    facts = known(primary(audio=TAKE), backup(audio=bytes(changed), path=b"X.WAV"))
    assert answer(view(facts), 1).relation is Relation.DIFFERENT
    assert answer(view(facts, day=BEFORE), 101).relation is Relation.DIFFERENT


def test_a_changed_sample_is_known_after_the_blocks_were_lost() -> None:
    """A comparison that says where they part is remembered; other audio throughout is not."""
    facts = known(primary(audio=LONG), backup(audio=LONG[::-1], path=b"X.WAV"))
    sides = (1,), (101,)
    facts.apply([f.Compared(Comparison(*sides, Relation.DIFFERENT, 1, 3 * SECOND + 5))])
    assert answer(view(facts), 1).relation is Relation.DIFFERENT
    facts.apply([f.Compared(Comparison(*sides, Relation.DIFFERENT, 1, 5))])
    assert answer(view(facts), 1).relation is Relation.MISSING


def test_the_same_tone_each_day_is_of_the_day_that_all_else_is_of() -> None:
    """Backups dated a day early; each day's tone is taken for that of the day before.

    At the end of the chain one is left: it is no missing one.
    """
    tone = LONG[: 3 * SECOND]
    files = [
        primary(1, DAY, audio=tone),
        primary(2, DAY, audio=LONG + LONG[::-1], path=b"T2.WAV"),
        primary(3, BEFORE, audio=tone, path=b"T3.WAV"),
        backup(101, BEFORE, audio=tone),
        backup(102, BEFORE, audio=LONG + LONG[::-1], path=b"T2.WAV"),
    ]
    facts = known(*files)
    assert answer(view(facts), 1).others == (101,)
    assert answer(view(facts), 1).relation is Relation.SAME_AUDIO
    assert answer(view(facts, day=BEFORE), 3).others == (101,)
    without = known(*files[:4])  # nothing else says whose date is wrong
    assert answer(view(without), 1).relation is Relation.MISSING


def test_a_cut_copy_on_a_second_backup_card_of_another_date_is_no_recording_of_its_own() -> None:
    """As far as whole blocks tell it; else once its samples were compared."""
    own = backup(101, DAY, audio=LONG)
    for cut, asked in ((3 * SECOND, False), (3 * SECOND + 9, True)):
        facts = known(primary(audio=LONG), own, backup(102, BEFORE, audio=LONG[:cut], path=b"X"))
        sides = (1,), (102,)
        assert view(facts, day=BEFORE).uncompared == ((sides,) if asked else ())
        if asked:
            assert answer(view(facts, day=BEFORE), 102).relation is Relation.MISSING
            short = Comparison(*sides, Relation.SHORT, 1, cut, len(LONG) - cut)
            facts.apply([f.Compared(short)])
        assert answer(view(facts, day=BEFORE), 102).relation is Relation.SHORT
        assert answer(view(facts), 1).others == (101,)


def test_silence_is_none() -> None:
    """Digital silence is the same in every take."""
    zeros = bytes([128]) * SECOND * 2  # 8 bit is unsigned
    facts = known(primary(audio=zeros), backup(audio=zeros))
    assert answer(view(facts), 1).relation is Relation.MISSING


def test_a_beginning_with_sound_is_short() -> None:
    facts = known(primary(audio=LONG), backup(audio=LONG[: 3 * SECOND], path=b"X.WAV"))
    found = answer(view(facts), 1)
    assert (found.relation, found.frames) == (Relation.SHORT, len(LONG) - 3 * SECOND)


def test_a_longer_one_says_that_the_primary_is_cut() -> None:
    facts = known(primary(audio=LONG[: 3 * SECOND]), backup(audio=LONG, path=b"X.WAV"))
    assert answer(view(facts), 1).relation is Relation.LONGER


def test_a_beginning_of_silence_is_none() -> None:
    """Only the started block of the shorter one has sound: nothing shows that it is the same."""
    zeros = bytes([128]) * SECOND * 2
    facts = known(primary(audio=zeros + LONG), backup(audio=zeros + LONG[:9]))
    assert answer(view(facts), 1).relation is Relation.MISSING


def test_its_own_day_comes_first() -> None:
    own = backup(101, DAY, audio=LONG)
    facts = known(primary(audio=LONG), own, backup(102, BEFORE, audio=LONG))
    assert answer(view(facts), 1).others == (101,)
    assert answer(view(facts), 101).others == (1,)


def test_a_beginning_on_its_own_day_comes_before_another_days_whole() -> None:
    """A line-up tone is the same every morning."""
    own, cut = primary(1, BEFORE, audio=LONG), backup(101, BEFORE, audio=LONG[: 3 * SECOND])
    facts = known(own, cut, primary(2, DAY, audio=LONG[: 3 * SECOND]))
    assert answer(view(facts, day=BEFORE), 1).relation is Relation.SHORT
    assert answer(view(facts), 2).relation is Relation.MISSING


def test_audio_of_another_day_comes_before_a_name_of_its_own() -> None:
    """The backup's T01 is today's: yesterday's T01 lacks one, and is not called different."""
    yesterday, today = primary(1, BEFORE, audio=LONG[::-1]), primary(2, DAY, audio=LONG)
    facts = known(yesterday, today, backup(101, BEFORE, audio=LONG))
    assert answer(view(facts), 2).relation is Relation.SAME_AUDIO
    assert answer(view(facts, day=BEFORE), 1).relation is Relation.MISSING
    assert view(facts, day=BEFORE).uncompared == ()


def test_one_to_one() -> None:
    """Two takes of the same audio need two files, on whichever side of the day they lie."""
    takes = [primary(n, path=b"T%d.WAV" % n, audio=LONG) for n in (1, 2, 3)]
    facts = known(*takes, backup(101, BEFORE, audio=LONG), backup(102, AFTER, audio=LONG))
    day = view(facts)
    assert [answer(day, n).others for n in (1, 2, 3)] == [(101,), (102,), ()]


def test_two_days_that_want_the_same_file() -> None:
    """It lies before the one and behind the other: what comes after it gets it."""
    one, other = primary(1, BEFORE, audio=LONG), primary(2, AFTER, audio=LONG)
    facts = known(one, other, backup(101, DAY, audio=LONG))
    assert answer(view(facts, day=AFTER), 2).others == (101,)
    assert answer(view(facts, day=BEFORE), 1).others == ()
    assert answer(view(facts), 101).others == (2,)


def test_cards_that_came_in_together_answer_each_other_whatever_their_dates() -> None:
    facts = known(primary(audio=LONG), backup(day="2031-02-11", audio=LONG))
    assert answer(view(facts), 1).others == (101,)
    assert answer(view(facts, day="2031-02-11"), 101).others == (1,)


def test_a_card_of_another_day_further_off_is_not_looked_at() -> None:
    later = f.LoadSeen(load(2, Role.BACKUP, day="2031-02-11"))
    facts = ledger(
        cards(), [later], taken(primary(audio=LONG), backup(101, "2031-02-11", audio=LONG))
    )
    assert answer(view(facts), 1).relation is Relation.MISSING


def test_a_card_on_the_primarys_disk_is_no_backup() -> None:
    same = f.LoadSeen(load(2, Role.BACKUP, disks=load(1).disks))
    facts = ledger(cards(), [same], taken(primary(audio=LONG), backup(audio=LONG)))
    assert answer(view(facts), 1).relation is Relation.MISSING


def test_another_production_is_none_of_it() -> None:
    other = backup(audio=LONG)
    other = replace(other, place=other.place.replace(b"Lantern Bay", b"Elsewhere"))
    assert answer(view(known(primary(audio=LONG), other)), 1).relation is Relation.MISSING


def test_a_day_that_is_answered_leaves_nothing_open() -> None:
    facts = known(primary(audio=LONG), backup(101, DAY, audio=LONG), backup(102, audio=LONG))
    assert beyond(facts, DAY, settings()) == (Beyond(), False)
    assert not view(facts).left_open


def test_what_becomes_known_is_seen() -> None:
    """What a day leaves open is kept between questions, until something of it is new."""
    late = backup(audio=LONG)
    facts = known(primary(audio=LONG), replace(late, readings=()))
    assert answer(view(facts), 1).relation is Relation.MISSING
    facts.apply([f.WasRead(late.id, late.readings[0])])
    assert answer(view(facts), 1).relation is Relation.SAME_AUDIO
    facts.apply([f.Gone(101)])
    assert answer(view(facts), 1).relation is Relation.MISSING


def second(made: Recording, card: int) -> Recording:
    """The same on another card."""
    return replace(made, load=card, place=made.place + b".%d" % card)


def seconds_of(*files: Recording) -> Ledger:
    """Of two primary cards and two backup cards."""
    more = [
        load(n, role, identity=f"uuid:{n}", label=f"C{n}", disks=frozenset({f"{n}"}))
        for n, role in ((4, Role.PRIMARY), (5, Role.BACKUP))
    ]
    return ledger(cards(), [f.LoadSeen(one) for one in more], taken(*files))


@pytest.mark.parametrize("day", [BEFORE, AFTER])
def test_a_second_backup_card_of_the_day_beside_holds_what_is_answered(day: str) -> None:
    """It takes nothing from its own day, and is not the only one that has it."""
    further = second(backup(102, day, audio=LONG), 5)
    facts = seconds_of(primary(audio=LONG), backup(101, DAY, audio=LONG), further)
    there = view(facts, day=day)
    assert answer(there, 102).relation is Relation.OTHER_LAYOUT
    assert answer(there, 102).others == (1,)
    assert [s.recording.id for s in there.beside] == [1]
    assert answer(view(facts), 1).others == (101,)


def test_two_backup_cards_of_the_day_beside() -> None:
    """One answers, the other holds the same."""
    further = second(backup(102, BEFORE, audio=LONG), 5)
    facts = seconds_of(primary(audio=LONG), backup(101, BEFORE, audio=LONG), further)
    assert answer(view(facts), 1).others == (101,)
    there = view(facts, day=BEFORE)
    assert answer(there, 101).relation is Relation.SAME_AUDIO
    assert answer(there, 102).relation is Relation.OTHER_LAYOUT


@pytest.mark.parametrize("day", [BEFORE, AFTER])
def test_a_second_primary_card_of_the_day_beside_has_the_same_backup(day: str) -> None:
    further = second(primary(2, day, audio=LONG), 4)
    facts = seconds_of(primary(audio=LONG), backup(101, DAY, audio=LONG), further)
    there = view(facts, day=day)
    assert answer(there, 2).relation is Relation.SAME_AUDIO
    assert answer(there, 2).others == (101,)
    assert there.backup_seen
    assert answer(view(facts), 101).others == (1,)


def test_a_second_take_of_the_same_card_needs_a_file_of_its_own() -> None:
    """The same card on the day beside is no mirror; and two of the mirror's are two."""
    own = seconds_of(
        primary(audio=LONG), backup(101, DAY, audio=LONG), primary(2, BEFORE, audio=LONG)
    )
    assert answer(view(own, day=BEFORE), 2).relation is Relation.MISSING
    twice = [second(primary(n, BEFORE, path=b"%d" % n, audio=LONG), 4) for n in (2, 3)]
    facts = seconds_of(primary(audio=LONG), backup(101, DAY, audio=LONG), *twice)
    there = view(facts, day=BEFORE)
    assert [len(answer(there, n).others) for n in (2, 3)] == [1, 0]


def test_silence_on_a_second_card_of_the_day_beside_is_none() -> None:
    zeros = bytes([128]) * SECOND * 2
    further = second(primary(2, BEFORE, audio=zeros), 4), second(backup(102, audio=zeros), 5)
    facts = seconds_of(primary(audio=zeros), backup(101, DAY, audio=zeros), *further)
    here = view(facts, day=BEFORE)
    assert answer(here, 2).others in ((), (102,))
    assert here.beside == ()
