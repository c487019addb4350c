"""Remembers what each broker's lasting session is subscribed to, over restarts and reloads.

A broker keeps our subscriptions; what the configuration no longer names must be given up
by its name, which only the journal still knows. Kept for each broker and client id apart,
in the journal's state, never with a password.
"""

import json
from typing import Final

from rimewatch.intake.broker import BrokerSession
from rimewatch.intake.broker_settings import endpoint
from rimewatch.journal.errors import reading_back
from rimewatch.journal.journal import Journal
from rimewatch.shop import Broker

FILTERS_STATE: Final = "filters:"
"""With the client id and the broker's address behind it."""


def state_name(broker: Broker) -> str:
    """Return under which name a session's filters are kept.

    Raises:
        BrokerSettingsError: If the broker's settings cannot be used.
    """
    return f"{FILTERS_STATE}{broker.client_id}@{endpoint(broker).address}"


def earlier_filters(journal: Journal, broker: Broker) -> tuple[str, ...]:
    """Return what the broker may still have for us from an earlier configuration.

    Raises:
        BrokerSettingsError: If the broker's settings cannot be used.
        JournalError: If the journal cannot be read.
    """
    text = journal.load_state(state_name(broker))
    with reading_back(journal.path, "what the broker has for us"):
        return () if text is None else tuple(json.loads(text))


class FilterMemory:
    """Writes down the filters of the session in use, when they change.

    Args:
        broker: The broker it is with.
        session: The session.
    """

    def __init__(self, broker: Broker, session: BrokerSession) -> None:
        self._name = state_name(broker)
        self._session = session
        self._kept: tuple[str, ...] | None = None

    def look(self, journal: Journal) -> None:
        """Write down what the broker may have for us, if that is news.

        Raises:
            JournalError: If it cannot be written; the next look tries again.
        """
        now = self._session.subscribed()
        if now != self._kept:
            journal.save_state(self._name, json.dumps(now))
            self._kept = now
