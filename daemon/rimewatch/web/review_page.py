"""A week or a month in review, from the phone: on the page, or as a PDF to keep."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import BaseRoute, Route

from rimewatch.evaluation.mornings import local_day
from rimewatch.journal.errors import JournalError
from rimewatch.report.document_html import document_html
from rimewatch.report.review import Review, calendar_month, last_whole_week, week_ending
from rimewatch.report.review_document import review_document
from rimewatch.web.page import Means, Page

PATH: Final = "/review"
MakeReview = Callable[[list[date], int], Review]
"""Reviews periods, given the days at which they begin and end, at an instant."""


class ReviewPages(Page):
    """Serves reviews.

    Args:
        means: What every page is made with.
        make: Makes one; called in a thread of its own.
    """

    def __init__(self, means: Means, make: MakeReview) -> None:
        super().__init__(means)
        self._make = make
        self._at_work = False

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the page and of what it offers."""
        return [Route(PATH, self.page), Route(f"{PATH}/made", self.made)]

    async def page(self, request: Request) -> Response:
        """Ask for which week or month."""
        visitor = await self._guard.visitor(request)
        today = local_day(self._clock.now_ms(), self._shop.timezone)
        month = today.replace(day=1) - timedelta(days=1)
        return self._renderer.page(
            "review_choice.html",
            title="Reviews",
            visitor=visitor,
            here="/records",
            week=(last_whole_week(today)[-1] - timedelta(days=1)).isoformat(),
            month=f"{month:%Y-%m}",
        )

    async def made(self, request: Request) -> Response:
        """Return a review, as a page or as PDF."""
        await self._guard.visitor(request)
        edges = _edges(request)
        if self._at_work:
            raise HTTPException(503, "Another review is being made; try again in a minute.")
        self._at_work = True
        try:
            review = await run_in_threadpool(self._make, edges, self._clock.now_ms())
        except ValueError as error:
            raise HTTPException(422, f"There is no such review: {error}.") from None
        except JournalError:
            raise HTTPException(503, "The journal cannot be read right now.") from None
        finally:
            self._at_work = False
        if request.query_params.get("form") == "pdf":
            content = await run_in_threadpool(self._pdf, review)
            name = f"review-{review.first}-to-{review.last}.pdf"
            headers = {"Content-Disposition": f'attachment; filename="{name}"'}
            return Response(content, media_type="application/pdf", headers=headers)
        return HTMLResponse(await run_in_threadpool(lambda: document_html(review_document(review))))

    def _pdf(self, review: Review) -> bytes:
        # Late: its fonts are slow to load, and most look at the page.
        from rimewatch.report.document_pdf import document_pdf  # noqa: PLC0415

        return document_pdf(review_document(review), paper=self._shop.paper)


def _edges(request: Request) -> list[date]:
    """Return what is laid side by side: the week to a day, or a calendar month.

    Raises:
        HTTPException: 422, if it is none.
    """
    month, week = request.query_params.get("month", ""), request.query_params.get("week", "")
    try:
        if month:
            first = date.fromisoformat(f"{month}-01")
            return calendar_month(first.year, first.month)
        return week_ending(date.fromisoformat(week))
    except (ValueError, OverflowError):
        raise HTTPException(
            422, "Expected the last day of a week, such as 2026-03-27, or a month, such as 2026-03."
        ) from None
