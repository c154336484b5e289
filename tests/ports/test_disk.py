"""The contract of `takehold.ports.disk`, kept by the real file systems and by the fake alike."""

from __future__ import annotations

import dataclasses
import mmap
import os
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from fakedisk import FakeDisk
from makings import root_at
from takehold.adapters.disk import LocalDisk
from takehold.model.errors import (
    FileMissing,
    NameTaken,
    VolumeFull,
    VolumeGone,
    VolumeReadOnly,
    WorldError,
)
from takehold.model.recording import Seen
from takehold.model.volume import Root
from takehold.ports.disk import DestinationTree, Disk, Part, Reader, SourceTree

BLOCK = 1 << 20
SIZES = [0, 1, 4095, 4096, 4097, BLOCK - 1, BLOCK, BLOCK + 1, 3 * BLOCK + 17, 9 * BLOCK + 5]


class OnFolder:
    """A folder of this machine as a root."""

    def __init__(self, folder: Path) -> None:
        self.disk: Disk = LocalDisk()
        self.folder = os.fsencode(folder)
        self.root: Root = root_at(folder)

    def put(self, path: bytes, content: bytes) -> None:
        full = os.path.join(self.folder, path)
        os.makedirs(os.path.dirname(full), exist_ok=True)
        with open(full, "wb") as file:
            file.write(content)

    def get(self, path: bytes) -> bytes:
        with open(os.path.join(self.folder, path), "rb") as file:
            return file.read()


class OnFake:
    """A volume in memory as a root."""

    def __init__(self) -> None:
        disk = FakeDisk()
        self.volume = disk.volume(b"/media/SHUTTLE", capacity=60_000_000)
        self.disk: Disk = disk
        self.root = self.volume.root

    def put(self, path: bytes, content: bytes) -> None:
        self.volume.put(path, content)

    def get(self, path: bytes) -> bytes:
        return self.volume.files[path]


Site = OnFolder | OnFake


@pytest.fixture(params=["fake", "folder", "ext4", "exfat"])
def site(request: pytest.FixtureRequest, tmp_path: Path) -> Site:
    if request.param == "fake":
        return OnFake()
    if request.param == "folder":
        return OnFolder(tmp_path)
    disk = request.getfixturevalue("bench").disk("shuttle", fs=request.param)
    if request.param == "ext4":
        (disk.mount / "lost+found").rmdir()
    return OnFolder(disk.mount)


@pytest.fixture
def card(site: Site) -> Iterator[SourceTree]:
    with site.disk.source(site.root) as tree:
        yield tree


@pytest.fixture
def shuttle(site: Site) -> Iterator[DestinationTree]:
    with site.disk.destination(site.root) as tree:
        yield tree


@pytest.fixture
def buffer() -> memoryview:
    """A page-aligned buffer, as the contract asks for."""
    return memoryview(mmap.mmap(-1, BLOCK))


