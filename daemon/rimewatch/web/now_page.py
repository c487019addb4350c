"""The first page: what needs doing, then every unit; readable in two seconds, without script.

Made of the writer's latest snapshot alone. With the script, figures follow by a stream of
events; when anything but figures changes, the page's middle is fetched again.
"""

import asyncio
import hashlib
import json
import secrets
from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Any, Final
from zoneinfo import ZoneInfo

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import BaseRoute, Route

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.lifecycle import State
from rimewatch.evaluation.lot_story import LotStory
from rimewatch.report import wording
from rimewatch.report.lot_standing import lot_words
from rimewatch.rules.watch import BreakReason
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_H, MS_PER_S, Priority
from rimewatch.web.guard import Visitor
from rimewatch.web.live import Snapshot
from rimewatch.web.page import Means, Page
from rimewatch.web.people import Role
from rimewatch.web.rendering import drawing
from rimewatch.web.spark import spark
from rimewatch.web.unit_views import (
    UnitView,
    alarm_words,
    headline,
    in_order,
    is_behind,
    unit_view,
)

PING_S: Final = 15.0
AT_MOST_EVERY_S: Final = 2.0
"""How often a stream tells news (our choice): nobody reads faster."""
CURVE_MS: Final = 12 * 3_600_000
BUCKET_MS: Final = 15 * 60_000
_TOKENS_PLACE: Final = secrets.token_hex(32)
"""Stands where each session's own token goes; nothing that people enter can hold it."""
_OPEN: Final = frozenset({State.UNACKNOWLEDGED, State.RETURNED_UNACKNOWLEDGED})
_RANK: Final = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


@dataclass(frozen=True, slots=True)
class _Made:
    """A text that everybody may be given, and what all of it follows from."""

    text: str
    of: Snapshot
    at_s: int


