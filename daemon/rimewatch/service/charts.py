"""Pictures that go out with alarms: drawn as the message is put down, found as it is sent.

Beside the journal, one file for each message, under the hash of its idempotency key, so
that whoever sends needs no further record of them. They are no part of the record: what
they show can be drawn again from the readings. A picture that cannot be drawn or written
is done without; the message never waits for it.

Drawn by the writer's thread alone.
"""

import hashlib
import os
from contextlib import suppress
from pathlib import Path
from typing import Final

from rimewatch.alarms.effects import Send
from rimewatch.evaluation.store import ReadingStore
from rimewatch.report.alarm_chart import alarm_chart_png, warm_up
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_S, About, Rule, UnitId

KEPT_MS: Final = 7 * MS_PER_DAY
"""Longer than any message is tried for."""

SHOWN: Final = frozenset({Rule.HOLDING, Rule.FREEZER, Rule.HOLD_AT_RISK, Rule.PROJECTION})
"""Alarms whose reason a temperature curve shows."""

CALLS: Final = frozenset({About.RAISED, About.ESCALATED})
"""A repetition brings the words alone: the picture has come already."""


def charts_folder(journal_path: Path) -> Path:
    """Return where the pictures of a journal's messages lie."""
    return journal_path.parent / "charts"


def chart_path(folder: Path, key: str) -> Path:
    """Return where the picture of a message lies, if it has one."""
    return folder / f"{hashlib.sha256(key.encode()).hexdigest()[:32]}.png"


class Charts:
    """Draws and keeps the pictures of one journal's messages.

    Args:
        folder: Where they lie; made when the first is drawn.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._last: tuple[UnitId, float | None, int] | None = None
        self._png: bytes | None = None
        self._failing = False

    def warm_up(self, shop: Shop) -> str:
        """Have the first picture drawn before it is needed; return what went wrong, if it did."""
        try:
            warm_up(shop)
        except Exception as error:  # noqa: BLE001 - see draw
            return self._trouble(error)
        return ""

    def draw(self, shop: Shop, store: ReadingStore, send: Send) -> str:
        """Draw the picture of a message, where it has one.

        Returns:
            What went wrong, if it did and the last one was well; else nothing.
        """
        unit = send.key.unit
        if unit is None or unit not in shop.unit:
            return ""
        if send.key.rule not in SHOWN or send.about not in CALLS:
            return ""
        try:
            self._write(shop, store, unit, send)
        except Exception as error:  # noqa: BLE001 - fonts, memory, disk: the words go out anyway
            return self._trouble(error)
        self._failing = False
        return ""

    def tidy(self, now_ms: int) -> None:
        """Remove the pictures of messages that were made long ago."""
        for path in self._folder.glob("*.png*"):
            with suppress(OSError):  # gone meanwhile, or not ours to remove
                if path.stat().st_mtime * MS_PER_S < now_ms - KEPT_MS:
                    path.unlink()

    def _write(self, shop: Shop, store: ReadingStore, unit: UnitId, send: Send) -> None:
        # Several people are told of one thing at one moment: they get the same picture.
        this = (unit, send.condition.limit_c, send.at_ms)
        if this != self._last:
            self._png = alarm_chart_png(
                shop, store, unit, send.at_ms, line_c=send.condition.limit_c
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

    def _trouble(self, error: Exception) -> str:
        if self._failing:
            return ""
        self._failing = True
        return (
            f"{type(error).__name__}: {error}; alarms go out without pictures. See that "
            f"{self._folder} can be written, and MPLCONFIGDIR"
        )
