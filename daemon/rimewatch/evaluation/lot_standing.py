"""What may be said of a lot, gathered from its entries and the readings. Pure.

The one place that decides: pages, lists, records, summaries and messages read what is made
here. Less evidence never says more; what nobody saw counts against the fish.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from rimewatch.entries import CalibrationCheck
from rimewatch.evaluation.channels import stale_ms
from rimewatch.evaluation.exposures import LIMITS, LotExposure
from rimewatch.evaluation.lot_book import LotEntries
from rimewatch.evaluation.over_time import ever_has, stretches
from rimewatch.evaluation.solidity import lies_in_lot
from rimewatch.evaluation.store import ReadingStore
from rimewatch.lots.codes import Law
from rimewatch.lots.hold import FROZEN_UNTIL_SOLID, Hold, Placement
from rimewatch.lots.needs import Need
from rimewatch.lots.reason_read import dispositions_in
from rimewatch.lots.standing import (
    ENTERED_LATE_MS,
    LARGEST_UNSEEN_SHARE,
    LONGEST_UNSEEN_MS,
    PACKED_WARM_S,
    SHORTEST_LIFE_MS,
    STUCK_MS,
    Against,
    Backdated,
    Disposed,
    Doubt,
    FailedCheck,
    InsideUnseen,
    Judgement,
    Lack,
    PackedWarm,
    PerhapsDisposed,
    PlaceCorrected,
    ReceivedTooWarm,
    SilenceAfterSolid,
    SilenceBeforeCount,
    Stuck,
    TooLongWarm,
    ToxicRaw,
    Unmonitored,
    WarmUnseen,
    allowed_error_c,
)
from rimewatch.science.statistics import gaps_ms
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import MS_PER_H, MS_PER_S, Disposition, Measures, Option

Stretch = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What is known of a lot's freezing hold."""

    hold: Hold | None
    sure: Hold | None
    """See ``LotStory.sure``."""
    hides_warmth: bool
    """Whether a silence before its count may have hidden exposure."""
    again_after_silence: Hold | None
    """The hold if silence takes "solid" away; None: that makes no difference."""
    since_entered: Hold | None
    """The hold if its freezing began when it was entered; None: it was entered at once."""


def judge(
    shop: Shop,
    store: ReadingStore,
    lot: LotEntries,
    law: Law,
    need: Need | None,
    held: Held,
    exposure: LotExposure,
    to_ms: float,
) -> Judgement:
    """Return what may be said of a lot, and why.

    Args:
        shop: The shop.
        store: Its readings.
        lot: The lot's entries.
        law: What counts as proof.
        need: What the lot needs; None: nobody entered its receipt.
        held: Its freezing hold.
        exposure: What it used of its allowances.
        to_ms: Nothing later is known.
    """
    end_ms = to_ms if lot.withdrawn is None else min(to_ms, float(lot.withdrawn.at_ms))
    unseen = unseen_of(shop, store, lot, end_ms)
    doubts: list[Doubt] = [
        *_unmonitored(lot, unseen, end_ms),
        *_warm_unseen(exposure, unseen),
        *_packed_warm(exposure),
        *_failed_checks(shop, lot, end_ms),
        *_perhaps_disposed(lot),
        *_placed_anew(lot),
    ]
    lacks = lacks_of(lot, law, need, held.hold)
    if rests_on_hold(lot, law, need):
        doubts.extend(_about_hold(shop, store, lot, held, end_ms))
    return Judgement(
        against=tuple(_against(lot, need, exposure)), lacks=lacks, doubts=tuple(doubts)
    )


