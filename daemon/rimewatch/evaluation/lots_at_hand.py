"""The lots as the entries have them now: what stands in a unit, and what is at stake with it.

Pure: no clock, no I/O.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rimewatch.entries import AnyEntry
from rimewatch.evaluation.channels import ChannelHistory
from rimewatch.evaluation.lot_book import LotEntries, book
from rimewatch.evaluation.lot_story import hold_of, tell
from rimewatch.evaluation.store import ReadingStore
from rimewatch.lots.hold import Hold
from rimewatch.shop import Shop
from rimewatch.vocabulary import LotId, ProbeId, Standing, UnitId


@dataclass(frozen=True, slots=True, kw_only=True)
class LotsAtHand:
    """Every lot that is not gone, by its id; made anew when an entry concerns one."""

    shop: Shop
    store: ReadingStore
    lots: Mapping[LotId, LotEntries]

    @classmethod
    def of(cls, shop: Shop, store: ReadingStore, entries: Sequence[AnyEntry]) -> "LotsAtHand":
        """Return the lots of entries: those at hand, or all of them."""
        return cls(shop=shop, store=store, lots=book(entries))

    def standing_in(self, unit: UnitId) -> list[LotEntries]:
        """Return the lots that stand in a unit."""
        return [lot for lot in self.lots.values() if lot.unit == unit]

    def freezing_in(self, unit: UnitId) -> list[LotEntries]:
        """Return the lots in a unit whose freezing was begun, thawed since or not."""
        return [lot for lot in self.standing_in(unit) if lot.freezing is not None]

    def packed_in(self, unit: UnitId) -> list[LotEntries]:
        """Return the lots in a unit that came in a vacuum pack."""
        return [lot for lot in self.standing_in(unit) if lot.packed_until_ms > float("-inf")]

    def units_with_packs(self) -> set[UnitId]:
        """Return the units in which such a lot stands."""
        return {
            lot.unit
            for lot in self.lots.values()
            if lot.unit is not None and lot.packed_until_ms > float("-inf")
        }

    def holds_in(
        self, unit: UnitId, histories: Mapping[ProbeId, ChannelHistory], now_ms: int
    ) -> dict[LotId, Hold]:
        """Return the holds of the lots that stand frozen in a unit, as far as they have come."""
        found = {
            lot.lot: hold_of(self.shop, histories, self.store, lot, now_ms)
            for lot in self.freezing_in(unit)
            if lot.thawing is None
        }
        return {lot: hold for lot, hold in found.items() if hold is not None}

    def standings_of(
        self, lots: Sequence[LotId], histories: Mapping[ProbeId, ChannelHistory], now_ms: int
    ) -> tuple[tuple[LotId, Standing], ...]:
        """Return what may be said of some lots."""
        return tuple(
            (lot, tell(self.shop, self.store, histories, self.lots[lot], now_ms).standing)
            for lot in lots
            if lot in self.lots
        )

    def kilograms_of(self, lots: Sequence[LotId]) -> float | None:
        """Return what some lots weigh, as far as it was entered; None: nobody has."""
        weights = [
            received.kilograms
            for lot in lots
            if lot in self.lots
            and (received := self.lots[lot].received) is not None
            and received.kilograms is not None
        ]
        return sum(weights) if weights else None
