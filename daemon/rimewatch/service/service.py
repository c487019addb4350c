"""Wires the parts and runs them: broker, writer, messages; until it is told to stop.

The thread that calls :meth:`Service.run` is the writer thread. Signals only set flags
here, which the loop looks at after each batch.
"""

import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from rimewatch.clock import Clock
from rimewatch.intake.arrivals import Arrived, Item, SessionEvent
from rimewatch.intake.broker import BrokerSession
from rimewatch.journal.errors import JournalError
from rimewatch.journal.journal import Journal
from rimewatch.notify.dispatcher import Dispatcher
from rimewatch.notify.results import Result
from rimewatch.service.housekeeping import Housekeeping
from rimewatch.service.resume import EVALUATOR_STATE
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop

BATCH: Final = 2000
"""Most arrivals written at once: some tens of milliseconds of work."""

TICK_S: Final = 0.25
"""How long to wait for arrivals before looking whether something else is due."""

IDLE_WRITE_S: Final = 60.0
"""With nothing to write, how far time was followed is noted this often: spares the disk."""

RETRY_S: Final = (1.0, 30.0)
"""First and longest wait before a batch that could not be written is tried again."""


class Service:
    """The service for one shop.

    Args:
        shop: The shop.
        journal_path: The journal's file.
        clock: Tells the time.
        say: Told each thing a person at the console would want to know, a line each.
        reread: Reads the configuration again, for :meth:`reload`; raises an error with
            a message for people if it is wrong.
    """

    def __init__(
        self,
        shop: Shop,
        journal_path: Path,
        clock: Clock,
        *,
        say: Callable[[str], None],
        reread: Callable[[], Shop] | None = None,
    ) -> None:
        self._shop = shop
        self._journal_path = journal_path
        self._clock = clock
        self._say = say
        self._reread = reread
        self._stop = threading.Event()
        self._reload = threading.Event()
        self._moved = threading.Condition()
        self._listening = False
        self._arrivals = 0
        self._entries = 0

    # --- asked for from other threads and from signal handlers ------------------------------

    def stop(self) -> None:
        """Ask the service to finish its batch and end."""
        self._stop.set()

    def reload(self) -> None:
        """Ask the service to read its configuration again."""
        self._reload.set()

    def wait_until_listening(self, timeout_s: float) -> bool:
        """Wait until the broker has confirmed the subscriptions; False if time is up."""
        with self._moved:
            self._moved.wait_for(lambda: self._listening or self._stop.is_set(), timeout_s)
            return self._listening

    def wait_for(self, *, arrivals: int = 0, entries: int = 0, timeout_s: float) -> bool:
        """Wait until so many arrivals and entries since the start are on the disk.

        Returns:
            False if time is up, or the service was stopped, before they were.
        """

        def is_so() -> bool:
            return self._arrivals >= arrivals and self._entries >= entries

        with self._moved:
            self._moved.wait_for(lambda: is_so() or self._stop.is_set(), timeout_s)
            return is_so()

    # --- the writer thread ------------------------------------------------------------------

    def run(self) -> None:
        """Run until stopped. Everything taken in by then is on the disk.

        Raises:
            JournalError: If the journal cannot be opened.
        """
        journal = Journal.open(self._journal_path)
        try:
            knew_us = journal.load_state(EVALUATOR_STATE) is not None
            writer = Writer(self._shop, journal, self._clock)
            journal.add_event(self._clock.now_ms(), "start", f"watching {self._shop.name}")
            dispatcher = Dispatcher(self._shop.contacts, self._clock)
            session = broker_session(self._shop, self._clock, knew_us=knew_us)
            session.start()
            try:
                self._loop(writer, session, dispatcher)
            finally:
                session.stop()
                dispatcher.stop(grace_s=5.0)
                self._note_end(writer, dispatcher)
        finally:
            journal.close()
            with self._moved:
                self._moved.notify_all()

    def _loop(self, writer: Writer, session: BrokerSession, dispatcher: Dispatcher) -> None:
        written_s = self._clock.monotonic_s()
        housekeeping = Housekeeping(writer.journal)
        while not self._stop.is_set():
            if self._reload.is_set():
                self._reload.clear()
                session, dispatcher = self._use_new_configuration(writer, session, dispatcher)
            items = session.drain(BATCH, TICK_S)
            results = dispatcher.take_results()
            idle_s = self._clock.monotonic_s() - written_s
            if items or results or writer.has_work() or idle_s >= IDLE_WRITE_S:
                entries = self._write(writer, items, results)
                written_s = self._clock.monotonic_s()
                if entries is not None:
                    session.ack(items)
                    self._count(items, entries)
            self._post(writer, dispatcher)
            self._tidy(housekeeping)
            if session.health().listening != self._listening:
                self._note_listening(now=not self._listening)

    def _tidy(self, housekeeping: Housekeeping) -> None:
        try:
            housekeeping.look(self._clock.now_ms())
        except JournalError as error:
            # Nothing is lost by a journal that stays untidy; writing itself will complain.
            self._say(f"Tidying the journal failed: {error}")

    def _note_listening(self, *, now: bool) -> None:
        with self._moved:
            self._listening = now
            self._moved.notify_all()

    def _write(
        self, writer: Writer, items: Sequence[Item], results: Sequence[Result]
    ) -> int | None:
        """Write a batch, for as long as it takes: what is not on the disk is not acknowledged.

        Returns:
            How many entries were taken in with it; None if it could not be written until
            the service was stopped.
        """
        wait_s = RETRY_S[0]
        told = ""
        while True:
            try:
                entries = writer.take(items, results)
            except JournalError as error:
                if str(error) != told:
                    told = str(error)
                    self._say(f"Not recording: {told}. The broker keeps what arrives meanwhile.")
                if self._stop.wait(wait_s):
                    return None
                wait_s = min(2.0 * wait_s, RETRY_S[1])
            else:
                if told:
                    self._say("Recording again.")
                break
        for item in items:
            if isinstance(item, SessionEvent):
                self._say(item.text)
        return len(entries)

    def _post(self, writer: Writer, dispatcher: Dispatcher) -> None:
        for row in writer.due_messages():
            dispatcher.submit(row)

    def _count(self, items: Sequence[Item], entries: int) -> None:
        with self._moved:
            self._arrivals += sum(1 for item in items if isinstance(item, Arrived))
            self._entries += entries
            self._moved.notify_all()

    def _note_end(self, writer: Writer, dispatcher: Dispatcher) -> None:
        try:
            writer.take((), dispatcher.take_results())
            writer.journal.add_event(self._clock.now_ms(), "stop", "asked to stop")
        except JournalError as error:
            self._say(f"The end could not be noted: {error}")

    def _use_new_configuration(
        self, writer: Writer, session: BrokerSession, dispatcher: Dispatcher
    ) -> tuple[BrokerSession, Dispatcher]:
        """Read the configuration again; keep the old one, with a message, if it is wrong."""
        assert self._reread is not None, "reload() needs a way to read the configuration"
        try:
            shop = self._reread()
        except ValueError as error:
            self._say(f"The configuration is kept as it was. The new one is wrong: {error}")
            return session, dispatcher
        session.stop()
        dispatcher.stop(grace_s=5.0)
        writer.take((), dispatcher.take_results())
        self._shop = shop
        writer.use(shop)
        writer.journal.add_event(self._clock.now_ms(), "configuration", "read again")
        renewed = broker_session(shop, self._clock)
        renewed.start()
        self._say("The configuration was read again and is in use.")
        return renewed, Dispatcher(shop.contacts, self._clock)


def broker_session(shop: Shop, clock: Clock, *, knew_us: bool = True) -> BrokerSession:
    """Return the usual session: every probe's topic, on the shop's broker.

    Args:
        shop: The shop.
        clock: Stamps the arrivals.
        knew_us: Whether the broker should remember us from an earlier run.
    """
    return BrokerSession(
        shop.broker, {probe.topic for probe in shop.probes}, clock, expect_session=knew_us
    )