def lacks_of(lot: LotEntries, law: Law, need: Need | None, hold: Hold | None) -> tuple[Lack, ...]:
    """Return what a lot's proof lacks; empty: it is proven as far as parasites go, or exempt."""
    received = lot.received
    if need is None or received is None:
        return (Lack.NOT_RECEIVED,)
    if not received.serve_raw:
        return (Lack.NOT_SERVED_RAW,)
    if is_exempt(lot, need) or supplier_proves(lot, law, need):
        return ()
    if hold is not None and hold.completed_ms is not None:
        return () if law.counts(hold.option, need.may_be) else (Lack.NOT_BY_THIS_CODE,)
    if lot.received_again is not None and hold is None:
        return (Lack.RECEIVED_AGAIN,)
    if hold is not None:
        known = law.counts(hold.option, need.may_be)
        return (Lack.HOLD_INCOMPLETE,) if known else (Lack.NOT_BY_THIS_CODE, Lack.HOLD_INCOMPLETE)
    return (Lack.NOT_BY_THIS_CODE,) if lot.frozen_by_supplier is not None else (Lack.NO_HOLD,)


def is_exempt(lot: LotEntries, need: Need | None) -> bool:
    """Whether a lot needs no freezing.

    Its receipt's origin asserts that what this rests on is on file; where no reference to it
    was entered, the morning asks for it.
    """
    return need is not None and lot.received_again is None and not need.needs_destruction


def supplier_proves(lot: LotEntries, law: Law, need: Need | None) -> bool:
    """Whether a supplier's statement on freezing is a proof under the shop's code.

    One that names no option, or one that is none there, says too little.
    """
    if need is None:
        return False
    return any(law.counts(statement.option, need.may_be) for statement in lot.freezing_statements)


def rests_on_hold(lot: LotEntries, law: Law, need: Need | None) -> bool:
    """Whether its proof, now or once it is complete, is its own freezing."""
    return lot.freezing is not None and not (
        is_exempt(lot, need) or supplier_proves(lot, law, need)
    )


def _against(lot: LotEntries, need: Need | None, exposure: LotExposure) -> Iterator[Against]:
    for limit, used in exposure.used.items():
        if not used.within:
            yield TooLongWarm(limit=limit, share=used.share_with_gaps, counted_s=used.counted_s)
    received = lot.received
    celsius = None if received is None else received.celsius
    if need is not None and celsius is not None and need.receipt_too_warm:
        yield ReceivedTooWarm(celsius=celsius, limit_c=need.receipt_limit_c)
    for species in () if need is None else need.toxic_raw:
        yield ToxicRaw(
            species=species.label,
            toxin="" if species.toxin is None else species.toxin.value,
            note=species.notes,
            is_certain=need is not None and need.species is not None,
        )
    yield from _disposed(lot)


def _disposed(lot: LotEntries) -> Iterator[Disposed]:
    found: dict[Disposition, int] = {}
    for action in lot.disposed:
        if action.disposition is not None:
            found.setdefault(action.disposition, action.at_ms)
    if lot.withdrawn is not None:
        for disposition in dispositions_in(lot.withdrawn.reason):
            found.setdefault(disposition, lot.withdrawn.at_ms)
    for disposition, at_ms in found.items():
        yield Disposed(disposition=disposition, at_ms=at_ms)


def _perhaps_disposed(lot: LotEntries) -> Iterator[PerhapsDisposed]:
    for action in lot.perhaps_disposed:
        named = lot.lot in action.lots
        said = dispositions_in(action.text) if named else (action.disposition,)
        for disposition in said[:1]:
            if disposition is not None:
                yield PerhapsDisposed(
                    disposition=disposition, unit=action.unit, at_ms=action.at_ms, is_named=named
                )
                return


def _placed_anew(lot: LotEntries) -> Iterator[PlaceCorrected]:
    for entry, is_late in lot.placed_anew:
        yield PlaceCorrected(
            probe=entry.probe,
            was=entry.was,
            unit=entry.unit,
            at_ms=entry.at_ms if entry.entered_ms is None else entry.entered_ms,
            number=entry.entry_number,
            is_late=is_late,
        )


# --- what nobody saw ----------------------------------------------------------------------


