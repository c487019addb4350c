"""How much of the published allowances in the warm an excursion, or a lot's life, has used.

Pure: governing temperatures from the store, limits from ``rules.hazard_limits``. A
share within its allowance is a record, and no promise of safety.
"""

from collections.abc import Mapping, Sequence
from math import inf
from typing import Any, Final

import numpy as np

from rimewatch.evaluation.channels import stale_ms
from rimewatch.evaluation.governing import governing_within
from rimewatch.evaluation.instants import figure
from rimewatch.evaluation.lot_book import LotEntries
from rimewatch.evaluation.store import ReadingStore
from rimewatch.lots.catalogue import find
from rimewatch.lots.own_species import own_species
from rimewatch.lots.record import Overrun
from rimewatch.lots.species import Species
from rimewatch.rules.hazard_limits import SCOMBROTOXIN_FRESH, SCOMBROTOXIN_FROZEN, TABLE_A2
from rimewatch.science.exposure import Exposure, band_exposure, two_line_exposure
from rimewatch.science.segments import Segments, linear_segments
from rimewatch.shop import Probe, Shop

WORST: Final = 3
"""So many hazards are named, those that used the largest part of their allowance."""


def curve_of(
    shop: Shop, store: ReadingStore, probe: Probe, from_ms: float, to_ms: float
) -> Segments | None:
    """Return the governing temperature of a period in pieces; None: it was not measured."""
    times, values = governing_within(shop, store, probe, from_ms, to_ms)
    if len(times) < 2:
        return None
    return linear_segments(times, values, max_gap_ms=stale_ms(probe))


def table_a2(curve: Segments | None) -> list[dict[str, Any]]:
    """Return the hazards of Table A-2 that a curve used most of, the worst first.

    A hazard whose limits the fish never came to is left out.
    """
    if curve is None:
        return []
    warmest_c = float(np.maximum(curve.from_c, curve.to_c).max(initial=-inf))
    # Colder than where a hazard begins, all of its figures are zero.
    used = [band_exposure(curve, limits) for limits in TABLE_A2 if limits.from_c <= warmest_c]
    touched = [one for one in used if one.share_with_gaps > 0.0]
    touched.sort(key=lambda one: (-one.share_with_gaps, one.hazard))
    return [_record(one) for one in touched[:WORST]]


def of_lot(
    shop: Shop, store: ReadingStore, lot: LotEntries, to_ms: int, *, frozen: bool
) -> dict[str, Any]:
    """Return what a lot has used so far, from its first unit on.

    The stretches in its units are put one behind the other: time under way between
    them, and before the first, is not measured and not in it. The guidance's chapter on
    scombrotoxin names the fish's surroundings; an air probe swings with every defrost,
    so the governing temperature is held against its lines.

    Args:
        shop: The shop.
        store: Its readings.
        lot: The lot's entries.
        to_ms: Until when.
        frozen: Whether it was frozen here, and that is proven: other times hold then.
    """
    end_ms = float(to_ms) if lot.withdrawn is None else min(to_ms, lot.withdrawn.at_ms)
    curves: list[Segments] = []
    for place in lot.placements:
        until_ms = end_ms if place.to_ms is None else min(place.to_ms, end_ms)
        probes = shop.governing_probes(place.unit) if place.unit in shop.unit else ()
        if probes and until_ms > place.from_ms:
            curve = curve_of(shop, store, probes[0], place.from_ms, until_ms)
            if curve is not None:
                curves.append(curve)
    whole = _joined(curves)
    record: dict[str, Any] = {"table_a2": table_a2(whole), "scombrotoxin": None}
    if whole is not None and forms_scombrotoxin(shop, lot):
        limits = SCOMBROTOXIN_FROZEN if frozen else SCOMBROTOXIN_FRESH
        record["scombrotoxin"] = _record(two_line_exposure(whole, limits))
    return record


def overruns_in(record: Mapping[str, Any]) -> tuple[Overrun, ...]:
    """Return the limits that a lot went beyond, from what ``of_lot`` says it used.

    >>> used = {"hazard": "scombrotoxin, fish not previously frozen", "share_with_gaps": 2.49}
    >>> [over.share for over in overruns_in({"table_a2": [], "scombrotoxin": used})]
    [2.49]
    """
    used = [record.get("scombrotoxin"), *(record.get("table_a2") or ())]
    return tuple(
        Overrun(hazard=str(one["hazard"]), share=float(one["share_with_gaps"]))
        for one in used
        if one is not None and one["share_with_gaps"] > 1.0
    )


def forms_scombrotoxin(shop: Shop, lot: LotEntries) -> bool:
    """Whether a lot may form scombrotoxin: an unknown fish, and one of several that do, may."""
    if lot.received is None:
        return True
    found = find(lot.received.species, own_species(shop.species))
    if found is None:
        return True
    choices: Sequence[Species] = (found,) if isinstance(found, Species) else found.choices
    return any(choice.forms_scombrotoxin for choice in choices)


def _joined(curves: Sequence[Segments]) -> Segments | None:
    if not curves:
        return None
    return Segments(
        start_s=np.concatenate([one.start_s for one in curves]),
        length_s=np.concatenate([one.length_s for one in curves]),
        from_c=np.concatenate([one.from_c for one in curves]),
        to_c=np.concatenate([one.to_c for one in curves]),
        is_gap=np.concatenate([one.is_gap for one in curves]),
    )


def _record(used: Exposure) -> dict[str, Any]:
    return {
        "hazard": used.hazard,
        "counted_s": figure(used.counted_s, 3),
        "band_s": [figure(seconds, 3) for seconds in used.band_s],
        "share": figure(used.share, 4),
        "share_with_gaps": figure(used.share_with_gaps, 4),
        "basis": used.basis.value,
    }
