"""Has the machine slept, was its clock set, and what is said of it?"""

from __future__ import annotations

SECOND_NS = 10**9
# Two clocks cannot be read in one instant; no machine goes to sleep and wakes in less.
LEAST_NS = SECOND_NS // 10
# A clock that is kept right over the network is moved by less.
MOVED_S = 60


def slept(before_ns: int, now_ns: int) -> int:
    """How many ns the machine slept between two counts of `Clock.asleep_ns`; 0 for not at all."""
    span = now_ns - before_ns
    return span if span >= LEAST_NS else 0


def sentence(slept_ns: int, interrupted: bool, copied_again: int) -> str:
    """What a person is told after a sleep. `interrupted`: whether any work was under way."""
    what = "nothing was at work"
    if copied_again:
        what = "1 file is" if copied_again == 1 else f"{copied_again} files are"
        what += " copied again from the first byte"
    elif interrupted:
        what = "what was at work is begun again"
    return (
        f"The laptop slept for {in_words(slept_ns)}. "
        f"Each card and drive is identified anew; {what}."
    )


def clock_moved(before_s: int, now_s: int) -> str:
    """What is said when the wall clock ran away from the steady one; "" if it did not.

    Both are seconds by which the wall clock is ahead of all that has gone by.
    """
    span = now_s - before_s
    if abs(span) < MOVED_S:
        return ""
    where = "ahead" if span > 0 else "back"
    return (
        f"The laptop's clock was set {where} by {in_words(abs(span) * SECOND_NS)}. "
        "What names no date of its own goes to the day that it says."
    )


def in_words(span_ns: int) -> str:
    """A span of time: "2 h 3 min", "3 min 4 s", "5 s"."""
    minutes, seconds = divmod(round(span_ns / SECOND_NS), 60)
    hours, rest = divmod(minutes, 60)
    if hours:
        return f"{hours} h {rest} min"
    return f"{minutes} min {seconds} s" if minutes else f"{seconds} s"
