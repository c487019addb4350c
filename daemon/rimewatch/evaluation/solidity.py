"""When a lot may be taken as solid at −35 °C: from a centre probe, or by an estimate. Pure.

A product probe stands for the centre of every lot in its unit, as far as hours are credited.
It lies in one product, though, and fish that came in warm later is not yet as cold: what is
sure of a hold waits for the estimate, unless the probe is known to lie in the lot itself.
"""

from collections.abc import Callable
from typing import Final

from rimewatch.evaluation.lot_book import ASSUMED_AT_RECEIPT_C, LotEntries
from rimewatch.evaluation.over_time import period_at, shop_at
from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.lots.hold import COLD_20_C, COLD_35_C
from rimewatch.rules.provisions_hazards import PARASITE_THICK_FISH_MM
from rimewatch.science.time_until_solid import THICKEST_MM, time_until_solid_s
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_H, MS_PER_S, Measures, UnitId

ASSUMED_THICKNESS_MM: Final = PARASITE_THICK_FISH_MM
"""Taken for a lot whose thickness nobody measured: six inches, beyond which the Hazards
guidance (FDA, 4th ed., chapter 5; from memory) doubts the freezing conditions."""

LOOK_AHEAD_MS: Final = 96 * MS_PER_H
"""A fish that is not solid by then will not be believed to be."""

STEP_MS: Final = MS_PER_H // 2
"""The air in a freezer falls for hours after loading; the estimate is tried from each of
these instants on, and the earliest result stands."""


def cold_through_after(
    shop: Shop, store: ReadingStore, lot: LotEntries, *, surely: bool = False
) -> Callable[[UnitId, float], float | None] | None:
    """Return how long −20 °C must last in a unit for all parts of a lot to be that cold.

    None where nobody entered a thickness: the governing temperature then stands for the
    fish, and the record says so.

    Args:
        shop: The shop.
        store: Its readings.
        lot: The lot's entries.
        surely: See ``solid_after``; nothing stands for the fish then but a probe in it.
    """
    if not surely and (lot.received is None or lot.received.thickness_mm is None):
        return None
    return solid_after(shop, store, lot, centre_c=COLD_20_C, surely=surely)


COOLED_ON_THE_WAY_C: Final = 5.0
"""So much colder than at receipt, or than melting ice, a lot may be when its probe first speaks:
fish thinly spread loses as much within some minutes (common practice, no source)."""


def lies_in_lot(shop: Shop, lot: LotEntries, unit: UnitId, begins_ms: float | None = None) -> bool:
    """Return whether a product probe of a unit is known to lie in a lot.

    Args:
        shop: The shop.
        lot: The lot's entries.
        unit: Where it stands.
        begins_ms: Since when that probe was cold. A probe that was so from the very entry on was
            not in fish that came in warm, whatever was entered. None: this is not asked.
    """
    freezing = lot.freezing
    if freezing is None or freezing.probe is None:
        return False
    when_ms = (freezing.at_ms,) if begins_ms is None else (freezing.at_ms, begins_ms)
    for at_ms in when_ms:
        own = {probe.id for probe in shop_at(shop, at_ms).probes_of(unit, Measures.PRODUCT)}
        if freezing.unit != unit or freezing.probe not in own:
            return False
    return begins_ms is None or begins_ms > freezing.at_ms


def solid_after(
    shop: Shop,
    store: ReadingStore,
    lot: LotEntries,
    *,
    centre_c: float = COLD_35_C,
    surely: bool = False,
) -> Callable[[UnitId, float], float | None]:
    """Return how long the cold must last in a unit for a lot's centre, in milliseconds.

    A product probe stands for the centre, so there the answer is 0: the probe itself must
    read the temperature. Otherwise the time follows from the thickness and the warmest air that
    was measured while it passed; None where that air is too warm for any estimate.

    Args:
        shop: The shop.
        store: Its readings.
        lot: The lot's entries.
        centre_c: How cold its centre must be, °C.
        surely: Whether a product probe stands only for the lot that it is known to lie in. For
            every other the estimate is made, and without an air probe there is none.
    """
    received = lot.received
    thickness_mm = ASSUMED_THICKNESS_MM
    initial_c = ASSUMED_AT_RECEIPT_C
    if received is not None:
        thickness_mm = received.thickness_mm or ASSUMED_THICKNESS_MM
        initial_c = ASSUMED_AT_RECEIPT_C if received.celsius is None else max(received.celsius, 0.0)

    def after_ms(unit: UnitId, begins_ms: float) -> float | None:
        then = period_at(shop, store, unit, begins_ms)
        if then.shop.probes_of(unit, Measures.PRODUCT) and (
            not surely
            or (lies_in_lot(shop, lot, unit, begins_ms) and _was_warm(then.store, lot, begins_ms))
        ):
            return 0.0
        air = then.shop.probes_of(unit, Measures.AIR)
        if not air or thickness_mm > THICKEST_MM:
            return None
        first_ms = round(begins_ms)
        spans = [
            (then.store.span(probe.id, first_ms, first_ms + LOOK_AHEAD_MS), probe.uncertainty_c)
            for probe in air
        ]
        found: list[float] = []
        for offset_ms in range(0, LOOK_AHEAD_MS // 4, STEP_MS):
            # The warmest corner counts: every probe's air must be cold enough.
            estimates_ms = [
                _estimate_ms(
                    span, first_ms + offset_ms, thickness_mm, initial_c, uncertain_c, centre_c
                )
                for span, uncertain_c in spans
            ]
            known_ms = [estimate_ms for estimate_ms in estimates_ms if estimate_ms is not None]
            if len(known_ms) == len(spans):
                found.append(offset_ms + max(known_ms))
        return min(found) if found else None

    return after_ms


def _was_warm(store: ReadingStore, lot: LotEntries, begins_ms: float) -> bool:
    """Whether the probe said to lie in a lot showed, once it was entered, how warm it came in.

    A silence, or a moment a little too warm for the option, shows nothing of the kind: the probe
    may lie in other fish, which has been cold for days.
    """
    freezing, received = lot.freezing, lot.received
    assert freezing is not None, "it was put to freeze"
    assert freezing.probe is not None, "with a probe in it"
    known_c = None if received is None else received.celsius
    came_in_c = min(ASSUMED_AT_RECEIPT_C if known_c is None else known_c, 0.0)
    seen = store.span(freezing.probe, freezing.at_ms, round(begins_ms)).values
    return len(seen) > 0 and float(seen.max()) >= came_in_c - COOLED_ON_THE_WAY_C


def _estimate_ms(
    span: Span,
    from_ms: int,
    thickness_mm: float,
    initial_c: float,
    uncertain_c: float,
    centre_c: float,
) -> float | None:
    """Return the estimate for the warmest air measured while it passes; None: there is none."""
    window_ms = float(MS_PER_H)
    while window_ms <= LOOK_AHEAD_MS:
        inside = (span.times_ms >= from_ms) & (span.times_ms <= from_ms + window_ms)
        if not inside.any():
            return None
        warmest_c = float(span.values[inside].max()) + uncertain_c
        seconds = time_until_solid_s(
            thickness_mm, warmest_c, centre_c=centre_c, initial_c=initial_c
        )
        if seconds is None:
            return None
        if seconds * MS_PER_S <= window_ms:
            return seconds * MS_PER_S
        window_ms = seconds * MS_PER_S
    return None
