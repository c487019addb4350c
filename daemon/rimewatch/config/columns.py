"""A column of a line without names, as a configuration writes it: ``2 of 3``. Pure."""

import re
from typing import Final, NamedTuple

MOST_COLUMNS: Final = 200
"""More is no probe's line (our choice)."""

_WRITTEN: Final = re.compile(r"\s*([0-9]{1,3})\s+of\s+([0-9]{1,3})\s*", re.ASCII)


class Column(NamedTuple):
    """Which column is meant, counted from 1, and how many the line must have."""

    place: int
    of: int


def column_in(text: str) -> Column | None:
    """Return the column that a text names; None: it names none.

    How many there are belongs to it: where a firmware adds one, the values move, and a line of
    another length is refused in place of a humidity read as a temperature.

    >>> column_in("2 of 3"), column_in("4 of 3"), column_in("2")
    (Column(place=2, of=3), None, None)
    """
    found = _WRITTEN.fullmatch(text)
    if found is None:
        return None
    column = Column(int(found[1]), int(found[2]))
    return column if 1 <= column.place <= column.of <= MOST_COLUMNS and column.of > 1 else None
