"""A lot's record, gathered from its entries and the readings. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from rimewatch.entries import (
    AnyEntry,
    CalibrationCheck,
    CancelEntry,
    CorrectiveAction,
    CorrectLot,
    LotEntry,
    ReceiveLot,
    StartFreezing,
)
from rimewatch.evaluation.cancellations import cancelled
from rimewatch.evaluation.channels import stale_ms
from rimewatch.evaluation.governing import governing_peak_c, governing_within
from rimewatch.evaluation.lot_account import LotAccount, lot_account
from rimewatch.evaluation.lot_book import LotEntries, changes, corrected
from rimewatch.evaluation.lot_story import Histories, LotStory
from rimewatch.evaluation.over_time import stretches
from rimewatch.evaluation.settings import Change, changes_around
from rimewatch.evaluation.solidity import lies_in_lot
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.unit_cold import cold_of_unit
from rimewatch.lots.hold import COLD_20_C, COLD_35_C, FROZEN_UNTIL_SOLID, STORED_AT_C, Hold
from rimewatch.lots.record import (
    Correction,
    EntryLine,
    Evidence,
    HoldCurve,
    HoldRecord,
    ProbeUsed,
)
from rimewatch.shop import Seat, Shop
from rimewatch.vocabulary import MS_PER_H, LotId, Measures, Option

SHOWN_BEFORE_MS: Final = 3 * MS_PER_H
SHOWN_AFTER_MS: Final = 6 * MS_PER_H
"""How much of the curve is shown before a hold began and after it was complete."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LotRecord:
    """Everything on a lot's record. Evidence for the person in charge, no promise of safety."""

    account: LotAccount
    made_ms: int
    """Nothing later than this is known."""
    hold: HoldRecord | None
    keep_days: int
    lines: tuple[EntryLine, ...]
    changes: tuple[Change, ...] = ()
    """What was changed of the units it stood in, and of their probes, while it stood there."""

    @property
    def story(self) -> LotStory:
        """The lot, judged."""
        return self.account.story


def record_of(
    shop: Shop,
    store: ReadingStore,
    histories: Histories,
    story: LotStory,
    entries: Sequence[AnyEntry],
    now_ms: int,
) -> LotRecord:
    """Return a lot's record.

    Args:
        shop: The shop.
        store: Its readings.
        histories: The channels folded up to ``now_ms``.
        story: The lot, judged.
        entries: Every entry on the books, cancelled ones and those of other lots too.
        now_ms: Nothing later is known.
    """
    return LotRecord(
        account=lot_account(shop, store, story, None, now_ms),
        made_ms=now_ms,
        hold=_hold(shop, store, histories, story, _checks(entries, now_ms), now_ms),
        keep_days=shop.keep_days,
        lines=lines_of(entries, story.lot),
        changes=changes_around(
            shop,
            [
                (place.unit, place.from_ms, now_ms if place.to_ms is None else place.to_ms)
                for place in story.entries.placements
            ],
            entries,
        ),
    )


def lines_of(entries: Sequence[AnyEntry], lot: LotId) -> tuple[EntryLine, ...]:
    """Return a lot's entries in the order they came, the cancelled and cancelling ones too.

    What was written down as done is among them where it names the lot.
    """
    crossed_out = cancelled(entries)
    own = {
        e.entry_number
        for e in entries
        if (isinstance(e, LotEntry) and e.lot == lot)
        or (isinstance(e, CorrectiveAction) and lot in e.lots)
    }
    while True:  # what cancels an entry of the lot belongs to it, and so on
        more = {
            e.entry_number for e in entries if isinstance(e, CancelEntry) and e.number in own
        } - own
        if not more:
            break
        own |= more
    receipt: ReceiveLot | None = None
    found: list[EntryLine] = []
    for entry in sorted(
        (e for e in entries if e.entry_number in own), key=lambda e: e.entry_number
    ):
        cancelled_by = crossed_out.get(entry.entry_number)
        corrections: tuple[Correction, ...] = ()
        if isinstance(entry, CorrectLot):
            corrections = tuple(
                Correction(
                    what=name,
                    before=None if receipt is None else getattr(receipt, name),
                    after=value,
                )
                for name, value in changes(entry).items()
            )
        if cancelled_by is None and isinstance(entry, ReceiveLot):
            receipt = entry
        elif cancelled_by is None and isinstance(entry, CorrectLot) and receipt is not None:
            receipt = corrected(receipt, entry)
        found.append(EntryLine(entry=entry, corrections=corrections, cancelled_by=cancelled_by))
    return tuple(found)


