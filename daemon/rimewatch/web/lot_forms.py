"""What people enter about a lot: frozen, thawed, moved, corrected, attached, cancelled, gone.

Each form says up to which entry its page knew the books. Where somebody else has entered
something about the same lot meanwhile, nothing is written: what they entered is shown, and
may be answered with the same form again.
"""

from pathlib import PurePosixPath
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.entries import AnyEntry
from rimewatch.evaluation.lot_book import book
from rimewatch.instants import iso
from rimewatch.journal.attachments import AttachmentError, keep_content
from rimewatch.vocabulary import LotId
from rimewatch.web.enter import Meanwhile, SeenOf, Typed, remember
from rimewatch.web.forms import Forms
from rimewatch.web.guard import Visitor
from rimewatch.web.lot_fields import corrections, done_at, seen_number, wall_clock_ms
from rimewatch.web.lot_page import line_words, lot_path
from rimewatch.web.people import Role
from rimewatch.web.rendering import go_to

Entry = dict[str, object]
"""An entry's keys, as in a trace."""

LARGEST_UPLOAD_BYTES: Final = 20_000_000
"""A photo or a scan of some pages (our choice); the command takes larger files."""
LONGEST_FILE_NAME: Final = 200


class LotForms(Forms):
    """Takes the forms about one lot."""

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the forms; none answers to GET."""
        forms = {
            "freeze": self.freeze,
            "thaw": self.thaw,
            "move": self.move,
            "correct": self.correct,
            "confirm-start": self.confirm_start,
            "attach": self.attach,
            "cancel": self.cancel,
            "withdraw": self.withdraw,
        }
        return [Route(f"/lots/{name}", take, methods=["POST"]) for name, take in forms.items()]

    async def freeze(self, request: Request) -> Response:
        """Start a lot's freezing hold."""
        visitor, fields = await self._form(request)
        entry: Entry = {
            "do": "start-freezing",
            "unit": fields.get("unit", ""),
            "option": fields.get("option", ""),
        }
        if wanted := fields.get("needed_by", "").strip():
            entry["needed_by"] = iso(wall_clock_ms(wanted, self._shop.timezone))
        if probe := fields.get("probe", ""):
            entry["probe"] = probe
        return await self._taken(request, visitor, fields, entry)

    async def thaw(self, request: Request) -> Response:
        """Enter that a lot was put to thaw under refrigeration."""
        visitor, fields = await self._form(request)
        entry: Entry = {"do": "start-thawing", "unit": fields.get("unit", "")}
        return await self._taken(request, visitor, fields, entry)

    async def move(self, request: Request) -> Response:
        """Enter that a lot was put into another unit."""
        visitor, fields = await self._form(request)
        entry: Entry = {"do": "move-lot", "unit": fields.get("unit", "")}
        return await self._taken(request, visitor, fields, entry)

    async def correct(self, request: Request) -> Response:
        """Correct what was said of a lot at its receipt; what was said before stays on record."""
        visitor, fields = await self._form(request)
        lot = LotId(fields.get("lot", ""))
        known = book(await self._entries(lot)).get(lot)
        changed = (
            {}
            if known is None or known.received is None
            else corrections(known.received, fields, self._shop.display)
        )
        entry: Entry = {"do": "correct-lot", "reason": fields.get("reason", ""), **changed}
        return await self._taken(request, visitor, fields, entry)

    async def confirm_start(self, request: Request) -> Response:
        """Enter that a lot's freezing did begin when it was entered to have, long afterwards."""
        visitor, fields = await self._form(request)
        entry: Entry = {
            "do": "correct-lot",
            "reason": fields.get("reason", ""),
            "confirms_start": True,
        }
        return await self._taken(request, visitor, fields, entry)

    async def cancel(self, request: Request) -> Response:
        """Enter that an earlier entry about the lot does not count; both stay on record."""
        visitor, fields = await self._form(request)
        entry: Entry = {"do": "cancel-entry", "reason": fields.get("reason", "")}
        if (number := seen_number(fields, "number")) is not None:
            entry["number"] = number
        return await self._taken(request, visitor, fields, entry, names_lot=False)

    async def withdraw(self, request: Request) -> Response:
        """Enter that a lot is gone."""
        visitor, fields = await self._form(request)
        entry: Entry = {"do": "withdraw-lot", "reason": fields.get("reason", "")}
        return await self._taken(request, visitor, fields, entry)

    async def attach(self, request: Request) -> Response:
        """Put a supplier's written statement on file, with a scan or photo of it or without.

        What others entered meanwhile does not hold it up: it takes nothing back.
        """
        visitor = await self._guard.visitor(request, Role.ACT)
        fields, upload = await self._guard.form_with_file(request, visitor, LARGEST_UPLOAD_BYTES)
        remember(request, Typed(visitor, fields, takes_file=True))
        lot = LotId(fields.get("lot", ""))
        entry: Entry = {
            "do": "attach-statement",
            "lot": lot,
            "reference": fields.get("reference", ""),
            "states": fields.get("states", ""),
        }
        if option := fields.get("option"):
            entry["option"] = option
        when = done_at(fields, self._shop.timezone, self._desk.now_ms())
        if upload is not None:
            await self._desk.look_at(visitor, entry, **when)  # before a file is kept for it
            name, content = upload
            try:
                kept = await run_in_threadpool(keep_content, self._journal_path, content, name)
            except AttachmentError as error:
                raise HTTPException(422, f"{error}.") from None
            entry |= {"file": plain_name(name), "sha256": kept}
        await self._desk.take(visitor, entry, seen=None, **when)
        return go_to(lot_path(lot))

    # --- shared ---------------------------------------------------------------------------

    async def _taken(
        self,
        request: Request,
        visitor: Visitor,
        fields: dict[str, str],
        entry: Entry,
        *,
        names_lot: bool = True,
    ) -> Response:
        """Write an entry about a lot down; or show what somebody else entered meanwhile."""
        lot = LotId(fields.get("lot", ""))
        when = done_at(fields, self._shop.timezone, self._desk.now_ms())
        if names_lot:
            entry = {**entry, "lot": lot}
        try:
            await self._desk.take(visitor, entry, seen=SeenOf(lot, seen_number(fields)), **when)
        except Meanwhile as error:
            since = fields.get("seen", "0")
            lines = line_words(self._shop, error.entries, lot)
            return self._renderer.page(
                "meanwhile.html",
                title="Somebody was quicker",
                visitor=visitor,
                status=409,
                lot=str(lot),
                lot_path=lot_path(lot),
                lines=[line for line in lines if line["number"] > int(since)],
                action=request.url.path,
                fields={**fields, "seen": str(max(line["number"] for line in lines))},
            )
        return go_to(lot_path(lot))

    async def _entries(self, lot: LotId) -> list[AnyEntry]:
        return await self._asked(lambda journal: journal.entries_about_lot(lot))


def plain_name(name: str) -> str:
    """Return a file's name without folders or signs that cannot be printed; it leads nowhere.

    >>> plain_name("../../etc/scan 1.pdf"), plain_name("/")
    ('scan 1.pdf', 'file')
    """
    last = PurePosixPath(name.replace("\\", "/")).name
    shown = "".join(sign for sign in last if sign.isprintable())
    return shown[-LONGEST_FILE_NAME:].strip() or "file"
