"""The one form of a day's rows that is sealed, and the seal over it.

Two journals that hold the same rows give the same bytes here, however they keep them: a
packed day and its single rows are one. Pure: no database, no clock.

A seal is the SHA-256 [1] of a text: JSON [2] with sorted keys and no spaces, UTF-8, which
names the seal before it. Whoever has that text can check the seal with ``sha256sum``.

References:
    [1] NIST FIPS 180-4, Secure Hash Standard.
    [2] RFC 8259, The JSON Data Interchange Format.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

FIRST_OF_ALL: Final = "0" * 64
"""What the first seal names in place of a seal before it."""

GROUP: Final = 4
"""Hexadecimal digits that are printed together, to be read out or compared by eye."""

GROUPS_SHOWN: Final = 4
"""Groups in the foot of a summary: 64 bits, which nobody finds another text for by chance."""

Cell = str | int | float | None


def readings_digest(times_ms: NDArray[np.int64], millis: NDArray[np.int64]) -> str:
    """Return the SHA-256 of one probe's readings.

    Args:
        times_ms: Their times, increasing. # (n_readings,)
        millis: Their values in thousandths. # (n_readings,)

    Returns:
        Of all times, then all values, each a signed 64-bit integer, the highest byte first.
    """
    digest = hashlib.sha256(times_ms.astype(">i8").tobytes())
    digest.update(millis.astype(">i8").tobytes())
    return digest.hexdigest()


def rows_digest(rows: Iterable[Sequence[Cell]]) -> str:
    """Return the SHA-256 of rows: each a JSON array on a line of its own, ended by a line feed."""
    digest = hashlib.sha256()
    for row in rows:
        digest.update(_json(list(row)).encode() + b"\n")
    return digest.hexdigest()


def seal_text(facts: Mapping[str, Any]) -> str:
    """Return the text that a seal is over.

    >>> seal_text({"b": 1, "a": "°"})
    '{"a":"°","b":1}'
    """
    return _json(facts)


def seal_over(text: str) -> str:
    """Return the seal over a text: 64 hexadecimal digits."""
    return hashlib.sha256(text.encode()).hexdigest()


def grouped(seal: str, groups: int | None = None) -> str:
    """Return a seal's digits in groups, as it is printed; only the first ones if so asked.

    >>> grouped("0123456789abcdef", 2)
    '0123 4567'
    """
    parts = [seal[at : at + GROUP] for at in range(0, len(seal), GROUP)]
    return " ".join(parts[:groups])


def _json(value: object) -> str:
    return json.dumps(
        value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )
