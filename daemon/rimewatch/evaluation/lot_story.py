"""A lot judged: what it needs, its hold, its freshness, from entries and readings. Pure."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from rimewatch.evaluation import exposures
from rimewatch.evaluation.channels import ChannelHistory
from rimewatch.evaluation.exposures import overruns_in
from rimewatch.evaluation.governing import unit_ice_days
from rimewatch.evaluation.lot_book import LotEntries, ice_days
from rimewatch.evaluation.solidity import cold_through_after, solid_after
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.supposing import supposing_warmth, warmth_may_hide
from rimewatch.lots.hold import (
    COLD_20_C,
    FROZEN_UNTIL_SOLID,
    NOTHING_PROVEN,
    ColdRecord,
    Hold,
    evaluate_hold,
    merge_records,
)
from rimewatch.lots.needs import Need, needs_of
from rimewatch.lots.own_species import own_species
from rimewatch.lots.record import Doubt, Overrun, Proof
from rimewatch.science import spoilage
from rimewatch.science.time_until_solid import SOLID_C
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_H, LotId, Measures, Option, ProbeId, UnitId

Histories = Mapping[ProbeId, ChannelHistory]


@dataclass(frozen=True, slots=True, kw_only=True)
class LotStory:
    """A lot as the record shows it."""

    entries: LotEntries
    need: Need | None
    """None: nobody has entered its receipt."""
    hold: Hold | None
    """None: freezing was never started."""
    ice_days: float
    sure: Hold | None = None
    """Its hold if the air was as warm as its probe can believe wherever that was silent, and if
    a product probe shows no lot but the one it is known to lie in; the hold itself where that
    makes no difference."""
    doubts: tuple[Doubt, ...] = ()
    """Why less than the hold may be sure; empty: it is sure as it is."""
    sure_from_ms: float | None = None
    """When all will be sure by the estimate for its inside, while that still runs; None: it does
    not, or there is none."""
    exposure: Mapping[str, Any] = field(default_factory=dict)
    """What it has used of the allowances in the warm, as the ledger tells it."""

    @property
    def lot(self) -> LotId:
        """The lot's id."""
        return self.entries.lot

    @property
    def state(self) -> str:
        """``received``, ``freezing``, ``complete`` or ``withdrawn``.

        A hold that was given up for thawing before it was complete is no hold any more.
        """
        if self.entries.withdrawn is not None:
            return "withdrawn"
        if self.hold is None:
            return "received"
        if self.hold.completed_ms is not None:
            return "complete"
        return "freezing" if self.entries.thawing is None else "received"

    @property
    def sure_by_ms(self) -> float | None:
        """When all of its hold is sure, if it stays as cold; None: the hold is sure as it is."""
        if self.is_sure or self.sure is None:
            return None
        return self.sure_from_ms if self.sure.started_ms is None else self.sure.expected_ms

    @property
    def is_sure(self) -> bool:
        """Whether all that is credited of its hold is sure."""
        hold, sure = self.hold, self.sure
        return hold is None or sure is None or sure.credited_h >= hold.credited_h

    @property
    def overruns(self) -> tuple[Overrun, ...]:
        """The cumulative limits that it went beyond."""
        return overruns_in(self.exposure)

    @property
    def proof(self) -> Proof | None:
        """The proof that it may be served raw, as far as parasites go; None: there is none yet.

        Nothing is taken for granted: a lot nobody described has none, nor one whose
        exemption rests on a statement that nobody has recorded. Kept for a lot that is gone.
        """
        received = self.entries.received
        if self.need is None or received is None or not received.serve_raw:
            return None
        again = self.entries.received_again
        if not self.need.needs_destruction and not self.need.statement_missing and again is None:
            return Proof.EXEMPTION
        if self.hold is not None and self.hold.completed_ms is not None:
            return Proof.OWN_FREEZING
        if self.entries.frozen_by_supplier is not None:
            return Proof.SUPPLIER_FREEZING
        return None

    @property
    def is_proof_unsure(self) -> bool:
        """Whether its proof is a hold that is complete by its readings and not sure for it."""
        return self.proof is Proof.OWN_FREEZING and not self.is_sure

    @property
    def raw_ready(self) -> bool:
        """Whether it is here and its proof is complete."""
        return self.proof is not None and self.entries.withdrawn is None

    @property
    def why_not(self) -> str:
        """One sentence on what its proof lacks; empty where it lacks nothing, or none is wanted."""
        received = self.entries.received
        if self.proof is not None or (received is not None and not received.serve_raw):
            return ""
        if received is None or self.need is None:
            return "Nobody has entered what this lot is."
        if self.need.statement_missing and not self.need.needs_destruction:
            return "The supplier’s written statement on feed and raising is not on file."
        again = self.entries.received_again
        if again is not None and self.hold is None:
            return (
                f"Entry {again.entry_number} received fish under this number after a proof had "
                "been begun, which does not count for that fish: cancel the entry if it was a "
                "slip, or freeze the lot again."
            )
        return self._hold_lacks()

    def _hold_lacks(self) -> str:
        hold = self.hold
        if hold is None:
            return "It needs a freezing hold, and none was started."
        counted = f"{math.floor(hold.credited_h * 10 + 1e-9) / 10:g} of {hold.required_h:g} h"
        if self.entries.thawing is not None:
            return f"It was put to thaw when {counted} of its hold were proven."
        last = hold.interruptions[-1] if hold.interruptions else None
        if last is not None and last.end_ms is None:
            why = "too warm" if last.is_warm else "without readings"
            return f"Its freezer is {why}: the count stands still and begins again from zero."
        if hold.started_ms is None:
            return "The cold of its hold has not begun, or the fish is not yet cold enough inside."
        return f"Its hold is not complete: {counted}."


