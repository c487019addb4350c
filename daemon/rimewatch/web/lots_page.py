"""Lots: each in a few lines, and the form for one that came in."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.lots.needs import PACKED
from rimewatch.report.judged_anew import LOT_JUDGED_ANEW, still_to_be_known
from rimewatch.vocabulary import LotId, Origin
from rimewatch.web.forms import Forms
from rimewatch.web.lot_fields import celsius, done_at
from rimewatch.web.lot_page import lot_path
from rimewatch.web.lot_view import lot_view
from rimewatch.web.rendering import go_to
from rimewatch.web.species_choices import species_choices
from rimewatch.web.unit_forms import number


class LotPages(Forms):
    """Shows the lots that are here and takes in further ones."""

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the page and its form."""
        return [
            Route("/lots", self.page),
            Route("/lots/receive", self.receive, methods=["POST"]),
        ]

    async def page(self, request: Request) -> Response:
        """Show every lot that is here."""
        visitor = await self._guard.visitor(request)
        snapshot = self._board.latest
        told = await self._asked(lambda journal: journal.events_of_kind(LOT_JUDGED_ANEW))
        here = [story.lot for story in snapshot.lots]
        return self._renderer.page(
            "lots.html",
            title="Lots",
            visitor=visitor,
            here="/lots",
            lots=[
                {**lot_view(self._shop, story), "path": lot_path(story.lot)}
                for story in snapshot.lots
            ],
            seen=snapshot.entry_number,
            origins=[origin.value for origin in Origin],
            species_choices=species_choices(self._shop),
            judged_anew=still_to_be_known((event.detail for event in told), here),
            packed=PACKED,
            scale=self._shop.display.value,
            timezone=self._shop.timezone,
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
            "rop": "rop" in fields,
            "statement": fields.get("statement", ""),
            "supplier": fields.get("supplier", ""),
            "supplier_reference": fields.get("supplier_reference", ""),
        }
        if measured := fields.get("temperature"):
            entry["celsius"] = celsius(measured, self._shop.display)
        for key in ("thickness_mm", "kilograms"):
            if said := fields.get(key):
                entry[key] = number(said, key)
        when = done_at(fields, self._shop.timezone, self._desk.now_ms())
        await self._desk.take(visitor, entry, seen=None, **when)
        return go_to(lot_path(LotId(fields.get("lot", "").strip())))
