"""Past mornings: which have a summary, and each as it was sent."""

from datetime import date
from typing import Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import BaseRoute, Route

from rimewatch.report import wording
from rimewatch.web.page import Page

MOST: Final = 400


class MorningPages(Page):
    """Shows what was said each morning; nothing of it is worked out again."""

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


def _named(day: date) -> str:
    weekday, month = wording.FULL_WEEKDAYS[day.weekday()], wording.MONTHS[day.month - 1]
    return f"{weekday} {day.day} {month} {day.year}"
