"""Gathers what is known around an excursion, for ``rules.cause`` to judge. Pure."""

from typing import Final

import numpy as np

from rimewatch.evaluation.contacts import door_times
from rimewatch.evaluation.defrosts import scheduled
from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.rules.cause import BASELINE_BEFORE_MS, PROMPT_RECOVERY_MS, Evidence
from rimewatch.rules.watch import Spell
from rimewatch.shop import Shop
from rimewatch.vocabulary import Measures, UnitId

AFTER_MS: Final = 2 * PROMPT_RECOVERY_MS
"""How far past its start (or its end) an excursion is looked at."""


def evidence_for(
    shop: Shop,
    store: ReadingStore,
    unit: UnitId,
    spell: Spell,
    known_ms: int,
    power_lost_with: tuple[str, ...] = (),
) -> Evidence:
    """Return what is known around an excursion of a unit.

    Args:
        shop: The shop.
        store: Its readings.
        unit: The unit.
        spell: The excursion.
        known_ms: Nothing later than this is known.
        power_lost_with: Names of units that lost power at the same moment.
    """
    from_ms = round(spell.start_ms) - BASELINE_BEFORE_MS
    ends_ms = known_ms if spell.end_ms is None else round(spell.end_ms)
    to_ms = min(known_ms, ends_ms + AFTER_MS)
    air_probes = shop.probes_of(unit, Measures.AIR)
    product_probes = shop.probes_of(unit, Measures.PRODUCT)
    nothing = Span(np.empty(0, dtype=np.int64), np.empty(0, dtype=np.float64))
    product = store.span(product_probes[0].id, from_ms, to_ms) if product_probes else nothing
    air = store.span(air_probes[0].id, from_ms, to_ms) if air_probes else product
    return Evidence(
        start_ms=spell.start_ms,
        end_ms=spell.end_ms,
        air_times_ms=air.times_ms,
        air_c=air.values,
        product_times_ms=product.times_ms if air_probes else nothing.times_ms,
        product_c=product.values if air_probes else nothing.values,
        door_open=door_times(shop, store, unit, from_ms, to_ms),
        has_door_contact=bool(shop.probes_of(unit, Measures.DOOR)),
        defrost=scheduled(shop.unit[unit], shop.timezone, from_ms, to_ms),
        power_lost_with=power_lost_with,
    )