def unseen_of(
    shop: Shop, store: ReadingStore, lot: LotEntries, end_ms: float
) -> tuple[Stretch, ...]:
    """Return when nobody watched a lot, from its receipt on: one stretch behind the other.

    Where a unit has several governing probes, time is unmonitored where any of them was silent.
    """
    from_ms = begins_ms(lot, end_ms)
    places = [place for place in lot.placements_from(from_ms) if place.from_ms < end_ms]
    found: list[Stretch] = []
    if not places:
        found.append((from_ms, end_ms))
    elif places[0].from_ms > from_ms:
        found.append((from_ms, places[0].from_ms))
    for place in places:
        found.extend(_unseen_in(shop, store, place, end_ms))
    return _merged(found)


def begins_ms(lot: LotEntries, end_ms: float) -> float:
    """Return when a lot's time here begins: with its receipt, or else its first unit."""
    if lot.received is not None:
        return min(float(lot.received.at_ms), end_ms)
    return min(lot.placements[0].from_ms, end_ms) if lot.placements else end_ms


def _unseen_in(
    shop: Shop, store: ReadingStore, place: Placement, end_ms: float
) -> Iterator[Stretch]:
    to_ms = end_ms if place.to_ms is None else min(place.to_ms, end_ms)
    for then in stretches(shop, store, place.unit, place.from_ms, to_ms):
        probes = then.shop.governing_probes(place.unit) if place.unit in then.shop.unit else ()
        if not probes:
            yield (then.from_ms, then.to_ms)
        for probe in probes:
            yield from _silent(then.store, probe, then.from_ms, then.to_ms)


def _silent(store: ReadingStore, probe: Probe, from_ms: float, to_ms: float) -> Iterator[Stretch]:
    silence_ms = stale_ms(probe)
    never_stale = silence_ms == float("inf")
    margin_ms = 0 if never_stale else round(silence_ms)
    span = store.span(probe.id, round(from_ms) - margin_ms, round(to_ms) + margin_ms)
    if never_stale or not len(span):
        if not len(span):
            yield (from_ms, to_ms)
        return
    yield from gaps_ms(span.times_ms, stale_ms=silence_ms, from_ms=from_ms, to_ms=to_ms)


def _merged(stretches: Sequence[Stretch]) -> tuple[Stretch, ...]:
    found: list[Stretch] = []
    for start, end in sorted(stretch for stretch in stretches if stretch[1] > stretch[0]):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((start, end))
    return tuple(found)


def _unmonitored(
    lot: LotEntries, unseen: Sequence[Stretch], end_ms: float
) -> Iterator[Unmonitored]:
    longest_ms = max((end - start for start, end in unseen), default=0.0)
    total_ms = sum(end - start for start, end in unseen)
    life_ms = end_ms - begins_ms(lot, end_ms)
    share = total_ms / max(life_ms, float(SHORTEST_LIFE_MS))
    if longest_ms > LONGEST_UNSEEN_MS or share > LARGEST_UNSEEN_SHARE:
        yield Unmonitored(longest_s=longest_ms / MS_PER_S, total_s=total_ms / MS_PER_S, share=share)


def _warm_unseen(exposure: LotExposure, unseen: Sequence[Stretch]) -> Iterator[WarmUnseen]:
    total_s = sum(end - start for start, end in unseen) / MS_PER_S
    hidden_s = max(0.0, total_s - exposure.frozen_gaps_s)
    if hidden_s <= 0.0:
        return
    for limit in LIMITS:
        used = exposure.used.get(limit)
        if used is None or not used.within:
            continue
        share = exposure.supposing(limit, hidden_s)
        if share > 1.0:
            yield WarmUnseen(limit=limit, share=share)


def _packed_warm(exposure: LotExposure) -> Iterator[PackedWarm]:
    packed = exposure.packed
    if packed is not None and packed.above_s > PACKED_WARM_S:
        yield PackedWarm(above_s=packed.above_s, share=packed.share)


