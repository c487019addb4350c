"""What the pages of one shop are made with, and how they ask the journal."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeVar
from zoneinfo import ZoneInfo

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request

from rimewatch.clock import Clock
from rimewatch.journal.errors import JournalError
from rimewatch.journal.reader import JournalReader
from rimewatch.shop import Shop
from rimewatch.web.guard import Guard
from rimewatch.web.live import Board
from rimewatch.web.rendering import Renderer

BUSY_S: Final = 5.0
"""How long an answer waits for a journal that is busy."""

T = TypeVar("T")

STILL: Final = "still"
"""In an address: the page is not to load itself again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """That a page loads itself again while something is under way, and how that is stopped.

    Whoever needs longer to read may stop it (WCAG 2.2, success criterion 2.2.1, from memory).
    """

    every_s: int
    stop: str
    """Where the page is that stays as it is."""


def again(request: Request, every_s: int, *, when: bool) -> Again | None:
    """Return how a page loads itself again; None: it does not, or was told not to."""
    if not when or STILL in request.query_params:
        return None
    url = request.url.include_query_params(**{STILL: "1"})
    return Again(every_s=every_s, stop=f"{url.path}?{url.query}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Means:
    """What every page may look at. None of it writes: whoever does is handed a desk as well."""

    shop: Shop
    journal_path: Path
    """Where the past is read, by a connection of each answer's own."""
    board: Board
    """Where the writer's latest snapshot is."""
    guard: Guard
    """Who may see and act."""
    renderer: Renderer
    clock: Clock


class Page:
    """A page of a shop, its forms, or an answer for programs; its ``routes`` say where."""

    def __init__(self, means: Means) -> None:
        self._shop = means.shop
        self._journal_path = means.journal_path
        self._board = means.board
        self._guard = means.guard
        self._renderer = means.renderer
        self._clock = means.clock
        self._zone = ZoneInfo(means.shop.timezone)
        self._root = means.shop.pages_path
        """The path below which all of it is reached."""

    async def _asked(self, ask: Callable[[JournalReader], T]) -> T:
        """Ask the journal, in a thread of its own.

        Raises:
            HTTPException: 503, if it cannot be read.
        """

        def answered() -> T:
            with JournalReader.open(self._journal_path, busy_s=BUSY_S) as journal:
                return ask(journal)

        try:
            return await run_in_threadpool(answered)
        except JournalError:
            raise HTTPException(503, "The journal cannot be read right now.") from None
