"""A destination and a source that lie within each other."""

from dataclasses import replace

import pytest

from takehold.decide.apart import meets
from takehold.model.settings import Role, Source
from takehold.model.volume import Root, Volume

CARD = Volume(b"/media/CARD", "1", "8:1", "CARD", "uuid:1", "exfat", frozenset({"d"}))
ALL = Root(CARD.mount, CARD, CARD.identity)
SOURCE = Source("desk", Role.PRIMARY, path=b"/media/CARD")


def folder(path: bytes, volume: Volume = CARD) -> Root:
    return Root(volume.mount + b"/" + path, volume, f"{volume.identity}:x")


@pytest.mark.parametrize(
    ("to", "source"),
    [
        (ALL, ALL),
        (folder(b"copies"), ALL),
        (ALL, folder(b"audio")),
        (folder(b"audio/x"), folder(b"audio")),
        (folder(b"AUDIO/x"), folder(b"audio")),
    ],
)
def test_one_in_the_other_meets(to: Root, source: Root) -> None:
    assert meets(to, [(SOURCE, source)]) == SOURCE


def test_a_second_mount_of_a_folder_in_the_source_meets() -> None:
    """A bind mount has another path and another identity; the file system tells."""
    bound = replace(CARD, mount=b"/srv/copies", mount_id="2", identity="uuid:1:in", top=b"/in/a")
    root = Root(bound.mount, bound, bound.identity)
    assert meets(root, [(SOURCE, ALL)]) == SOURCE
    assert meets(folder(b"b", bound), [(SOURCE, folder(b"in/a/b/c"))]) == SOURCE
    assert meets(root, [(SOURCE, folder(b"in/ab"))]) is None


def test_neighbours_and_other_volumes_do_not_meet() -> None:
    other = replace(CARD, device="8:2")
    assert meets(folder(b"audio2"), [(SOURCE, folder(b"audio"))]) is None
    assert meets(Root(other.mount, other, "uuid:2"), [(SOURCE, ALL)]) is None
    assert meets(ALL, []) is None
