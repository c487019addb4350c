"""Each lot from its entries: what it is, where it stood, how fresh it is.

A correction is a further entry; the book only ever reads them in order of their time,
and leaves out what was cancelled. Pure.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, Final

from rimewatch.entries import (
    AnyEntry,
    AttachStatement,
    CalibrationCheck,
    CancelEntry,
    ConfirmPlace,
    CorrectiveAction,
    CorrectLot,
    CorrectPlace,
    LotEntry,
    MoveLot,
    ReceiveLot,
    StartFreezing,
    StartThawing,
    WithdrawLot,
)
from rimewatch.evaluation.cancellations import standing
from rimewatch.lots.hold import Placement
from rimewatch.lots.standing import ENTERED_LATE_MS
from rimewatch.rules.provisions_food_code import RECEIVING_LIMIT_C
from rimewatch.vocabulary import MS_PER_DAY, Disposition, LotId, Option, States, UnitId

ASSUMED_AT_RECEIPT_C: Final = RECEIVING_LIMIT_C
"""Taken for a lot whose temperature at receipt nobody measured: the warmest that may be
accepted (FDA Food Code 2022, 3-202.11(A)). Doubt counts against the fish."""


@dataclass(slots=True, kw_only=True)
class LotEntries:
    """A lot's own entries, in order of time."""

    lot: LotId
    received: ReceiveLot | None = None
    """Its receipt as corrected since, with the reference of a statement attached since."""
    freezing: StartFreezing | None = None
    """The latest start of its freezing, if that speaks for it."""
    first_freezing: StartFreezing | None = None
    """The earliest, whether or not it still does: its readings are kept as evidence."""
    thawing: StartThawing | None = None
    """None: it was not thawed since it was last put to freeze."""
    statements: list[AttachStatement] = field(default_factory=list)
    withdrawn: WithdrawLot | None = None
    placements: list[Placement] = field(default_factory=list)
    """Where it stood since it was first put into a unit."""
    freezings: list[StartFreezing] = field(default_factory=list)
    """Every start of freezing that speaks for it, the latest last."""
    thawings: list[StartThawing] = field(default_factory=list)
    placed_anew: list[tuple[CorrectPlace, bool]] = field(default_factory=list)
    """What was said later of where a probe of its units had been, and not confirmed; or after it
    was gone, which the second value says."""
    start_confirmed: CorrectLot | None = None
    """Who confirmed when its freezing began, and why, the latest."""
    disposed: list[CorrectiveAction] = field(default_factory=list)
    """Where it was named among what was discarded or used cooked."""
    perhaps_disposed: list[CorrectiveAction] = field(default_factory=list)
    """Where fish of its unit was, and no lot was named; and what was done about this lot where only
    the words tell what became of it."""
    checks: tuple[CalibrationCheck, ...] = ()
    """The checks of every probe, the earliest first."""
    as_left: "LotEntries | None" = None
    """The lot as the entries stood that were made until it was gone; None: it is here, or
    nothing was entered about it since."""
    as_signed: "LotEntries | None" = None
    """The lot without the corrections that nobody put a name to; None: there are none."""
    unsigned: AnyEntry | None = None
    """The latest of these."""
    received_again: ReceiveLot | None = None
    """The latest receipt under its number after its freezing had begun or a supplier's statement
    on it was on file: neither speaks for fish that came then. None: there is none."""

    @property
    def option(self) -> Option | None:
        """The freezing option chosen, if freezing was started."""
        return None if self.freezing is None else self.freezing.option

    @property
    def unit(self) -> UnitId | None:
        """Where it stands now."""
        if self.withdrawn is not None or not self.placements:
            return None
        return self.placements[-1].unit

    @property
    def freezing_statements(self) -> list[AttachStatement]:
        """The supplier's statements that it was frozen, the latest last.

        One that was there before other fish came under the number says nothing of that fish.
        """
        again_ms = float("-inf") if self.received_again is None else self.received_again.at_ms
        return [
            item
            for item in self.statements
            if item.states is States.FREEZING and item.at_ms > again_ms
        ]

    @property
    def frozen_by_supplier(self) -> AttachStatement | None:
        """The latest of these statements; None: there is none."""
        said = self.freezing_statements
        return said[-1] if said else None

    @property
    def packed_until_ms(self) -> float:
        """Until when it was in a vacuum pack; -inf: it was in none, inf: it still is.

        Whoever puts it to thaw has taken it out, as is said there (FDA Food Code 2022,
        3-501.13(E)), and puts a name to that: without one it stays packed.
        """
        if self.received is None or not self.received.rop:
            return float("-inf")
        out = [float(entry.at_ms) for entry in self.thawings if entry.who.strip()]
        return min(out, default=float("inf"))

    def hold_placements(self) -> list[Placement]:
        """Return where it stood in its freezing hold: from its start until it was thawed.

        Empty where freezing was never started.
        """
        if self.freezing is None:
            return []
        ends_ms = None if self.thawing is None else float(self.thawing.at_ms)
        return self._hold_placements(self.freezing, ends_ms)

    def earlier_holds(self) -> list[tuple[StartFreezing, list[Placement]]]:
        """Return each freezing that was begun before the latest, and where it stood in it."""
        found: list[tuple[StartFreezing, list[Placement]]] = []
        for number, freezing in enumerate(self.freezings[:-1]):
            ends = [float(self.freezings[number + 1].at_ms)]
            ends.extend(float(t.at_ms) for t in self.thawings if t.at_ms >= freezing.at_ms)
            places = self._hold_placements(freezing, min(ends))
            if places:
                found.append((freezing, places))
        return found

    def _hold_placements(self, freezing: StartFreezing, ends_ms: float | None) -> list[Placement]:
        """Return where it stood in a hold; no fish is frozen here before it was received."""
        from_ms = float(freezing.at_ms)
        if self.received is not None:
            from_ms = max(from_ms, float(self.received.at_ms))
        places = self.placements_from(from_ms)
        if ends_ms is None:
            return places
        return [
            Placement(
                unit=place.unit,
                from_ms=place.from_ms,
                to_ms=ends_ms if place.to_ms is None else min(place.to_ms, ends_ms),
            )
            for place in places
            if place.from_ms < ends_ms
        ]

    def before_frozen_again(self) -> "LotEntries | None":
        """Return the lot as if its latest freezing had not been begun; None: it was the first.

        Only where the fish went on lying in freezers, by its entries: what was thawed in between
        is fish to be frozen, and what was proven of it before is not asked for again.
        """
        if len(self.freezings) < 2 or self.freezing is not self.freezings[-1]:
            return None
        first, last = self.freezings[-2:]
        thawed = any(first.at_ms <= entry.at_ms <= last.at_ms for entry in self.thawings)
        return None if thawed else replace(self, freezing=first, freezings=self.freezings[:-1])

    def stood_in(self, unit: UnitId, at_ms: float) -> bool:
        """Whether it stood in a unit at an instant."""
        return any(
            place.unit == unit
            and place.from_ms <= at_ms
            and (place.to_ms is None or at_ms <= place.to_ms)
            for place in self.placements
        )

    def placements_from(self, from_ms: float) -> list[Placement]:
        """Return where it stood from an instant on."""
        return [
            Placement(unit=p.unit, from_ms=max(p.from_ms, from_ms), to_ms=p.to_ms)
            for p in self.placements
            if p.to_ms is None or p.to_ms > from_ms
        ]