def _hold(
    shop: Shop,
    store: ReadingStore,
    histories: Histories,
    story: LotStory,
    checks: Sequence[CalibrationCheck],
    now_ms: int,
) -> HoldRecord | None:
    hold, lot = story.hold, story.entries
    freezing = lot.freezing
    if hold is None or freezing is None:
        return None
    counted_to_ms = _counted_to_ms(lot, hold, now_ms)
    warmest = _warmest(shop, store, lot, hold.started_ms, counted_to_ms)
    return HoldRecord(
        option=hold.option,
        line_c=STORED_AT_C[hold.option],
        required_h=hold.required_h,
        credited_h=hold.credited_h,
        begun_ms=freezing.at_ms,
        started_ms=hold.started_ms,
        completed_ms=hold.completed_ms,
        expected_ms=None if lot.thawing is not None else hold.expected_ms,
        needed_by_ms=freezing.needed_by_ms,
        warmest_c=None if warmest is None else warmest[0],
        warmest_guarded_c=None if warmest is None else warmest[1],
        sure_h=hold.credited_h if story.sure is None else story.sure.credited_h,
        sure_by_ms=story.sure_by_ms,
        doubts=story.doubts,
        lead_h=_lead_h(shop, histories, lot, freezing, hold, now_ms),
        thickness_mm=None if lot.received is None else lot.received.thickness_mm,
        probes=tuple(
            _used(shop, lot, seat, checks, counted_to_ms)
            for unit in dict.fromkeys(place.unit for place in lot.hold_placements())
            for seat in shop.seats_in(unit, lot.hold_placements()[0].from_ms, counted_to_ms)
        ),
        interruptions=hold.interruptions,
        curve=_curve(shop, store, lot, freezing, hold, now_ms),
    )


def _counted_to_ms(lot: LotEntries, hold: Hold, now_ms: int) -> float:
    if hold.completed_ms is not None:
        return hold.completed_ms
    ends = [float(now_ms)]
    if lot.thawing is not None:
        ends.append(float(lot.thawing.at_ms))
    if lot.withdrawn is not None:
        ends.append(float(lot.withdrawn.at_ms))
    return min(ends)


def _warmest(
    shop: Shop, store: ReadingStore, lot: LotEntries, from_ms: float | None, to_ms: float
) -> tuple[float, float] | None:
    """Return the warmest governing temperature while the hours counted, bare and guarded."""
    if from_ms is None:
        return None
    bare: list[float] = []
    guarded: list[float] = []
    for place in lot.hold_placements():
        begins_ms = max(place.from_ms, from_ms)
        ends_ms = to_ms if place.to_ms is None else min(place.to_ms, to_ms)
        if ends_ms <= begins_ms:
            continue
        for then in stretches(shop, store, place.unit, begins_ms, ends_ms):
            for probe in then.shop.governing_probes(place.unit):
                peak_c = governing_peak_c(then.shop, then.store, probe, then.from_ms, then.to_ms)
                if peak_c is not None:
                    bare.append(peak_c)
                    guarded.append(peak_c + probe.uncertainty_c)
    return (max(bare), max(guarded)) if bare else None


def _lead_h(
    shop: Shop,
    histories: Histories,
    lot: LotEntries,
    freezing: StartFreezing,
    hold: Hold,
    now_ms: int,
) -> float | None:
    """Return how long the cold lasted before the count began; None where nothing waited."""
    level_c = COLD_35_C if hold.option in FROZEN_UNTIL_SOLID else COLD_20_C
    waits = hold.option in FROZEN_UNTIL_SOLID or (
        hold.option is Option.F20C_24H
        and lot.received is not None
        and lot.received.thickness_mm is not None
    )
    started_again = bool(hold.interruptions) and hold.option is Option.F35C_THEN_20C_24H
    started_ms = hold.started_ms
    if started_ms is None or not waits or started_again:
        return None
    places = [place for place in lot.hold_placements() if place.from_ms <= started_ms]
    if not places or shop.probes_of(places[-1].unit, Measures.PRODUCT):
        return None
    record = cold_of_unit(shop, histories, places[-1].unit, level_c, now_ms)
    begins = [b.end_ms for b in record.breaks if b.end_ms is not None and b.end_ms <= started_ms]
    cold_since_ms = max([*begins, places[-1].from_ms, float(freezing.at_ms)])
    return (started_ms - cold_since_ms) / MS_PER_H