def cold_of_unit(
    shop: Shop, histories: Histories, unit: UnitId, level_c: float, to_ms: int
) -> ColdRecord:
    """Return what all governing probes of a unit agree on; nothing without a probe."""
    records = [
        histories[probe.id].cold(level_c, to_ms)
        for probe in shop.governing_probes(unit)
        if probe.id in histories
    ]
    return merge_records(records) if records else NOTHING_PROVEN


def tell(
    shop: Shop, store: ReadingStore, histories: Histories, lot: LotEntries, to_ms: int
) -> LotStory:
    """Judge one lot from its entries and the readings up to an instant."""
    hold = hold_of(shop, histories, store, lot, to_ms)
    sure, doubts = _sure(shop, histories, store, lot, hold, to_ms)
    story = LotStory(
        entries=lot,
        need=_need(shop, lot),
        hold=hold,
        sure=sure,
        doubts=doubts,
        sure_from_ms=_inside_by_ms(shop, store, lot, hold, sure)
        if doubts == (Doubt.INSIDE,)
        else None,
        ice_days=ice_days(
            lot,
            to_ms,
            lambda unit, from_ms, end_ms: unit_ice_days(shop, store, unit, from_ms, end_ms),
            spoilage.root_rate,
        ),
    )
    frozen = story.state == "complete"
    return replace(story, exposure=exposures.of_lot(shop, store, lot, to_ms, frozen=frozen))


def _need(shop: Shop, lot: LotEntries) -> Need | None:
    """Return what a lot needs; of two receipts under one number, what the stricter asks for."""
    needs = [
        needs_of(receipt, extra_species=own_species(shop.species))
        for receipt in (lot.received, lot.received_again)
        if receipt is not None
    ]
    strict = [need for need in needs if need.needs_destruction]
    return next(iter((*strict, *needs)), None)


def _sure(
    shop: Shop,
    histories: Histories,
    store: ReadingStore,
    lot: LotEntries,
    hold: Hold | None,
    to_ms: int,
) -> tuple[Hold | None, tuple[Doubt, ...]]:
    """Return what stands of a hold whatever nobody saw, and what that was.

    A lag that goes on after a gap knows nothing of the warmth in it: the hold could be credited
    sooner than with the readings that are missing (decisions/0007). And a product probe may lie in
    other fish than this lot (decisions/0068).
    """
    if hold is None or hold.started_ms is None:
        return hold, ()
    probes = [
        probe
        for unit in {place.unit for place in lot.hold_placements()}
        for probe in shop.governing_probes(unit)
        if probe.id in histories and warmth_may_hide(histories[probe.id], hold.started_ms)
    ]
    doubts = [Doubt.SILENCE] if probes else []
    if _inside_unseen(shop, lot, hold):
        doubts.append(Doubt.INSIDE)
    if not doubts:
        return hold, ()
    from_ms = lot.hold_placements()[0].from_ms
    supposed = {probe.id: supposing_warmth(shop, store, probe, from_ms, to_ms) for probe in probes}
    sure = hold_of(
        shop,
        {**histories, **supposed},
        store,
        lot,
        to_ms,
        surely=Doubt.INSIDE in doubts,
    )
    return sure, tuple(doubts)


def _inside_unseen(shop: Shop, lot: LotEntries, hold: Hold) -> bool:
    """Whether a product probe stood for the inside of a lot that it may not lie in."""
    if hold.option not in FROZEN_UNTIL_SOLID and hold.option is not Option.F20C_24H:
        return False  # the option names the temperature of the freezer
    return any(shop.probes_of(place.unit, Measures.PRODUCT) for place in lot.hold_placements())


def _inside_by_ms(
    shop: Shop, store: ReadingStore, lot: LotEntries, hold: Hold | None, sure: Hold | None
) -> float | None:
    """Return when a lot's hold will be sure, if its inside is still waited for; None: it is not."""
    if hold is None or hold.started_ms is None or sure is None or sure.started_ms is not None:
        return None
    last = sure.interruptions[-1] if sure.interruptions else None
    places = lot.hold_placements()
    if (last is not None and last.end_ms is None) or places[-1].to_ms is not None:
        return None  # the cold is gone, or the lot is: nothing goes on
    begins_ms = hold.started_ms  # or since the last break, which a complete hold does not tell
    if last is not None and last.end_ms is not None:
        begins_ms = max(begins_ms, last.end_ms)
    unit = [place.unit for place in places if place.from_ms <= begins_ms][-1]
    centre_c = COLD_20_C if hold.option is Option.F20C_24H else SOLID_C
    after_ms = solid_after(shop, store, lot, centre_c=centre_c, surely=True)(unit, begins_ms)
    return None if after_ms is None else begins_ms + after_ms + hold.required_h * MS_PER_H


def hold_of(
    shop: Shop,
    histories: Histories,
    store: ReadingStore,
    lot: LotEntries,
    to_ms: int,
    *,
    surely: bool = False,
) -> Hold | None:
    """Return how far a lot's freezing hold has come; None if freezing was never started.

    Args:
        shop: The shop.
        histories: Its channels.
        store: Its readings.
        lot: The lot's entries.
        to_ms: Nothing later is known.
        surely: Whether a product probe stands for the inside of that lot alone which it is known
            to lie in.
    """
    if lot.freezing is None:
        return None
    return evaluate_hold(
        lot.freezing.option,
        lot.hold_placements(),
        lambda unit, level_c: cold_of_unit(shop, histories, unit, level_c, to_ms),
        solid_after(shop, store, lot, surely=surely),
        cold_through_after(shop, store, lot, surely=surely),
    )
