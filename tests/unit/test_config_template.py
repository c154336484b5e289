"""The config that `takehold init` writes reads back as what was answered."""

import tomllib
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from takehold.formats.config import read_config
from takehold.formats.config_template import quoted, template
from takehold.model.settings import Destination, Expect, Role, Settings, Source
from takehold.model.sound import Rate

SOURCES = (
    Source("primary", Role.PRIMARY, label="SND_A*"),
    Source("backup", Role.BACKUP, label="SND_B*"),
    Source("session", Role.PRIMARY, path=b"/srv/session \xff/\xc3\xa4"),
)
DESTINATIONS = (
    Destination("one", label="SHUTTLE_1", folder=b"audio/day"),
    Destination("two", path=b"/srv/audio"),
)


def test_it_reads_back_as_the_same_settings():
    text = template("Lantern Bay", "Robin Example", SOURCES, DESTINATIONS)
    plain = Settings("Lantern Bay", SOURCES, DESTINATIONS, mixer="Robin Example")
    assert read_config(text, "c") == plain
    expect = Expect(Rate(30000, 1001, drop=True), 96_000, 32)
    text = template("Lantern Bay", "", SOURCES, DESTINATIONS, wrap_at=65, expect=expect)
    assert read_config(text, "c") == replace(plain, mixer="", wrap_at=65, expect=expect)


def test_one_destination_asks_for_one_copy():
    text = template("Lantern Bay", "", SOURCES[:1], DESTINATIONS[:1])
    assert read_config(text, "c").copies_required == 1


def test_every_section_has_a_comment_and_unset_expectations_are_shown():
    text = template("Lantern Bay", "", SOURCES, DESTINATIONS)
    for key in ("timecode_rate", "sample_rate", "bit_depth"):
        assert f"\n# {key} = " in text


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_quoted_text_is_a_toml_string(text):
    """The standard library's tomllib is the reference."""
    assert tomllib.loads(f"key = {quoted(text)}") == {"key": text}


PLAIN = st.text(st.characters(categories=["L", "N", "P", "S"]), min_size=1, max_size=40)


@given(PLAIN, PLAIN)
def test_any_plain_answer_comes_back(production, mixer):
    settings = read_config(template(production, mixer, SOURCES, DESTINATIONS), "c")
    assert (settings.production, settings.mixer) == (production, mixer)
