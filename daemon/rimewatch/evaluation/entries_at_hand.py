"""The entries without those of lots that are gone, kept as entries come.

Ten years of a shop are a hundred thousand entries, nearly all of them of fish that was sold long
ago. Whoever asks what is here reads those of the lots that are here; what is done and found
besides, and every cancellation, stays. An entry about a lot, or a cancellation of one, has that one
lot looked at anew: it may come back. Pure: no clock, no I/O.
"""

from collections.abc import Iterable

from rimewatch.entries import AnyEntry, CancelEntry, LotEntry
from rimewatch.evaluation.lot_book import book
from rimewatch.vocabulary import LotId


class EntriesAtHand:
    """What ``book`` needs of a shop's entries for the lots that are not gone.

    Args:
        entries: What is on the books already, numbered and in the order they came.
    """

    def __init__(self, entries: Iterable[AnyEntry] = ()) -> None:
        self._own: dict[LotId, dict[int, AnyEntry]] = {}
        """A lot's entries by their places in the order they came."""
        self._lot_of: dict[int, LotId] = {}
        """About which lot an entry of a number is."""
        self._cancellations: dict[int, CancelEntry] = {}
        self._at_hand: dict[int, AnyEntry] = {}
        self._gone: set[LotId] = set()
        self._count = 0
        known = list(entries)
        for entry in known:
            self._note(entry)
        for lot in book(known).values():
            if lot.withdrawn is not None:
                self._gone.add(lot.lot)
                for place in self._own[lot.lot]:
                    del self._at_hand[place]

    def add(self, entry: AnyEntry) -> None:
        """Take the next entry, numbered."""
        lot = self._note(entry)
        if lot is None:
            return
        own = {**self._own[lot], **self._cancellations}
        told = book([own[place] for place in sorted(own)]).get(lot)
        was_gone = lot in self._gone
        if told is not None and told.withdrawn is not None:
            self._gone.add(lot)
            for place in self._own[lot]:
                self._at_hand.pop(place, None)
        elif was_gone:
            self._gone.remove(lot)
            found = {**self._at_hand, **self._own[lot]}
            self._at_hand = {place: found[place] for place in sorted(found)}

    def entries(self) -> list[AnyEntry]:
        """Return them, in the order they came."""
        return list(self._at_hand.values())

    def _note(self, entry: AnyEntry) -> LotId | None:
        """Put an entry in its place; return the lot that it is about, if it is about one."""
        place = self._count
        self._count += 1
        self._at_hand[place] = entry
        lot = None
        if isinstance(entry, LotEntry):
            lot = entry.lot
            self._own.setdefault(lot, {})[place] = entry
        elif isinstance(entry, CancelEntry):
            self._cancellations[place] = entry
            lot = self._lot_of.get(entry.number)
        if lot is not None:
            self._lot_of[entry.entry_number] = lot
        return lot
