"""Lets the service have a mirror: begins it, keeps what has come of it, ends it.

The mirror's thread never writes to the journal; here, on the writer's thread, its state is
saved now and then. The books (excursions, alarms, lots) that it sends are made here,
because they need an evaluator; on the mirror's thread, through its own connection.
"""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from rimewatch.clock import Clock
from rimewatch.errors import UserError
from rimewatch.evaluation.contacts import door_is_open
from rimewatch.evaluation.ledger import build_ledger
from rimewatch.evaluation.unit_now import unit_now
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader, JournalReads
from rimewatch.mirror.points import Point, book_points, lot_points, unit_point
from rimewatch.mirror.state import MIRROR_STATE, MirrorState, from_text, to_text
from rimewatch.report import wording
from rimewatch.service.resume import account_of, resume
from rimewatch.shop import Shop

if TYPE_CHECKING:
    from rimewatch.mirror.mirror import Mirror

KEEP_EVERY_S: Final = 5.0
"""How often the cursor is saved at most: what is sent again after a power cut, no more."""

GRACE_S: Final = 2.0
"""How long the request in hand may take at the end."""


class MirrorMissing(UserError, ValueError):  # noqa: N818 (it says what is so)
    """The configuration asks for a mirror, and its client library is not installed."""

    def __init__(self) -> None:
        super().__init__(
            "[mirror] needs influxdb-client, which is not installed; install it with: "
            "pip install 'rimewatch[mirror]', or take the table out of the configuration"
        )


class Mirroring:
    """The mirror of a running service; does nothing where the shop has none.

    Args:
        shop: The shop.
        journal_path: The journal, open and brought forward.
        clock: Tells the time.
        say: Told when the database is lost, and when it is back.

    Raises:
        MirrorMissing: If the shop has a mirror and its library is not installed.
    """

    def __init__(
        self, shop: Shop, journal_path: Path, clock: Clock, *, say: Callable[[str], None]
    ) -> None:
        self._clock = clock
        self._say = say
        self._kept_s = clock.monotonic_s()
        self._told = ""
        self._zone = ZoneInfo(shop.timezone)
        self._words: tuple[float, str] | None = None
        self._mirror: Mirror | None = None
        if shop.mirror is not None:
            self._mirror = _mirror(shop, journal_path, clock)
            self._mirror.start()

    def look(self, journal: Journal) -> None:
        """Save what is new of the mirror, at most every few seconds.

        Raises:
            JournalError: If it could not be saved; it is tried again with the next news.
        """
        if self._mirror is None or self._clock.monotonic_s() - self._kept_s < KEEP_EVERY_S:
            return
        self._kept_s = self._clock.monotonic_s()
        self._keep(journal)

    def words(self, journal: JournalReads) -> str:
        """Return how the mirror stands, for a person; empty where there is none.

        Looked up at most every few seconds: it is asked for with every page that follows live.

        Raises:
            JournalError: If the journal cannot be read.
        """
        if self._mirror is None:
            return ""
        now_s = self._clock.monotonic_s()
        if self._words is None or now_s - self._words[0] >= KEEP_EVERY_S:
            state = from_text(journal.load_state(MIRROR_STATE))
            behind = journal.changed_hours_behind(state.cursor)
            said = mirror_words(state, behind, self._zone, self._clock.now_ms())
            self._words = (now_s, said)
        return self._words[1]

    def use(self, shop: Shop, journal: Journal) -> None:
        """Go on with another configuration, from where the old one came to.

        Raises:
            JournalError: If how far it came could not be saved.
        """
        try:
            self.stop(journal)
        finally:
            self._zone, self._words = ZoneInfo(shop.timezone), None
            if shop.mirror is not None:
                self._mirror = _mirror(shop, journal.path, self._clock)
                self._mirror.start()

    def stop(self, journal: Journal) -> None:
        """End the mirror and save how far it came.

        Raises:
            JournalError: If it could not be saved.
        """
        if self._mirror is None:
            return
        self._mirror.stop(GRACE_S)
        try:
            self._keep(journal)
        finally:
            self._mirror = None

    def _keep(self, journal: Journal) -> None:
        assert self._mirror is not None, "asked for only where there is a mirror"
        state = self._mirror.take_state()
        if state is not None:
            journal.save_state(MIRROR_STATE, to_text(state))
            self._tell(journal, state)

    def _tell(self, journal: Journal, state: MirrorState) -> None:
        """Note once that the database is lost, and once that it is back."""
        if bool(state.error) == bool(self._told):
            return
        self._told = state.error
        text = f"The mirror waits: {state.error}" if state.error else "The mirror goes on."
        journal.add_event(self._clock.now_ms(), "mirror", text)
        self._say(text)


