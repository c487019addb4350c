"""Which lots will be ready in time, and what would make the others ready.

A foretelling rests on the cold going on as it is. It is a plan, never a proof.
Pure: no clock, no I/O. Instants are milliseconds UTC.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rimewatch.lots.hold import Hold
from rimewatch.lots.options import Prospect
from rimewatch.vocabulary import LotId, Option, UnitId


@dataclass(frozen=True, slots=True, kw_only=True)
class Foretold:
    """What is to be expected of a lot in its freezing hold."""

    lot: LotId
    unit: UnitId | None
    option: Option
    expected_ms: float | None
    """When it will be complete if the cold holds; None: the cold has not begun."""
    needed_by_ms: int | None
    """When the shop wants it; None: it has no date."""
    instead: Prospect | None = None
    """For a lot that will be late: what would have it ready in time."""
    start_by_ms: float | None = None
    """The latest moment at which that must begin."""

    @property
    def is_late(self) -> bool:
        """Whether it will not be ready when it is wanted."""
        if self.needed_by_ms is None:
            return False
        return self.expected_ms is None or self.expected_ms > self.needed_by_ms


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """Lots that will be late, and one thing that would have all of them ready in time."""

    lots: tuple[LotId, ...]
    needed_by_ms: int
    """The earliest of their dates."""
    option: Option | None
    """None: nothing here would have them ready in time."""
    unit: UnitId | None
    start_by_ms: float | None
    """The latest moment at which all of them must be moved."""


def foretell(
    lot: LotId,
    unit: UnitId | None,
    hold: Hold,
    needed_by_ms: int | None,
    open_to_it: Sequence[Prospect],
    now_ms: float,
) -> Foretold:
    """Return what is to be expected of a lot.

    Args:
        lot: The lot.
        unit: Where it stands.
        hold: How far it has come; not complete.
        needed_by_ms: When the shop wants it.
        open_to_it: What the freezers can do for it, begun now.
        now_ms: The present.
    """
    found = Foretold(
        lot=lot,
        unit=unit,
        option=hold.option,
        expected_ms=hold.expected_ms,
        needed_by_ms=needed_by_ms,
    )
    if not found.is_late or needed_by_ms is None:
        return found
    in_time = [
        prospect
        for prospect in open_to_it
        if prospect.is_possible
        and prospect.complete_ms is not None
        and prospect.complete_ms <= needed_by_ms
    ]
    if not in_time:
        return found
    best = min(in_time, key=lambda prospect: (prospect.complete_ms or 0.0, prospect.unit))
    assert best.complete_ms is not None, "only such are chosen from"
    return Foretold(
        lot=lot,
        unit=unit,
        option=hold.option,
        expected_ms=hold.expected_ms,
        needed_by_ms=needed_by_ms,
        instead=best,
        start_by_ms=now_ms + (needed_by_ms - best.complete_ms),
    )


def advice(found: Sequence[Foretold]) -> tuple[Advice, ...]:
    """Return what to do about the lots that will be late, those with one cure together."""
    together: dict[tuple[Option, UnitId] | None, list[Foretold]] = {}
    for item in found:
        if item.is_late:
            cure = None if item.instead is None else (item.instead.option, item.instead.unit)
            together.setdefault(cure, []).append(item)
    return tuple(
        Advice(
            lots=tuple(item.lot for item in items),
            needed_by_ms=min(item.needed_by_ms for item in items if item.needed_by_ms is not None),
            option=None if cure is None else cure[0],
            unit=None if cure is None else cure[1],
            start_by_ms=min(
                (item.start_by_ms for item in items if item.start_by_ms is not None), default=None
            ),
        )
        for cure, items in together.items()
    )


def hours_lost(holds: Mapping[LotId, Hold]) -> str:
    """Say how many hours of each hold are at stake, cut off and not rounded up.

    >>> hours_lost({})
    ''
    """
    said = [
        f"{lot} {math.floor(hold.at_stake_h * 10 + 1e-9) / 10:g} of {hold.required_h:g} h"
        for lot, hold in holds.items()
    ]
    return f"Hours lost: {', '.join(said)}" if said else ""
