"""Take numbers behind letters, as of wild tracks: counted in each scene, or on through the day."""

from __future__ import annotations

from dataclasses import replace

import pytest

from takehold.model.recording import Recording
from takehold.model.sound import Kind
from takeworld import HZ, MORNING, found_on, wav

DAY = ("42 1", "42 2", "42A 1", "42A 2", "43 1", "44 1")


def rolled(*slates: str, types: tuple[str, ...] = ()) -> list[Recording]:
    """A take a minute of each scene and take, `types` told of those behind letters."""
    return [
        wav(n, b"%d.WAV" % n, *slate.split(), MORNING + n * 60 * HZ,
            types=types if slate.split()[1][0].isalpha() else ())
        for n, slate in enumerate(slates, 1)
    ]  # fmt: skip


def told(*slates: str, types: tuple[str, ...] = ()) -> list[str]:
    return [x.says for x in found_on(rolled(*slates, types=types)) if x.code == "take-numbers"]


@pytest.mark.parametrize("types", [(), ("WILD_TRACK",)])
@pytest.mark.parametrize(
    "wild",
    [
        ("42 WT1", "42A WT2", "43 WT3"),
        ("42 WT1", "43 WT2"),
        ("42 WT1", "42 WT2", "43 WT3", "43 WT4"),
        ("42 WT7", "43 WT8"),
        ("42 WT1", "43 WT1", "44 WT1", "44 WT2"),
    ],
)
def test_a_count_of_their_own_that_goes_on_or_begins_anew_leaves_nothing_out(
    wild: tuple[str, ...], types: tuple[str, ...]
):
    assert told(*DAY, *wild, types=types) == []


@pytest.mark.parametrize(
    ("wild", "says"),
    [
        (("42 WT1", "42A WT2", "43 WT4", "44 WT5"),
         "primary has no take WT3; they are counted on from scene to scene."),
        (("42 WT1", "42 WT2", "43 WT2"), "primary: scene 43 has no take WT1."),
        (("42 WT1", "43 WT1", "44 WT2"), "primary: scene 44 has no take WT1."),
        (("42 WT2",), "primary: scene 42 has no take WT1."),
        (("42 WT1", "43 WT3"), "primary: scene 43 has no takes WT1, WT2."),
    ],
)  # fmt: skip
def test_what_such_a_count_leaves_out_is_told(wild: tuple[str, ...], says: str):
    assert told(*DAY, *wild) == [says]


def test_what_is_on_the_backup_card_is_not_missing():
    made = rolled(*DAY, "42 WT1", "42A WT2", "43 WT3", "44 WT4", "44 WT5", "45 WT6")
    lost = made.pop(8)
    beside = replace(lost, id=60, load=2, place=lost.place.replace(b"SND_A1", b"SND_B1"))
    assert "take-numbers" not in {x.code for x in found_on(made, [beside])}


def test_letters_before_all_numbers_are_no_series_beside_them():
    """Then two changes of the scene must show that they go on, as with plain numbers."""
    assert told("1 T1", "2 T2") == ["primary: scene 2 has no take T1."]
    assert told("1 T1", "2 T2", "2 T3", "3 T4") == []


def test_a_wild_track_s_name_tells_it_where_the_file_does_not():
    days = ["9T01", "9T02", "9WT01", "10T01", "10WT02", "10WT03"]
    files = [
        wav(n, f"{name}.WAV".encode(), start=MORNING + n * 60 * HZ) for n, name in enumerate(days)
    ]
    assert [x.says for x in found_on(files) if x.code == "take-numbers"] == []
    assert [x.says for x in found_on(files[:4], files[5:]) if x.code == "take-numbers"] == [
        "primary: scene 10 has no takes WT1, WT2."
    ]


def with_mp3s(slates: dict[str, str], *, but: str = "") -> list[str]:
    """What is told of takes by these names, each but one with an MP3 of its name."""
    files = []
    for n, (name, slate) in enumerate(slates.items(), 1):
        files.append(wav(n, f"{name}.WAV".encode(), *slate.split(), MORNING + n * 60 * HZ))
        mp3 = wav(100 + n, f"MP3/{name}.MP3".encode(), date="", originator="")
        mp3 = replace(mp3, description=replace(mp3.description, kind=Kind.COMPRESSED))
        files += [mp3] if name != but else []
    return [x.says for x in found_on(files) if x.code == "take-numbers"]


def test_an_mp3_of_a_take_counts_nothing():
    """Its name may be read for another scene than the take tells."""
    takes = {f"S10T{n:02}": f"10 {n}" for n in (1, 2, 3, 4)}
    assert with_mp3s(takes, but="S10T02") == []
    assert with_mp3s({name: slate for name, slate in takes.items() if slate != "10 2"}) == [
        "primary: scene 10 has no take 2."
    ]
    wild = {
        "9T01": "9 1",
        "9WT01": "9 WT1",
        "10T01": "10 1",
        "10WT02": "10 WT2",
        "10WT03": "10 WT3",
    }
    assert with_mp3s(wild) == []
