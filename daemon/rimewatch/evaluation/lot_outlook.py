"""What the shop's freezers can do for a lot, and which lots will be ready in time. Pure."""

from collections.abc import Sequence
from typing import Final

from rimewatch.entries import ReceiveLot
from rimewatch.evaluation.governing import governing_readings
from rimewatch.evaluation.lot_book import ASSUMED_AT_RECEIPT_C
from rimewatch.evaluation.lot_story import Histories, LotStory
from rimewatch.evaluation.solidity import ASSUMED_THICKNESS_MM
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.unit_cold import cold_of_unit
from rimewatch.lots.foretell import Foretold, foretell
from rimewatch.lots.hold import COLD_20_C, COLD_35_C
from rimewatch.lots.options import STEADY_H, Prospect, UnitCold, prospects
from rimewatch.science.time_until_solid import THICKEST_MM, time_until_solid_s
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, MS_PER_S, Measures

LOOK_BACK_MS: Final = STEADY_H * MS_PER_H
"""How far back a unit is looked at for what it steadily reaches."""


def unit_colds(
    shop: Shop, store: ReadingStore, histories: Histories, received: ReceiveLot | None, now_ms: int
) -> list[UnitCold]:
    """Return what each freezer did lately, and how long this lot's centre would take in it."""
    return [
        UnitCold(
            unit=unit.id,
            records={
                level_c: cold_of_unit(shop, histories, unit.id, level_c, now_ms)
                for level_c in (COLD_20_C, COLD_35_C)
            },
            warmest_c=_warmest_c(shop, store, unit, now_ms),
            centre_after_ms={
                centre_c: _centre_after_ms(shop, store, unit, received, now_ms, centre_c)
                for centre_c in (COLD_20_C, COLD_35_C)
            },
        )
        for unit in shop.units
        if unit.kind.is_freezer and shop.governing_probes(unit.id)
    ]


def prospects_for(
    shop: Shop, store: ReadingStore, histories: Histories, received: ReceiveLot | None, now_ms: int
) -> tuple[Prospect, ...]:
    """Return what the freezers can do for a lot if it is put into one now."""
    return prospects(
        unit_colds(shop, store, histories, received, now_ms),
        now_ms,
        thickness_known=received is not None and received.thickness_mm is not None,
    )


def foretell_lots(
    shop: Shop, store: ReadingStore, histories: Histories, stories: Sequence[LotStory], now_ms: int
) -> list[Foretold]:
    """Return what is to be expected of every lot in its freezing hold."""
    found: list[Foretold] = []
    for story in stories:
        freezing = story.entries.freezing
        if story.state != "freezing" or story.hold is None or freezing is None:
            continue
        needed_by_ms = freezing.needed_by_ms
        expected_ms = story.hold.expected_ms
        late = needed_by_ms is not None and (expected_ms is None or expected_ms > needed_by_ms)
        open_to_it = (
            prospects_for(shop, store, histories, story.entries.received, now_ms) if late else ()
        )
        found.append(
            foretell(story.lot, story.entries.unit, story.hold, needed_by_ms, open_to_it, now_ms)
        )
    return found


def _warmest_c(shop: Shop, store: ReadingStore, unit: Unit, now_ms: int) -> float | None:
    """Return the warmest governing temperature of the last days with the uncertainty on top."""
    warmest = [
        float(span.values[recent].max()) + probe.uncertainty_c
        for probe in shop.governing_probes(unit.id)
        if (span := governing_readings(shop, store, probe, now_ms - LOOK_BACK_MS, now_ms))
        and (recent := (span.times_ms >= now_ms - LOOK_BACK_MS) & (span.times_ms <= now_ms)).any()
    ]
    return max(warmest) if warmest else None


def _centre_after_ms(
    shop: Shop,
    store: ReadingStore,
    unit: Unit,
    received: ReceiveLot | None,
    now_ms: int,
    centre_c: float,
) -> float | None:
    """Return how long the centre takes in the air of the last day, by the usual estimate.

    Also where a product probe will show the centre itself: nothing is in the unit yet.
    """
    thickness_mm = ASSUMED_THICKNESS_MM
    initial_c = ASSUMED_AT_RECEIPT_C
    if received is not None:
        thickness_mm = received.thickness_mm or ASSUMED_THICKNESS_MM
        initial_c = ASSUMED_AT_RECEIPT_C if received.celsius is None else max(received.celsius, 0.0)
    probes = shop.probes_of(unit.id, Measures.AIR) or shop.governing_probes(unit.id)
    if thickness_mm > THICKEST_MM or not probes:
        return None
    span = store.span(probes[0].id, now_ms - MS_PER_DAY, now_ms)
    if not len(span):
        return None
    air_c = float(span.values.max()) + probes[0].uncertainty_c
    seconds = time_until_solid_s(thickness_mm, air_c, centre_c=centre_c, initial_c=initial_c)
    return None if seconds is None else seconds * MS_PER_S
