"""What programs may read: how things stand, readings, health. Nothing here changes anything.

Opened by a token's scope, or by the session of somebody who is signed in. Times are ISO
8601 in UTC, temperatures °C, whatever people read.
"""

import csv
import hashlib
import io
import json
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.alarms.alarm import Alarm
from rimewatch.clock import Clock
from rimewatch.evaluation.lot_story import LotStory
from rimewatch.evaluation.store import Span
from rimewatch.journal.errors import JournalError
from rimewatch.journal.reader import JournalReader
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_DAY, ProbeId
from rimewatch.web.api_document import DOCUMENT, MOST, USUAL
from rimewatch.web.guard import Guard
from rimewatch.web.live import Board, UnitNow
from rimewatch.web.metrics import CONTENT_TYPE, metrics_text
from rimewatch.web.people import TokenScope
from rimewatch.web.standing import is_behind, standing_of

_BUSY_S: Final = 5.0
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


class Api:
    """Answers programs.

    Args:
        shop: The shop.
        journal_path: Where readings are read.
        board: Where the writer's latest snapshot is.
        guard: Who may read.
        clock: Tells the time.
    """

    def __init__(
        self, shop: Shop, journal_path: Path, board: Board, guard: Guard, clock: Clock
    ) -> None:
        self._shop = shop
        self._journal_path = journal_path
        self._board = board
        self._guard = guard
        self._clock = clock
        self._root = "" if shop.web is None else shop.web.path

    def routes(self) -> list[BaseRoute]:
        """Return the routes; :mod:`.api_document` names each of them."""
        return [
            Route("/api/units", self.units),
            Route("/api/alarms", self.alarms),
            Route("/api/lots", self.lots),
            Route("/api/readings", self.readings),
            Route("/api/health", self.health),
            Route("/api/openapi.json", self.document),
            Route("/metrics", self.metrics),
        ]

    async def units(self, request: Request) -> Response:
        """Return every unit as it is now."""
        await self._let_in(request, TokenScope.READ)
        at_ms, snapshot = self._clock.now_ms(), self._board.latest
        units = [_unit(unit, snapshot.unit(unit.id), at_ms) for unit in self._shop.units]
        return _json(request, {"at": _iso(snapshot.at_ms), "units": units})

    async def alarms(self, request: Request) -> Response:
        """Return the alarms that are on, or not yet acknowledged."""
        await self._let_in(request, TokenScope.READ)
        return _json(request, {"alarms": [_alarm(a) for a in self._board.latest.alarms]})

    async def lots(self, request: Request) -> Response:
        """Return the lots that are here."""
        await self._let_in(request, TokenScope.READ)
        return _json(request, {"lots": [_lot(story) for story in self._board.latest.lots]})

    async def readings(self, request: Request) -> Response:
        """Return a page of a probe's readings."""
        await self._let_in(request, TokenScope.READ)
        asked = request.query_params
        probe = asked.get("probe", "")
        if probe not in self._shop.probe:
            raise HTTPException(404, "There is no such probe.")
        to_ms = _instant(asked.get("to"), "to", self._clock.now_ms())
        from_ms = _instant(asked.get("from"), "from", to_ms - MS_PER_DAY)
        from_ms = max(from_ms, _instant(asked.get("after"), "after", from_ms - 1) + 1)
        limit = _limit(asked.get("limit"))
        span = await run_in_threadpool(self._span, ProbeId(probe), from_ms, to_ms)
        times, values = span.times_ms[:limit].tolist(), span.values[:limit].tolist()
        more = _iso(times[-1]) if len(span) > limit else None
        if _wants_csv(request):
            return _csv(request, times, values, more, self._root)
        return _json(
            request,
            {
                "probe": probe,
                "measures": self._shop.probe[ProbeId(probe)].measures.value,
                "readings": [[_iso(at), value] for at, value in zip(times, values, strict=True)],
                "next": more,
            },
        )

    async def health(self, _request: Request) -> Response:
        """Return whether the watch is at work; no more, since anybody may ask."""
        behind = is_behind(self._board.latest, self._clock.now_ms())
        return Response(
            json.dumps({"status": "behind" if behind else "at work"}),
            status_code=503 if behind else 200,
            media_type="application/json",
        )

    async def document(self, _request: Request) -> Response:
        """Return what there is to ask."""
        return Response(json.dumps(DOCUMENT), media_type="application/json")

    async def metrics(self, request: Request) -> Response:
        """Return counts and gauges."""
        await self._let_in(request, TokenScope.METRICS)
        text = metrics_text(self._shop, self._board.latest, self._clock.now_ms())
        return Response(text, headers={"Content-Type": CONTENT_TYPE})

    async def _let_in(self, request: Request, scope: TokenScope) -> None:
        if scope not in await self._guard.scopes(request):
            raise HTTPException(
                401,
                f"This needs a token with the scope {scope.value}: rimewatch people token.",
                headers={"WWW-Authenticate": "Bearer"},
            )

    def _span(self, probe: ProbeId, from_ms: int, to_ms: int) -> Span:
        try:
            with JournalReader.open(self._journal_path, busy_s=_BUSY_S) as journal:
                return journal.span(probe, from_ms, to_ms)
        except JournalError:
            raise HTTPException(503, "The journal cannot be read right now.") from None


