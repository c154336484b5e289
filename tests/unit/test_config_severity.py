"""The config's [severity] section, and the other keys that are about takes."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from takehold.formats.config import ConfigError, read_config
from takehold.formats.config_severity import FIRM, FREE
from takehold.model.finding import Severity
from takehold.model.settings import Settings

LEAST = """
[[source]]
name = "primary"
role = "primary"
label = "SND_A*"
[[destination]]
name = "one"
label = "SHUTTLE_1"
[[destination]]
name = "two"
label = "SHUTTLE_2"
"""
PROBLEMS = Path(__file__).parents[2] / "docs" / "problems.md"


def config(top: str = "", section: str = "") -> Settings:
    return read_config(f'production = "Lantern Bay"\n{top}\n{section}{LEAST}', "takehold.toml")


def complaint(top: str = "", section: str = "") -> str:
    with pytest.raises(ConfigError) as caught:
        config(top, section)
    (says,) = caught.value.complaints
    return says


def test_severities_arrive_sorted_by_code():
    made = config(section='[severity]\ntake-twice = "note"\nset-incomplete = "look"\n')
    assert made.severities == (
        ("set-incomplete", Severity.LOOK),
        ("take-twice", Severity.NOTE),
    )
    assert config().severities == ()


@pytest.mark.parametrize("code", sorted(FREE))
@pytest.mark.parametrize("word", list(Severity))
def test_what_is_about_the_recordings_takes_any(code: str, word: Severity):
    assert config(section=f'[severity]\n{code} = "{word}"\n').severities == ((code, word),)


@pytest.mark.parametrize("code", sorted(FIRM))
def test_what_is_about_copies_and_reads_can_be_made_graver_only(code: str):
    """No config makes a day READY of which something is not proven."""
    assert config(section=f'[severity]\n{code} = "hold"\n').severities[0][1] is Severity.HOLD
    for word in ("look", "note"):
        says = complaint(section=f'[severity]\n{code} = "{word}"\n')
        assert says.endswith('can be made graver only: takes "hold"')


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ('set-incomplet = "look"', "unknown code: the nearest known one is set-incomplete"),
        ('zzzz = "look"', 'zzzz = "look": no such code: takes "hold", "look" or "note"'),
        ('set-incomplete = "bad"', 'takes "hold", "look" or "note"'),
        ("set-incomplete = 1", 'set-incomplete = 1: takes "hold", "look" or "note"'),
        ('set-incomplete = ["note"]', 'takes "hold", "look" or "note"'),
        ('set-incomplete = "NOTE"', 'takes "hold", "look" or "note"'),
    ],
)
def test_another_one_is_refused_with_its_line(line: str, says: str):
    told = complaint(section=f"[severity]\n{line}\n")
    assert told.startswith("takehold.toml, line 4: [severity] ")
    assert says in told


def test_it_is_a_section():
    assert "severity = 3: takes a [severity] section" in complaint("severity = 3")
    assert "the nearest known one is severity" in complaint("severities = 3")


def test_every_finding_of_the_page_is_one_or_the_other():
    """What docs/problems.md tells of recordings, takes and backup cards can be named."""
    text = PROBLEMS.read_text("utf-8")
    sections = dict(re.findall(r"^## (.+)\n((?:(?!## ).*\n)*)", text, re.MULTILINE))
    titles = ("Against the backup card", "The files themselves", "Takes and the day")
    told = {c for t in titles for c in re.findall(r"^\| `([a-z-]+)` \|", sections[t], re.MULTILINE)}
    assert told - FREE - FIRM == set()
    everywhere = set(re.findall(r"^\| `([a-z-]+)` \|", text, re.MULTILINE))
    assert everywhere >= FREE | FIRM


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("", ("rerec*", "re-rec*")),
        ("rerecorded = []", ()),
        ('rerecorded = ["RR", " again? "]', ("RR", "again?")),
    ],
)
def test_the_words_for_what_was_recorded_again(line: str, words: tuple[str, ...]):
    assert config(line).rerecorded == words


@pytest.mark.parametrize(
    "value", ['"rerec"', "[1]", '[""]', '["*"]', '["??"]', f'["{"x" * 41}"]', str(["x"] * 21)]
)
def test_words_that_would_mark_everything_are_refused(value: str):
    assert complaint(f"rerecorded = {value}").startswith("takehold.toml, line 2: rerecorded = ")


def test_channels_are_expected_by_number():
    assert config(section="[expect]\nchannels = 8\n").expect.channels == 8
    assert "takes a whole number from 1 to 64" in complaint(section="[expect]\nchannels = 0\n")