# --- probes -------------------------------------------------------------------------------


def _failed_checks(shop: Shop, lot: LotEntries, end_ms: float) -> Iterator[FailedCheck]:
    """Return the failed checks that put this lot's readings in question, one a probe."""
    from_ms = begins_ms(lot, end_ms)
    for unit in dict.fromkeys(place.unit for place in lot.placements):
        stays = [
            (max(place.from_ms, from_ms), end_ms if place.to_ms is None else place.to_ms)
            for place in lot.placements
            if place.unit == unit
        ]
        for seat in shop.seats_in(unit):
            probe = seat.probe
            own = [check for check in lot.checks if check.probe == probe.id]
            there = [
                (max(begins, seat.from_ms), min(to, seat.to_ms))
                for begins, to in stays
                if begins < seat.to_ms and to > seat.from_ms
            ]
            for check, off_c, since_ms, until_ms in _in_question(probe, own):
                if any(since_ms < to and until_ms > begins for begins, to in there):
                    yield FailedCheck(
                        probe=probe.id,
                        at_ms=check.at_ms,
                        found_c=off_c,
                        allowed_c=allowed_error_c(probe.measures, probe.uncertainty_c),
                    )
                    break


def _in_question(
    probe: Probe, checks: Sequence[CalibrationCheck]
) -> Iterator[tuple[CalibrationCheck, float, float, float]]:
    """Return each failed check, how far off it was, and between which moments nothing is believed.

    From its last good check before on, or for ever if there is none; until it is good again, or
    is corrected by an offset. An offset that leaves the probe off by more than is allowed is no
    correction, and puts a probe that was good in question from then on.
    """
    allowed_c = allowed_error_c(probe.measures, probe.uncertainty_c) + 1e-9
    good_ms = float("-inf")
    offset_c = probe.offset_c
    failed: list[tuple[CalibrationCheck, float, float]] = []
    for check in checks:
        left_c, from_ms = check.found_c, float(check.at_ms)
        if check.offset_c is not None:
            left_c += check.offset_c - offset_c
            offset_c, from_ms = check.offset_c, float(check.from_ms)
        if abs(check.found_c) > allowed_c:
            failed.append((check, check.found_c, good_ms))
        elif abs(left_c) > allowed_c:
            failed.append((check, left_c, from_ms))
        if abs(left_c) > allowed_c:
            continue
        for item, off_c, since_ms in failed:
            yield item, off_c, since_ms, from_ms
        failed.clear()
        good_ms = from_ms
    for item, off_c, since_ms in failed:
        yield item, off_c, since_ms, float("inf")


# --- the hold -----------------------------------------------------------------------------


def _about_hold(
    shop: Shop, store: ReadingStore, lot: LotEntries, held: Held, end_ms: float
) -> Iterator[Doubt]:
    hold = held.hold
    if hold is None or hold.started_ms is None:
        return
    sure_h = hold.credited_h if held.sure is None else held.sure.credited_h
    inside = _inside(shop, lot, hold, sure_h)
    if inside is not None:
        yield inside
    if held.hides_warmth and sure_h < hold.credited_h:
        yield SilenceBeforeCount(sure_h=sure_h, required_h=hold.required_h)
    again = held.again_after_silence
    if again is not None and again.credited_h < hold.credited_h:
        gaps = [item for item in hold.interruptions if item.has_silence]
        if gaps:
            yield SilenceAfterSolid(from_ms=gaps[-1].start_ms, to_ms=gaps[-1].end_ms)
    yield from _stuck(shop, store, lot, hold, end_ms)
    yield from _backdated(lot, held)