def book(entries: Sequence[AnyEntry]) -> dict[LotId, LotEntries]:
    """Return every lot that an entry names, in order of its first entry.

    Args:
        entries: In any order; they are read in order of their time, and of those at
            one instant in the order given. Cancelled ones are left out.
    """
    counted = standing(entries)
    lots = _read(counted)
    about = _about(entries)
    _note_unsigned(lots, entries, counted, about)
    words = _words(entries, about)
    for lot in lots.values():
        gone = lot.withdrawn
        if gone is not None and any(_is_after(word, gone) for word in words.get(lot.lot, ())):
            # What is entered of a lot that is gone never betters what is said of it.
            by_then = [e for e in entries if not _is_after(e, gone)]
            own = [e for e in standing(by_then) if not isinstance(e, LotEntry) or e.lot == lot.lot]
            lot.as_left = _read(own).get(lot.lot)
    return lots


def _known_ms(entry: AnyEntry) -> int:
    """Return when an entry was made, whatever time it speaks of."""
    return entry.at_ms if entry.entered_ms is None else max(entry.at_ms, entry.entered_ms)


def _is_after(entry: AnyEntry, gone: WithdrawLot) -> bool:
    """Return whether an entry was made after a withdrawal, whatever time it speaks of.

    A trace tells of an entry only when it was done, and by its place that it came later.
    """
    numbered = entry.entry_number and gone.entry_number
    return _known_ms(entry) > _known_ms(gone) or (
        bool(numbered) and entry.entry_number > gone.entry_number
    )


