"""Packs arrays of readings into few bytes, and back without loss.

Readings of one probe differ little from one to the next. An integer column is
written either plainly or as differences, whichever is shorter, less its commonest
level, in the smallest integer type that holds it, byte planes apart, then deflated [1],
under a CRC-32 of all of it: SQLite's pages bear no checksum of their own.
Pure: bytes and arrays; no database.

References:
    [1] RFC 1951, DEFLATE Compressed Data Format Specification version 1.3.
"""

import struct
import zlib
from typing import Final

import numpy as np
from numpy.typing import NDArray

_HEADER: Final = struct.Struct("<BBIqq")  # form, bytes an item, items, base, step
_CHECK: Final = struct.Struct("<I")  # CRC-32 of all that follows it
_START: Final = _CHECK.size + _HEADER.size
_RAW_DEFLATE: Final = -15  # zlib's wbits for [1] without a wrapper
_PLAIN: Final = 0
_DIFFERENCES: Final = 1
_FLOATS: Final = 2
_SIZES: Final = (1, 2, 4, 8)
_FLOAT_BYTES: Final = 8
_LEVEL: Final = 6
_EXACT_INTEGER: Final = 2**53
"""Up to here every integer is a float64 as well (IEEE 754-2019, binary64)."""


class BlockDamagedError(ValueError):
    """The bytes are not a block that this module packed."""


def _squeeze(residuals: NDArray[np.int64]) -> tuple[int, bytes]:
    """Return bytes an item and the deflated byte planes."""
    low, high = (int(residuals.min()), int(residuals.max())) if residuals.size else (0, 0)
    size = next(s for s in _SIZES if -(1 << (8 * s - 1)) <= low and high < 1 << (8 * s - 1))
    return size, _deflate(residuals.astype(f"<i{size}").view(np.uint8), size)


def _deflate(octets: NDArray[np.uint8], size: int) -> bytes:
    return zlib.compress(octets.reshape(-1, size).T.tobytes(), _LEVEL, _RAW_DEFLATE)


def _sealed(form: int, size: int, items: int, base: int, step: int, body: bytes) -> bytes:
    content = _HEADER.pack(form, size, items, base, step) + body
    return _CHECK.pack(zlib.crc32(content)) + content


def _middle(numbers: NDArray[np.int64]) -> int:
    return int(np.partition(numbers, numbers.size // 2)[numbers.size // 2])


def pack_integers(numbers: NDArray[np.int64]) -> bytes:
    """Return the packed form of integers within ±2^53.

    Args:
        numbers: At least one integer; any order.

    Returns:
        Bytes that :func:`unpack_integers` turns back into the same integers.

    Raises:
        ValueError: If there are none, or one lies beyond ±2^53.

    >>> unpack_integers(pack_integers(np.array([60000, 120000, 180001]))).tolist()
    [60000, 120000, 180001]
    """
    if numbers.size == 0:
        raise ValueError("no numbers: a block holds at least one reading")
    if int(np.abs(numbers).max()) > _EXACT_INTEGER:
        raise ValueError("a number lies beyond 2^53: expected times and values of readings")
    base = _middle(numbers)
    size, body = _squeeze(numbers - base)
    packed = _sealed(_PLAIN, size, numbers.size, base, 0, body)
    if numbers.size < 2:
        return packed
    steps = np.diff(numbers)
    step = _middle(steps)
    size, body = _squeeze(steps - step)
    other = _sealed(_DIFFERENCES, size, numbers.size, int(numbers[0]), step, body)
    return min(packed, other, key=len)


def unpack_integers(packed: bytes) -> NDArray[np.int64]:
    """Return the integers that :func:`pack_integers` packed.

    Raises:
        BlockDamagedError: If the bytes are anything else.
    """
    form, size, count, base, step, octets = _open(packed)
    if form == _PLAIN:
        return _planes(octets, size, count).view(f"<i{size}").astype(np.int64) + base
    if form != _DIFFERENCES:
        raise BlockDamagedError(f"a packed block has form {form}; expected integers")
    numbers = np.empty(count, dtype=np.int64)
    numbers[0] = base
    numbers[1:] = _planes(octets, size, count - 1).view(f"<i{size}")
    numbers[1:] += step
    return np.cumsum(numbers, out=numbers)


def pack_raws(raws: NDArray[np.float64], values: NDArray[np.float64]) -> bytes:
    """Return the packed form of what the probe sent, exact to the bit.

    Args:
        raws: What the probe sent; finite.
        values: The corrected values beside them.

    Returns:
        Nothing where the two are equal; thousandths where all are exactly such; else floats.
    """
    if np.array_equal(raws, values):
        return b""
    if float(np.abs(raws).max()) * 1000.0 < _EXACT_INTEGER:
        millis = np.rint(raws * 1000.0).astype(np.int64)
        if np.array_equal(millis / 1000.0, raws):
            return pack_integers(millis)
    body = _deflate(raws.astype("<f8").view(np.uint8), _FLOAT_BYTES)
    return _sealed(_FLOATS, _FLOAT_BYTES, raws.size, 0, 0, body)


def unpack_raws(packed: bytes, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return what :func:`pack_raws` packed.

    Args:
        packed: The bytes.
        values: The corrected values beside them.

    Raises:
        BlockDamagedError: If the bytes are anything else.
    """
    if not packed:
        return values.copy()
    form, size, count, _, _, octets = _open(packed)
    if form != _FLOATS:
        return unpack_integers(packed) / 1000.0
    return _planes(octets, size, count).view("<f8").astype(np.float64)


def _open(packed: bytes) -> tuple[int, int, int, int, int, bytes]:
    if len(packed) < _START or _CHECK.unpack_from(packed)[0] != zlib.crc32(packed[_CHECK.size :]):
        raise BlockDamagedError(f"a packed block of {len(packed)} bytes fails its checksum")
    form, size, count, base, step = _HEADER.unpack_from(packed, _CHECK.size)
    items = count - 1 if form == _DIFFERENCES else count
    if size not in _SIZES or count < 1 or (form == _FLOATS and size != _FLOAT_BYTES):
        raise BlockDamagedError(f"a packed block says {count} readings of {size} bytes")
    octets = inflated(packed[_START:], size * items, _RAW_DEFLATE)
    if len(octets) != size * items:
        raise BlockDamagedError(
            f"a packed block says {count} readings of {size} bytes but holds {len(octets)} bytes"
        )
    return form, size, count, base, step, octets


def inflated(packed: bytes, most_bytes: int, wbits: int = zlib.MAX_WBITS) -> bytes:
    """Return what was deflated, as long as it is no longer than it may be.

    Args:
        packed: Deflated bytes.
        most_bytes: What may come of it; more takes no memory.
        wbits: The wrapper around it, as zlib counts them.

    Raises:
        BlockDamagedError: If it is longer, or was not deflated.
    """
    opener = zlib.decompressobj(wbits)
    try:
        octets = opener.decompress(packed, most_bytes + 1)
    except zlib.error as error:
        raise BlockDamagedError(f"a packed block cannot be opened: {error}") from error
    if len(octets) > most_bytes:
        raise BlockDamagedError(f"a packed block holds more than {most_bytes} bytes")
    if not opener.eof:
        raise BlockDamagedError("a packed block cannot be opened: it ends too soon")
    return octets


def _planes(octets: bytes, size: int, items: int) -> NDArray[np.uint8]:
    planes = np.frombuffer(octets, dtype=np.uint8).reshape(size, items)
    return np.ascontiguousarray(planes.T).reshape(-1)
