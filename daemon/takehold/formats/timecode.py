"""Timecode and sample counts, in exact integers (labels as in SMPTE ST 12-1).

A drop-frame label leaves out the first 2 numbers (4 at a nominal 60) of every minute that is no
multiple of ten. At a nominal 30 that is 17,982 labels in ten minutes.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache

from takehold.model.sound import Rate

_NAMES = {
    "23.976": Fraction(24000, 1001),
    "24": Fraction(24),
    "25": Fraction(25),
    "29.97": Fraction(30000, 1001),
    "30": Fraction(30),
    "47.952": Fraction(48000, 1001),
    "48": Fraction(48),
    "50": Fraction(50),
    "59.94": Fraction(60000, 1001),
    "60": Fraction(60),
}
_DROPPED = {30: 2, 60: 4}  # by nominal rate, in each minute but every tenth
_NEAR = Fraction(1, 200)  # "23.98" means 24000/1001; 24 is further away
_LABEL = re.compile(r"([0-9]{2}):([0-9]{2}):([0-9]{2})[:;.,]([0-9]{2})")
_RATE = re.compile(
    r"([0-9]{1,9}(?:[.][0-9]{1,9}|/0*[1-9][0-9]{0,8})?)[ _-]?(NDF|ND|DF|D)?", re.IGNORECASE
)


@lru_cache(maxsize=1024)  # a take is told, and each of its files
def label(samples: int, sample_rate: int, rate: Rate) -> str:
    """The label of the frame in which the sample lies, modulo the timecode day.

    `samples` counts since midnight at `sample_rate` Hz. One sample of slack, because recorders
    round a frame's start up or down: floor((samples + 1) * fps / sample_rate).
    """
    frame = (samples + 1) * rate.numerator // (rate.denominator * sample_rate)
    return label_of_frame(frame, rate)


def label_of_frame(frame: int, rate: Rate) -> str:
    """The label of a frame counted from midnight, modulo the labels of a day."""
    seconds, frames = divmod(_number(frame, rate), _nominal(rate))
    mark = ";" if _dropped(rate) else ":"
    return f"{_clock(seconds)}{mark}{frames:02}"


def seconds_shown(samples: int, sample_rate: int, rate: Rate) -> Fraction:
    """What the labels show at a sample, in seconds, exact: 36,000 at 10:00:00:00 of any rate.

    So timecode is compared that was counted at two rates; `samples` since midnight, in Hz.
    """
    frames = Fraction(samples * rate.numerator, sample_rate * rate.denominator)
    whole = int(frames)
    return (_number(whole, rate) + frames - whole) / _nominal(rate)


def samples_when(seconds: Fraction, sample_rate: int, rate: Rate) -> Fraction:
    """The sample at which the labels show that: the inverse of `seconds_shown`.

    At a label that drop-frame leaves out it is the sample of the next one that there is.
    """
    nominal, dropped = _nominal(rate), _dropped(rate)
    number = seconds * nominal
    minutes, within = divmod(int(number), 60 * nominal)
    if minutes % 10 and within < dropped:
        number = Fraction(minutes * 60 * nominal + dropped)
    frames = number - dropped * (minutes - minutes // 10)
    return frames * sample_rate * rate.denominator / rate.numerator


@lru_cache(maxsize=64)  # asked for each take, of the few rates of a production
def day_samples(sample_rate: int, rate: Rate | None) -> int:
    """Samples of a timecode day, rounded: where TimeReference begins anew at the label midnight.

    24 hours where no rate is known; at 23.976 and 29.97 the labels of a day last longer than that.
    """
    if rate is None:
        return 86_400 * sample_rate
    labels = 144 * (600 * _nominal(rate) - 9 * _dropped(rate))
    return round(Fraction(labels * rate.denominator * sample_rate, rate.numerator))


@lru_cache(64)
def rate_named(text: str) -> Rate | None:
    """The rate meant by "25", "29.97df", "24000/1001" or bext's "023.976-ND"; None if unknown.

    Drop-frame exists at the nominal rates 30 and 60 only.
    """
    match = _RATE.fullmatch(text.strip())
    if match is None:
        return None
    asked = Fraction(match[1])
    fps = next((known for known in _NAMES.values() if abs(known - asked) < _NEAR), None)
    if fps is None:
        return None
    rate = Rate(fps.numerator, fps.denominator, (match[2] or "").upper() in ("D", "DF"))
    return None if rate.drop and not _dropped(rate) else rate


def rate_name(rate: Rate) -> str:
    """The rate as people write it: "23.976", "29.97df"."""
    name = next((name for name, fps in _NAMES.items() if fps == rate.fps), str(rate.fps))
    return name + ("df" if rate.drop else "")


def _number(frame: int, rate: Rate) -> int:
    """The count of labels before that of a frame, those that drop-frame leaves out as well."""
    nominal, dropped = _nominal(rate), _dropped(rate)
    ten_minutes, minute = 600 * nominal - 9 * dropped, 60 * nominal - dropped
    frame %= 144 * ten_minutes
    tens, rest = divmod(frame, ten_minutes)
    number = frame + 9 * dropped * tens
    return number + dropped * ((rest - dropped) // minute) if rest >= dropped else number


def _clock(seconds: int) -> str:
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02}:{minutes:02}:{seconds:02}"


def _nominal(rate: Rate) -> int:
    """The count of labels in a second: 24 at 23.976."""
    return -(-rate.numerator // rate.denominator)


def _dropped(rate: Rate) -> int:
    return _DROPPED.get(_nominal(rate), 0) if rate.drop else 0