def _about(entries: Sequence[AnyEntry]) -> dict[int, tuple[LotId, ...]]:
    """Return the lots that each entry says something of, by its number; a cancellation too."""
    lots = tuple(dict.fromkeys(e.lot for e in entries if isinstance(e, LotEntry)))
    about: dict[int, tuple[LotId, ...]] = {}
    for entry in sorted(entries, key=lambda entry: entry.entry_number):
        if entry.entry_number:
            about[entry.entry_number] = _lots_of(entry, about, lots)
    return about


def _lots_of(
    entry: AnyEntry, about: Mapping[int, tuple[LotId, ...]], lots: tuple[LotId, ...]
) -> tuple[LotId, ...]:
    match entry:
        case CancelEntry():
            return about.get(entry.number, ())
        case CorrectiveAction():
            return entry.lots or lots  # any may have stood in its unit
        case _:
            return (entry.lot,) if isinstance(entry, LotEntry) else ()


def _words(
    entries: Sequence[AnyEntry], about: Mapping[int, tuple[LotId, ...]]
) -> dict[LotId, list[AnyEntry]]:
    """Return the entries that may better what is said of a lot, by lot."""
    found: dict[LotId, list[AnyEntry]] = {}
    for entry in sorted(entries, key=lambda entry: entry.entry_number):
        lots: tuple[LotId, ...] = ()
        if isinstance(entry, LotEntry):
            lots = (entry.lot,)
        elif isinstance(entry, CancelEntry):
            lots = about.get(entry.entry_number, ())
        for lot in lots:
            found.setdefault(lot, []).append(entry)
    return found


def _note_unsigned(
    lots: Mapping[LotId, LotEntries],
    entries: Sequence[AnyEntry],
    counted: Sequence[AnyEntry],
    about: Mapping[int, tuple[LotId, ...]],
) -> None:
    """Note the corrections to which nobody put a name, and what the lots were without them.

    A correction is what changes a receipt, a further receipt under the number too, what crosses
    out an entry, and what says long afterwards where the lot was: that counts from when it was
    entered.
    """
    first: dict[LotId, ReceiveLot] = {}
    for entry in sorted(counted, key=lambda entry: entry.entry_number):
        if isinstance(entry, ReceiveLot):
            first.setdefault(entry.lot, entry)

    def is_unsigned(entry: AnyEntry) -> bool:
        if entry.who.strip():
            return False
        if isinstance(entry, ReceiveLot):
            bare = replace(first[entry.lot], entered_ms=None, entry_number=0)
            return replace(entry, entered_ms=None, entry_number=0) != bare
        return isinstance(entry, CorrectLot | CancelEntry) or _is_late(entry)

    unsigned = [entry for entry in counted if is_unsigned(entry)]
    if not unsigned:
        return
    without = [e for e in entries if e.who.strip() or not isinstance(e, CancelEntry)]
    signed = _read(
        [
            replace(entry, at_ms=_known_ms(entry)) if _is_late(entry) else entry
            for entry in standing(without)
            if entry not in unsigned or _is_late(entry)
        ]
    )
    for entry in sorted(unsigned, key=lambda entry: entry.at_ms):
        own = (entry.lot,) if isinstance(entry, LotEntry) else about.get(entry.entry_number, ())
        for lot in own:
            if lot in lots:
                lots[lot].unsigned = entry
                lots[lot].as_signed = signed.get(lot)


def _is_late(entry: AnyEntry) -> bool:
    """Whether nobody's name stands to a move that was entered long after it is said to have been.

    To say afterwards that fish was elsewhere, or gone, before it got warm is to correct. (Freezing
    has a doubt of its own.)
    """
    return (
        isinstance(entry, MoveLot | StartThawing | WithdrawLot)
        and not entry.who.strip()
        and entry.entered_ms is not None
        and entry.entered_ms - entry.at_ms > ENTERED_LATE_MS
    )


