"""How the watch is doing, put together for the pages: while it records, and while it cannot."""

from dataclasses import replace

from rimewatch.intake.arrivals import SessionHealth
from rimewatch.journal.journal import Journal
from rimewatch.service.lateness import Lag
from rimewatch.service.pages import Pages
from rimewatch.shop import Shop
from rimewatch.web.live import Board, Health


def health_of(
    journal: Journal,
    broker: SessionHealth,
    lag: Lag,
    *,
    arrivals: int,
    senders_alive: bool,
    trouble: list[str],
    mirror: str,
) -> Health:
    """Return how a watch that records is doing.

    Args:
        journal: The writer's journal.
        broker: The session with the broker.
        lag: How far recording lies behind.
        arrivals: Messages since the start that are on the disk.
        senders_alive: Whether the threads that send messages live.
        trouble: What is wrong with the watch itself, a sentence each.
        mirror: How the mirror stands, in words.

    Raises:
        JournalError: If the journal cannot be read.
    """
    backlog, size = journal.outbox_backlog(), journal.size()
    return Health(
        listening=broker.listening,
        broker_problem=broker.problem,
        arrivals=arrivals,
        waiting_arrivals=broker.waiting,
        delay_s=lag.delay_s,
        batch_s=lag.batch_s,
        disk_s=lag.disk_s,
        is_late=lag.is_late,
        outbox_waiting=backlog.waiting,
        outbox_failing=backlog.failing,
        outbox_given_up=backlog.given_up,
        senders_alive=senders_alive,
        trouble=tuple(trouble),
        mirror=mirror,
        journal_bytes=size.file_bytes + size.wal_bytes,
    )


class Bystander:
    """Has the pages say that nothing is recorded, for as long as it lasts.

    They show no temperature meanwhile: the last one they know is from before.

    Args:
        board: Where the pages look.
        pages: The pages; they are started if they do not run yet.
    """

    def __init__(self, board: Board, pages: Pages) -> None:
        self._board = board
        self._pages = pages

    def show(self, shop: Shop, why: str) -> None:
        """Show why; called every second."""
        if shop.web is None:
            return
        self._pages.stand_by(shop)
        latest = self._board.latest
        self._board.publish(
            replace(
                latest,
                number=latest.number + 1,
                units=(),
                alarms=(),
                lots=(),
                todos=(),
                health=replace(
                    latest.health,
                    is_recording=False,
                    listening=False,
                    broker_problem="It keeps what arrives until there is a journal again.",
                    waiting_arrivals=0,
                    trouble=(f"Nothing is recorded. {why}",),
                ),
            )
        )
