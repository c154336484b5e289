"""Two takes that were paired: what a comparison of them, and their blocks, say of each file."""

from __future__ import annotations

from dataclasses import replace

from planworld import SECOND, cards, copied, ledger, recording, settings, taken, target, view
from takehold.decide.check import Around, check
from takehold.decide.unit import Unit
from takehold.decide.weighing import weigh
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.finding import Relation
from takehold.model.recording import Recording

LONG = bytes(range(1, 251)) * 800
BEGIN = 36_000 * SECOND


def flipped(audio: bytes, at: int) -> bytes:
    """The same with one bit of another sample."""
    return audio[:at] + bytes([audio[at] ^ 1]) + audio[at + 1 :]


def part(number: int, of: int, nth: int, audio: bytes) -> Recording:
    """A part of four seconds and a bit; the next one begins with the sample after its last."""
    said = {"time_reference": BEGIN + nth * len(LONG), "scene": "1", "take": "1"}
    return recording(number, b"A_%d.WAV" % nth, of=of, audio=audio, said=said, head=b"%d" % of)


def parts(of: int, *audio: bytes) -> tuple[Recording, ...]:
    return tuple(part(of * 100 + nth, of, nth, one) for nth, one in enumerate(audio))


def both(*theirs: bytes) -> tuple[Unit, Unit, Comparison]:
    """A take in parts, what the backup has of them, and where a comparison stopped."""
    ours = Unit(tuple((p,) for p in parts(1, *(LONG for _ in theirs))))
    backup = Unit(tuple((p,) for p in parts(2, *theirs)))
    return ours, backup, Comparison(ours.side, backup.side, Relation.DIFFERENT, 9, 7, channels=(1,))


def test_of_later_parts_the_blocks_say_where_they_differ() -> None:
    """The comparison stopped in the first one."""
    ours, theirs, found = both(flipped(LONG, 7), flipped(LONG, 2 * SECOND + 9))
    answers, wanted = weigh(ours, theirs, {(ours.side, theirs.side): found})
    told = [(a.relation, a.frames) for a in answers]
    assert told == [(Relation.DIFFERENT, 7), (Relation.DIFFERENT, 2 * SECOND)]
    assert not wanted


def test_a_later_part_with_the_same_audio_is_not_called_different() -> None:
    ours, theirs, found = both(flipped(LONG, 7), LONG)
    answers, _ = weigh(ours, theirs, {(ours.side, theirs.side): found})
    assert [a.relation for a in answers] == [Relation.DIFFERENT, Relation.OTHER_LAYOUT]


def test_blocks_say_nothing_of_a_part_that_the_backup_begins_elsewhere() -> None:
    """Both cards cut the take into parts of the same names, at other places."""
    ours, _, found = both(LONG, LONG)
    cut = 3 * SECOND
    first, second = parts(2, flipped(LONG, 7)[:cut], LONG[cut:] + LONG)
    begins = second.description.metadata.time_reference
    assert begins is not None
    at = replace(second.description.metadata, time_reference=begins - len(LONG) + cut)
    second = replace(second, description=replace(second.description, metadata=at))
    theirs = Unit(((first,), (second,)))
    answers, _ = weigh(ours, theirs, {(ours.side, theirs.side): found})
    told = [(a.relation, a.frames) for a in answers]
    assert told == [(Relation.DIFFERENT, 7), (Relation.DIFFERENT, None)]


def in_pairs(of: int, *audio: tuple[bytes, bytes]) -> Unit:
    """A take in parts of two mono files each."""
    made = [
        tuple(
            replace(part(of * 100 + nth * 2 + n, of, nth, one), path=b"A_%d_%d.WAV" % (nth, n))
            for n, one in enumerate(pair)
        )
        for nth, pair in enumerate(audio)
    ]
    return Unit(tuple(made))


def of_second_pair(ours: tuple[bytes, bytes], theirs: tuple[bytes, bytes]) -> list[Relation]:
    """What is said of the second part, where the comparison stopped in the first on both tracks."""
    wrong = flipped(LONG, 7)
    mine, its = in_pairs(1, (LONG, LONG), ours), in_pairs(2, (wrong, wrong), theirs)
    relation = Relation.DIFFERENT
    found = Comparison(mine.side, its.side, relation, 9, 7, channels=(1, 2))
    answers, _ = weigh(mine, its, {(mine.side, its.side): found})
    return [a.relation for a in answers[2:]]


def test_a_later_part_is_whole_whose_channels_are_there_in_any_order() -> None:
    other = LONG[::-1]
    assert of_second_pair((LONG, other), (other, LONG)) == [Relation.OTHER_LAYOUT] * 2


def test_of_two_equal_channels_of_a_later_part_the_backup_must_hold_two() -> None:
    """One of them has gone wrong there, and nobody knows which."""
    told = of_second_pair((LONG, LONG), (LONG, flipped(LONG, 9)))
    assert told == [Relation.DIFFERENT] * 2


def without_blocks(file: Recording) -> Recording:
    """As a rebuilt catalogue knows it."""
    (read,) = file.readings
    assert read.sound
    return replace(file, readings=(read._replace(sound=replace(read.sound, blocks=b"")),) * 2)


def test_without_blocks_the_part_that_tells_it_is_named() -> None:
    ours, theirs, found = both(flipped(LONG, 7), flipped(LONG, 9))
    files = [without_blocks(file) for file in (*ours.files, *theirs.files)]
    there = [fact for file in files for fact in copied(file, target("a"), target("b"))]
    known = ledger(cards(), taken(*files), there, [f.Compared(found)])
    says = {
        x.recording: x.says
        for x in check(view(known), known, settings(), Around())
        if x.code == "backup-different"
    }
    assert says == {
        100: "SND_A1/A_0.WAV: the backup's recording of it holds other audio, from 10:00:00:00 on.",
        101: "SND_A1/A_1.WAV: the backup's recording of it may hold other audio, too: the"
        " comparison ended at what is told of SND_A1/A_0.WAV.",
    }
