"""Draws the charts of the mornings' summaries, one at a time, in the order of the mornings.

What is to be drawn lies in the journal, written there with the batch that the morning fell
into; what is drawn waits here until the writer has kept it. After a restart the writer hands in
again what is not kept yet.
"""

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from rimewatch.journal.reader import JournalReader
from rimewatch.report.html_draft import HtmlDraft
from rimewatch.service.pen import Pen

UNDRAWN: Final = ""
"""In place of a page: its charts could not be drawn."""


@dataclass(slots=True)
class _Begun:
    """The morning at which the pen is."""

    name: str
    draft: HtmlDraft
    pictures: list[bytes]


class MorningCharts:
    """Finishes the pages of mornings.

    Args:
        pen: The thread that draws.
        note: Told what went wrong.
    """

    def __init__(self, pen: Pen, note: Callable[[str], None]) -> None:
        self._pen = pen
        self._note = note
        self._lock = threading.Lock()
        self._asked: set[str] = set()
        """Every name that was handed in and is not kept yet."""
        self._waiting: deque[tuple[Path, str]] = deque()
        self._at_work = False
        self._begun: _Begun | None = None
        self._drawn: dict[str, str] = {}

    def begin(self, journal: Path, name: str) -> None:
        """Have a page finished. Does nothing where that was asked for before.

        Args:
            journal: The file that holds the draft.
            name: Of the state that the draft is.
        """
        with self._lock:
            if name in self._asked:
                return
            self._asked.add(name)
            self._waiting.append((journal, name))
            if self._at_work:
                return
            self._at_work = True
        self._pen.do(self._step, urgent=False)

    def drawn(self) -> dict[str, str]:
        """Return the pages that are finished and not kept, by name; ``UNDRAWN`` for a failure."""
        with self._lock:
            return dict(self._drawn)

    def forget(self, name: str) -> None:
        """Take note that a page is kept, or not waited for any more."""
        with self._lock:
            self._asked.discard(name)
            self._drawn.pop(name, None)

    def _step(self) -> None:
        """Draw one chart; whatever is urgent comes before the next."""
        name = "" if self._begun is None else self._begun.name
        try:
            if self._begun is None:
                with self._lock:
                    journal, name = self._waiting.popleft()
                with JournalReader.open(journal) as reader:
                    text = reader.load_state(name)
                self._begun = _Begun(name, HtmlDraft.from_text(text or ""), [])
            begun = self._begun
            if len(begun.pictures) < len(begun.draft.charts):
                begun.pictures.append(begun.draft.png(len(begun.pictures)))
            if len(begun.pictures) == len(begun.draft.charts):
                self._finish(name, begun.draft.finished(begun.pictures))
        except Exception as error:  # noqa: BLE001 - fonts, memory, disk: the words go out anyway
            self._note(f"{type(error).__name__}: {error}")
            self._finish(name, UNDRAWN)
        with self._lock:
            self._at_work = self._begun is not None or bool(self._waiting)
            goes_on = self._at_work
        if goes_on:
            self._pen.do(self._step, urgent=False)

    def _finish(self, name: str, page: str) -> None:
        self._begun = None
        with self._lock:
            if name in self._asked:
                self._drawn[name] = page
