"""Past mornings: which have a summary, and each as it was sent."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Final, TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import BaseRoute, Route

from rimewatch.journal.errors import JournalError
from rimewatch.journal.reader import JournalReader
from rimewatch.report import wording
from rimewatch.web.guard import Guard
from rimewatch.web.rendering import Renderer

T = TypeVar("T")
MOST: Final = 400
_BUSY_S: Final = 5.0


class MorningPages:
    """Shows what was said each morning; nothing of it is worked out again.

    Args:
        journal_path: Where it is kept.
        guard: Who may see it.
        renderer: Makes the pages.
    """

    def __init__(self, journal_path: Path, guard: Guard, renderer: Renderer) -> None:
        self._journal_path = journal_path
        self._guard = guard
        self._renderer = renderer

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the pages."""
        return [Route("/mornings", self.page), Route("/mornings/{day}", self.summary)]

    async def page(self, request: Request) -> Response:
        """List the mornings, the latest first."""
        visitor = await self._guard.visitor(request)
        days = await self._asked(lambda journal: journal.summary_dates(MOST))
        return self._renderer.page(
            "mornings.html",
            title="Mornings",
            visitor=visitor,
            here="/mornings",
            days=[(day.isoformat(), _named(day)) for day in days],
        )

    async def summary(self, request: Request) -> Response:
        """Show one morning's summary, the very page that was made then."""
        await self._guard.visitor(request)
        try:
            day = date.fromisoformat(request.path_params["day"])
        except ValueError:
            raise HTTPException(404) from None
        found = await self._asked(lambda journal: journal.summary(day))
        if found is None:
            raise HTTPException(404)
        return HTMLResponse(found.html)

    async def _asked(self, ask: Callable[[JournalReader], T]) -> T:
        def answered() -> T:
            with JournalReader.open(self._journal_path, busy_s=_BUSY_S) as journal:
                return ask(journal)

        try:
            return await run_in_threadpool(answered)
        except JournalError:
            raise HTTPException(503, "The journal cannot be read right now.") from None


def _named(day: date) -> str:
    weekday, month = wording.FULL_WEEKDAYS[day.weekday()], wording.MONTHS[day.month - 1]
    return f"{weekday} {day.day} {month} {day.year}"
