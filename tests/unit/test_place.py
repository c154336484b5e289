"""Where a recording goes on a destination: the design's section 6."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planworld import DAY, load
from takehold.decide.place import PLACE_BYTES, beside, card_folder, day_folder, place_of
from takehold.formats.names import cut_folders, good_relative, same_key


def place(path: bytes, version: int = 1, taken: tuple[bytes, ...] = ()) -> bytes:
    keys = {same_key(p) for p in taken}
    return place_of("Lantern Bay", DAY, b"SND_A1", path, version, keys)


FOLDER = b"Lantern Bay/2031-05-06/SND_A1/"


def test_a_place_is_production_day_card_and_the_path_as_on_the_card() -> None:
    assert place(b"DAY01/S01T01.WAV") == FOLDER + b"DAY01/S01T01.WAV"


def test_a_later_edit_stands_beside_with_the_same_ending() -> None:
    assert place(b"A/T01.WAV", 2) == FOLDER + b"A/T01.edit-2.WAV"
    assert place(b"A/NOTES", 3) == FOLDER + b"A/NOTES.edit-3"
    assert place(b".wav", 2) == FOLDER + b".wav.edit-2"


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        (b"T01.wav", b"T01.WAV", b"T01.other-2.WAV"),
        ("T\u00e9.wav".encode(), "Te\u0301.wav".encode(), "Te\u0301.other-2.wav".encode()),
        (b"STRASSE.wav", "stra\u00dfe.wav".encode(), "stra\u00dfe.other-2.wav".encode()),
    ],
)
def test_names_that_meet_in_case_or_unicode_form_get_places_apart(
    first: bytes, second: bytes, expected: bytes
) -> None:
    """Two files of a card that many file systems could not hold in one folder (P2)."""
    assert place(second, taken=(place(first),)) == FOLDER + expected


def test_a_card_that_names_a_file_like_our_edit_takes_nothing_away() -> None:
    """The card's own T01.edit-2.WAV came first; the edit gets a place of its own."""
    theirs = place(b"T01.edit-2.WAV")
    assert place(b"T01.WAV", 2, (theirs,)) == FOLDER + b"T01.edit-2.other-2.WAV"


def test_a_third_file_of_that_name_is_counted_on() -> None:
    taken = (FOLDER + b"t.wav", FOLDER + b"t.other-2.wav")
    assert place(b"T.wav", taken=taken) == FOLDER + b"T.other-3.wav"


@pytest.mark.parametrize(
    ("label", "before", "expected"),
    [
        ("SND_A1", (), b"SND_A1"),
        ("SND_A1", (b"SND_A1",), b"SND_A1.load-2"),
        ("SND_A1", (b"snd_a1", b"SND_A1.load-2"), b"SND_A1.load-3"),
        ("", (), b"CARD"),
        ("", (b"CARD",), b"CARD.load-2"),
        ("../up", (), b"..%2Fup"),
        ("..", (), b".%2E"),
        ("NUL", (), b"%4EUL"),
        ("A\udcff", (), b"A%FF"),
    ],
)
def test_a_cards_folder(label: str, before: tuple[bytes, ...], expected: bytes) -> None:
    """Its label, made safe; the second load of a day is told apart."""
    loads = [load(n, folder=folder) for n, folder in enumerate(before, 1)]
    assert card_folder(label, DAY, loads) == expected


def test_another_days_card_of_that_label_is_not_in_the_way() -> None:
    assert card_folder("SND_A1", "2031-05-07", [load()]) == b"SND_A1"


@pytest.mark.parametrize(
    ("production", "expected"),
    [
        ("Lantern Bay", b"Lantern Bay"),
        ("Who? / What", b"Who%3F %2F What"),
        ("AC\\DC: live", b"AC%5CDC%3A live"),
        ("The End.", b"The End%2E"),
        ("..", b".%2E"),
        ("con", b"%63on"),
        ("100%", b"100%"),
        ("Caf\u00e9", "Caf\u00e9".encode()),
        ("a\nb", b"a%0Ab"),
    ],
)
def test_a_production_may_have_any_name(production: str, expected: bytes) -> None:
    """What exFAT and NTFS refuse is encoded; the rule and its sources are in formats/names.py."""
    assert day_folder(production, DAY) == expected + b"/2031-05-06"


@pytest.mark.parametrize(
    "name", [b"T01.WAV", b"A.B/T01", b"x" * 250 + b".wav", b".takehold-x.part"]
)
def test_beside_changes_the_last_part_only(name: bytes) -> None:
    made = beside(b"F/" + name, b"edit", 2)
    assert made != b"F/" + name
    assert made.rpartition(b"/")[0] == (b"F/" + name).rpartition(b"/")[0]


def test_a_path_that_is_too_long_as_a_whole_gets_one_folder_for_all_of_its_own() -> None:
    """Each keeps its name, and what lay together lies together; one that just fits stays."""
    deep = b"/".join([b"\xff" * 60] * 30)
    made = place(deep + b"/T01.WAV")
    assert len(made) < 100
    assert made.startswith(FOLDER + b"%~")
    assert made.endswith(b"/T01.WAV")
    assert place(deep + b"/T02.WAV").rpartition(b"/")[0] == made.rpartition(b"/")[0]
    assert place(b"A/" + deep + b"/T01.WAV") != made
    assert place(deep + b"/T01.WAV", 2) == made.replace(b".WAV", b".edit-2.WAV")
    room = PLACE_BYTES - len(FOLDER)
    fits = b"/".join([b"d" * 99] * 12)[: room - 6] + b"/T.WAV"
    assert place(fits) == FOLDER + fits
    assert place(b"d" + fits) == FOLDER + cut_folders(b"d" + fits)


PARTS = st.one_of(st.binary(min_size=1, max_size=40), st.sampled_from([b"..", b"a", b"A", b"CON"]))
PATHS = st.lists(PARTS.map(lambda p: p.replace(b"/", b"")), min_size=1, max_size=3).map(b"/".join)


@given(st.text(max_size=20), st.lists(st.tuples(PATHS, st.integers(1, 3)), max_size=8))
def test_places_never_leave_their_folder_and_never_meet(
    production: str, files: list[tuple[bytes, int]]
) -> None:
    """Whatever a card holds (P2, P10)."""
    production = production.encode("utf-8", "ignore").decode()
    taken: set[str] = set()
    for path, version in files:
        made = place_of(production, DAY, b"C", path, version, taken)
        assert good_relative(made)
        assert made.startswith(day_folder(production, DAY) + b"/C/")
        assert same_key(made) not in taken
        taken.add(same_key(made))
