"""One lot: how it stands, every entry with who and when, its files, and what may be entered."""

from collections.abc import Sequence
from typing import Any, Final
from urllib.parse import quote
from zoneinfo import ZoneInfo

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import BaseRoute, Route

from rimewatch.entries import AnyEntry, AttachStatement
from rimewatch.evaluation.lot_book import LotEntries, book
from rimewatch.evaluation.lot_record import lines_of
from rimewatch.journal.attachments import Found, folder_of, found
from rimewatch.report import wording
from rimewatch.report.lot_page import ROP_REMINDER
from rimewatch.report.lot_words import entry_words, moment
from rimewatch.shop import Shop
from rimewatch.vocabulary import LotId, Measures, Option, Origin, States
from rimewatch.web.lot_fields import receipt_fields
from rimewatch.web.lot_view import lot_view
from rimewatch.web.page import Page
from rimewatch.web.species_choices import species_choices

NOT_JUDGED_YET: Final = "It is written down; the service has not judged it yet."


def lot_path(lot: LotId) -> str:
    """Return where a lot's page is; its name may hold any sign.

    >>> lot_path(LotId("A/1 & 2"))
    '/lot?lot=A%2F1%20%26%202'
    """
    return f"/lot?lot={quote(lot, safe='')}"


def line_words(shop: Shop, entries: Sequence[AnyEntry], lot: LotId) -> list[dict[str, Any]]:
    """Return each entry about a lot as the pages show it: number, when, who, what.

    Args:
        shop: Names, zone and scale.
        entries: The lot's, and every cancellation.
        lot: The lot.
    """
    zone = ZoneInfo(shop.timezone)
    units = {unit.id: unit.name for unit in shop.units}
    return [
        {
            "number": line.entry.entry_number,
            "at": moment(line.entry.at_ms, zone),
            "who": wording.printable(line.entry.who) or "not said",
            "what": entry_words(line, units, zone, shop.display),
            "counts": line.cancelled_by is None,
            "sha256": line.entry.sha256 if isinstance(line.entry, AttachStatement) else "",
            "file": line.entry.file if isinstance(line.entry, AttachStatement) else "",
        }
        for line in lines_of(entries, lot)
    ]


class LotPage(Page):
    """Shows one lot at a time."""

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the page and of a lot's files."""
        return [Route("/lot", self.page), Route("/lot/file", self.file)]

    async def page(self, request: Request) -> Response:
        """Show a lot."""
        visitor = await self._guard.visitor(request)
        lot = LotId(request.query_params.get("lot", ""))
        entries = await self._asked(lambda journal: journal.entries_about_lot(lot))
        lines = line_words(self._shop, entries, lot)
        if not lines:
            raise HTTPException(404)
        known = book(entries).get(lot) or LotEntries(lot=lot)
        story = next((s for s in self._board.latest.lots if s.lot == lot), None)
        units = [(str(u.id), wording.printable(u.name), u.kind) for u in self._shop.units]
        receipt = known.received
        return self._renderer.page(
            "lot.html",
            title=f"Lot {lot}",
            visitor=visitor,
            lot=str(lot),
            view=None if story is None else lot_view(self._shop, story),
            gone=known.withdrawn is not None,
            not_judged=NOT_JUDGED_YET,
            lines=lines,
            seen=max(line["number"] for line in lines),
            receipt=None if receipt is None else receipt_fields(receipt, self._shop.display),
            reminder=ROP_REMINDER if receipt is not None and receipt.rop else "",
            units=[(key, name) for key, name, _ in units],
            freezers=[(key, name) for key, name, kind in units if kind.is_freezer],
            product_probes=[
                str(probe.id)
                for unit in self._shop.units
                if unit.kind.is_freezer
                for probe in self._shop.probes_of(unit.id, Measures.PRODUCT)
            ],
            coolers=[(key, name) for key, name, kind in units if not kind.is_freezer],
            origins=[origin.value for origin in Origin],
            options=[option.value for option in Option],
            states=[states.value for states in States],
            species_choices=species_choices(self._shop),
            scale=self._shop.display.value,
            timezone=self._shop.timezone,
        )

    async def file(self, request: Request) -> Response:
        """Return a file that was attached to a lot, to be saved: never shown as a page of ours."""
        await self._guard.visitor(request)
        lot = LotId(request.query_params.get("lot", ""))
        wanted = request.query_params.get("sha256", "")
        entries = await self._asked(lambda journal: journal.entries_about_lot(lot))
        entry = next(
            (
                e
                for e in entries
                if isinstance(e, AttachStatement) and e.lot == lot and wanted and e.sha256 == wanted
            ),
            None,
        )
        if entry is None:
            raise HTTPException(404)
        if await run_in_threadpool(found, self._journal_path, entry.sha256) is not Found.PRESENT:
            raise HTTPException(
                410, "The file is missing or was changed since it was attached; see a backup."
            )
        return FileResponse(
            folder_of(self._journal_path) / entry.sha256,
            media_type="application/octet-stream",
            filename=entry.file or entry.sha256,
            headers={"Content-Security-Policy": "sandbox; default-src 'none'"},
        )
