"""How much of the published allowances in the warm an excursion, or a lot's life, has used.

Pure: governing temperatures from the store, limits from ``rules.hazard_limits``. A
share within its allowance is a record, and no promise of safety. Of a unit with several
governing probes the warmest counts at each moment.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import inf
from typing import Final

import numpy as np

from rimewatch.evaluation.channels import stale_ms
from rimewatch.evaluation.governing import governing_within
from rimewatch.evaluation.lot_book import LotEntries
from rimewatch.evaluation.over_time import Period, shop_at, stretches
from rimewatch.evaluation.store import ReadingStore
from rimewatch.lots.catalogue import find
from rimewatch.lots.hold import THAWING_ABOVE_C
from rimewatch.lots.own_species import own_species
from rimewatch.lots.species import Species
from rimewatch.lots.standing import Limit
from rimewatch.rules.hazard_limits import (
    ABOVE_COLD_HOLDING,
    OF_PACKS,
    RAW_READY_TO_EAT,
    SCOMBROTOXIN_FRESH,
    SCOMBROTOXIN_FROZEN,
    TABLE_A2,
)
from rimewatch.rules.provisions_hazards import ROP_CHILLED_LIMIT_C
from rimewatch.science.exposure import (
    Exposure,
    TwoLineLimits,
    band_exposure,
    share_used,
    two_line_exposure,
)
from rimewatch.science.segments import Segments, linear_segments, seconds_within, warmest
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import MS_PER_S, UnitId

WORST: Final = 3
"""So many hazards are named, those that used the largest part of their allowance."""

LIMITS: Final[Mapping[Limit, TwoLineLimits]] = {
    Limit.SCOMBROTOXIN_FRESH: SCOMBROTOXIN_FRESH,
    Limit.SCOMBROTOXIN_FROZEN: SCOMBROTOXIN_FROZEN,
    Limit.RAW_READY_TO_EAT: RAW_READY_TO_EAT,
    Limit.COLD_HOLDING: ABOVE_COLD_HOLDING,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PackedExposure:
    """What vacuum-packed fish spent above the line for fish packed so."""

    above_s: float
    """Seconds, gaps counted at the warmer of their ends."""
    share: float
    """Of the time that Table A-2 allows for the hazard of such packs, counted likewise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LotExposure:
    """What a lot has used of the allowances in the warm."""

    used: Mapping[Limit, Exposure] = field(default_factory=dict)
    """By the limits that hold for it and under which it spent some time."""
    table_a2: tuple[Exposure, ...] = ()
    """The hazards of Table A-2 that it used most of, the worst first. Information, no limit: a
    chilled fish that is older than a day has used up shares made for a day in one band."""
    packed: PackedExposure | None = None
    """Of its time in a vacuum pack; None: it was in none, or that was not measured."""
    frozen_gaps_s: float = 0.0
    """Of the unmonitored time, what lay between two moments at which the fish was frozen."""

    @property
    def scombrotoxin(self) -> Exposure | None:
        """The worse of its stretches, before and after freezing; None: it forms none."""
        both = (Limit.SCOMBROTOXIN_FRESH, Limit.SCOMBROTOXIN_FROZEN)
        found = [self.used[limit] for limit in both if limit in self.used]
        return max(found, key=lambda one: one.share_with_gaps, default=None)

    def supposing(self, limit: Limit, unseen_s: float) -> float:
        """Return the share of a limit used if some more time had been above its line.

        Not above its warm line: fish that was cold before and after does not pass 70 °F in the
        half hour after which a silence is a doubt by itself.
        """
        one = self.used.get(limit)
        cool_s, warm_s = (0.0, 0.0) if one is None else one.with_gaps_s
        ever_warm = one is not None and one.ever_warm
        return share_used(LIMITS[limit], cool_s + unseen_s, warm_s, ever_warm=ever_warm)


def curve_of(
    shop: Shop, store: ReadingStore, probe: Probe, from_ms: float, to_ms: float
) -> Segments | None:
    """Return the governing temperature of a period in pieces; None: it was not measured."""
    found = _curve_from(shop, store, probe, from_ms, to_ms)
    return None if found is None else found[1]


def warmest_of(
    shop: Shop, store: ReadingStore, unit: UnitId, from_ms: float, to_ms: float
) -> Segments | None:
    """Return the warmest governing temperature of a unit's probes; None: none was measured."""
    if to_ms <= from_ms:
        return None
    curves = (_warmest_in(then, unit) for then in stretches(shop, store, unit, from_ms, to_ms))
    return _joined([curve for curve in curves if curve is not None])


def _warmest_in(then: Period, unit: UnitId) -> Segments | None:
    if unit not in then.shop.unit or then.to_ms <= then.from_ms:
        return None
    probes = sorted(then.shop.governing_probes(unit), key=lambda probe: probe.id)
    found = [
        _curve_from(then.shop, then.store, probe, then.from_ms, then.to_ms) for probe in probes
    ]
    known = [curve for curve in found if curve is not None]
    return warmest(known) if known else None


