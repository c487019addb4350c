"""The record of a period, to be downloaded: the very files that the command writes.

Who is signed in may ask. Making a long record takes seconds of this machine, which has a watch
to keep: one is made at a time, and of about a year at most. Changes nothing.
"""

import io
import zipfile
from collections.abc import Callable, Mapping
from datetime import date, timedelta
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.evaluation.mornings import local_day
from rimewatch.journal.errors import JournalError
from rimewatch.web.page import Means, Page

RecordFiles = Callable[[date, date, str, int], Mapping[str, str | bytes]]
"""Makes a record of a first and a last local day, in one form, at an instant: content by path."""

FORMS: Final = {
    "pdf": ("application/pdf", "PDF, to print"),
    "csv": ("application/zip", "Tables (CSV, in one ZIP file)"),
    "json": ("application/json", "JSON, with the whole ledger"),
}
"""Media type and name of each form; the first is offered first."""

MOST_DAYS: Final = 400
"""A year and a month (our choice); the command makes longer ones."""

USUAL_DAYS: Final = 7

_EARLIEST: Final = (1980, 1, 1, 0, 0, 0)
"""A ZIP file can hold no earlier time; a fixed one, so that the same record has the same bytes."""


class RecordPages(Page):
    """Offers the record of a period.

    Args:
        means: What every page is made with.
        make: Makes a record's files; called in a thread of its own.
    """

    def __init__(self, means: Means, make: RecordFiles) -> None:
        super().__init__(means)
        self._make = make
        self._at_work = False

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the page and of what it offers."""
        return [Route("/records", self.page), Route("/records/download", self.download)]

    async def page(self, request: Request) -> Response:
        """Ask for which days, and in which form."""
        visitor = await self._guard.visitor(request)
        today = local_day(self._clock.now_ms(), self._shop.timezone)
        return self._renderer.page(
            "records.html",
            title="Records",
            visitor=visitor,
            here="/records",
            first=(today - timedelta(days=USUAL_DAYS)).isoformat(),
            last=(today - timedelta(days=1)).isoformat(),
            today=today.isoformat(),
            forms=[(form, name) for form, (_, name) in FORMS.items()],
            most_days=MOST_DAYS,
        )

    async def download(self, request: Request) -> Response:
        """Return the record of the days that were asked for."""
        await self._guard.visitor(request)
        first, last = _day(request, "first"), _day(request, "last")
        form = request.query_params.get("form", "")
        if form not in FORMS:
            raise HTTPException(422, f"There is no such form; expected {', '.join(FORMS)}.")
        if (last - first).days >= MOST_DAYS:
            raise HTTPException(
                422,
                f"{first} to {last} is too long; expected at most {MOST_DAYS} days. The command "
                "rimewatch records makes longer ones.",
            )
        if self._at_work:
            raise HTTPException(503, "Another record is being made; try again in a minute.")
        self._at_work = True
        try:
            files = await run_in_threadpool(self._make, first, last, form, self._clock.now_ms())
        except ValueError as error:
            raise HTTPException(422, f"There is no such record: {error}.") from None
        except JournalError:
            raise HTTPException(503, "The journal cannot be read right now.") from None
        finally:
            self._at_work = False
        name, content = _one(files, f"record-{first}-to-{last}.zip")
        return Response(
            content,
            media_type=FORMS[form][0],
            headers={
                "Content-Disposition": f'attachment; filename="{name}"',
                "Cache-Control": "no-store",
            },
        )


def _day(request: Request, field: str) -> date:
    said = request.query_params.get(field, "")
    try:
        return date.fromisoformat(said)
    except ValueError:
        raise HTTPException(
            422, f"The {field} day is no date; expected one such as 2026-03-01."
        ) from None


def _one(files: Mapping[str, str | bytes], zip_name: str) -> tuple[str, bytes]:
    """Return files as one: the only one, or all of them in a ZIP file."""
    contents = {
        name: content.encode() if isinstance(content, str) else content
        for name, content in files.items()
    }
    if len(contents) == 1:
        return next(iter(contents.items()))
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        for name, content in contents.items():
            file.writestr(
                zipfile.ZipInfo(name, _EARLIEST), content, compress_type=zipfile.ZIP_DEFLATED
            )
    return zip_name, packed.getvalue()