def content(size: int, salt: int = 0) -> bytes:
    """Bytes that differ from block to block, and from salt to salt."""
    pattern = bytes((i * 7 + (i >> 8) + salt) & 0xFF for i in range(65_537))
    return (pattern * (size // 65_537 + 1))[:size]


def read_whole(reader: Reader, buffer: memoryview) -> bytes:
    """Read block by block, as the contract says: a short count only at the end."""
    found = bytearray()
    while True:
        got = reader.read_into(buffer, len(found))
        found += buffer[:got]
        if got < len(buffer):
            return bytes(found)


def write_whole(tree: DestinationTree, folder: bytes, data: bytes, buffer: memoryview) -> Part:
    """A flushed part with these bytes."""
    part = tree.part(folder)
    part.reserve(len(data))
    for start in range(0, len(data), len(buffer)):
        piece = data[start : start + len(buffer)]
        buffer[: len(piece)] = piece
        part.write(buffer[: len(piece)], start)
    part.flush(len(data))
    return part


def test_a_listing_has_every_file_with_its_size(site: Site, card: SourceTree) -> None:
    """Files of the root and of folders below; nothing is skipped, and it is complete."""
    files = {b"A.wav": 5, b"day/B.wav": 0, b"day/sub/C.wav": 70_000, "day/É.wav".encode(): 1}
    for path, size in files.items():
        site.put(path, content(size))
    found = card.listing()
    assert {path: stamp.size for path, stamp in found.files} == files
    assert found.complete
    assert found.skipped == ()
    assert found.root_id == card.listing().root_id


def test_an_empty_root_is_listed_as_empty(card: SourceTree) -> None:
    """An empty card is a complete listing of nothing."""
    found = card.listing()
    assert (found.complete, found.files, found.skipped) == (True, (), ())


def test_the_stamp_of_an_open_file_is_the_listed_one(site: Site, card: SourceTree) -> None:
    """The two can be compared to notice a change, and a change of size shows."""
    site.put(b"T.wav", content(10))
    [(path, listed)] = card.listing().files
    with card.open(path) as reader:
        assert reader.stamp() == listed
        site.put(b"T.wav", content(11))
        assert reader.stamp() != listed


@pytest.mark.parametrize("size", SIZES)
def test_a_file_is_read_whole(site: Site, card: SourceTree, buffer: memoryview, size: int) -> None:
    """Every byte, the short count at the end only, 0 beyond it."""
    site.put(b"T.wav", content(size))
    with card.open(b"T.wav") as reader:
        assert read_whole(reader, buffer) == content(size)
        assert reader.read_into(buffer, (size + 4095) // 4096 * 4096) == 0
        assert isinstance(reader.seen(size), Seen)


def test_headers_are_read_anywhere(site: Site, card: SourceTree) -> None:
    """At any offset, cut at the end, b"" beyond it."""
    site.put(b"T.wav", content(2 * BLOCK))
    with card.open(b"T.wav") as reader:
        assert reader.read_at(13, 100) == content(2 * BLOCK)[13:113]
        assert reader.read_at(2 * BLOCK - 3, 100) == content(2 * BLOCK)[-3:]
        assert reader.read_at(2 * BLOCK, 100) == b""


@pytest.mark.parametrize("path", [b"none.wav", b"day", b"day/none.wav", b"none/T.wav", b"T.wav/x"])
def test_what_is_no_file_cannot_be_opened(site: Site, card: SourceTree, path: bytes) -> None:
    """FileMissing, with a sentence that names the file and the root."""
    site.put(b"T.wav", b"sound")
    site.put(b"day/T.wav", b"sound")
    with pytest.raises(FileMissing) as told, card.open(path):
        pass
    assert path.decode() in told.value.says
    assert site.root.path.decode() in told.value.says


@pytest.mark.parametrize("path", [b"../T.wav", b"day/../../T.wav", b"/etc/passwd", b"./T.wav", b""])
def test_no_path_leaves_its_folder(
    site: Site, card: SourceTree, shuttle: DestinationTree, path: bytes
) -> None:
    """Neither a card nor a destination opens what is named by a way out (P10)."""
    site.put(b"T.wav", b"sound")
    with pytest.raises(FileMissing), card.open(path):
        pass
    with pytest.raises(FileMissing), shuttle.open(path):
        pass


@pytest.mark.parametrize("size", SIZES)
def test_a_part_is_written_read_back_and_kept(
    site: Site, shuttle: DestinationTree, buffer: memoryview, size: int
) -> None:
    """The whole life of a copy: folders made, bytes flushed, read back equal, named, settled."""
    part = write_whole(shuttle, b"day/CARD", content(size), buffer)
    with part.reader() as reader:
        assert reader.stamp().size == size
        assert read_whole(reader, buffer) == content(size)
    part.keep(b"day/CARD/T.wav")
    assert shuttle.settle(b"day/CARD") is True
    assert shuttle.taken(b"day/CARD") == {b"T.wav"}
    shown = shuttle.stamp_of(b"day/CARD/T.wav")
    assert shown is not None
    assert shown.size == size
    assert site.get(b"day/CARD/T.wav") == content(size)
    with shuttle.open(b"day/CARD/T.wav") as reader:
        assert read_whole(reader, buffer) == content(size)


def test_until_it_is_kept_a_part_has_no_final_name(
    shuttle: DestinationTree, buffer: memoryview
) -> None:
    """Its name is `.takehold-`, 16 hex digits, `.part`."""
    part = write_whole(shuttle, b"day", b"sound", buffer)
    [name] = shuttle.taken(b"day")
    assert name.startswith(b".takehold-")
    assert name.endswith(b".part")
    assert len(bytes.fromhex(name[10:-5].decode())) == 8
    part.drop()


TAKEN_AND_WANTED = [
    (b"T01.wav", b"T01.wav"),
    (b"t01.WAV", b"T01.wav"),
    ("Caf\u00e9.wav".encode(), "Cafe\u0301.wav".encode()),
    ("CAFE\u0301.wav".encode(), "caf\u00e9.wav".encode()),
]


@pytest.mark.parametrize(("taken", "wanted"), TAKEN_AND_WANTED)
def test_a_taken_name_is_refused_in_any_spelling(
    site: Site, shuttle: DestinationTree, buffer: memoryview, taken: bytes, wanted: bytes
) -> None:
    """NameTaken; the other bytes stand, and the part can have another name (P2)."""
    site.put(b"day/" + taken, b"of somebody else")
    part = write_whole(shuttle, b"day", b"sound", buffer)
    with pytest.raises(NameTaken):
        part.keep(b"day/" + wanted)
    assert site.get(b"day/" + taken) == b"of somebody else"
    part.keep(b"day/other.wav")
    assert shuttle.taken(b"day") == {taken, b"other.wav"}
    assert site.get(b"day/other.wav") == b"sound"


def test_a_name_taken_meanwhile_is_refused(
    site: Site, shuttle: DestinationTree, buffer: memoryview
) -> None:
    """What somebody put there after our last own file is noticed, and so are own names."""
    write_whole(shuttle, b"day", b"first", buffer).keep(b"day/A.wav")
    late = write_whole(shuttle, b"day", b"late", buffer)
    site.put(b"day/b.wav", b"of somebody else")
    for wanted in (b"day/B.wav", b"day/a.wav"):
        with pytest.raises(NameTaken):
            late.keep(wanted)
    late.drop()
    assert shuttle.taken(b"day") == {b"A.wav", b"b.wav"}


def test_a_folder_of_that_name_is_not_replaced(
    site: Site, shuttle: DestinationTree, buffer: memoryview
) -> None:
    """A folder, too, takes a name."""
    site.put(b"day/T.wav/inside", b"x")
    part = write_whole(shuttle, b"day", b"sound", buffer)
    with pytest.raises(NameTaken):
        part.keep(b"day/T.wav")
    part.drop()


def test_a_file_in_the_way_of_a_folder_is_not_replaced(
    site: Site, shuttle: DestinationTree
) -> None:
    """NameTaken, and the file stands."""
    site.put(b"day", b"a file")
    with pytest.raises(NameTaken):
        shuttle.part(b"day/CARD")
    assert site.get(b"day") == b"a file"


def test_a_dropped_part_leaves_nothing(shuttle: DestinationTree, buffer: memoryview) -> None:
    """Also the second time, and with bytes that were never flushed."""
    part = shuttle.part(b"day")
    part.write(buffer[:100], 0)
    part.drop()
    part.drop()
    assert shuttle.taken(b"day") == frozenset()


def test_dropping_after_keeping_leaves_the_file(
    site: Site, shuttle: DestinationTree, buffer: memoryview
) -> None:
    """A caller may drop in any case."""
    part = write_whole(shuttle, b"", b"sound", buffer)
    part.keep(b"T.wav")
    part.drop()
    assert site.get(b"T.wav") == b"sound"


def test_what_is_not_flushed_is_not_kept(shuttle: DestinationTree, buffer: memoryview) -> None:
    """Neither before the flush nor after a write that followed it (P3)."""
    part = shuttle.part(b"")
    with pytest.raises(WorldError):
        part.keep(b"T.wav")
    part.flush(0)
    part.write(buffer[:10], 0)
    with pytest.raises(WorldError):
        part.keep(b"T.wav")
    part.drop()
    assert shuttle.taken(b"") == frozenset()


def test_more_than_there_is_room_for_is_refused(shuttle: DestinationTree) -> None:
    """VolumeFull at once; nothing is left behind and the room is as it was."""
    free = shuttle.free_bytes()
    part = shuttle.part(b"")
    with pytest.raises(VolumeFull):
        part.reserve(free + (1 << 30))
    with pytest.raises(WorldError):
        part.flush(0)
    part.drop()
    assert shuttle.taken(b"") == frozenset()


def test_what_is_not_there_has_no_names_and_no_size(site: Site, shuttle: DestinationTree) -> None:
    """Absence is an answer, not an error, and only a regular file has a size."""
    site.put(b"day/T.wav", b"12345")
    assert shuttle.taken(b"other/day") == frozenset()
    shown = shuttle.stamp_of(b"day/T.wav")
    assert shown is not None
    assert shown.size == 5
    for path in (b"day", b"none.wav", b"none/T.wav"):
        assert shuttle.stamp_of(path) is None


def test_a_sweep_removes_own_leftovers_only(
    site: Site, shuttle: DestinationTree, buffer: memoryview
) -> None:
    """Parts of an earlier run go; parts in use, and what only looks like one, stay."""
    left = [b".takehold-0123456789abcdef.part", b"day/CARD/.takehold-00000000000000ff.part"]
    alike = [b".takehold-0123456789ABCDEF.part", b"day/x.takehold-0123456789abcdef.part"]
    alike += [b"day/.takehold-0123.part", b".takehold-0123456789abcdef.part.wav", b"T.wav"]
    if site.root.volume.kind == "fuseblk":
        alike.remove(b".takehold-0123456789ABCDEF.part")  # the same name there
    for path in left + alike:
        site.put(path, b"x" if path in left else b"y")  # a twin of a named file stays on exFAT
    mine = write_whole(shuttle, b"day", b"sound", buffer)
    assert shuttle.sweep() == len(left)
    assert shuttle.sweep() == 0
    assert all(site.get(path) == b"y" for path in alike)
    mine.keep(b"day/T.wav")
    assert site.get(b"day/T.wav") == b"sound"


def test_another_volume_at_the_path_is_not_opened(site: Site) -> None:
    """VolumeGone for card and destination alike (P4)."""
    other = dataclasses.replace(
        site.root, volume=dataclasses.replace(site.root.volume, device="8:177")
    )
    with pytest.raises(VolumeGone), site.disk.source(other):
        pass
    with pytest.raises(VolumeGone), site.disk.destination(other):
        pass


def test_several_threads_write_their_own_parts(site: Site, shuttle: DestinationTree) -> None:
    """Four threads, one tree, one folder that none of them finds: all files are whole."""
    failed: list[BaseException] = []

    def work(number: int) -> None:
        try:
            view = memoryview(mmap.mmap(-1, BLOCK))
            for file in range(5):
                data = content(50_000, number * 10 + file)
                part = write_whole(shuttle, b"a/b/c", data, view)
                part.keep(b"a/b/c/%d-%d.wav" % (number, file))
                shuttle.settle(b"a/b/c")
        except BaseException as error:
            failed.append(error)

    threads = [threading.Thread(target=work, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert failed == []
    for number in range(4):
        for file in range(5):
            path = b"a/b/c/%d-%d.wav" % (number, file)
            assert site.get(path) == content(50_000, number * 10 + file)


def test_settling_a_folder_that_is_not_there_says_so(shuttle: DestinationTree) -> None:
    """FileMissing rather than a promise about nothing."""
    with pytest.raises(FileMissing):
        shuttle.settle(b"none")


# The fake's own faults, so that tests which rely on them rely on something


@pytest.fixture
def fake() -> OnFake:
    return OnFake()


def test_the_fake_fails_once_where_it_is_told_to(fake: OnFake) -> None:
    """The error that was asked for, at that call and path, and not again."""
    fake.put(b"A.wav", b"a")
    fake.put(b"B.wav", b"b")
    fake.volume.fail_next("open", FileMissing("asked for"), b"B.wav")
    with fake.disk.source(fake.root) as tree:
        tree.open(b"A.wav").__enter__()
        with pytest.raises(FileMissing, match="asked for"):
            tree.open(b"B.wav").__enter__()
        tree.open(b"B.wav").__enter__()


def test_the_fake_flips_lies_and_shrinks(fake: OnFake, buffer: memoryview) -> None:
    """A flipped bit, a flush without effect and a file cut short all show in a cold read."""
    with fake.disk.destination(fake.root) as tree:
        fake.volume.flip_parts = 1
        with write_whole(tree, b"", b"abc", buffer).reader() as reader:
            assert read_whole(reader, buffer) == b"acc"
        fake.volume.flip_parts = None
        fake.volume.lies = True
        with write_whole(tree, b"", b"abc", buffer).reader() as reader:
            assert read_whole(reader, buffer) == bytes(3)
    fake.put(b"T.wav", b"abc")
    fake.volume.flip[b"T.wav"] = 0
    fake.volume.shrink(b"T.wav", 2)
    with fake.disk.source(fake.root) as card, card.open(b"T.wav") as reader:
        assert reader.stamp().size == 3
        assert read_whole(reader, buffer) == b"`b"


def test_the_fake_is_yanked_and_comes_back(fake: OnFake, buffer: memoryview) -> None:
    """Everything fails while it is away; the part that was left is swept afterwards."""
    with fake.disk.destination(fake.root) as tree:
        part = write_whole(tree, b"", b"abc", buffer)
        fake.volume.yank()
        with pytest.raises(VolumeGone):
            part.keep(b"T.wav")
        part.drop()
        with pytest.raises(VolumeGone):
            tree.free_bytes()
    fake.volume.give_back()
    with fake.disk.destination(fake.root) as tree:
        assert tree.sweep() == 1
        assert tree.taken(b"") == frozenset()
    assert fake.volume.open_trees == 0


def test_the_fake_hangs_until_it_is_let_go(fake: OnFake) -> None:
    """Only those calls, and the volume still answers others."""
    let_go = fake.volume.hang("list")
    with fake.disk.destination(fake.root) as tree, fake.disk.source(fake.root) as card:
        waiting = threading.Thread(target=card.listing)
        waiting.start()
        assert tree.free_bytes() > 0
        assert waiting.is_alive()
        let_go.set()
        waiting.join(60)
        assert not waiting.is_alive()


def test_a_read_only_fake_takes_no_part(fake: OnFake) -> None:
    """As a real one that turned read-only."""
    fake.volume.read_only = True
    with fake.disk.destination(fake.root) as tree, pytest.raises(VolumeReadOnly):
        tree.part(b"")