def mirror_words(state: MirrorState, behind: int, zone: ZoneInfo, now_ms: int) -> str:
    """Return how a mirror stands, in words.

    Args:
        state: How far it has come.
        behind: Hours of a probe that wait to be sent.
        zone: The shop's time zone.
        now_ms: The present instant.

    >>> mirror_words(MirrorState(), 0, ZoneInfo("UTC"), 0)
    'up to date, nothing was sent yet'
    """
    still = f"{wording.counted(behind, 'hour')} of a probe to send" if behind else "up to date"
    if state.sent_ms is None:
        last = "nothing was sent yet"
    else:
        last = f"last sent {wording.local_time(state.sent_ms, zone, day_of_ms=now_ms)}"
    parts = [f"{still}, {last}"]
    if state.error:
        since = wording.local_time(state.error_since_ms or now_ms, zone, day_of_ms=now_ms)
        parts.insert(0, f"waits since {since}: {wording.printable(state.error)}")
    if state.refused_total:
        parts.append(f"{wording.counted(state.refused_total, 'point')} refused for good")
    return "; ".join(parts)


def require_mirror(shop: Shop) -> None:
    """Refuse a shop with a mirror where its client library is not installed.

    Raises:
        MirrorMissing: If it is so.
    """
    if shop.mirror is None:
        return
    try:
        import rimewatch.mirror.mirror  # noqa: F401, PLC0415 (optional, and slow to import)
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] not in ("influxdb_client", "urllib3"):
            raise
        raise MirrorMissing from None


def _mirror(shop: Shop, journal_path: Path, clock: Clock) -> "Mirror":
    require_mirror(shop)
    from rimewatch.mirror.mirror import Mirror  # noqa: PLC0415 (as above)

    def books(journal: JournalReader, from_ms: int, to_ms: int) -> Sequence[Point]:
        return points_of_books(shop, journal, from_ms, to_ms)

    def now(journal: JournalReader, at_ms: int) -> Sequence[Point]:
        return points_of_now(shop, journal, at_ms)

    return Mirror(shop, journal_path, clock, books=books, now=now)


def points_of_now(shop: Shop, journal: JournalReads, at_ms: int) -> list[Point]:
    """Return how each unit stands at the present instant.

    Args:
        shop: The shop, with a mirror.
        journal: The journal, through a connection of the calling thread.
        at_ms: The present instant, milliseconds UTC.
    """
    assert shop.mirror is not None, "asked for only where there is a mirror"
    evaluator = resume(shop, journal, at_ms, at_hand=True).evaluator
    active = [alarm for alarm in evaluator.alarms.alarms.values() if alarm.active]
    return [
        unit_point(
            shop.mirror.shop,
            unit,
            unit_now(evaluator, unit),
            at_ms,
            alarms=[alarm for alarm in active if unit.id in alarm.units],
            door_open=door_is_open(shop, journal, unit.id, at_ms),
        )
        for unit in shop.units
    ]


def points_of_books(shop: Shop, journal: JournalReader, from_ms: int, to_ms: int) -> list[Point]:
    """Return the points of a period's excursions and alarms, and of the lots on the books.

    Args:
        shop: The shop, with a mirror.
        journal: The journal, through a connection of the calling thread.
        from_ms: First instant, milliseconds since the epoch.
        to_ms: Last instant.
    """
    assert shop.mirror is not None, "asked for only where there is a mirror"
    tag = shop.mirror.shop
    evaluator = resume(shop, journal, to_ms).evaluator
    shop = evaluator.shop  # with what held before
    account = account_of(journal, evaluator, from_ms, to_ms)
    ledger = build_ledger(
        shop, journal, account, from_ms=from_ms, to_ms=to_ms, histories=evaluator.histories()
    )
    return [*book_points(tag, ledger), *lot_points(tag, ledger, to_ms)]
