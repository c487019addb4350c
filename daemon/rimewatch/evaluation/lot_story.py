"""A lot judged: what it needs, its hold, its freshness, from entries and readings. Pure."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from rimewatch.entries import ReceiveLot, StartFreezing
from rimewatch.evaluation import lot_standing
from rimewatch.evaluation.channels import ChannelHistory
from rimewatch.evaluation.exposures import LotExposure, of_lot
from rimewatch.evaluation.governing import unit_ice_days
from rimewatch.evaluation.lot_book import LotEntries, ice_days
from rimewatch.evaluation.over_time import ever_has, shop_at
from rimewatch.evaluation.solidity import cold_through_after, solid_after
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.supposing import supposing_warmth, warmth_may_hide
from rimewatch.evaluation.unit_cold import cold_of_unit
from rimewatch.lots.codes import US_FOOD_CODE, Law, law_of
from rimewatch.lots.hold import (
    COLD_20_C,
    COLD_35_C,
    FROZEN_UNTIL_SOLID,
    REQUIRED_H,
    Hold,
    Placement,
    evaluate_hold,
)
from rimewatch.lots.needs import Need, needs_of
from rimewatch.lots.own_species import own_species
from rimewatch.lots.record import Doubt, Proof
from rimewatch.lots.standing import NOTHING_KNOWN, Judgement, Unsigned
from rimewatch.science import spoilage
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_H, LotId, Measures, Option, ProbeId, Standing

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
    exposure: LotExposure = field(default_factory=LotExposure)
    """What it has used of the allowances in the warm."""
    judgement: Judgement = NOTHING_KNOWN
    """What may be said of it, decided once: every surface reads this."""
    law: Law = US_FOOD_CODE
    """What counts as proof where the shop is."""
    stands: Hold | None = None
    """A hold that was complete before the fish, frozen still, was put to freeze once more: what
    may be said of the lot rests on it. None: it rests on no such hold."""

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
    def standing(self) -> Standing:
        """What may be said of it, in a word."""
        return self.judgement.standing

    @property
    def proof(self) -> Proof | None:
        """The proof that parasites are destroyed in it, by the shop's code; None: there is none.

        Nothing is taken for granted: a lot nobody described has none. Kept for a lot that is gone.
        It is one part of ``standing``, and no sign of its own.
        """
        received, need = self.entries.received, self.need
        if need is None or received is None or not received.serve_raw:
            return None
        if lot_standing.is_exempt(self.entries, need):
            return Proof.EXEMPTION
        if self.stands is not None:
            return Proof.OWN_FREEZING
        by_supplier = lot_standing.supplier_proves(self.entries, self.law, need)
        if self.hold is not None and self.hold.completed_ms is not None:
            counts = self.law.counts(self.hold.option, need.may_be)
            if counts and (self.is_sure or not by_supplier):
                return Proof.OWN_FREEZING
        return Proof.SUPPLIER_FREEZING if by_supplier else None

    @property
    def raw_ready(self) -> bool:
        """Whether it is here and nothing speaks against it, is lacking or in doubt."""
        return self.judgement.is_proven and self.entries.withdrawn is None

    @property
    def why_not(self) -> str:
        """One sentence on what its proof lacks; empty where it lacks nothing, or none is wanted."""
        received = self.entries.received
        if self.proof is not None or (received is not None and not received.serve_raw):
            return ""
        if received is None or self.need is None:
            return "Nobody has entered what this lot is."
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
            stated = self.entries.frozen_by_supplier
            if stated is None:
                return "It needs a freezing hold, and none was started."
            what = "no option" if stated.option is None else stated.option.value
            return (
                f"The supplier’s statement on freezing names {what}, which is no proof under "
                f"{self.law.name}: it needs a freezing hold, and none was started."
            )
        if hold.completed_ms is not None:
            may_be = () if self.need is None else self.need.may_be
            why = "; ".join(self.law.why_none(may_be))
            return (
                f"Freezing by {hold.option.value} is no proof under {self.law.name}"
                f"{f': {why}' if why else ''}."
            )
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


def tell(
    shop: Shop, store: ReadingStore, histories: Histories, lot: LotEntries, to_ms: int
) -> LotStory:
    """Judge one lot from its entries and the readings up to an instant.

    What is entered of a lot that is gone may worsen what is said of it, and never betters it; nor
    does a correction to which nobody put a name.
    """
    story = _tell(shop, store, histories, lot, to_ms)
    if lot.as_signed is not None and lot.unsigned is not None:
        signed = _tell(shop, store, histories, lot.as_signed, to_ms).judgement
        if story.judgement.is_better_than(signed):
            doubt = Unsigned(at_ms=lot.unsigned.at_ms)
            kept = story.judgement.with_reasons_of(signed)
            story = replace(story, judgement=replace(kept, doubts=(*kept.doubts, doubt)))
    if lot.as_left is None:
        return story
    left = _tell(shop, store, histories, lot.as_left, to_ms)
    return replace(story, judgement=story.judgement.with_reasons_of(left.judgement))


def _tell(
    shop: Shop, store: ReadingStore, histories: Histories, lot: LotEntries, to_ms: int
) -> LotStory:
    """Judge a lot; one that was frozen again, by its latest freezing or the one that stands.

    A complete hold is a fact of the past: to put the fish, frozen still, to freeze once more takes
    nothing from it, and adds nothing to it. The hours are those of the latest.
    """
    story = _tell_latest(shop, store, histories, lot, to_ms)
    before = lot.before_frozen_again()
    if before is None or (story.hold is not None and story.hold.completed_ms is not None):
        return story
    if not _stays_in_freezers(shop, before, lot):
        return story
    earlier = _tell(shop, store, histories, before, to_ms)
    stands = earlier.stands or earlier.hold
    again_ms = float("inf") if lot.freezing is None else lot.freezing.at_ms
    if stands is None or stands.completed_ms is None or stands.completed_ms > again_ms:
        return story
    if earlier.proof is not Proof.OWN_FREEZING:
        return story  # freezing that is no proof here, or none was wanted
    return replace(story, judgement=earlier.judgement, stands=stands)


def _stays_in_freezers(shop: Shop, before: LotEntries, again: LotEntries) -> bool:
    """Whether a lot stood in freezers alone from one start of freezing to the next."""
    assert before.freezing is not None, "it was put to freeze before"
    assert again.freezing is not None, "and again"
    from_ms, to_ms = float(before.freezing.at_ms), float(again.freezing.at_ms)
    places = [place for place in again.placements_from(from_ms) if place.from_ms < to_ms]
    units = (shop_at(shop, round(place.from_ms)).unit.get(place.unit) for place in places)
    return all(unit is not None and unit.kind.is_freezer for unit in units)


def _tell_latest(
    shop: Shop, store: ReadingStore, histories: Histories, lot: LotEntries, to_ms: int
) -> LotStory:
    law = law_of(_when_entered(shop, lot.freezing or lot.received).code)
    hold = hold_of(shop, histories, store, lot, to_ms)
    sure, doubts = _sure(shop, histories, store, lot, hold, to_ms)
    need = _need(_when_entered(shop, lot.received), lot)
    exposure = exposure_of(shop, histories, store, lot, to_ms, sure=sure)
    held = lot_standing.Held(
        hold=hold,
        sure=sure,
        hides_warmth=Doubt.SILENCE in doubts,
        again_after_silence=_again_after_silence(shop, histories, store, lot, hold, to_ms),
        since_entered=_since_entered(shop, histories, store, lot, to_ms),
    )
    return LotStory(
        entries=lot,
        need=need,
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
        exposure=exposure,
        judgement=lot_standing.judge(shop, store, lot, law, need, held, exposure, to_ms),
        law=law,
    )


def exposure_of(
    shop: Shop,
    histories: Histories,
    store: ReadingStore,
    lot: LotEntries,
    to_ms: int,
    *,
    sure: Hold | None = None,
) -> LotExposure:
    """Return what a lot used of its allowances, its time until it was proven frozen as fresh.

    Args:
        shop: The shop.
        histories: Its channels.
        store: Its readings.
        lot: The lot's entries.
        to_ms: Nothing later is known.
        sure: What is sure of its hold, where somebody knows; None: it is looked for.
    """
    proven: list[float] = []
    last = sure or hold_of(shop, histories, store, lot, to_ms, surely=True)
    if last is not None and last.completed_ms is not None:
        proven.append(last.completed_ms)
    for freezing, places in lot.earlier_holds():
        earlier = replace(lot, freezing=freezing)
        hold = _evaluate(shop, histories, store, earlier, places, to_ms, surely=True)
        if hold.completed_ms is not None:
            proven.append(hold.completed_ms)
    return of_lot(shop, store, lot, to_ms, frozen_ms=min(proven, default=None))


def _again_after_silence(
    shop: Shop,
    histories: Histories,
    store: ReadingStore,
    lot: LotEntries,
    hold: Hold | None,
    to_ms: int,
) -> Hold | None:
    if hold is None or hold.option is not Option.F35C_THEN_20C_24H:
        return None
    if not any(item.has_silence for item in hold.interruptions):
        return None
    places = lot.hold_placements()
    return _evaluate(shop, histories, store, lot, places, to_ms, silence_thaws=True)


def _since_entered(
    shop: Shop, histories: Histories, store: ReadingStore, lot: LotEntries, to_ms: int
) -> Hold | None:
    """Return its hold as if its freezing had begun when that was entered."""
    freezing = lot.freezing
    if freezing is None or freezing.entered_ms is None or not lot_standing.is_backdated(lot):
        return None
    places = [
        replace(place, from_ms=max(place.from_ms, float(freezing.entered_ms)))
        for place in lot.hold_placements()
        if place.to_ms is None or place.to_ms > freezing.entered_ms
    ]
    if not places:
        return Hold(
            option=freezing.option,
            required_h=REQUIRED_H[freezing.option],
            credited_h=0.0,
            started_ms=None,
            completed_ms=None,
            interruptions=(),
        )
    return _evaluate(shop, histories, store, lot, places, to_ms)


def _when_entered(shop: Shop, entry: ReceiveLot | StartFreezing | None) -> Shop:
    """Return the settings under which something was entered; without an entry those of now.

    A code that was changed since, or a species that the shop described since, betters nothing.
    """
    if entry is None:
        return shop
    return shop_at(shop, entry.at_ms if entry.entered_ms is None else entry.entered_ms)


def _need(shop: Shop, lot: LotEntries) -> Need | None:
    """Return what a lot needs; of two receipts under one number, what the stricter asks for."""
    needs = [
        needs_of(receipt, extra_species=own_species(shop.species), law=law_of(shop.code))
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
    seats = [
        seat
        for unit in {place.unit for place in lot.hold_placements()}
        for seat in shop.seats_in(unit, lot.hold_placements()[0].from_ms, to_ms)
        if seat.key in histories and warmth_may_hide(histories[seat.key], hold.started_ms)
    ]
    doubts = [Doubt.SILENCE] if seats else []
    if _inside_unseen(shop, lot, hold):
        doubts.append(Doubt.INSIDE)
    if not doubts:
        return hold, ()
    from_ms = lot.hold_placements()[0].from_ms
    supposed = {seat.key: supposing_warmth(store, seat, from_ms, to_ms) for seat in seats}
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
    """Whether something stood for the inside of a lot that may not be as cold."""
    if hold.option not in FROZEN_UNTIL_SOLID and hold.option is not Option.F20C_24H:
        return False  # the option names the temperature of the freezer
    return any(
        ever_has(shop, place.unit, Measures.PRODUCT, place.from_ms, place.to_ms)
        for place in lot.hold_placements()
    )


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
    centre_c = COLD_20_C if hold.option is Option.F20C_24H else COLD_35_C
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
    places = lot.hold_placements()
    if not places:
        return None
    return _evaluate(shop, histories, store, lot, places, to_ms, surely=surely)


def _evaluate(
    shop: Shop,
    histories: Histories,
    store: ReadingStore,
    lot: LotEntries,
    places: Sequence[Placement],
    to_ms: int,
    *,
    surely: bool = False,
    silence_thaws: bool = False,
) -> Hold:
    assert lot.freezing is not None, "no lot has a place in a hold that was not begun"
    return evaluate_hold(
        lot.freezing.option,
        places,
        lambda unit, level_c: cold_of_unit(shop, histories, unit, level_c, to_ms),
        solid_after(shop, store, lot, surely=surely),
        cold_through_after(shop, store, lot, surely=surely),
        silence_thaws=silence_thaws,
    )
