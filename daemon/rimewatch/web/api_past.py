"""What programs may read of the past: entries, alarms of a period, summaries of mornings.

As the journal keeps it; nothing is worked out again, and nothing here changes anything.
"""

import json
import re
from datetime import date
from typing import Any, Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.codec import alarm_from_json
from rimewatch.journal.alarms import AlarmRow
from rimewatch.journal.entries import EntryRow
from rimewatch.journal.entry_codec import entry_to_dict
from rimewatch.journal.reader import JournalReader
from rimewatch.report.page_json import kept_page
from rimewatch.web.api_answers import (
    csv_answer,
    format_asked,
    instant_of,
    iso,
    iso_or_none,
    json_answer,
    limit_of,
    tagged,
    wants_csv,
)
from rimewatch.web.page import Page
from rimewatch.web.people import TokenScope

EARLIEST_MS: Final = -(10**15)
LATEST_MS: Final = 10**15
"""Before and after any instant that can be said here (years 1 to 9999)."""
ENTRY_COLUMNS: Final = (
    "number", "at", "entered", "who", "do", "unit", "lot", "source", "said",
)  # fmt: skip
SUMMARY_FORMATS: Final = {"json": "application/json", "text": "text/plain", "html": "text/html"}
_DATE: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_APART: Final = frozenset({"at", "entered", "who", "do", "unit", "lot"})
"""Keys of an entry that stand in columns of their own."""


class ApiPast(Page):
    """Answers programs that ask for the past."""

    def routes(self) -> list[BaseRoute]:
        """Return the routes; :mod:`.api_document` names each of them."""
        return [
            Route("/api/alarms", self.alarms),
            Route("/api/entries", self.entries),
            Route("/api/summaries", self.summaries),
            Route("/api/summaries/{date}", self.summary),
        ]

    async def alarms(self, request: Request) -> Response:
        """Return the alarms that are on or not acknowledged; or a page of a period's."""
        await self._guard.let_program_in(request, TokenScope.READ)
        asked = request.query_params
        from_ms = instant_of(asked.get("from"), "from", EARLIEST_MS)
        to_ms = instant_of(asked.get("to"), "to", LATEST_MS)
        limit, after = limit_of(asked.get("limit")), asked.get("after")
        if not {"from", "to", "after"} & set(asked):
            return _alarms(request, list(self._board.latest.alarms), None)

        def page(journal: JournalReader) -> list[AlarmRow] | None:
            if after is not None and journal.alarm(after) is None:
                return None
            return journal.alarms_page(from_ms, to_ms, after, limit + 1)

        rows = await self._asked(page)
        if rows is None:
            raise HTTPException(404, "There is no alarm with the id that after gives.")
        more = rows[limit - 1].id if len(rows) > limit else None
        return _alarms(request, [alarm_from_json(row.text) for row in rows[:limit]], more)

    async def entries(self, request: Request) -> Response:
        """Return a page of what people entered, in the order it came."""
        await self._guard.let_program_in(request, TokenScope.READ)
        asked = request.query_params
        from_ms = instant_of(asked.get("from"), "from", EARLIEST_MS)
        to_ms = instant_of(asked.get("to"), "to", LATEST_MS)
        limit, after = limit_of(asked.get("limit")), _number(asked.get("after"))
        as_csv = wants_csv(request)
        rows = await self._asked(
            lambda journal: journal.entries_page(after, from_ms, to_ms, limit + 1)
        )
        more = rows[limit - 1].entry.entry_number if len(rows) > limit else None
        found = [_entry(row) for row in rows[:limit]]
        if as_csv:
            cells = (
                [*(each[name] for name in ENTRY_COLUMNS[:-1]), _compact(each["said"])]
                for each in found
            )
            following = None if more is None else str(more)
            return csv_answer(request, ENTRY_COLUMNS, cells, following, self._root)
        return json_answer(request, {"entries": found, "next": more})

    async def summaries(self, request: Request) -> Response:
        """Return which mornings have a summary, the latest first, page by page."""
        await self._guard.let_program_in(request, TokenScope.READ)
        asked = request.query_params
        limit, after = limit_of(asked.get("limit")), asked.get("after")
        before = None if after is None else _date(after)
        if after is not None and before is None:
            raise HTTPException(422, "after is no date; expected one such as 2026-03-03.")
        days = await self._asked(lambda journal: journal.summary_dates(limit + 1, before))
        shown = [day.isoformat() for day in days[:limit]]
        more = shown[-1] if len(days) > limit else None
        return json_answer(request, {"summaries": [{"date": day} for day in shown], "next": more})

    async def summary(self, request: Request) -> Response:
        """Return one morning's summary as it was made: its sentences, its text or its page."""
        await self._guard.let_program_in(request, TokenScope.READ)
        day = _date(request.path_params["date"])
        if day is None:
            raise HTTPException(422, "This is no date; expected one such as 2026-03-03.")
        wanted = format_asked(request, SUMMARY_FORMATS)
        found = await self._asked(lambda journal: journal.summary(day))
        if found is None:
            raise HTTPException(404, "That morning has no summary.")
        if wanted == "text":
            return tagged(request, found.text, "text/plain; charset=utf-8")
        if wanted == "html":
            return tagged(request, found.html, "text/html; charset=utf-8")
        page = kept_page(found.page) if found.page else None
        return json_answer(request, {"date": day.isoformat(), "text": found.text, "page": page})


def _alarms(request: Request, alarms: list[Alarm], more: str | None) -> Response:
    return json_answer(request, {"alarms": [_alarm(alarm) for alarm in alarms], "next": more})


def _alarm(alarm: Alarm) -> dict[str, Any]:
    return {
        "id": alarm.id,
        "unit": alarm.key.unit,
        "units": list(alarm.units),
        "rule": alarm.key.rule.value,
        "priority": alarm.priority.value,
        "state": alarm.state.value,
        "raised": iso(alarm.raised_ms),
        "acknowledged": iso_or_none(alarm.acknowledged_ms),
        "returned": iso_or_none(alarm.returned_ms),
    }


def _entry(row: EntryRow) -> dict[str, Any]:
    entry = row.entry
    keys = entry_to_dict(entry)
    return {
        "number": entry.entry_number,
        "at": iso(entry.at_ms),
        "entered": iso_or_none(entry.entered_ms),
        "who": entry.who,
        "do": keys["do"],
        "unit": keys.get("unit"),
        "lot": keys.get("lot"),
        "source": row.source,
        "said": {key: value for key, value in keys.items() if key not in _APART},
    }


def _compact(value: dict[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def _number(text: str | None) -> int:
    if text is None:
        return 0
    if not (text.isascii() and text.isdigit() and len(text) <= 12):
        raise HTTPException(422, "after is no number of an entry.")
    return int(text)


def _date(text: str) -> date | None:
    """Return a date as RFC 3339 writes it (full-date); None where it is none."""
    if _DATE.fullmatch(text) is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
