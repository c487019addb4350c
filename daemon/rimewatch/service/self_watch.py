"""Watches the watch itself: looks at its signs, writes down what changes, feeds the heartbeat.

Runs in the writer's loop, a few milliseconds every quarter of a minute. What it says holds
for a while only: a loop that is stuck says nothing more, and the heartbeat ends.
"""

import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Final

from rimewatch.clock import Clock, SystemClock
from rimewatch.intake.arrivals import SessionHealth
from rimewatch.journal import trials
from rimewatch.journal.journal import Journal
from rimewatch.notify.results import DispatcherHealth
from rimewatch.service.clock_sync import is_synchronised
from rimewatch.service.heartbeat import Heartbeat
from rimewatch.service.lateness import Lag
from rimewatch.service.signs import TEST_EVERY_MS, Signs, findings, is_well
from rimewatch.service.soundness import Soundness, taken_up_ms
from rimewatch.service.systemd import Notifier
from rimewatch.shop import Shop

LOOK_EVERY_S: Final = 15.0
FRESH_S: Final = 60.0
"""How long a look's result holds for the heartbeat (our choice)."""


class SelfWatch:
    """Looks at the watch of one service.

    On a played clock (a demo) the machine has nothing to do with the night that is played,
    so nothing is found wrong with it then.

    Args:
        shop: The shop.
        journal_path: On which disk the journal is.
        clock: Tells the time; measures how long ago things were.
        notifier: The way to the service manager.
    """

    def __init__(
        self, shop: Shop, journal_path: Path, clock: Clock, notifier: Notifier | None = None
    ) -> None:
        self._journal_path = journal_path
        self._clock = clock
        self.notifier = notifier or Notifier(os.environ, clock.monotonic_s)
        self._well_until_s = float("-inf")
        self._arrivals = -1
        self._arrived_s = clock.monotonic_s()
        self._found: dict[str, str] = {}
        self._heartbeat: Heartbeat | None = None
        self.use(shop)

    def use(self, shop: Shop) -> None:
        """Begin, or begin again with a changed configuration."""
        self.stop()
        self._looked_s = float("-inf")
        self._shop = shop
        own = shop.self_watch
        if own.heartbeat_url:
            self._heartbeat = Heartbeat(own.heartbeat_url, own.heartbeat_s, self.is_well)

    def stop(self) -> None:
        """End the heartbeat."""
        if self._heartbeat is not None:
            self._heartbeat.stop()
            self._heartbeat = None

    def is_well(self) -> bool:
        """Return whether all was well when it was last looked at, not long ago."""
        return self._clock.monotonic_s() < self._well_until_s

    def lines(self) -> list[str]:
        """Return what is wrong with the watch itself, for the morning's message."""
        return list(self._found.values())

    def look(
        self,
        journal: Journal,
        arrivals: int,
        broker: SessionHealth,
        lag: Lag,
        senders: Callable[[], DispatcherHealth],
        pages_trouble: str,
        watching_since_ms: int,
        soundness: Soundness,
    ) -> None:
        """Look at the signs, if it is time to; called at each turn of the writer's loop.

        Raises:
            JournalError: If what was found cannot be written down; looked at again then.
        """
        now_s = self._clock.monotonic_s()
        if arrivals != self._arrivals:
            self._arrivals, self._arrived_s = arrivals, now_s
        if now_s - self._looked_s < LOOK_EVERY_S:
            return
        health = senders()
        now_ms = self._clock.now_ms()
        trouble = "" if self._heartbeat is None else self._heartbeat.trouble
        size = journal.size()
        signs = Signs(
            now_ms=now_ms,
            free_bytes=self._free_bytes(),
            journal_bytes=size.file_bytes + size.wal_bytes,
            clock_synchronised=is_synchronised(),
            listening=broker.listening,
            broker_silent_s=broker.silent_s,
            waiting_arrivals=broker.waiting,
            is_full=broker.is_full,
            taken_over=broker.taken_over,
            lag=lag,
            quiet_s=now_s - self._arrived_s,
            backlog=journal.outbox_backlog(),
            senders_alive=health.alive,
            pages_trouble=pages_trouble,
            heartbeat_trouble=trouble,
            unreadable=soundness.unreadable,
            look_failure=soundness.look_failure,
            taken_up_ms=taken_up_ms(journal, now_ms),
            watching_since_ms=watching_since_ms,
            last_test_ms=trials.last_made_ms(journal, now_ms - TEST_EVERY_MS, now_ms),
        )
        self._well_until_s = now_s + FRESH_S if is_well(signs, self._shop) else float("-inf")
        found = findings(signs, self._shop) if isinstance(self._clock, SystemClock) else {}
        self._write_down(journal, found, now_ms)
        self._found = found
        self._looked_s = now_s
        said = "; ".join(found) or "all is well"
        self.notifier.status(f"Watching {self._shop.name}: {said}")

    def _write_down(self, journal: Journal, found: dict[str, str], now_ms: int) -> None:
        """Note what is new and what is over; by name, since sentences hold figures."""
        for name in sorted(found.keys() - self._found.keys()):
            journal.add_event(now_ms, f"the watch itself: {name}", found[name])
        for name in sorted(self._found.keys() - found.keys()):
            journal.add_event(now_ms, f"the watch itself: {name}", "is well again")

    def _free_bytes(self) -> int | None:
        try:
            return shutil.disk_usage(self._journal_path.parent).free
        except OSError:
            return None
