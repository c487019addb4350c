"""A changed configuration, read and tried before anything of the one in use is ended."""

from collections.abc import Callable
from typing import Protocol

from rimewatch.intake.broker import BrokerSession
from rimewatch.intake.receiver import Receiver
from rimewatch.journal.errors import JournalError
from rimewatch.journal.journal import Journal
from rimewatch.service.filters import earlier_filters
from rimewatch.service.mirroring import require_mirror
from rimewatch.service.pages import Pages
from rimewatch.shop import Broker, Shop


class Unusable(Exception):  # noqa: N818 (it says what is so)
    """The new configuration cannot be used now; the text says why."""


class SessionMaker(Protocol):
    """Makes a session with the broker that a shop names."""

    def __call__(self, shop: Shop, /, *, knew_us: bool, earlier: tuple[str, ...]) -> BrokerSession:
        """Make it; nothing is started."""
        ...


def renewed(
    reread: Callable[[], Shop],
    before: Broker,
    journal: Journal,
    pages: Pages,
    new_session: SessionMaker,
) -> tuple[Shop, BrokerSession]:
    """Return the shop as it is configured now, and a session for it that is not started.

    Args:
        reread: Reads the configuration; a ``ValueError`` says what is wrong with it.
        before: The broker as it was.
        journal: Knows what the broker may still deliver of earlier configurations.
        pages: The pages that would be served.
        new_session: Makes the session.

    Raises:
        Unusable: If anything of it cannot be used.
    """
    try:
        shop = reread()
        Receiver(shop)
        require_mirror(shop)
        pages.require(shop)
        same = (shop.broker.url, shop.broker.client_id) == (before.url, before.client_id)
        earlier = earlier_filters(journal, shop.broker)
        return shop, new_session(shop, knew_us=same, earlier=earlier)
    except ValueError as error:
        raise Unusable(f"The new one is wrong: {error}") from None
    except JournalError as error:
        raise Unusable(f"The journal cannot be read: {error}") from None
