"""Packed days come back as they were, or are refused."""

import struct
import tracemalloc
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimewatch.journal.blocks import (
    BlockDamagedError,
    pack_integers,
    pack_raws,
    unpack_integers,
    unpack_raws,
)
from rimewatch.journal.day_rollup import HOUR, opened

integers = st.integers(min_value=-(2**53), max_value=2**53)
finite = st.floats(allow_nan=False, allow_infinity=False)


@given(st.lists(integers, min_size=1, max_size=200))
def test_integers_of_any_shape_come_back_as_they_were(numbers: list[int]) -> None:
    """Not one time or value changes by being packed."""
    array = np.array(numbers, dtype=np.int64)

    assert numbers == unpack_integers(pack_integers(array)).tolist()


@given(st.lists(st.tuples(finite, finite), min_size=1, max_size=100))
def test_raw_values_of_any_shape_come_back_to_the_bit(pairs: list[tuple[float, float]]) -> None:
    """What the probe sent survives, whatever its digits."""
    raws = np.array([pair[0] for pair in pairs])
    values = np.array([pair[1] for pair in pairs])

    assert np.array_equal(raws, unpack_raws(pack_raws(raws, values), values))


@given(st.lists(st.integers(min_value=-(10**6), max_value=10**6), min_size=1, max_size=100))
def test_raw_values_in_thousandths_come_back_to_the_bit(millis: list[int]) -> None:
    """The short form for usual probes is as exact as the long one."""
    raws = np.array(millis) / 1000.0

    assert np.array_equal(raws, unpack_raws(pack_raws(raws, raws + 1.0), raws + 1.0))


def test_raw_values_equal_to_the_corrected_ones_take_no_room() -> None:
    """Most probes need no correction, and pay nothing for it."""
    values = np.array([2.1, 2.2])

    assert pack_raws(values, values) == b""


def test_a_steady_day_takes_few_bytes() -> None:
    """A probe that keeps its minute costs next to nothing for its times."""
    times = 1_767_225_600_000 + 60_000 * np.arange(1440, dtype=np.int64)

    assert len(pack_integers(times)) < 60


def test_integers_that_are_none_or_too_large_are_refused() -> None:
    """What cannot be exact is refused when packing, not found out when reading."""
    with pytest.raises(ValueError, match="at least one"):
        pack_integers(np.empty(0, dtype=np.int64))
    with pytest.raises(ValueError, match="2\\^53"):
        pack_integers(np.array([2**60]))


@given(st.binary(max_size=80))
def test_bytes_that_are_no_block_raise_only_the_block_error(junk: bytes) -> None:
    """No damage on the disk passes for readings, and none ends the service some other way."""
    with pytest.raises(BlockDamagedError):
        unpack_integers(junk)


@given(st.data())
def test_a_changed_byte_anywhere_in_a_block_is_found(data: st.DataObject) -> None:
    """A flipped bit on the disk is told as damage, never read as a temperature."""
    packed = bytearray(pack_integers(np.arange(0, 900, 7, dtype=np.int64) ** 2))
    place = data.draw(st.integers(min_value=0, max_value=len(packed) - 1))
    packed[place] ^= data.draw(st.integers(min_value=1, max_value=255))

    with pytest.raises(BlockDamagedError, match="checksum"):
        unpack_integers(bytes(packed))


def test_a_block_of_another_make_under_a_good_checksum_is_refused() -> None:
    """What a later version might pack otherwise is refused, not misread."""
    content = struct.pack("<BBIqq", 0, 2, 5, 0, 0) + zlib.compress(b"1234", 6, -15)

    with pytest.raises(BlockDamagedError, match="holds 4 bytes"):
        unpack_integers(struct.pack("<I", zlib.crc32(content)) + content)
    with pytest.raises(BlockDamagedError, match="cannot be opened"):
        unpack_integers(struct.pack("<I", zlib.crc32(content[:-1])) + content[:-1])


def test_floats_where_integers_belong_are_refused() -> None:
    """A column that holds another form is damage."""
    raws = np.array([0.1234567, 9.87654321])

    with pytest.raises(BlockDamagedError, match="form"):
        unpack_integers(pack_raws(raws, raws + 1))


def forged(form: int, size: int, count: int, octets: bytes) -> bytes:
    """Pack anything under a good checksum."""
    content = struct.pack("<BBIqq", form, size, count, 0, 0) + zlib.compress(octets, 6, -15)
    return struct.pack("<I", zlib.crc32(content)) + content


def test_floats_of_another_size_are_refused() -> None:
    """Found by fuzzing: eight bytes make a float, and no fewer."""
    with pytest.raises(BlockDamagedError, match="3 readings of 2 bytes"):
        unpack_raws(forged(2, 2, 3, bytes(6)), np.zeros(3))


def test_block_that_unpacks_to_far_more_than_it_says_takes_no_memory() -> None:
    """A hundred megabytes in a hundred kilobytes are refused before they are there."""
    packed = forged(0, 1, 4, bytes(100 << 20))
    tracemalloc.start()

    with pytest.raises(BlockDamagedError, match="holds more"):
        unpack_integers(packed)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert most < 1 << 20


def test_rolled_up_day_that_unpacks_to_far_more_than_a_day_takes_no_memory() -> None:
    """Likewise of what was rolled up."""
    packed = zlib.compress(bytes(400 << 20), 1)
    tracemalloc.start()

    with pytest.raises(BlockDamagedError, match="holds more"):
        opened(packed, HOUR)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert most < 40 << 20
