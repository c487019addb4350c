"""Hands messages to the contacts' threads and collects what became of them.

The one who owns the outbox asks it for what is due, submits that here, takes results and
writes them back. Nothing is written here: a message whose result is lost with the process
is sent again, so each one arrives at least once.
"""

import threading
from collections import deque
from collections.abc import Callable, Sequence
from typing import Final

from rimewatch.clock import Clock
from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.asked_pauses import listen_for_pauses
from rimewatch.notify.channel import MACHINE
from rimewatch.notify.contact_worker import ContactWorker
from rimewatch.notify.letter import NOTHING, Extras
from rimewatch.notify.library_logs import quiet_libraries
from rimewatch.notify.results import Delivered, DispatcherHealth, Failed, Limits, Result
from rimewatch.shop import Contact

MOST_REMEMBERED: Final = 1000
"""Delivered messages remembered, so that a result that could not be written yet (a full
disk) does not become the same message over and over (our choice)."""


class Dispatcher:
    """Sends messages in one thread for each contact, so that none waits for another's.

    ``submit``, ``take_results`` and the rest may be called from any thread and never wait
    for a network. Building it builds every contact's services, which takes a second.

    Args:
        contacts: Who can be told.
        clock: Stamps results.
        wake: Called from a contact's thread when there is a result to take; must return
            at once and not raise.
        limits: How long sending may take.
        extras: Told a message and the instant at which it goes out, in a contact's thread;
            returns what is added to it. None: nothing is.
        worker: Makes what carries one contact's messages.
    """

    def __init__(
        self,
        contacts: Sequence[Contact],
        clock: Clock,
        *,
        wake: Callable[[], None] | None = None,
        limits: Limits | None = None,
        extras: Callable[[OutboxRow, int], Extras] | None = None,
        worker: type[ContactWorker] = ContactWorker,
    ) -> None:
        quiet_libraries()
        listen_for_pauses()
        self._clock = clock
        self._wake = wake
        self._lock = threading.Lock()
        self._in_flight: set[int] = set()
        self._results: list[Result] = []
        self._delivered: dict[int, Delivered] = {}
        self._delivered_order: deque[int] = deque()
        self._stopping = False
        self._workers = {
            contact.id: worker(
                contact,
                clock,
                report=self._report,
                limits=limits or Limits(),
                extras=extras or (lambda _row, _now_ms: NOTHING),
            )
            for contact in contacts
        }

    def submit(self, row: OutboxRow) -> bool:
        """Take a message to be sent.

        A message that was delivered before is not sent again: its result is given once
        more. One for an unknown contact fails for good.

        Args:
            row: As the outbox gave it.

        Returns:
            False when nothing was done: the message is in flight already, or the
            dispatcher is stopping.
        """
        with self._lock:
            if self._stopping or row.id in self._in_flight:
                return False
            self._in_flight.add(row.id)
            known = self._delivered.get(row.id)
            worker = self._workers.get(row.contact)
        if known is not None:
            self._report(known)
        elif worker is not None:
            worker.put(row)
        else:
            self._report(
                Failed(
                    id=row.id,
                    at_ms=self._clock.now_ms(),
                    error=f'contact "{row.contact}" is not in the configuration (any more)',
                    permanent=True,
                )
            )
        return True

    def in_flight(self, number: int) -> bool:
        """Return whether a message was submitted and its result was not taken yet."""
        with self._lock:
            return number in self._in_flight

    def take_results(self) -> list[Result]:
        """Return the results since the last time, in their order; they are in flight no more.

        Write them to the outbox before asking it for what is due.
        """
        with self._lock:
            taken, self._results = self._results, []
            self._in_flight.difference_update(result.id for result in taken)
        return taken

    def stop(self, grace_s: float) -> bool:
        """Begin no further message and wait for those in hand.

        What had not begun, or did not end in time, has no result and stays due in the
        outbox. Results may still be taken afterwards. May be called again.

        Args:
            grace_s: Longest time to wait, in real seconds.

        Returns:
            Whether every thread has ended; those that have not die with the process.
        """
        end_s = MACHINE.monotonic_s() + grace_s
        with self._lock:
            self._stopping = True
        for worker in self._workers.values():
            worker.stop()
        ended = [worker.join(end_s) for worker in self._workers.values()]
        return all(ended)

    def health(self) -> DispatcherHealth:
        """Return how each contact is served."""
        with self._lock:
            in_flight = len(self._in_flight)
        return DispatcherHealth(
            contacts=tuple(worker.health() for worker in self._workers.values()),
            in_flight=in_flight,
        )

    def _report(self, result: Result) -> None:
        with self._lock:
            if isinstance(result, Delivered) and result.id not in self._delivered:
                self._delivered[result.id] = result
                self._delivered_order.append(result.id)
                if len(self._delivered_order) > MOST_REMEMBERED:
                    del self._delivered[self._delivered_order.popleft()]
            self._results.append(result)
        if self._wake is not None:
            self._wake()
