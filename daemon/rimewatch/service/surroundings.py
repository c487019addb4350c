"""What lies around the service's one thread: the file, the broker, the phones, and waiting.

In life these are SQLite's own connection, a client with a thread of its own, a thread for
each contact, and sleep. Whoever plays the service in time of its own gives others; what
the service does with them is the same.
"""

import threading
from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from rimewatch.clock import Clock
from rimewatch.intake.broker import BrokerSession
from rimewatch.intake.receiver import subscription
from rimewatch.journal.journal import Journal
from rimewatch.notify.dispatcher import Dispatcher
from rimewatch.notify.letter import Extras
from rimewatch.service.charts import Charts
from rimewatch.service.file_look import Looked
from rimewatch.service.systemd import Notifier
from rimewatch.shop import Contact, Shop


class DispatcherMaker(Protocol):
    """Makes what carries messages to the contacts."""

    def __call__(
        self,
        contacts: tuple[Contact, ...],
        clock: Clock,
        /,
        *,
        extras: Callable[..., Extras] | None,
    ) -> Dispatcher:
        """Make it; it may start threads."""
        ...


class StandingIn(Protocol):
    """A watch without a record, see :mod:`rimewatch.service.stand_in`."""

    def begin(self, why: str) -> bool:
        """Begin to watch, if it does not yet; return whether it does.

        Args:
            why: Why nothing is recorded; each morning's message says so as well.
        """
        ...

    def end(self) -> None:
        """End the watch, if there is one."""
        ...


class LooksAtFile(Protocol):
    """Looks the journal's file over, see :mod:`rimewatch.service.file_look`."""

    def turn(self) -> Looked | None:
        """Begin what is due; return what a look has found that has ended. Never waits."""
        ...

    def begin(self, *, in_full: bool = False) -> Looked | None:
        """Begin a look now; None, or why it could not be begun."""
        ...

    def take(self) -> Looked | None:
        """Return what the look has found that was begun, once it has ended."""
        ...

    def end(self) -> None:
        """End a look that is under way."""
        ...


StandInMaker = Callable[[Shop, Clock, Callable[[str], None]], StandingIn]
FileLookMaker = Callable[[Path, Clock], LooksAtFile]


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """How the service meets what is not its own."""

    open_journal: Callable[[Path], Journal] = Journal.open
    session: type[BrokerSession] = BrokerSession
    dispatcher: DispatcherMaker = Dispatcher
    charts: Callable[[Path], Charts] = Charts
    wait: Callable[[threading.Event, float], bool] = threading.Event.wait
    """Waits so many seconds for a flag; tells whether it is set."""
    notifier: Notifier | None = None
    """The way to the service manager; None: the one that the environment names."""
    stand_in: StandInMaker | None = None
    """Makes what watches while the journal cannot be used; None: nothing does."""
    file_look: FileLookMaker | None = None
    """Makes what looks the journal's file over now and then; None: nobody does."""
    trouble: tuple[str, ...] = ()
    """What is wrong with the watch from its start on, a sentence each."""


def broker_session(
    shop: Shop,
    clock: Clock,
    *,
    knew_us: bool = True,
    earlier: Collection[str] = (),
    session: type[BrokerSession] = BrokerSession,
) -> BrokerSession:
    """Return the usual session: every probe's topic, and that of entries if they are taken.

    Args:
        shop: The shop.
        clock: Stamps the arrivals.
        knew_us: Whether the broker should remember us from an earlier run.
        earlier: What it may still deliver to us from an earlier configuration.
        session: Of which kind.
    """
    topics = {subscription(probe) for probe in shop.probes}
    if shop.broker.entries:
        topics.add(shop.broker.entry_topic)
    return session(shop.broker, topics, clock, expect_session=knew_us, earlier=earlier)
