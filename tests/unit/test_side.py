"""decide/side: parts after each other, files beside each other, blocks on their grid."""

from __future__ import annotations

from takehold.decide.side import Laid, Run, blocks, lines, offsets, stretches

DAY = 86_400 * 48_000


def spans(*files: Laid) -> list[list[tuple[int, int]]]:
    return [[(run.begin, run.end) for run in line] for line in lines(files, DAY)]


def test_files_of_one_timecode_lie_beside_each_other() -> None:
    """Two monos and a stereo file are four channels."""
    found = lines([Laid(1, 100, 7), Laid(2, 100, 7), Laid(1, 90, 7)], DAY)
    assert found == (
        (Run(0, 100, 0, 0),),
        (Run(0, 100, 1, 0),),
        (Run(0, 100, 1, 1),),
        (Run(0, 90, 2, 0),),
    )


def test_a_track_goes_on_at_its_place_where_a_part_lacks_another() -> None:
    one = [Laid(1, 100, 7, place) for place in "123"]
    other = [Laid(1, 50, 107, place) for place in "23"]
    found = lines([*one, *other], DAY)
    assert [[run.file for run in line] for line in found] == [[0], [1, 3], [2, 4]]
    twice = [Laid(1, 50, 107, place) for place in "33"]
    assert [[r.file for r in line] for line in lines([*one, *twice], DAY)] == [[0, 3], [1, 4], [2]]


def test_parts_follow_each_other_where_their_timecode_says() -> None:
    """Without a gap, with one, across midnight; never upon each other."""
    assert spans(Laid(1, 100, 7), Laid(1, 50, 107)) == [[(0, 100), (100, 150)]]
    assert spans(Laid(1, 100, 7), Laid(1, 50, 117)) == [[(0, 100), (110, 160)]]
    assert spans(Laid(1, 100, DAY - 60), Laid(1, 50, 40)) == [[(0, 100), (100, 150)]]
    assert spans(Laid(1, 100, 7), Laid(1, 50, 57)) == [[(0, 100), (100, 150)]]


def test_without_timecode_files_of_one_length_are_one_part() -> None:
    """Unless the parts would have other channels then."""
    assert len(lines([Laid(1, 100, None), Laid(1, 100, None)], DAY)) == 2
    assert spans(Laid(1, 100, None), Laid(1, 60, None)) == [[(0, 100), (100, 160)]]
    three = [Laid(1, 100, None), Laid(1, 100, None), Laid(1, 60, None)]
    assert spans(*three) == [[(0, 100), (100, 200), (200, 260)]]


def test_blocks_lie_on_the_grid_since_midnight() -> None:
    """As model/measured has it: the first and the last may be started ones."""
    assert list(blocks(0, 100_000)) == [(0, 48_000), (48_000, 96_000), (96_000, 100_000)]
    assert list(blocks(47_990, 48_020)) == [(0, 10), (10, 48_010), (48_010, 48_020)]
    assert list(blocks(5, 0)) == []


def test_where_a_moment_lies_in_the_other_side() -> None:
    """By timecode, across midnight too, and as if both began together."""
    assert offsets(None, 5, DAY) == (0,)
    assert offsets(5, 5, DAY) == (0,)
    assert offsets(100, 40, DAY) == (60, 0)
    assert offsets(10, DAY - 10, DAY) == (20, 0)


def test_stretches_leave_nothing_out() -> None:
    """Cut at every edge, and into pieces of at most so many frames."""
    assert list(stretches({0, 5, 12}, 4)) == [(0, 4), (4, 5), (5, 9), (9, 12)]
    assert list(stretches(set())) == []