def _read(entries: Sequence[AnyEntry]) -> dict[LotId, LotEntries]:
    """Return the lots of entries that all count."""
    lots: dict[LotId, LotEntries] = {}
    early: dict[LotId, list[CorrectLot]] = {}
    receipts: set[ReceiveLot] = set()
    in_order = sorted(entries, key=lambda entry: entry.at_ms)
    for entry in in_order:
        match entry:
            case ReceiveLot():
                lot = lots.setdefault(entry.lot, LotEntries(lot=entry.lot))
                if (receipt := replace(entry, entered_ms=None)) in receipts:
                    continue  # the same entry, delivered twice
                receipts.add(receipt)
                lot.received = _received(lot, entry)
                for correction in early.pop(entry.lot, ()):
                    lot.received = corrected(lot.received, correction)
            case CorrectLot():
                lot = lots.setdefault(entry.lot, LotEntries(lot=entry.lot))
                if lot.received is None:
                    early.setdefault(entry.lot, []).append(entry)
                else:
                    lot.received = corrected(lot.received, entry)
            case AttachStatement():
                lot = lots.setdefault(entry.lot, LotEntries(lot=entry.lot))
                lot.statements.append(entry)
            case StartFreezing() | StartThawing() | MoveLot() | WithdrawLot():
                _moved(lots.setdefault(entry.lot, LotEntries(lot=entry.lot)), entry)
            case _:
                pass
    _look_at_doings(lots, in_order)
    for lot in lots.values():
        _name_statement(lot)
    return lots


def _look_at_doings(lots: dict[LotId, LotEntries], in_order: Sequence[AnyEntry]) -> None:
    """Note what was done and found that touches lots, besides what was entered of them."""
    checks = tuple(entry for entry in in_order if isinstance(entry, CalibrationCheck))
    for lot in lots.values():
        lot.checks = checks
    for entry in in_order:
        if isinstance(entry, CorrectiveAction):
            _look_at_action(lots, entry)
        elif isinstance(entry, CorrectLot) and entry.confirms_start:
            lots[entry.lot].start_confirmed = entry
        elif isinstance(entry, CorrectPlace):
            confirmed = any(
                isinstance(other, ConfirmPlace) and other.number == entry.entry_number
                for other in in_order
            )
            for lot in lots.values():
                is_late = lot.withdrawn is not None and _is_after(entry, lot.withdrawn)
                if (is_late or not confirmed) and _stood_beside(lot, entry):
                    lot.placed_anew.append((entry, is_late))


def _stood_beside(lot: LotEntries, correction: CorrectPlace) -> bool:
    """Whether a lot stood in either unit in the time that a correction is about."""
    return any(
        place.unit in (correction.was, correction.unit)
        and place.from_ms < correction.to_ms
        and (place.to_ms is None or place.to_ms > correction.from_ms)
        for place in lot.placements
    )


def _look_at_action(lots: dict[LotId, LotEntries], action: CorrectiveAction) -> None:
    """Note the lots that are gone for raw by what was done, or may be."""
    named = [lots[lot] for lot in dict.fromkeys(action.lots) if lot in lots]
    if action.disposition in _NOT_SAID:
        for lot in named:
            lot.perhaps_disposed.append(action)
    elif action.disposition in _GONE_FOR_RAW:
        for lot in named:
            lot.disposed.append(action)
        if not action.lots:
            for lot in lots.values():
                if lot.stood_in(action.unit, action.at_ms):
                    lot.perhaps_disposed.append(action)


_GONE_FOR_RAW: Final = frozenset({Disposition.DISCARDED, Disposition.USED_COOKED})
"""What a person decided that outranks every proof."""

_NOT_SAID: Final = frozenset({None, Disposition.OTHER})
"""What leaves it to the words what became of the fish."""


def without_gone(entries: Sequence[AnyEntry], from_ms: int) -> list[AnyEntry]:
    """Return entries without those of lots that were gone before an instant.

    Cancellations stay, whatever they name.

    Args:
        entries: In any order.
        from_ms: The instant.
    """
    gone = {
        lot.lot
        for lot in book(entries).values()
        if lot.withdrawn is not None and lot.withdrawn.at_ms < from_ms
    }
    return [entry for entry in entries if getattr(entry, "lot", None) not in gone]


