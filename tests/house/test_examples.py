"""The example configs are configs, and docs/config.md tells every key there is."""

import glob
import os
import re

import pytest

from takehold.formats.config import read_config
from takehold.formats.config_rules import SECTIONS
from takehold.model.settings import Settings

HOUSE = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
EXAMPLES = sorted(glob.glob(os.path.join(HOUSE, "config", "*.toml")))


def text_of(*parts):
    with open(os.path.join(HOUSE, *parts), encoding="utf-8") as file:
        return file.read()


@pytest.mark.parametrize("path", EXAMPLES, ids=os.path.basename)
def test_each_example_is_a_config(path):
    assert isinstance(read_config(text_of(path), path), Settings)


def test_there_is_an_example_for_cards_and_one_for_a_watch_folder():
    assert {os.path.basename(path) for path in EXAMPLES} >= {"two-cards.toml", "watch-folder.toml"}


def test_the_document_names_every_key_and_no_other():
    named = set(re.findall(r"^\| `(\w+)` \|", text_of("docs", "config.md"), re.MULTILINE))
    assert named == {key.name for keys in SECTIONS.values() for key in keys}


def test_the_documents_defaults_are_the_settings():
    """Each default in the table is what a config without the key gives."""
    least = re.search(r"## The least that does\n\n((?:    .*\n|\n)+)", text_of("docs", "config.md"))
    settings = read_config(re.sub(r"^    ", "", least[1], flags=re.MULTILINE), "docs/config.md")
    rows = re.findall(
        r"^\| `(\w+)` \|.*?\| (`[^|]*`) \|", text_of("docs", "config.md"), re.MULTILINE
    )
    shown = {
        "unit": f'`"{settings.unit}"`',
        "copies_required": f"`{settings.copies_required}`",
        "day_starts_at": f'`"{settings.day_starts_at // 60:02}:{settings.day_starts_at % 60:02}"`',
        "recheck_cards_at_wrap": f"`{str(settings.recheck_cards_at_wrap).lower()}`",
        **{
            key: f"`{getattr(settings, key)}`"
            for key in (
                *("settle_seconds", "look_every_seconds", "recheck_after_days"),
                *("reserve_megabytes", "stall_seconds"),
            )
        },
    }
    told = {key: default for key, default in rows if key in shown}
    assert told == shown


@pytest.mark.parametrize(
    ("key", "low", "high"),
    [
        (key.name, *re.findall(r"from (\d+) to (\d+)", key.takes)[0])
        for keys in SECTIONS.values()
        for key in keys
        if re.search(r"from \d+ to", key.takes)
    ],
)
def test_the_documents_ranges_are_those_of_the_table(key, low, high):
    (row,) = re.findall(rf"^\| `{key}` \| ([^|]*) \|", text_of("docs", "config.md"), re.MULTILINE)
    assert f"{low} to {high}" in row
