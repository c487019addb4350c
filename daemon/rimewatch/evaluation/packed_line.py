"""The line of vacuum-packed fish, told as its unit's operating limit while such fish lies there.

Chilled fish in reduced oxygen packaging is kept colder than other fish [1]. A unit whose own
operating limit is as low tells of it already; any other tells of it as long as a lot lies there
in its pack. Pure. No excursion of the record: those are of the unit's own limits.

References:
    [1] FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed., chapter 13 (from
        memory): 38 °F or below.
"""

from collections.abc import Iterable, Mapping
from typing import Final

import numpy as np

from rimewatch.evaluation.exposures import warmest_of
from rimewatch.evaluation.lot_book import LotEntries
from rimewatch.evaluation.store import ReadingStore
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.rules.provisions_hazards import ROP_CHILLED_LIMIT_C
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_S, Priority, Rule, UnitId

LOOKED_BACK_MS: Final = MS_PER_DAY
"""When a rise began is not looked for further back."""

DETAIL: Final = (
    "Vacuum-packed fish lies there: it is kept at 38 °F (3.3 °C) or below, or taken out of its pack"
)


def told_of_packs(conditions: Mapping[AlarmKey, Condition]) -> set[UnitId]:
    """Return the units of which the line of packs is told."""
    return {
        key.unit
        for key, condition in conditions.items()
        if key.rule is Rule.OPERATING_LIMIT
        and key.unit is not None
        and condition.limit_c == ROP_CHILLED_LIMIT_C
    }


def packed_condition(
    shop: Shop,
    store: ReadingStore,
    unit: Unit,
    lots: Iterable[LotEntries],
    told: Condition | None,
    fish_c: float,
    at_ms: int,
) -> Condition | None:
    """Return that packed fish in a unit has been above its line for the on-delay; None: not so.

    Args:
        shop: The shop.
        store: Its readings.
        unit: The unit.
        lots: What stands in it.
        told: The condition under the same rule that stands; None: none does.
        fish_c: The warmest governing temperature of the unit now, °C.
        at_ms: The instant.
    """
    if unit.operating_limit_c is not None and unit.operating_limit_c <= ROP_CHILLED_LIMIT_C:
        return None
    packed = tuple(lot.lot for lot in lots if lot.packed_until_ms > at_ms)
    back_c = ROP_CHILLED_LIMIT_C - (0.0 if told is None else unit.deadband_c)
    if unit.kind.is_freezer or not packed or fish_c <= back_c:
        return None
    since_ms = _above_since_ms(shop, store, unit, at_ms) if told is None else told.since_ms
    if since_ms is None or (told is None and at_ms - since_ms < unit.on_delay_s * MS_PER_S):
        return None
    return Condition(
        key=AlarmKey(unit=unit.id, rule=Rule.OPERATING_LIMIT),
        since_ms=since_ms,
        priority=Priority.MEDIUM,
        units=(unit.id,),
        limit_c=ROP_CHILLED_LIMIT_C,
        lots=packed,
        detail=DETAIL,
    )


def _above_since_ms(shop: Shop, store: ReadingStore, unit: Unit, at_ms: int) -> int | None:
    """Return since when a unit has been above the line; None: that is not known."""
    curve = warmest_of(shop, store, unit.id, at_ms - LOOKED_BACK_MS, at_ms)
    if curve is None or curve.is_gap[-1]:
        return None
    cold = np.flatnonzero(curve.from_c <= ROP_CHILLED_LIMIT_C)
    if not len(cold):
        return at_ms - round(float(curve.length_s.sum()) * MS_PER_S)
    last = int(cold[-1])
    from_c, to_c = float(curve.from_c[last]), float(curve.to_c[last])
    share = (ROP_CHILLED_LIMIT_C - from_c) / (to_c - from_c) if to_c > from_c else 1.0
    above_s = float(curve.length_s[last:].sum()) - min(share, 1.0) * float(curve.length_s[last])
    return at_ms - round(above_s * MS_PER_S)