def _received(lot: LotEntries, entry: ReceiveLot) -> ReceiveLot:
    """Return a lot's receipt with a further one as its correction, unless a proof was begun before.

    Then it may be other fish, and doubt counts against it: what was begun ends, and only a freezing
    started afterwards speaks for all that bears the number.
    """
    first = lot.received
    if first is None:
        return entry
    if lot.freezing is None and lot.frozen_by_supplier is None and lot.received_again is None:
        # A correction of what is said of the lot, not of when it came.
        return replace(entry, at_ms=first.at_ms)
    lot.received_again = entry
    lot.freezing = lot.thawing = None
    lot.freezings.clear()
    lot.thawings.clear()
    return first


def corrected(received: ReceiveLot, correction: CorrectLot) -> ReceiveLot:
    """Return a receipt with what a correction says instead."""
    return replace(received, **changes(correction))


def changes(correction: CorrectLot) -> dict[str, Any]:
    """Return what a correction says, by the names of a receipt's fields."""
    about = {field.name for field in fields(ReceiveLot)} - _NOT_CORRECTED
    return {
        name: value for name in sorted(about) if (value := getattr(correction, name)) is not None
    }


_NOT_CORRECTED: Final = frozenset({"at_ms", "who", "entered_ms", "entry_number", "lot"})
"""Of a receipt, what a correction leaves alone: when and by whom it was entered."""


def _name_statement(lot: LotEntries) -> None:
    """A statement on feed that was attached is the one that a receipt may have lacked."""
    feed = [item for item in lot.statements if item.states is States.FEED]
    if feed and lot.received is not None and not lot.received.statement.strip():
        lot.received = replace(lot.received, statement=feed[-1].reference)


def _moved(lot: LotEntries, entry: StartFreezing | StartThawing | MoveLot | WithdrawLot) -> None:
    match entry:
        case StartFreezing():
            lot.freezing, lot.thawing = entry, None
            lot.freezings.append(entry)
            lot.first_freezing = lot.first_freezing or entry
            _place(lot, entry.unit, entry.at_ms)
        case StartThawing():
            lot.thawing = entry
            lot.thawings.append(entry)
            _place(lot, entry.unit, entry.at_ms)
        case MoveLot():
            _place(lot, entry.unit, entry.at_ms)
        case WithdrawLot():
            lot.withdrawn = entry
            _close(lot, entry.at_ms)


def _close(lot: LotEntries, at_ms: float) -> None:
    if lot.placements and lot.placements[-1].to_ms is None:
        last = lot.placements[-1]
        lot.placements[-1] = Placement(unit=last.unit, from_ms=last.from_ms, to_ms=at_ms)


def _place(lot: LotEntries, unit: UnitId, at_ms: float) -> None:
    if lot.unit == unit:
        return
    _close(lot, at_ms)
    lot.placements.append(Placement(unit=unit, from_ms=at_ms, to_ms=None))


def ice_days(
    lot: LotEntries,
    to_ms: int,
    in_unit: Callable[[UnitId, float, float], float],
    at_temperature: Callable[[float], float],
) -> float:
    """Return the days on melting ice that a lot's time so far is worth.

    Args:
        lot: The lot; without a receipt it has spent nothing yet.
        to_ms: Until when.
        in_unit: Ice-days of a unit's governing temperature from one instant to another.
        at_temperature: The relative rate of spoilage at a temperature in °C.
    """
    if lot.received is None:
        return 0.0
    received = lot.received
    first_place_ms = lot.placements[0].from_ms if lot.placements else float(to_ms)
    end_ms = float(to_ms) if lot.withdrawn is None else min(to_ms, lot.withdrawn.at_ms)
    celsius = ASSUMED_AT_RECEIPT_C if received.celsius is None else received.celsius
    waiting_ms = max(0.0, min(first_place_ms, end_ms) - received.at_ms)
    spent = at_temperature(celsius) * waiting_ms / MS_PER_DAY
    for place in lot.placements_from(received.at_ms):
        place_end_ms = end_ms if place.to_ms is None else min(place.to_ms, end_ms)
        if place_end_ms > place.from_ms:
            spent += in_unit(place.unit, place.from_ms, place_end_ms)
    return spent
