"""The thread that carries one contact's messages, so that nobody waits for another's phone.

Tries the contact's channels in their order, the next at once when one fails. Urgent
messages go before others. Knows nothing of the journal.
"""

import itertools
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from rimewatch.clock import Clock
from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.channel import MACHINE, Channel
from rimewatch.notify.letter import Extras, Letter, letter
from rimewatch.notify.redaction import secrets_of
from rimewatch.notify.results import ContactHealth, Delivered, Failed, Limits, Result
from rimewatch.shop import Contact
from rimewatch.vocabulary import MS_PER_S

_STOP: Final = -1
_URGENT: Final = 0
_OTHER: Final = 1


@dataclass(frozen=True, slots=True)
class _Handed:
    """A message that was handed over, and when: by the service's clock and by the machine's."""

    row: OutboxRow
    at_ms: int
    at_s: float

    def now_ms(self) -> int:
        """Return the instant by the service's clock: a played one may have run far ahead."""
        return self.at_ms + round((MACHINE.monotonic_s() - self.at_s) * MS_PER_S)


class ContactWorker:
    """Sends one contact's messages in a thread of its own.

    Args:
        contact: Who is told. The addresses are secret.
        clock: Stamps results.
        report: Called from the worker's thread with each result; must not raise.
        limits: How long sending may take.
        extras: Told a message and the instant at which it goes out; returns what is added.
    """

    def __init__(
        self,
        contact: Contact,
        clock: Clock,
        *,
        report: Callable[[Result], None],
        limits: Limits,
        extras: Callable[[OutboxRow, int], Extras],
    ) -> None:
        self._contact = contact.id
        self._clock = clock
        self._report = report
        self._limits = limits
        self._extras = extras
        secrets = secrets_of(contact.urls)
        self._channels = tuple(
            Channel(url, secrets=secrets, limits=limits, clock=clock) for url in contact.urls
        )
        self._rows: queue.PriorityQueue[tuple[int, int, int, _Handed | None]]
        self._rows = queue.PriorityQueue()
        self._order = itertools.count()
        self._abandoned = threading.Event()
        self._last_delivered_ms: int | None = None
        self._last_failed_ms: int | None = None
        self._thread = threading.Thread(
            target=self._run, name=f"rimewatch-contact-{contact.id}", daemon=True
        )
        self._thread.start()

    def put(self, row: OutboxRow) -> None:
        """Take a message; its result is reported later. Never blocks."""
        rank = _URGENT if row.urgent else _OTHER
        handed = _Handed(row, self._clock.now_ms(), MACHINE.monotonic_s())
        self._rows.put((rank, row.id, next(self._order), handed))

    def stop(self) -> None:
        """Begin no further message. Does not wait; what was not begun is never reported."""
        self._rows.put((_STOP, 0, next(self._order), None))

    def join(self, end_s: float) -> bool:
        """Wait for the message in hand, at most until an instant of ``MACHINE.monotonic_s``.

        Returns:
            Whether every thread has ended. One that has not begins no further channel.
        """
        self._thread.join(max(0.0, end_s - MACHINE.monotonic_s()))
        self._abandoned.set()
        ended = [channel.join(end_s - MACHINE.monotonic_s()) for channel in self._channels]
        return all(ended) and not self._thread.is_alive()

    def health(self) -> ContactHealth:
        """Return how the contact is served. May be called from any thread."""
        return ContactHealth(
            contact=self._contact,
            alive=self._thread.is_alive(),
            waiting=self._rows.qsize(),
            last_delivered_ms=self._last_delivered_ms,
            last_failed_ms=self._last_failed_ms,
            channels=tuple(channel.health() for channel in self._channels),
        )

    def _run(self) -> None:
        while (handed := self._rows.get()[-1]) is not None:
            try:
                result = self._carried(handed)
            except Exception as error:  # noqa: BLE001 - one bad row must not end the thread
                result = self._failed(
                    handed.row.id, [f"failed unexpectedly ({type(error).__name__})"]
                )
            if isinstance(result, Delivered):
                self._last_delivered_ms = result.at_ms
            else:
                self._last_failed_ms = result.at_ms
            self._report(result)
        for channel in self._channels:
            channel.stop()

    def _carried(self, handed: _Handed) -> Result:
        row = handed.row
        written = letter(row, self._extras(row, handed.now_ms()))
        if written is None:
            return self._failed(row.id, ["the message has no words to send"], permanent=True)
        if not any(channel.usable for channel in self._channels):
            return self._failed(row.id, self._unusable(), permanent=True)
        return self._tried(written)

    def _tried(self, written: Letter) -> Result:
        """Try one channel after the other; each gets its fair share of what time is left."""
        limits = self._limits
        chain_s = limits.summary_chain_s if written.is_summary else limits.chain_s
        most_s = limits.summary_channel_s if written.is_summary else limits.channel_s
        end_s = MACHINE.monotonic_s() + chain_s
        errors = []
        left = sum(channel.usable for channel in self._channels)
        for index, channel in enumerate(self._channels):
            if not channel.usable or self._abandoned.is_set():
                continue
            share_s = min(most_s, (end_s - MACHINE.monotonic_s()) / left)
            left -= 1
            error = channel.send(written, within_s=share_s)
            if not error:
                return Delivered(id=written.id, at_ms=self._clock.now_ms(), channel=index)
            errors.append(f"{channel.scheme}: {error}")
        return self._failed(written.id, errors + self._unusable())

    def _unusable(self) -> list[str]:
        if not self._channels:
            return ["the contact has no address; give it at least one under urls"]
        return [
            f"{channel.scheme} can't be used by Apprise; look for a typo in its scheme or parts"
            for channel in self._channels
            if not channel.usable
        ]

    def _failed(self, number: int, errors: list[str], *, permanent: bool = False) -> Failed:
        return Failed(
            id=number, at_ms=self._clock.now_ms(), error="; ".join(errors), permanent=permanent
        )
