"""Lots: how far each hold has come, whether its proof is complete, and what people enter."""

from typing import Any, Final
from zoneinfo import ZoneInfo

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.clock import Clock
from rimewatch.evaluation.lot_story import LotStory
from rimewatch.lots.record import Proof
from rimewatch.report import wording
from rimewatch.science.scales import celsius_of_fahrenheit
from rimewatch.shop import Shop
from rimewatch.vocabulary import Option, Origin, Scale, UnitId
from rimewatch.web.enter import Desk
from rimewatch.web.guard import Guard, Visitor
from rimewatch.web.live import Board
from rimewatch.web.people import Role
from rimewatch.web.rendering import Renderer, go_to
from rimewatch.web.unit_forms import known_unit, number

PROVEN: Final = {
    Proof.OWN_FREEZING: "Proof complete: own freezing",
    Proof.SUPPLIER_FREEZING: "Proof complete: the supplier’s statement on freezing",
    Proof.EXEMPTION: "Proof complete: exempt from freezing",
}


class LotPages:
    """Shows lots and takes the forms about them.

    Args:
        shop: The shop.
        board: Where the writer's latest snapshot is.
        guard: Who may see and act.
        renderer: Makes the page.
        desk: Writes entries down.
        clock: Tells the time.
    """

    def __init__(
        self,
        shop: Shop,
        board: Board,
        guard: Guard,
        renderer: Renderer,
        desk: Desk,
        clock: Clock,
    ) -> None:
        self._shop = shop
        self._board = board
        self._guard = guard
        self._renderer = renderer
        self._desk = desk
        self._clock = clock
        self._zone = ZoneInfo(shop.timezone)

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the page and its forms."""
        return [
            Route("/lots", self.page),
            Route("/lots/receive", self.receive, methods=["POST"]),
            Route("/lots/freeze", self.freeze, methods=["POST"]),
            Route("/lots/move", self.move, methods=["POST"]),
            Route("/lots/withdraw", self.withdraw, methods=["POST"]),
        ]

    async def page(self, request: Request) -> Response:
        """Show every lot that is here."""
        visitor = await self._guard.visitor(request)
        names = [(str(unit.id), wording.printable(unit.name)) for unit in self._shop.units]
        return self._renderer.page(
            "lots.html",
            title="Lots",
            visitor=visitor,
            here="/lots",
            lots=[self._lot(story) for story in self._board.latest.lots],
            units=names,
            freezers=[
                (str(unit.id), wording.printable(unit.name))
                for unit in self._shop.units
                if unit.kind.is_freezer
            ],
            origins=[origin.value for origin in Origin],
            options=[option.value for option in Option],
            scale=self._shop.display.value,
        )

    async def receive(self, request: Request) -> Response:
        """Enter a lot that came in."""
        visitor, fields = await self._form(request)
        entry: dict[str, object] = {
            "do": "receive-lot",
            "lot": fields.get("lot", ""),
            "species": fields.get("species", ""),
            "origin": fields.get("origin", ""),
            "serve_raw": "serve_raw" in fields,
            "statement": fields.get("statement", ""),
            "supplier": fields.get("supplier", ""),
        }
        if measured := fields.get("temperature"):
            entry["celsius"] = self._celsius(number(measured, "degrees"))
        for key in ("thickness_mm", "kilograms"):
            if said := fields.get(key):
                entry[key] = number(said, key)
        if any(str(story.lot) == entry["lot"] for story in self._board.latest.lots):
            raise HTTPException(409, "There is a lot of that name already; choose another.")
        await self._desk.take(visitor, entry)
        return go_to("/lots")

    async def freeze(self, request: Request) -> Response:
        """Start a lot's freezing hold."""
        visitor, fields = await self._form(request)
        unit = known_unit(self._shop, fields.get("unit", ""))
        if not self._shop.unit[UnitId(unit)].kind.is_freezer:
            raise HTTPException(422, "This unit freezes nothing; choose a freezer.")
        await self._desk.take(
            visitor,
            {
                "do": "start-freezing",
                "lot": self._known(fields),
                "unit": unit,
                "option": fields.get("option", ""),
            },
        )
        return go_to("/lots")

    async def move(self, request: Request) -> Response:
        """Enter that a lot was put into another unit."""
        visitor, fields = await self._form(request)
        unit = known_unit(self._shop, fields.get("unit", ""))
        entry = {"do": "move-lot", "lot": self._known(fields), "unit": unit}
        await self._desk.take(visitor, entry)
        return go_to("/lots")

    async def withdraw(self, request: Request) -> Response:
        """Enter that a lot is gone."""
        visitor, fields = await self._form(request)
        reason = fields.get("reason", "")
        if not reason:
            raise HTTPException(422, "Say why it is gone: sold out, used cooked, discarded.")
        entry = {"do": "withdraw-lot", "lot": self._known(fields), "reason": reason}
        await self._desk.take(visitor, entry)
        return go_to("/lots")

    async def _form(self, request: Request) -> tuple[Visitor, dict[str, str]]:
        visitor = await self._guard.visitor(request, Role.ACT)
        return visitor, await self._guard.form(request, visitor)

    def _known(self, fields: dict[str, str]) -> str:
        lot = fields.get("lot", "")
        if any(str(story.lot) == lot for story in self._board.latest.lots):
            return lot
        raise HTTPException(404, "There is no such lot here.")

    def _celsius(self, degrees: float) -> float:
        if self._shop.display is Scale.FAHRENHEIT:
            return round(celsius_of_fahrenheit(degrees), 3)
        return degrees

    def _lot(self, story: LotStory) -> dict[str, Any]:
        received, hold = story.entries.received, story.hold
        unit = story.entries.unit
        where = "nowhere yet"
        if unit is not None:
            known = self._shop.unit.get(unit)
            where = wording.printable(str(unit) if known is None else known.name)
        lines: list[str] = []
        progress: tuple[float, float] | None = None
        if hold is not None and hold.completed_ms is not None:
            done = wording.local_moment(round(hold.completed_ms), self._zone)
            lines.append(f"Hold {hold.option.value} complete {done}.")
        elif hold is not None and story.state == "freezing":
            counted = wording.credited_hours(hold.credited_h, hold.required_h)
            lines.append(f"Hold {hold.option.value}: {counted}.")
            progress = (hold.credited_h, hold.required_h)
            last = hold.interruptions[-1] if hold.interruptions else None
            stands = last is not None and last.end_ms is None
            if hold.expected_ms is not None and not stands:
                ready = wording.local_moment(round(hold.expected_ms), self._zone)
                lines.append(f"Ready {ready}, if the cold holds.")
        if story.need is not None:
            lines.append(wording.printable(story.need.why))
        return {
            "lot": str(story.lot),
            "species": "not said" if received is None else wording.printable(received.species),
            "where": where,
            "ready": story.raw_ready,
            "verdict": "Not for raw service" if story.proof is None else PROVEN[story.proof],
            "why_not": story.why_not,
            "lines": lines,
            "progress": progress,
        }
