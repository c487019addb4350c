"""Keys that stand twice in one map of CBOR; the library keeps the last and tells of neither.

Walks over bytes that the library has read already. Pure.

References:
    [1] RFC 8949 (2020), section 3: heads, lengths, indefinite lengths; section 5.6: a map with
        the same key twice is not valid.
"""

from collections.abc import Collection
from typing import Final

import cbor2

_BYTES, _TEXT, _ARRAY, _MAP, _TAG, _OTHER = 2, 3, 4, 5, 6, 7
"""Major types, [1]."""
_INDEFINITE: Final = 31
_BREAK: Final = 0xFF
_EXTRA: Final = {24: 1, 25: 2, 26: 4, 27: 8}
"""How many bytes of the argument follow a head, by its low five bits."""


def twin_in(payload: bytes, names: Collection[str]) -> str | None:
    """Return the first of ``names`` that stands twice in one map; None: none does.

    Args:
        payload: Well-formed CBOR.
        names: The keys that matter.
    """
    wanted = [name for name in names if payload.count(name.encode()) > 1]
    if not wanted and b"\x7f" not in payload:  # a text in pieces hides what it says
        return None
    walk = _Walk(payload, frozenset(names))
    try:
        walk.over(0)
    except (IndexError, RecursionError, cbor2.CBORDecodeError):
        return None  # broken, or of the library's own devices: nothing more can be told of it
    return walk.twin


class _Walk:
    def __init__(self, data: bytes, names: frozenset[str]) -> None:
        self._data = data
        self._names = names
        self.twin: str | None = None

    def over(self, at: int) -> int:
        """Return where the item after this one begins."""
        major, low = self._data[at] >> 5, self._data[at] & 0x1F
        extra = _EXTRA.get(low, 0)
        after = at + 1 + extra
        count = int.from_bytes(self._data[at + 1 : after]) if extra else low
        if low == _INDEFINITE and major in (_BYTES, _TEXT, _ARRAY, _MAP):
            return self._until_break(after, is_map=major == _MAP)
        if major in (_BYTES, _TEXT):
            return after + count
        if major == _TAG:
            return self.over(after)
        if major in (_ARRAY, _MAP):
            seen: set[str] = set()
            for _ in range(count):
                after = self._entry(after, seen) if major == _MAP else self.over(after)
        return after

    def _until_break(self, at: int, *, is_map: bool) -> int:
        seen: set[str] = set()
        while self._data[at] != _BREAK:
            at = self._entry(at, seen) if is_map else self.over(at)
        return at + 1

    def _entry(self, at: int, seen: set[str]) -> int:
        value_at = self.over(at)
        if self._data[at] >> 5 == _TEXT:
            key = cbor2.loads(self._data[at:value_at])
            if key in seen and key in self._names:
                self.twin = self.twin or key
            seen.add(key)
        return self.over(value_at)
