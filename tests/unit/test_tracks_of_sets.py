"""Sets of mono files: what is so of one track is told of the file that has it."""

from __future__ import annotations

from takeworld import HZ, MORNING, found_on, monos


def test_a_track_that_was_renamed_is_told_of_its_file() -> None:
    before = monos(1, "4", "1", MORNING, "Mix", "Boom", "Keeper")
    after = monos(11, "4", "2", MORNING + 60 * HZ, "Mix", "Pilot", "Car")
    (found,) = [x for x in found_on(before, after) if x.code == "tracks-changed"]
    assert found.says.startswith(
        "SND_A1/4-T2_2.wav, 4-T2_3.wav: track 2 was Boom and is Pilot, track 3 was Keeper and is "
    )
    assert found.recording == after[1].id