def _inside(shop: Shop, lot: LotEntries, hold: Hold, sure_h: float) -> InsideUnseen | None:
    """Return that nobody knows how cold it is inside, where the option asks for that."""
    if hold.option not in FROZEN_UNTIL_SOLID and hold.option is not Option.F20C_24H:
        return None  # the option names the temperature of the freezer
    units = dict.fromkeys(place.unit for place in lot.hold_placements())
    known = lot.received is not None and lot.received.thickness_mm is not None
    beside = any(
        ever_has(shop, place.unit, Measures.PRODUCT, place.from_ms, place.to_ms)
        for place in lot.hold_placements()
    )
    in_it = any(lies_in_lot(shop, lot, unit) for unit in units)
    is_sure = sure_h >= hold.credited_h
    if is_sure and (in_it or (known and not beside)):
        return None
    return InsideUnseen(
        option=hold.option,
        thickness_known=known,
        beside_product_probe=beside,
        sure_h=sure_h,
        required_h=hold.required_h,
    )


def _stuck(
    shop: Shop, store: ReadingStore, lot: LotEntries, hold: Hold, end_ms: float
) -> Iterator[Stuck]:
    """Return the probes that did not move in its hold."""
    if hold.started_ms is None:
        return
    counted_to_ms = end_ms if hold.completed_ms is None else hold.completed_ms
    told: set[str] = set()
    for place in lot.hold_placements():
        from_ms = max(place.from_ms, hold.started_ms)
        to_ms = counted_to_ms if place.to_ms is None else min(place.to_ms, counted_to_ms)
        if to_ms <= from_ms:
            continue
        least_ms = min(float(STUCK_MS), hold.required_h * MS_PER_H)
        for seat in shop.seats_in(place.unit, from_ms, to_ms):
            probe = seat.probe
            first_ms, last_ms = max(from_ms, seat.from_ms), min(to_ms, seat.to_ms)
            found = _still(store, probe, first_ms, last_ms, least_ms)
            if found is not None and probe.id not in told:
                told.add(probe.id)
                yield found


def _still(
    store: ReadingStore, probe: Probe, from_ms: float, to_ms: float, least_ms: float
) -> Stuck | None:
    """Return the longest time in which a probe showed one value, if it is too long."""
    span = store.span(probe.id, round(from_ms), round(to_ms))
    if len(span) < _FEWEST:
        return None
    changes = np.flatnonzero(np.diff(span.values)) + 1
    first = np.concatenate(([0], changes))
    last = np.concatenate((changes - 1, [len(span) - 1]))
    lengths = span.times_ms[last] - span.times_ms[first]
    longest = int(np.argmax(lengths))
    # The readings at the ends lie up to a reading's interval inside.
    margin_ms = 0.0 if probe.every_s is None else 2.0 * probe.every_s * MS_PER_S
    if float(lengths[longest]) + margin_ms < least_ms:
        return None
    return Stuck(
        probe=probe.id,
        value_c=float(span.values[first[longest]]),
        from_ms=float(span.times_ms[first[longest]]),
        to_ms=float(span.times_ms[last[longest]]),
    )


_FEWEST: Final = 12
"""Fewer readings than that do not show whether a probe moves."""


def _backdated(lot: LotEntries, held: Held) -> Iterator[Backdated]:
    freezing = lot.freezing
    if freezing is None or freezing.entered_ms is None or held.since_entered is None:
        return
    confirmed = lot.start_confirmed
    if confirmed is not None and confirmed.at_ms >= freezing.at_ms and confirmed.who.strip():
        return
    if held.hold is not None and held.since_entered.credited_h >= held.hold.credited_h:
        return  # what was proven does not rest on it
    yield Backdated(at_ms=freezing.at_ms, entered_ms=freezing.entered_ms)


def is_backdated(lot: LotEntries) -> bool:
    """Whether the start of its freezing was entered long after it is said to have been."""
    freezing = lot.freezing
    return (
        freezing is not None
        and freezing.entered_ms is not None
        and freezing.entered_ms - freezing.at_ms > ENTERED_LATE_MS
    )
