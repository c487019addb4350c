"""What programs may read: how things stand, readings, health. Nothing here changes anything.

Opened by a token's scope, or by the session of somebody who is signed in. Times are ISO
8601 in UTC, temperatures °C, whatever people read.
"""

import json
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.evaluation.unit_now import UnitNow
from rimewatch.report.lot_document import lot_document
from rimewatch.shop import Unit
from rimewatch.vocabulary import MS_PER_DAY, ProbeId
from rimewatch.web.api_answers import (
    csv_answer,
    instant_of,
    iso,
    iso_or_none,
    json_answer,
    limit_of,
    wants_csv,
)
from rimewatch.web.api_document import DOCUMENT
from rimewatch.web.metrics import CONTENT_TYPE, metrics_text
from rimewatch.web.page import Page
from rimewatch.web.people import TokenScope
from rimewatch.web.unit_views import is_behind


class Api(Page):
    """Answers programs."""

    def routes(self) -> list[BaseRoute]:
        """Return the routes; :mod:`.api_document` names each of them."""
        return [
            Route("/api/units", self.units),
            Route("/api/lots", self.lots),
            Route("/api/readings", self.readings),
            Route("/api/health", self.health),
            Route("/api/openapi.json", self.document),
            Route("/metrics", self.metrics),
        ]

    async def units(self, request: Request) -> Response:
        """Return every unit as it is now."""
        await self._guard.let_program_in(request, TokenScope.READ)
        at_ms, snapshot = self._clock.now_ms(), self._board.latest
        units = [_unit(unit, snapshot.unit(unit.id), at_ms) for unit in self._shop.units]
        return json_answer(request, {"at": iso(snapshot.at_ms), "units": units})

    async def lots(self, request: Request) -> Response:
        """Return the lots that are here."""
        await self._guard.let_program_in(request, TokenScope.READ)
        return json_answer(
            request,
            {"lots": [lot_document(self._shop, story) for story in self._board.latest.lots]},
        )

    async def readings(self, request: Request) -> Response:
        """Return a page of a probe's readings."""
        await self._guard.let_program_in(request, TokenScope.READ)
        asked = request.query_params
        probe = asked.get("probe", "")
        if probe not in self._shop.probe:
            raise HTTPException(404, "There is no such probe.")
        to_ms = instant_of(asked.get("to"), "to", self._clock.now_ms())
        from_ms = instant_of(asked.get("from"), "from", to_ms - MS_PER_DAY)
        from_ms = max(from_ms, instant_of(asked.get("after"), "after", from_ms - 1) + 1)
        limit = limit_of(asked.get("limit"))
        span = await self._asked(lambda journal: journal.span(ProbeId(probe), from_ms, to_ms))
        times, values = span.times_ms[:limit].tolist(), span.values[:limit].tolist()
        more = iso(times[-1]) if len(span) > limit else None
        if wants_csv(request):
            rows = ((iso(at), value) for at, value in zip(times, values, strict=True))
            return csv_answer(request, ("time", "value"), rows, more, self._root)
        return json_answer(
            request,
            {
                "probe": probe,
                "measures": self._shop.probe[ProbeId(probe)].measures.value,
                "readings": [[iso(at), value] for at, value in zip(times, values, strict=True)],
                "next": more,
            },
        )

    async def health(self, _request: Request) -> Response:
        """Return whether the watch is at work, and in time; no more, since anybody may ask."""
        latest = self._board.latest
        behind = is_behind(latest, self._clock.now_ms())
        said = {
            "status": "behind" if behind else "at work",
            "late": latest.health.is_late,
            "delay_s": round(latest.health.delay_s, 1),
        }
        return Response(
            json.dumps(said),
            status_code=503 if behind else 200,
            media_type="application/json",
        )

    async def document(self, _request: Request) -> Response:
        """Return what there is to ask."""
        return Response(json.dumps(DOCUMENT), media_type="application/json")

    async def metrics(self, request: Request) -> Response:
        """Return counts and gauges."""
        await self._guard.let_program_in(request, TokenScope.METRICS)
        text = metrics_text(self._shop, self._board.latest, self._clock.now_ms())
        return Response(text, headers={"Content-Type": CONTENT_TYPE})


def _unit(unit: Unit, now: UnitNow, at_ms: int) -> dict[str, Any]:
    return {
        "id": unit.id,
        "name": unit.name,
        "kind": unit.kind.value,
        "standing": now.state(at_ms).value,
        "fish_c": None if now.fish_c is None else round(now.fish_c, 3),
        "air_c": now.air_c,
        "read": iso_or_none(now.at_ms),
        "limit_c": unit.limit_c,
        "over_since": None if now.over is None else iso(now.over.start_ms),
        "out_of_service": now.out_of_service,
    }
