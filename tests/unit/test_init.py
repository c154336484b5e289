"""`takehold init` with a person's answers, on real files."""

import os
import stat
import subprocess

import pytest

from takehold.cli.init import init
from takehold.formats.config import read_config
from takehold.model.errors import TakeholdError, UsageError, WorldError
from takehold.model.settings import Destination, Expect, Role
from takehold.model.sound import Rate


class Person:
    """Answers in order, then takes what is offered."""

    def __init__(self, *answers):
        self.answers = list(answers)
        self.questions = []

    def __call__(self, question, default):
        self.questions.append(question)
        return self.answers.pop(0) if self.answers else default


@pytest.fixture
def paths(tmp_path):
    return str(tmp_path / "conf" / "takehold.toml"), str(tmp_path / "conf" / "signing_key")


def settings(path):
    with open(path, encoding="utf-8", errors="surrogateescape") as file:
        return read_config(file.read(), path)


def test_what_is_offered_makes_a_config_for_two_cards_and_two_drives(paths):
    lines = init(*paths, ask=Person("Bay"))
    made = settings(paths[0])
    assert [source.label for source in made.sources] == ["SND_A*", "SND_B*"]
    assert [to.label for to in made.destinations] == ["SHUTTLE_1", "SHUTTLE_2"]
    assert made.copies_required == 2
    assert (made.wrap_at, made.expect) == (None, Expect())
    assert any(paths[0] in line for line in lines)
    assert any(paths[1] in line for line in lines)


def test_the_key_is_an_ssh_key_of_its_owner_alone(paths):
    """OpenSSH's ssh-keygen reads the key, and names the fingerprint that was shown."""
    lines = init(*paths, ask=Person("Bay"))
    done = subprocess.run(
        ["ssh-keygen", "-l", "-f", paths[1]], capture_output=True, text=True, timeout=20, check=True
    )
    assert done.stdout.split()[1] in lines[0]
    assert stat.S_IMODE(os.stat(paths[1]).st_mode) == 0o600


def test_the_answers_arrive(paths):
    person = Person('The "Bay"', "Robin", "MIX_A", "none", "DRIVE 1", "/srv/Audio, old", "none")
    init(*paths, ask=person)
    made = settings(paths[0])
    assert (made.production, made.mixer) == ('The "Bay"', "Robin")
    assert [(s.name, s.role, s.label) for s in made.sources] == [("primary", Role.PRIMARY, "MIX_A")]
    assert made.destinations == (
        Destination("drive-1", label="DRIVE 1"),
        Destination("audio-old", path=b"/srv/Audio, old"),
    )


@pytest.mark.parametrize("none", ["", "none", "None", "-", " "])
def test_no_backup_card_and_one_drive(paths, none):
    init(*paths, ask=Person("Bay", "", "MIX_A", none, "DRIVE", none))
    made = settings(paths[0])
    assert not made.has_backup()
    assert (len(made.destinations), made.copies_required) == (1, 1)


def test_a_drive_named_like_a_card_gets_a_name_of_its_own(paths):
    init(*paths, ask=Person("Bay", "", "A", "B", "/srv/primary", "/mnt/primary", "none"))
    assert [to.name for to in settings(paths[0]).destinations] == ["primary-2", "primary-3"]


def test_a_wrong_answer_is_asked_for_again_with_the_reason(paths):
    person = Person("", "Bay", "", "*", "MIX_A")
    init(*paths, ask=person)
    assert settings(paths[0]).production == "Bay"
    assert "does not do" in person.questions[1]
    assert "wildcards alone" in person.questions[4]


def test_the_production_has_to_be_named(paths):
    with pytest.raises(UsageError, match="Production"):
        init(*paths, ask=Person())


def test_what_the_day_is_set_up_for_is_asked(paths):
    """The wrap's time and three figures; a wrong one is asked for again."""
    person = Person(
        *("Bay", "", "A", "none", "D", "none"), *("21.30", "21:30", "26", "25", "48000", "24")
    )
    init(*paths, ask=person)
    made = settings(paths[0])
    assert made.wrap_at == 21 * 60 + 30
    assert made.expect == Expect(Rate(25, 1), 48_000, 24)
    assert "it takes a time of day" in person.questions[7]
    assert "it takes a rate" in person.questions[9]