def _checks(entries: Sequence[AnyEntry], to_ms: int) -> list[CalibrationCheck]:
    """Return the checks of probes up to an instant, the earliest first."""
    found = [e for e in entries if isinstance(e, CalibrationCheck) and e.at_ms <= to_ms]
    return sorted(found, key=lambda check: check.at_ms)


def _used(
    shop: Shop, lot: LotEntries, seat: Seat, checks: Sequence[CalibrationCheck], to_ms: float
) -> ProbeUsed:
    """Return a probe as it stood at the end of a hold, or when it was taken from there."""
    until_ms = min(to_ms, seat.to_ms)
    stage = [stage for stage in seat.stages if stage.from_ms <= until_ms][-1]
    probe, to_ms = stage.probe, until_ms
    own = [check for check in checks if check.probe == probe.id]
    before = [check for check in own if check.at_ms <= to_ms]
    offsets = [
        check.offset_c for check in before if check.offset_c is not None and check.from_ms <= to_ms
    ]
    lag_s = stage.unit.lag_s if probe.measures is Measures.AIR else 0.0
    if probe.measures is Measures.PRODUCT:
        evidence = Evidence.CENTRE_PROBE
    else:
        evidence = Evidence.BUFFERED_AIR if lag_s > 0.0 else Evidence.AIR
    return ProbeUsed(
        probe=probe.id,
        unit=probe.unit,
        measures=probe.measures,
        evidence=evidence,
        lag_s=lag_s,
        uncertainty_c=probe.uncertainty_c,
        offset_c=offsets[-1] if offsets else probe.offset_c,
        check=before[-1] if before else own[0] if own else None,
        in_lot=lot.freezing is not None
        and lot.freezing.probe == probe.id
        and lies_in_lot(shop, lot, probe.unit),
    )


def _curve(
    shop: Shop,
    store: ReadingStore,
    lot: LotEntries,
    freezing: StartFreezing,
    hold: Hold,
    now_ms: int,
) -> HoldCurve | None:
    """Return the course of the first governing probe of each unit the hold was in."""
    to_ms = _counted_to_ms(lot, hold, now_ms)
    if hold.completed_ms is not None:
        to_ms = min(to_ms + SHOWN_AFTER_MS, float(now_ms))
    times: list[np.ndarray] = []
    values: list[np.ndarray] = []
    ends: list[np.ndarray] = []
    uncertain_c = [0.0]
    places = lot.placements_from(freezing.at_ms)
    for number, place in enumerate(places):
        begins_ms = place.from_ms - (SHOWN_BEFORE_MS if number == 0 else 0)
        ends_ms = to_ms if place.to_ms is None else min(place.to_ms, to_ms)
        if ends_ms <= begins_ms:
            continue
        for then in stretches(shop, store, place.unit, begins_ms, ends_ms):
            for probe in then.shop.governing_probes(place.unit)[:1]:
                at, celsius = governing_within(
                    then.shop, then.store, probe, then.from_ms, then.to_ms
                )
                if not len(at):
                    continue
                apart = np.diff(at, append=np.inf) > stale_ms(probe)
                times.append(at)
                values.append(celsius)
                ends.append(apart)
                uncertain_c.append(probe.uncertainty_c)
    if not times:
        return None
    line_c = STORED_AT_C[hold.option]
    return HoldCurve(
        times_ms=np.concatenate(times),
        values_c=np.concatenate(values),
        breaks_after=np.concatenate(ends),
        line_c=line_c,
        guarded_c=line_c - max(uncertain_c),
    )
