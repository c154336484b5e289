"""Checksums against published vectors.

SHA-256: FIPS 180-4 examples. xxHash: the algorithm's own sanity check (Cyan4973/xxHash,
cli/xsum_sanity_check.c), with its test buffer; canonical text is big-endian.
"""

import pytest

from takehold.formats.audio import AudioMeter
from takehold.formats.digest import FileDigest
from takehold.model.sound import Span, WaveFormat

# length of the test buffer, XXH64, XXH128 (high half first), seed 0
XXHASH = """
0 ef46db3751d8e999 99aa06d3014798d86001c324468d497f
1 e934a84adb052768 a6cd5e9392000f6ac44bdff4074eecdb
2 5d48cd60a77e23ff 76750c3c7bf956687a9978044cb8a8bb
3 ff7e1959cb50794a 20efc49ff02422ea54247382a8d6b94d
4 9136a0dca57457ee 970d585ac632bf8e2e7d8d6876a39fe9
6 c72565b7154268a8 082afe0b8162d12a3e7039bdda43cfc6
8 cdbcf538e71d1348 47a7f080d82bb45664c69cab4bb21dc5
12 0723bf50086ead9a 6e3efd8fc7802b18061a192713f69ad9
14 8282dcc4994e35c8 b2623398aa0bda1e352b80797cda6247
16 98c90b57fdfcb55c c68c368ecf8a9c05562980258a998629
17 0d39a2d051a30c2c 955fa78643ed3669abbc12d11973d7db
24 f75a6dea42dc5bf4 0ce966e4678d37611e7044d28b1b901d
32 18b216492bb44b70 98fc6458710dc2e8278410a17595e3f9
33 55c8dc3e578f5b59 3103c192ceaa2dede593bc4e5914c9d1
48 fd0feeac7a939933 a002ac4e5478227ef942219aed80f67b
64 ef558f8acac2b5cd 6d90e81a9b0fd622efdb6a44690721a9
80 99bd5d25eb211099 fdf2cefde9eaac8a454ae6bf7a8a532d
81 cb329a8f102f05bc 4952f58181ab00425e8bafb9f95fb803
128 90ca021457d96dc5 39992220e045260aebb15e34a7fb5ab1
129 41c280132d697aba 03815fc91f1b30b686c9e3bc8f0a3b5c
195 52b73ecdb3ef30e4 7729543a26b207ee3fb593c086a66075
222 b641ae8cb691c174 337e09641b948717f1aebd597cec6b3a
240 b81838d483baee53 aa4202daa2769dc85c9aae94c8ebe5a0
241 95d76c8b4d8fc4d6 99a80ecf0ecfc647c5a639ecd2030e5e
256 5e3f5bf94d574981 8b1c66091423d28855de574ad89d0ac5
403 d99858fee82283df 1b6de21e332dd73dcdeb804d65c6dea4
512 4358d2fdd62b58a7 18d2d110dcc9bca1617e49599013cb6b
1024 4775bf7cace4d177 0d30d24071c64c57dd85c9b5c1109c5c
2048 5940f2752bc04387 f736557fd47073a5dd59e2c3a5f038e0
2099 3301c88334afd200 ad48ae0a0951dc52c6b9d9b3fc9ac765
2240 a4edb3c85b99b1d9 ccb134fbfa7ce49d6e73a90539cf2948
2367 a82418ddec0ea581 e89c0f6ff369b427cb37aeb9e5d361ed
4096 ab77f4af85f4e70b b9cfaea2ca5626a4e91206429d1f48f9
"""

# length of the test buffer, XXH3-64, seed 0; the sanity check has no more of these lengths
XXH3 = """
1 c44bdff4074eecdb
6 27b56a84cd2d7325
12 a713daf0dfbb77e7
24 a3fe70bf9d3510eb
48 397da259ecba1f11
80 bcdefbbb2c47c90a
195 cd94217ee362ec3a
403 cdeb804d65c6dea4
512 617e49599013cb6b
2048 dd59e2c3a5f038e0
2099 c6b9d9b3fc9ac765
2240 6e73a90539cf2948
2367 cb37aeb9e5d361ed
"""

BYTES = WaveFormat(1, 1, 48_000, 8, 1)


def sanity_buffer(length: int) -> bytes:
    """Each byte is the top one of a 64-bit generator, as the sanity check makes it."""
    made, generator = bytearray(), 2654435761
    for _ in range(length):
        made.append(generator >> 56)
        generator = generator * 11400714785074694797 % (1 << 64)
    return bytes(made)


def xxhash_rows() -> list[tuple[int, str, str]]:
    lines = (line.split() for line in XXHASH.split("\n") if line)
    return [(int(length), short, long) for length, short, long in lines]


@pytest.mark.parametrize(
    ("message", "sha256"),
    [
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ],
)
def test_sha256_of_the_standard(message: bytes, sha256: str):
    digest = FileDigest()
    for offset in range(0, len(message), 4096):
        digest.update(message[offset : offset + 4096])
    assert digest.digests().sha256 == sha256


def test_the_buffer_begins_as_published():
    assert sanity_buffer(16).hex() == "0052929bb732a3242d00af950eecb893"


@pytest.mark.parametrize(("length", "xxh64", "xxh128"), xxhash_rows())
def test_xxhash_sanity_check(length: int, xxh64: str, xxh128: str):
    """The file's XXH64 and the audio's XXH3-128."""
    buffer = sanity_buffer(length)
    digest, meter = FileDigest(), AudioMeter(Span(0, length), BYTES)
    digest.update(buffer)
    meter.feed(buffer, 0)
    assert digest.digests().xxh64 == xxh64
    assert meter.sound().digest == xxh128


@pytest.mark.parametrize("row", XXH3.strip().splitlines())
def test_a_block_is_told_by_xxh3(row: str):
    """Its only block, big-endian as the canonical text is."""
    length, xxh3 = row.split()
    meter = AudioMeter(Span(0, int(length)), BYTES)
    meter.feed(sanity_buffer(int(length)), 0)
    assert meter.sound().blocks.hex() == xxh3


def test_no_bytes_have_no_block():
    assert AudioMeter(Span(0, 0), BYTES).sound().blocks == b""