def test_quotes_around_an_answer_are_not_meant(paths):
    """As text stands in the config, and in its pages."""
    person = Person(
        *('"Bay"', "", '"A*"', '"none"', "'D'", "none"), *('"21:30"', '"25"', '"48000"', '"24"')
    )
    init(*paths, ask=person)
    made = settings(paths[0])
    assert (made.production, made.wrap_at) == ("Bay", 21 * 60 + 30)
    assert [place.label for place in (*made.sources, *made.destinations)] == ["A*", "D"]
    assert made.expect == Expect(Rate(25, 1), 48_000, 24)
    assert not any('"' in question for question in person.questions)


def test_a_label_that_is_used_is_asked_for_again(paths):
    """The backup card and the drives each have one of their own."""
    person = Person("Bay", "", "SND_A*", "snd_a*", "SND_B*", "SND_B*", "DRIVE", "none")
    init(*paths, ask=person)
    made = settings(paths[0])
    assert [source.label for source in made.sources] == ["SND_A*", "SND_B*"]
    assert [to.label for to in made.destinations] == ["DRIVE"]
    says = "the label snd_a* is used for the primary card already; give the backup card another"
    assert says in person.questions[4]
    assert "give drive 1 another" in person.questions[6]


@pytest.mark.parametrize("wrong", ["audio/day", "C:", "a\\b", "tab\tin it"])
def test_a_label_must_look_like_one(paths, wrong):
    person = Person("Bay", "", wrong, "MIX_A", "none", "DRIVE", "none")
    init(*paths, ask=person)
    assert settings(paths[0]).sources[0].label == "MIX_A"
    assert "does not do" in person.questions[3]


def test_a_drives_name_has_no_underscore(paths):
    init(*paths, ask=Person("Bay"))
    assert [to.name for to in settings(paths[0]).destinations] == ["shuttle-1", "shuttle-2"]


def test_wrong_answers_end_and_write_nothing(paths):
    with pytest.raises(UsageError):
        init(*paths, ask=lambda _question, _default: "\x1b")
    assert not os.path.exists(os.path.dirname(paths[0]))


def test_answers_that_do_not_go_together_are_refused_before_anything_is_written(paths):
    with pytest.raises(UsageError, match="used for the primary card already; give drive 1"):
        init(*paths, ask=Person("Bay", "", "SND", "none", "snd", "SND", "snd"))
    assert not os.path.exists(os.path.dirname(paths[0]))


def test_an_existing_config_is_left_alone_and_nothing_is_asked(paths):
    os.mkdir(os.path.dirname(paths[0]))
    with open(paths[0], "w", encoding="utf-8") as file:
        file.write("mine")
    person = Person()
    with pytest.raises(UsageError, match="already"):
        init(*paths, ask=person)
    assert person.questions == []
    with open(paths[0], encoding="utf-8") as file:
        assert file.read() == "mine"


def test_force_sets_the_earlier_config_aside_and_keeps_the_key(paths):
    init(*paths, ask=Person("First"))
    with open(paths[1], "rb") as file:
        key = file.read()
    init(*paths, ask=Person("Second"), force=True)
    lines = init(*paths, ask=Person("Third"), force=True)
    assert settings(paths[0]).production == "Third"
    assert settings(paths[0] + ".old-1").production == "First"
    assert settings(paths[0] + ".old-2").production == "Second"
    assert lines[0].startswith("Kept the signing key")
    with open(paths[1], "rb") as file:
        assert file.read() == key


def test_a_link_in_the_configs_place_is_not_followed(paths, tmp_path):
    os.mkdir(os.path.dirname(paths[0]))
    os.symlink(tmp_path / "elsewhere", paths[0])
    with pytest.raises(UsageError):
        init(*paths, ask=Person())
    assert not (tmp_path / "elsewhere").exists()


def test_a_place_that_cannot_be_written_is_said_plainly(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(WorldError) as caught:
        init(str(tmp_path / "file" / "c.toml"), str(tmp_path / "key"), ask=Person("Bay"))
    assert "could not be written" in caught.value.says or "missing" in caught.value.says


def test_a_damaged_key_stops_it_before_the_config_is_written(paths):
    os.mkdir(os.path.dirname(paths[0]))
    with open(paths[1], "w", encoding="utf-8") as file:
        file.write("no key")
    os.chmod(paths[1], 0o600)
    with pytest.raises(TakeholdError):
        init(*paths, ask=Person())
    assert not os.path.exists(paths[0])