class NowPage(Page):
    """How the shop stands right now."""

    def __init__(self, means: Means) -> None:
        super().__init__(means)
        self._middles: dict[bool, _Made] = {}
        self._told: _Made | None = None

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the first page and its stream."""
        return [
            Route("/", self.page),
            Route("/now", self.middle),
            Route("/now/stream", self.stream),
        ]

    async def page(self, request: Request) -> Response:
        """Show how things stand."""
        visitor = await self._guard.visitor(request)
        return self._renderer.page(
            "now.html", title="Now", visitor=visitor, here="/", middle=self._middle(visitor)
        )

    async def middle(self, request: Request) -> Response:
        """Return the page's middle alone, for the script."""
        return self._renderer.answer(self._middle(await self._guard.visitor(request)))

    def _middle(self, visitor: Visitor) -> Markup:
        """Return the page's middle for somebody.

        An alarm makes every phone ask for it in the same moment, in which the writer has an
        alarm to send: it is made once for all of them, but for the token of their forms.
        """
        may_act = visitor.may(Role.ACT)
        made = self._middles.get(may_act)
        if made is None or not self._is_fresh(made):
            text = self._renderer.part(
                "now_middle.html", may_act=may_act, form_token=_TOKENS_PLACE, **self._shown()
            )
            made = self._middles[may_act] = self._of_now(text)
        return Markup(made.text.replace(_TOKENS_PLACE, visitor.form_token))  # noqa: S704 (ours)

    def _of_now(self, text: str) -> _Made:
        return _Made(text, self._board.latest, self._clock.now_ms() // MS_PER_S)

    def _is_fresh(self, made: _Made) -> bool:
        return made.of is self._board.latest and made.at_s == self._clock.now_ms() // MS_PER_S

    async def stream(self, request: Request) -> Response:
        """Tell what changes, until the visitor leaves or the server ends."""
        await self._guard.visitor(request)
        changed = asyncio.Event()
        number = self._board.listen(changed, asyncio.get_running_loop())
        if number is None:
            return Response(status_code=503, headers={"Retry-After": "60"})
        return StreamingResponse(
            self._news(number, changed, self._board.era),
            media_type="text/event-stream",
            headers={"X-Accel-Buffering": "no"},
        )

    async def _news(self, number: int, changed: asyncio.Event, era: int) -> AsyncIterator[str]:
        loop = asyncio.get_running_loop()
        try:
            yield "retry: 5000\n\n"
            while self._board.goes_on(era):
                changed.clear()  # before it is told: what comes while it is being told is told next
                yield self._event()
                told_s = loop.time()
                while self._board.goes_on(era):
                    try:
                        await asyncio.wait_for(changed.wait(), PING_S)
                        break
                    except TimeoutError:
                        yield ": still here\n\n"
                if self._board.goes_on(era):
                    await asyncio.sleep(max(0.0, told_s + AT_MOST_EVERY_S - loop.time()))
        finally:
            self._board.leave(number)

    def _event(self) -> str:
        """Return the figures as the stream tells them, made once for every phone."""
        if self._told is None or not self._is_fresh(self._told):
            figures = json.dumps(self.figures(), separators=(",", ":"))
            self._told = self._of_now(f"data: {figures}\n\n")
        return self._told.text

    # --- what is shown --------------------------------------------------------------------

    def figures(self) -> dict[str, Any]:
        """Return what the stream tells: the figures, and a mark of all else on the page."""
        at_ms = self._clock.now_ms()
        snapshot = self._board.latest
        views = self._views(snapshot, at_ms)
        return {
            "shape": self._shape(snapshot, views, at_ms),
            "at": self._at(at_ms),
            "units": {
                view.id: {"fish": view.fish, "air": view.air, "since": view.since, "age": view.age}
                for view in views
            },
        }

    def _shown(self) -> dict[str, Any]:
        at_ms = self._clock.now_ms()
        snapshot = self._board.latest
        views = self._views(snapshot, at_ms)
        alarms = _ordered(snapshot.alarms)
        open_ = [alarm for alarm in alarms if alarm.state in _OPEN]
        seen = [alarm for alarm in alarms if alarm.state is State.ACKNOWLEDGED]
        curves = {str(now.unit): now for now in snapshot.units}
        limits = {str(unit.id): unit.limit_c for unit in self._shop.units}
        return {
            "behind": is_behind(snapshot, at_ms),
            "recording": snapshot.health.is_recording,
            "headline": headline(views, len(open_)),
            "at": self._at(at_ms),
            "shape": self._shape(snapshot, views, at_ms),
            "open": [self._alarm(snapshot, alarm, at_ms) for alarm in open_],
            "seen": [self._alarm(snapshot, alarm, at_ms) for alarm in seen],
            "curve_hours": CURVE_MS // MS_PER_H,
            "todos": [*_lots(self._shop, snapshot.lots), *snapshot.todos],
            "units": [
                (
                    view,
                    drawing(
                        spark(
                            curves[view.id].curve,
                            bucket_ms=BUCKET_MS,
                            to_ms=at_ms,
                            span_ms=CURVE_MS,
                            limit_c=limits[view.id],
                        )
                        if view.id in curves
                        else ""
                    ),
                )
                for view in in_order(views)
            ],
        }

    def _views(self, snapshot: Snapshot, at_ms: int) -> list[UnitView]:
        known = {now.unit: now for now in snapshot.units}
        return [
            unit_view(unit, known.get(unit.id) or snapshot.unit(unit.id), self._shop, at_ms)
            for unit in self._shop.units
        ]

    def _alarm(self, snapshot: Snapshot, alarm: Alarm, at_ms: int) -> dict[str, str]:
        words = alarm_words(self._shop, snapshot, alarm, at_ms)
        who = ""
        if alarm.acknowledged_ms is not None:
            by = wording.printable(alarm.acknowledged_by) or "somebody"
            who = f"Seen by {by}, {wording.relative(alarm.acknowledged_ms, at_ms)}"
        return {
            "id": alarm.id,
            "unit": str(alarm.key.unit or ""),
            "priority": alarm.priority.value,
            "title": words.title,
            "lead": words.lead,
            "rest": words.rest,
            "raised": wording.relative(alarm.raised_ms, at_ms),
            "who": who,
        }

    def _at(self, at_ms: int) -> str:
        return wording.local_time(at_ms, ZoneInfo(self._shop.timezone))

    def _shape(self, snapshot: Snapshot, views: list[UnitView], at_ms: int) -> str:
        """Return a mark of everything on the page but the units' figures."""
        parts = [
            *(f"{view.id} {view.word}" for view in views),
            *(
                f"{alarm.id} {alarm.state} {alarm.priority} "
                f"{alarm_words(self._shop, snapshot, alarm, at_ms).title}"
                for alarm in snapshot.alarms
            ),
            *snapshot.todos,
            *_lots(self._shop, snapshot.lots),
            str(is_behind(snapshot, at_ms)),
            str(at_ms // BUCKET_MS),
        ]
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:16]


def _ordered(alarms: tuple[Alarm, ...]) -> list[Alarm]:
    return sorted(alarms, key=lambda alarm: (_RANK[alarm.priority], alarm.raised_ms))


def _lots(shop: Shop, lots: tuple[LotStory, ...]) -> list[str]:
    """Return what lots ask for: raw fish on display without its proof, holds that stand still."""
    found = []
    for story in lots:
        if on_display := lot_words(shop, story).on_display:
            found.append(f"Lot {wording.printable(story.lot)}: {on_display}")
        hold = story.hold
        if story.state != "freezing" or hold is None or not hold.interruptions:
            continue
        last = hold.interruptions[-1]
        if last.end_ms is None and hold.completed_ms is None:
            is_gap = last.reason is BreakReason.GAP
            why = wording.broken_by(is_gap=is_gap, is_warm=last.is_warm)
            lost = wording.credited_hours(last.lost_h, hold.required_h)
            found.append(
                f"Lot {wording.printable(story.lot)}: its freezing hold is broken ({why}) after "
                f"{lost}. Keep it off the raw counter."
            )
    return found