def _unit(unit: Unit, now: UnitNow, at_ms: int) -> dict[str, Any]:
    return {
        "id": unit.id,
        "name": unit.name,
        "kind": unit.kind.value,
        "standing": standing_of(now, at_ms).value,
        "fish_c": None if now.fish_c is None else round(now.fish_c, 3),
        "air_c": now.air_c,
        "read": _iso_or_none(now.at_ms),
        "limit_c": unit.limit_c,
        "over_since": None if now.over is None else _iso(now.over.start_ms),
        "out_of_service": now.out_of_service,
    }


def _alarm(alarm: Alarm) -> dict[str, Any]:
    return {
        "id": alarm.id,
        "unit": alarm.key.unit,
        "units": list(alarm.units),
        "rule": alarm.key.rule.value,
        "priority": alarm.priority.value,
        "state": alarm.state.value,
        "raised": _iso(alarm.raised_ms),
        "acknowledged": _iso_or_none(alarm.acknowledged_ms),
        "returned": _iso_or_none(alarm.returned_ms),
    }


def _lot(story: LotStory) -> dict[str, Any]:
    hold = story.hold
    return {
        "lot": story.lot,
        "unit": story.entries.unit,
        "state": story.state,
        "needs_destruction": None if story.need is None else story.need.needs_destruction,
        "proof": None if story.proof is None else story.proof.value,
        "why_not": story.why_not,
        "option": None if hold is None else hold.option.value,
        "required_h": None if hold is None else hold.required_h,
        "credited_h": None if hold is None else hold.credited_h,
        "sure_h": None if story.sure is None else story.sure.credited_h,
        "completed": None if hold is None else _iso_or_none(hold.completed_ms),
        "ice_days": round(story.ice_days, 2),
    }


def _json(request: Request, content: dict[str, Any]) -> Response:
    return _tagged(request, json.dumps(content, ensure_ascii=False), "application/json")


def _csv(
    request: Request,
    times: Sequence[int],
    values: Sequence[float],
    more: str | None,
    root: str,
) -> Response:
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\r\n")
    rows.writerow(["time", "value"])
    rows.writerows((_iso(at), value) for at, value in zip(times, values, strict=True))
    answer = _tagged(request, text.getvalue(), "text/csv; charset=utf-8")
    if more is not None:
        following = request.url.include_query_params(after=more)
        answer.headers["Link"] = f'<{root}{following.path}?{following.query}>; rel="next"'
    return answer


def _tagged(request: Request, text: str, kind: str) -> Response:
    """Return an answer with its tag; nothing but that where the asker has it already."""
    tag = f'"{hashlib.sha256(text.encode()).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Cache-Control": "private, no-cache", "Vary": "Accept, Authorization"}
    known = {part.strip() for part in request.headers.get("if-none-match", "").split(",")}
    if tag in known:
        return Response(status_code=304, headers=headers)
    return Response(text, headers={**headers, "Content-Type": kind})


def _wants_csv(request: Request) -> bool:
    said = request.query_params.get("format")
    if said not in (None, "csv", "json"):
        raise HTTPException(422, "format is neither json nor csv.")
    return said == "csv" or (said is None and "text/csv" in request.headers.get("accept", ""))


def _limit(text: str | None) -> int:
    if text is None:
        return USUAL
    if not (text.isascii() and text.isdigit() and len(text) <= 6 and 1 <= int(text) <= MOST):
        raise HTTPException(422, f"limit is no whole number from 1 to {MOST}.")
    return int(text)


def _instant(text: str | None, name: str, usual_ms: int) -> int:
    if text is None:
        return usual_ms
    try:
        # A "+" that nobody escaped arrives as a blank.
        at = datetime.fromisoformat(text.replace(" ", "+"))
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        raise HTTPException(
            422, f"{name} is no instant; expected one such as 2026-03-02T12:00:00Z."
        )
    return round((at - _EPOCH) / timedelta(milliseconds=1))


def _iso(at_ms: float) -> str:
    at = _EPOCH + timedelta(milliseconds=round(at_ms))
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _iso_or_none(at_ms: float | None) -> str | None:
    return None if at_ms is None else _iso(at_ms)
