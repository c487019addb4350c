"""Writes down what somebody entered on a page, and waits until the service has taken it in.

An entry from a page is one like any other: checked by the same models, asked by the same
door, kept in the same journal, with who and when. Nothing is concluded here.
"""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from http import HTTPStatus
from pathlib import Path
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request

from rimewatch.clock import Clock
from rimewatch.entries import AnyEntry
from rimewatch.evaluation.lot_record import lines_of
from rimewatch.journal.entering import enter, require
from rimewatch.journal.errors import JournalError
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.shop import Shop
from rimewatch.vocabulary import LotId
from rimewatch.web.guard import Visitor
from rimewatch.web.live import Board

ParseEntry = Callable[[Mapping[str, object], int], AnyEntry]
"""Checks an entry's keys and makes it, at an instant; a ``ValueError`` says what is wrong."""

TYPED: Final = "typed"
"""Where a request keeps what was filled in: what is refused is shown again to be put right."""
TAKEN_IN_WITHIN_S: Final = 4.0
_BUSY_S: Final = 5.0


@dataclass(frozen=True, slots=True)
class SeenOf:
    """Up to which entry somebody knew a lot's books when they filled in a form."""

    lot: LotId
    number: int | None
    """None: the form did not say, and nothing is compared."""


@dataclass(frozen=True, slots=True)
class Typed:
    """A form as somebody filled it in."""

    visitor: Visitor
    fields: Mapping[str, str]
    takes_file: bool = False


def remember(request: Request, typed: Typed) -> None:
    """Keep what was filled in until it is written down or refused."""
    setattr(request.state, TYPED, typed)


class Meanwhile(Exception):  # noqa: N818 (nobody is at fault: two people were at work)
    """Somebody else has entered something about the same lot; nothing was written.

    ``entries`` are the lot's, theirs included, and every cancellation.
    """

    def __init__(self, entries: list[AnyEntry]) -> None:
        super().__init__("somebody else has entered something about the lot meanwhile")
        self.entries = entries


class Desk:
    """Takes entries from people who are signed in.

    Args:
        shop: The shop.
        journal_path: Where they are written.
        board: Tells when the service has taken them in.
        clock: Says when they were made.
        parse: Checks them as entries from anywhere are checked.
    """

    def __init__(
        self, shop: Shop, journal_path: Path, board: Board, clock: Clock, parse: ParseEntry
    ) -> None:
        self._shop = shop
        self._journal_path = journal_path
        self._board = board
        self._clock = clock
        self._parse = parse

    def now_ms(self) -> int:
        """Return the time, milliseconds UTC."""
        return self._clock.now_ms()

    async def take(
        self,
        visitor: Visitor,
        entry: Mapping[str, object],
        *,
        seen: SeenOf | None = None,
        **also: object,
    ) -> None:
        """Write an entry down; return when the service has it, or has not for some seconds.

        Args:
            visitor: Who made it.
            entry: Its keys, as in a trace.
            seen: What they knew of the lot that it is about.
            also: Fields of the entry that a trace does not have.

        Raises:
            HTTPException: 422 with what is wrong with it; 503 if it cannot be written.
            Meanwhile: If somebody else has entered something about the lot since.
        """
        made = self._made(visitor, entry, also)
        try:
            number = await run_in_threadpool(self._write, made, seen)
        except ValueError as error:
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, f"{error}.") from None
        except JournalError:
            raise HTTPException(
                HTTPStatus.SERVICE_UNAVAILABLE,
                "The journal cannot be written right now; nothing was noted. Try again.",
            ) from None
        await self._until_taken_in(number)

    async def look_at(self, visitor: Visitor, entry: Mapping[str, object], **also: object) -> None:
        """See that an entry could be written down now, before anything else is done for it.

        Raises:
            HTTPException: As :meth:`take`.
        """
        made = self._made(visitor, entry, also)
        try:
            await run_in_threadpool(self._require, made)
        except ValueError as error:
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, f"{error}.") from None
        except JournalError:
            raise HTTPException(
                HTTPStatus.SERVICE_UNAVAILABLE,
                "The journal cannot be read right now; nothing was noted. Try again.",
            ) from None

    def _made(
        self, visitor: Visitor, entry: Mapping[str, object], also: Mapping[str, object]
    ) -> AnyEntry:
        try:
            parsed = self._parse({**entry, "who": visitor.person.name}, self._clock.now_ms())
        except ValueError as error:
            raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, f"{error}.") from None
        return replace(parsed, **also) if also else parsed  # type: ignore[arg-type]  # by name

    def _require(self, entry: AnyEntry) -> None:
        with JournalReader.open(self._journal_path, busy_s=_BUSY_S) as journal:
            require(journal, self._shop, entry, self._clock.now_ms())

    def _write(self, entry: AnyEntry, seen: SeenOf | None) -> int:
        with (
            Journal.open(self._journal_path, check=False, busy_s=_BUSY_S) as journal,
            journal.batch(),  # looked up and written as one: no third hand comes between
        ):
            if seen is not None and seen.number is not None:
                entries = journal.entries_about_lot(seen.lot)
                lines = lines_of(entries, seen.lot)
                if any(line.entry.entry_number > seen.number for line in lines):
                    raise Meanwhile(entries)
            return enter(journal, self._shop, entry, "page", self._clock.now_ms())

    async def _until_taken_in(self, number: int) -> None:
        loop = asyncio.get_running_loop()
        changed = asyncio.Event()
        listening = self._board.listen(changed, loop)
        if listening is None:
            return
        try:
            ends_s = loop.time() + TAKEN_IN_WITHIN_S
            while self._board.latest.entry_number < number and not self._board.ended:
                changed.clear()
                await asyncio.wait_for(changed.wait(), max(0.0, ends_s - loop.time()))
        except TimeoutError:
            pass  # it is written down; the service takes it in when it can
        finally:
            self._board.leave(listening)
