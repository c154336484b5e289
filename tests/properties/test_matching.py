"""Matching two random cards: the order never matters, and no answer is stronger than the truth."""

from __future__ import annotations

from functools import cache

from hypothesis import given
from hypothesis import strategies as st

from planworld import SECOND, recording
from takehold.decide.match import match as match_cards
from takehold.formats.names import same_key
from takehold.model.finding import Counterpart, Relation
from takehold.model.recording import Recording


def match(ours: list[Recording], theirs: list[Recording]) -> tuple[Counterpart, ...]:
    return match_cards(ours, theirs).primaries


PATHS = (b"A/T1.WAV", b"B/T1.WAV", b"A/T2.WAV", b"a/t2.wav", b"T3.WAV")
# A second of each kind, and an end that fills no block.
PIECES = {"x": b"x" * SECOND, "y": b"y" * SECOND, "t": b"t" * 7}

ENDS = st.sampled_from(["", "t"])
AUDIO = st.builds(lambda a, b: a + b, st.text("xy", max_size=3), ENDS)
FILES = st.lists(
    st.tuples(
        st.sampled_from(PATHS),
        st.one_of(st.none(), AUDIO),
        st.sampled_from([b"", b"edited"]),
        st.sampled_from(["", "", "U1", "U2"]),
        st.sampled_from([True, True, True, False]),
    ),
    max_size=7,
)


def heard(word: str | None) -> bytes | None:
    """The audio that a word stands for."""
    return None if word is None else b"".join(PIECES[letter] for letter in word)


@cache
def made(of: int, path: bytes, word: str | None, head: bytes, uid: str, read: bool) -> Recording:
    return recording(
        1, path, of=of, audio=heard(word), head=head, read=read, said={"file_uid": uid}
    )


def card(of: int, files: list[tuple]) -> dict[int, tuple[Recording, str | None, bytes]]:
    """Recordings of a card by their number, with what is true of them."""
    found = {}
    for number, (path, word, head, uid, read) in enumerate(files, of * 100):
        base = made(of, path, word, head, uid, read)
        mine = recording(number, path, of=of, description=base.description, readings=base.readings)
        found[number] = (mine, word, head)
    return found


@given(FILES, FILES, st.randoms(use_true_random=False))
def test_the_order_of_the_files_does_not_matter(first: list, second: list, chance) -> None:
    one = [r for r, _, _ in card(1, first).values()]
    other = [r for r, _, _ in card(2, second).values()]
    before = match(one, other)
    chance.shuffle(one)
    chance.shuffle(other)
    assert match(one, other) == before


@given(FILES, FILES)
def test_one_to_one_and_everyone_is_answered(first: list, second: list) -> None:
    primaries, backups = card(1, first), card(2, second)
    found = match([r for r, _, _ in primaries.values()], [r for r, _, _ in backups.values()])
    assert {x.recording for x in found} == primaries.keys()
    used = [x.other for x in found if x.other is not None]
    assert len(set(used)) == len(used)
    assert set(used) <= backups.keys()
    assert all((x.other is None) == (x.relation is Relation.MISSING) for x in found)


@given(FILES, FILES)
def test_no_relation_is_stronger_than_the_truth(first: list, second: list) -> None:
    primaries, backups = card(1, first), card(2, second)
    found = match([r for r, _, _ in primaries.values()], [r for r, _, _ in backups.values()])
    for answer in found:
        if answer.other is not None:
            truth(answer, primaries[answer.recording], backups[answer.other])


def truth(answer: Counterpart, mine: tuple, its: tuple) -> None:
    """What must be so for the relation to be said."""
    (one, word, head), (other, its_word, its_head) = mine, its
    audio, its_audio = heard(word), heard(its_word)
    read = bool(one.readings and other.readings)
    match answer.relation:
        case Relation.IDENTICAL:
            assert read
            assert (audio or b"", head) == (its_audio or b"", its_head)
        case Relation.SAME_AUDIO:
            assert read
            assert audio == its_audio
        case Relation.SHORT:
            assert read
            assert audio is not None
            assert its_audio is not None
            whole = len(its_audio) // SECOND * SECOND
            assert audio.startswith(its_audio[:whole])
            assert answer.frames == len(audio) - len(its_audio) > 0
        case Relation.LONGER:
            assert read
            assert audio is not None
            assert its_audio is not None
            assert its_audio.startswith(audio[: len(audio) // SECOND * SECOND])
            assert answer.frames == len(its_audio) - len(audio) > 0
        case Relation.DIFFERENT:
            assert read
            assert (audio, head) != (its_audio, its_head)
            if answer.frames:
                assert audio is not None
                assert its_audio is not None
                assert audio[: answer.frames] == its_audio[: answer.frames]
        case Relation.UNREAD:
            assert not read
        case _:
            raise AssertionError(answer)


@given(FILES, FILES)
def test_no_stronger_answer_is_left_lying(first: list, second: list) -> None:
    """An unused backup file is no better answer than the one that was given."""
    primaries, backups = card(1, first), card(2, second)
    found = match([r for r, _, _ in primaries.values()], [r for r, _, _ in backups.values()])
    unused = set(backups) - {x.other for x in found}
    for answer in found:
        mine = primaries[answer.recording][0]
        for other in (backups[number][0] for number in unused):
            if answer.relation is not Relation.IDENTICAL:
                assert mine.digests is None or mine.digests != other.digests
            if answer.relation is Relation.MISSING:
                assert same_key(mine.path) != same_key(other.path)
