"""Keeps the journal sealed, small and quick, a little at a time: no reading waits for it."""

from collections.abc import Callable, Iterator
from typing import Final

from rimewatch.evaluation.channels import settings_for
from rimewatch.evaluation.lot_book import book
from rimewatch.journal.journal import Journal
from rimewatch.report.retention import keep_from_ms
from rimewatch.service.charts import Charts
from rimewatch.service.resume import MOST_ENTRIES
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, ProbeId

PACK_AFTER_MS: Final = 2 * MS_PER_DAY
"""Days that ended this long ago are packed: most late readings have come by then."""

PACK_EVERY_MS: Final = 10 * 60_000
BLOCKS_A_TIME: Final = 4
"""Some milliseconds each. 50 probes' days are packed within a few hours."""

DAYS_A_TIME: Final = 8
"""Rolled up within one transaction; less than a millisecond each."""

SEAL_EVERY_MS: Final = 60_000
"""How often it is looked whether a day is to be sealed."""

WAL_EVERY_MS: Final = 6 * MS_PER_H

THIN_EVERY_MS: Final = MS_PER_DAY
SOON_MS: Final = 1000
"""While there is more of a kind to do, the next of it follows in a second."""

KEEP_SENT_MS: Final = 35 * MS_PER_DAY
"""Sent messages stay in the outbox for longer than any reading may be late."""


Lag = tuple[ProbeId, float, float]


class Housekeeping:
    """Looks now and then whether something is to be tidied.

    Args:
        journal: The writer's journal.
        shop: Tells the shop as it is configured now.
        charts: The pictures of messages; None: there are none.
    """

    def __init__(
        self, journal: Journal, shop: Callable[[], Shop], charts: Charts | None = None
    ) -> None:
        self._charts = charts
        self._journal = journal
        self._shop = shop
        self._looked_ms = 0
        self._pack_due_ms = 0
        self._roll_due_ms = 0
        self._rolled: tuple[Lag, ...] | None = None
        self._lags_of: tuple[Shop, tuple[Lag, ...]] | None = None
        self._seal_due_ms = 0
        self._wal_due_ms: int | None = None
        self._thin_due_ms: int | None = None
        self._to_thin: list[tuple[ProbeId, int]] = []

    def look(self, now_ms: int) -> None:
        """Do what is due; some milliseconds at most.

        Raises:
            JournalError: If the file cannot be written.
        """
        if now_ms < self._looked_ms:  # a clock that was ahead has been put right
            self._seal_due_ms = self._pack_due_ms = self._roll_due_ms = 0
            self._wal_due_ms = self._thin_due_ms = None
        self._looked_ms = now_ms
        if self._wal_due_ms is None or self._thin_due_ms is None:
            self._wal_due_ms = now_ms + WAL_EVERY_MS
            self._thin_due_ms = now_ms + MS_PER_H
        if now_ms >= self._seal_due_ms:
            sealed = self._journal.seal_days(self._shop().timezone, now_ms)
            self._seal_due_ms = now_ms + (SOON_MS if sealed else SEAL_EVERY_MS)
        if now_ms >= self._pack_due_ms:
            packed = self._journal.compact(now_ms - PACK_AFTER_MS, BLOCKS_A_TIME)
            self._pack_due_ms = now_ms + (SOON_MS if packed == BLOCKS_A_TIME else PACK_EVERY_MS)
            if packed:
                self._rolled = None
        if now_ms >= self._roll_due_ms:
            self._roll_due_ms = now_ms + SOON_MS
            self._roll_up()
        if now_ms >= self._wal_due_ms:
            self._wal_due_ms = now_ms + WAL_EVERY_MS
            self._journal.outbox_prune(now_ms - KEEP_SENT_MS)
            self._journal.checkpoint_wal()
            if self._charts is not None:
                self._charts.tidy(now_ms)
        if now_ms >= self._thin_due_ms:
            self._thin_due_ms = now_ms + (SOON_MS if self._thin(now_ms) else THIN_EVERY_MS)

    def _roll_up(self) -> None:
        """Roll up some of what was packed, or what was carried by other lags than now."""
        shop = self._shop()
        if self._lags_of is None or self._lags_of[0] is not shop:
            self._lags_of = shop, tuple(_lags(shop))
        lags = self._lags_of[1]
        if lags != self._rolled and self._journal.roll_up(lags, DAYS_A_TIME) < DAYS_A_TIME:
            self._rolled = lags

    def _thin(self, now_ms: int) -> bool:
        """Thin out one day of one probe; return whether there may be more."""
        if not self._to_thin:
            shop = self._shop()
            entries = [entry for _, entry in self._journal.entries_after(0, MOST_ENTRIES)]
            keep_ms = keep_from_ms(shop, book(entries).values(), now_ms)
            self._to_thin = [(probe.id, keep_ms[probe.unit]) for probe in shop.probes]
        while self._to_thin:
            if self._journal.thin_readings(*self._to_thin[-1]):
                return True
            self._to_thin.pop()
        return False


def _lags(shop: Shop) -> Iterator[Lag]:
    """Yield the governing probes whose air is seen through a lag, as the journal takes them."""
    for unit in shop.units:
        for probe in shop.governing_probes(unit.id):
            settings = settings_for(unit, probe)
            if settings.lag_s:
                yield probe.id, settings.lag_s, settings.stale_ms
