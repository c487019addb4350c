"""Pictures that go out with alarms: ordered as the message is put down, drawn as it goes out.

Beside the journal, one file for each message, under the hash of its idempotency key, so
that whoever sends needs no further record of them. They are no part of the record: what
they show can be drawn again from the readings. A message waits a few seconds for its
picture at most; one that cannot be drawn or written, or is asked for after a restart
only, is done without.

Drawing is the pen's (:mod:`.pen`), and an alarm's picture comes before those of a morning.
"""

import hashlib
import os
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final

from rimewatch.alarms.effects import Send
from rimewatch.journal.outbox import OutboxRow
from rimewatch.journal.reader import JournalReader
from rimewatch.report.alarm_chart import alarm_chart_png, warm_up
from rimewatch.service.morning_charts import MorningCharts
from rimewatch.service.pen import Pen
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_S, About, ContactId, Rule, UnitId

KEPT_MS: Final = 7 * MS_PER_DAY
"""Longer than any message is tried for."""

SHOWN: Final = frozenset({Rule.HOLDING, Rule.FREEZER, Rule.HOLD_AT_RISK, Rule.PROJECTION})
"""Alarms whose reason a temperature curve shows."""

CALLS: Final = frozenset({About.RAISED, About.ESCALATED})
"""A repetition brings the words alone: the picture has come already."""

PATIENCE_S: Final = 10.0
"""How long a message waits for its picture (our choice): it takes a tenth of a second, but a
small computer that has just started draws its first one for seconds."""

MOST_ORDERED: Final = 1000
"""Orders remembered: of messages that newer ones replaced nobody asks (our choice)."""

MOST_WAITING: Final = 2
"""Where more pictured messages than this wait for the same person, words go alone until they are
through (our choice): in a flood each picture would make all the alarms behind it late."""


def charts_folder(journal_path: Path) -> Path:
    """Return where the pictures of a journal's messages lie."""
    return journal_path.parent / "charts"


def chart_path(folder: Path, key: str) -> Path:
    """Return where the picture of a message lies, if it has one."""
    return folder / f"{hashlib.sha256(key.encode()).hexdigest()[:32]}.png"


@dataclass(frozen=True, slots=True)
class _Order:
    """What is to be on a picture."""

    shop: Shop
    journal: Path
    unit: UnitId
    send: Send


class Charts:
    """Draws and keeps the pictures of one journal's messages.

    Args:
        folder: Where they lie; made when the first is drawn.
        pen: The thread that draws; None: one of their own.
    """

    def __init__(self, folder: Path, pen: Pen | None = None) -> None:
        self._folder = folder
        self._pen = pen or Pen()
        self.mornings = MorningCharts(self._pen, self._note_morning)
        """Draws the charts of summaries with the same pen."""
        self._lock = threading.Lock()
        self._ordered: dict[str, _Order] = {}
        """By the message's key. One that a newer word replaced may be on its way already."""
        self._waiting: dict[tuple[str, ContactId], str] = {}
        """The key of the newest word of an alarm to a contact, where it has a picture."""
        self._last: tuple[UnitId, float | None, int] | None = None
        self._png: bytes | None = None
        self._failing = False
        self._trouble = ""

    def warm_up(self, shop: Shop) -> None:
        """Have a picture drawn that nobody sees: the first one takes a second. Does not wait."""
        self._do(partial(warm_up, shop))

    def order(self, shop: Shop, journal: Path, send: Send) -> None:
        """Note that a message has a picture, where its kind has one. Draws nothing yet.

        Args:
            shop: The shop.
            journal: The file with its readings, read when the picture is drawn.
            send: The message; an earlier one of its alarm is waited for no more.
        """
        unit, place = send.key.unit, (send.alarm_id, send.contact)
        with self._lock:
            self._waiting.pop(place, None)
            if unit is None or unit not in shop.unit:
                return
            if send.key.rule in SHOWN and send.about in CALLS:
                self._waiting[place] = send.token
                self._ordered[send.token] = _Order(shop, journal, unit, send)
                if len(self._ordered) > MOST_ORDERED:
                    del self._ordered[next(iter(self._ordered))]

    def finish(self, row: OutboxRow, *, within_s: float = PATIENCE_S) -> None:
        """Draw what was ordered for a message, and wait for it; from any thread.

        Args:
            row: The message; one without an order has no picture.
            within_s: How long to wait. What is drawn later still serves a later try.
        """
        if row.alarm_id is None:
            return
        with self._lock:
            order = self._ordered.pop(row.idempotency_key, None)
            if self._waiting.get((row.alarm_id, row.contact)) == row.idempotency_key:
                del self._waiting[row.alarm_id, row.contact]
            waiting = sum(contact == row.contact for _, contact in self._waiting)
        if order is None or waiting > MOST_WAITING:
            return
        if not self._do(partial(self._draw, order)).wait(within_s):
            self._note(f"it was not drawn within {within_s:.0f} s")

    def take_trouble(self) -> str:
        """Return what went wrong since the last time, told once for a row of failures."""
        with self._lock:
            trouble, self._trouble = self._trouble, ""
        return trouble

    def tidy(self, now_ms: int) -> None:
        """Remove the pictures of messages that were made long ago."""
        for path in self._folder.glob("*.png*"):
            with suppress(OSError):  # gone meanwhile, or not ours to remove
                if path.stat().st_mtime * MS_PER_S < now_ms - KEPT_MS:
                    path.unlink()

    def stop(self, *, grace_s: float) -> None:
        """Let the pen end; what it has not drawn in time is done without, or drawn next time.

        Args:
            grace_s: Longest time to wait, in real seconds.
        """
        self._pen.stop(grace_s=grace_s)

    def _do(self, work: Callable[[], None]) -> threading.Event:
        def attempt() -> None:
            try:
                work()
            except Exception as error:  # noqa: BLE001 - fonts, memory, disk: words go out anyway
                self._note(f"{type(error).__name__}: {error}")
            else:
                self._failing = False

        return self._pen.do(attempt, urgent=True)

    def _draw(self, order: _Order) -> None:
        send = order.send
        # Several people are told of one thing at one moment: they get the same picture.
        this = (order.unit, send.condition.limit_c, send.at_ms)
        if this != self._last:
            with JournalReader.open(order.journal) as store:
                self._png = alarm_chart_png(
                    order.shop, store, order.unit, send.at_ms, line_c=send.condition.limit_c
                )
            self._last = this
        if self._png is None:
            return
        self._folder.mkdir(mode=0o700, exist_ok=True)
        path = chart_path(self._folder, send.token)
        draft = path.with_suffix(".png.part")
        draft.write_bytes(self._png)
        at_s = send.at_ms / MS_PER_S
        os.utime(draft, (at_s, at_s))  # by the service's clock, which a replayed night moves
        draft.replace(path)

    def _note_morning(self, what: str) -> None:
        with self._lock:
            self._trouble = f"{what}; a morning's summary is kept without its charts"

    def _note(self, what: str) -> None:
        with self._lock:
            if self._failing:
                return
            self._failing = True
            self._trouble = (
                f"{what}; alarms go out without pictures. See that {self._folder} can be "
                "written, and MPLCONFIGDIR"
            )