def table_a2(curve: Segments | None) -> tuple[Exposure, ...]:
    """Return the hazards of Table A-2 that a curve used most of, the worst first.

    A hazard whose limits the fish never came to is left out.
    """
    if curve is None:
        return ()
    warmest_c = float(np.maximum(curve.from_c, curve.to_c).max(initial=-inf))
    # Colder than where a hazard begins, all of its figures are zero.
    used = [band_exposure(curve, limits) for limits in TABLE_A2 if limits.from_c <= warmest_c]
    touched = [one for one in used if one.share_with_gaps > 0.0]
    touched.sort(key=lambda one: (-one.share_with_gaps, one.hazard))
    return tuple(touched[:WORST])


def of_lot(
    shop: Shop, store: ReadingStore, lot: LotEntries, to_ms: float, *, frozen_ms: float | None
) -> LotExposure:
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
        frozen_ms: When it was first proven frozen here: what it spent before is judged as fresh
            fish for ever, what it spends after as previously frozen. None: it never was.
    """
    end_ms = to_ms if lot.withdrawn is None else min(to_ms, lot.withdrawn.at_ms)
    cut_ms = inf if frozen_ms is None else frozen_ms
    fresh: list[Segments] = []
    thawed: list[Segments] = []
    for place in lot.placements:
        until_ms = end_ms if place.to_ms is None else min(place.to_ms, end_ms)
        for from_ms, stops_ms, curves in (
            (place.from_ms, min(until_ms, cut_ms), fresh),
            (max(place.from_ms, cut_ms), until_ms, thawed),
        ):
            curve = warmest_of(shop, store, place.unit, from_ms, stops_ms)
            if curve is not None:
                curves.append(curve)
    whole = _joined([*fresh, *thawed])
    parts: dict[Limit, Segments | None] = {
        Limit.RAW_READY_TO_EAT: whole,
        Limit.COLD_HOLDING: whole,
    }
    if forms_scombrotoxin(shop, lot):
        parts = {
            Limit.SCOMBROTOXIN_FRESH: _joined(fresh),
            Limit.SCOMBROTOXIN_FROZEN: _joined(thawed),
            **parts,
        }
    frozen_gaps_s = 0.0
    if whole is not None:
        frozen = whole.is_gap & (whole.from_c <= THAWING_ABOVE_C)
        frozen_gaps_s = float(whole.length_s[frozen].sum())
    return LotExposure(
        used={
            limit: two_line_exposure(curve, LIMITS[limit])
            for limit, curve in parts.items()
            if curve is not None
        },
        table_a2=table_a2(whole),
        packed=_packed(shop, store, lot, end_ms),
        frozen_gaps_s=frozen_gaps_s,
    )


def _packed(
    shop: Shop, store: ReadingStore, lot: LotEntries, end_ms: float
) -> PackedExposure | None:
    until_ms = min(end_ms, lot.packed_until_ms)
    curves = [
        curve
        for place in lot.placements
        if (
            curve := warmest_of(
                shop,
                store,
                place.unit,
                place.from_ms,
                until_ms if place.to_ms is None else min(place.to_ms, until_ms),
            )
        )
        is not None
    ]
    whole = _joined(curves)
    if whole is None:
        return None
    return PackedExposure(
        above_s=float(seconds_within(whole, ROP_CHILLED_LIMIT_C, inf).sum()),
        share=band_exposure(whole, OF_PACKS).share_with_gaps,
    )


def forms_scombrotoxin(shop: Shop, lot: LotEntries) -> bool:
    """Whether a lot may form scombrotoxin: an unknown fish, and one of several that do, may."""
    if lot.received is None:
        return True
    then = shop_at(shop, lot.received.at_ms)
    found = find(lot.received.species, own_species(then.species))
    if found is None:
        return True
    choices: Sequence[Species] = (found,) if isinstance(found, Species) else found.choices
    return any(choice.forms_scombrotoxin for choice in choices)


def _curve_from(
    shop: Shop, store: ReadingStore, probe: Probe, from_ms: float, to_ms: float
) -> tuple[float, Segments] | None:
    times, values = governing_within(shop, store, probe, from_ms, to_ms)
    if len(times) < 2:
        return None
    return float(times[0]) / MS_PER_S, linear_segments(times, values, max_gap_ms=stale_ms(probe))


def _joined(curves: Sequence[Segments]) -> Segments | None:
    if len(curves) <= 1:
        return next(iter(curves), None)
    return Segments(
        start_s=np.concatenate([one.start_s for one in curves]),
        length_s=np.concatenate([one.length_s for one in curves]),
        from_c=np.concatenate([one.from_c for one in curves]),
        to_c=np.concatenate([one.to_c for one in curves]),
        is_gap=np.concatenate([one.is_gap for one in curves]),
    )
