"""What a unit's readings show of it that nobody typed, looked up in the store. Pure.

For people to consider: no figure of the ledger and no alarm depends on it.
"""

from typing import Final

import numpy as np

from rimewatch.evaluation.channels import stale_ms
from rimewatch.evaluation.over_time import there_from_ms
from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.rules import habits, icing
from rimewatch.rules.habits import HabitState
from rimewatch.rules.icing import Icing
from rimewatch.science.lag_measured import LagMeasured, measure_lag
from rimewatch.shop import Probe, Shop, Unit
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_MINUTE, Measures

LAG_FROM_MS: Final = 2 * MS_PER_DAY
"""The lag is measured from so long: it holds several defrosts, and goods change."""
LAG_SAMPLE_MS: Final = MS_PER_MINUTE
"""One reading in so long is enough for it."""
HABITS_FROM_MS: Final = habits.KEPT_MS + MS_PER_DAY
"""Habits reach so far back; the day before it settles the band."""


def sampled(span: Span, every_ms: int) -> Span:
    """Return the first reading of every piece of a fixed grid."""
    firsts = np.flatnonzero(np.diff(span.times_ms // every_ms, prepend=-1))
    return Span(span.times_ms[firsts], span.values[firsts])


def lag_of(shop: Shop, store: ReadingStore, unit: Unit, to_ms: int) -> LagMeasured | None:
    """Return how far a unit's fish is behind its air, where both were measured lately.

    Args:
        shop: The shop.
        store: Its readings.
        unit: The unit.
        to_ms: Nothing later is looked at.

    Returns:
        None where only one of both is measured, or nothing is shown.
    """
    air = shop.probes_of(unit.id, Measures.AIR)
    fish = shop.probes_of(unit.id, Measures.PRODUCT)
    if not air or not fish:
        return None
    of_air, of_fish = (
        sampled(_since_there(shop, store, probe, to_ms - LAG_FROM_MS, to_ms), LAG_SAMPLE_MS)
        for probe in (air[0], fish[0])
    )
    return measure_lag(
        of_air.times_ms,
        of_air.values,
        of_fish.times_ms,
        of_fish.values,
        stale_ms=stale_ms(air[0]),
    )


def icing_of(
    shop: Shop, store: ReadingStore, air: Probe | None, from_ms: int, to_ms: int
) -> Icing | None:
    """Return how the defrosts in a unit's air have changed, where it first shows in a time."""
    if air is None:
        return None
    whole = _since_there(shop, store, air, to_ms - HABITS_FROM_MS, to_ms)
    span = sampled(whole, habits.SAMPLE_MS)
    state: HabitState = habits.fold(span.times_ms.tolist(), span.values.tolist())
    return icing.news(state, from_ms, to_ms)


def _since_there(shop: Shop, store: ReadingStore, probe: Probe, from_ms: int, to_ms: int) -> Span:
    """Return a probe's readings, those alone that it took where it is now."""
    return store.span(probe.id, there_from_ms(shop, probe.id, from_ms), to_ms)
