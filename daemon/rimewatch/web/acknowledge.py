"""The page behind a message's link: the facts, and one button that acknowledges.

``GET`` changes nothing, so a program that fetches links to show a preview acknowledges
nothing; only the button's ``POST`` does. An acknowledgement is an entry like any other:
the running service takes it in, here it is only written down. Whoever holds the link may
do this one thing, until it expires; see :mod:`rimewatch.web.links`.
"""

import asyncio
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final
from urllib.parse import parse_qs
from zoneinfo import ZoneInfo

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import BaseRoute, Route

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.codec import alarm_from_json
from rimewatch.alarms.lifecycle import State
from rimewatch.clock import Clock
from rimewatch.entries import LONGEST_PROMISE_MINUTES, Acknowledge
from rimewatch.journal import trials
from rimewatch.journal.entering import EntryRefusedError, enter
from rimewatch.journal.errors import JournalError
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.report import wording
from rimewatch.report.message import alarm_message, duration, local_time
from rimewatch.report.texts import texts_of
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_S, About
from rimewatch.web.links import Claim, Fault, LinkError, claim_of

PATH: Final = "/a/{token}"
PROMISES_MIN: Final = (10, 20, 30, 60, 120)
"""Times somebody may promise to be there within (our choice)."""
LARGEST_FORM_BYTES: Final = 2000
TAKEN_IN_WITHIN_S: Final = 4.0
"""The service looks for entries several times a second."""
_LOOK_S: Final = 0.1
_OPEN: Final = frozenset({State.UNACKNOWLEDGED, State.RETURNED_UNACKNOWLEDGED})
_BUSY_S: Final = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _View:
    """What one page shows."""

    title: str = ""
    facts: Sequence[str] = ()
    state: str = ""
    ask: bool = False
    status: int = 200


class AcknowledgePages:
    """Answers what a link's holder asks.

    Args:
        shop: Names, zone, scale and words.
        journal_path: Where alarms are read and acknowledgements written.
        key: What links are signed with. Secret.
        clock: Tells the time.
    """

    def __init__(self, shop: Shop, journal_path: Path, key: bytes, clock: Clock) -> None:
        self._shop = shop
        self._journal_path = journal_path
        self._key = key
        self._clock = clock
        self._zone = ZoneInfo(shop.timezone)
        self._texts = texts_of(shop.messages)
        self._words: Mapping[str, Any] = self._texts["page"]
        self._small: Mapping[str, Any] = self._texts["words"]

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the pages."""
        return [Route(PATH, self.answer, methods=["GET", "POST"])]

    async def answer(self, request: Request) -> Response:
        """Show an alarm, or take its acknowledgement."""
        try:
            claim = claim_of(self._key, request.path_params["token"], self._clock.now_ms())
        except LinkError as error:
            expired = error.fault is Fault.EXPIRED
            said = self._words["expired" if expired else "unknown"]
            return self._page(_View(state=said, status=410 if expired else 404))
        try:
            if trials.is_trial(claim.alarm_id):
                post = request.method == "POST"
                return self._page(await run_in_threadpool(self._trial, claim, post))
            if request.method == "POST":
                return self._page(await self._acknowledged(request, claim))
            return self._page(await run_in_threadpool(self._seen, claim))
        except JournalError:
            return self._page(_View(state=self._words["failed"], status=503))

    def _trial(self, claim: Claim, is_seen: bool) -> _View:  # noqa: FBT001 (positional by the pool)
        """Show a test alarm, and take its acknowledgement at once: no rule waits for it."""
        if is_seen:
            with Journal.open(self._journal_path, check=False, busy_s=_BUSY_S) as writing:
                now_ms = self._clock.now_ms()
                trials.note_seen(writing, claim.alarm_id, self._name(claim), now_ms)
        with JournalReader.open(self._journal_path, busy_s=_BUSY_S) as journal:
            seen = trials.seen(journal, claim.alarm_id)
        title = self._texts["test"]["title"].format(shop=self._shop.name)
        if seen is None:
            return _View(title=title, ask=True)
        who = seen.detail.partition(" by ")[2]
        said = self._words["acknowledged"].format(at=self._at(seen.at_ms), who=who or "–")
        return _View(title=title, state=said)

    # --- acknowledging --------------------------------------------------------------------

    async def _acknowledged(self, request: Request, claim: Claim) -> _View:
        promise_min = _promise(await _form(request))
        alarm = await run_in_threadpool(self._alarm, claim.alarm_id)
        if alarm is None:
            return _View(state=self._words["unknown"], status=404)
        try:
            await run_in_threadpool(self._enter, alarm, claim, promise_min)
        except EntryRefusedError as error:
            return _View(title=self._title(alarm), state=f"{error}.", status=422)
        waited_s = 0.0
        while waited_s < TAKEN_IN_WITHIN_S:
            now = await run_in_threadpool(self._alarm, claim.alarm_id)
            if now is not None and now.state not in _OPEN:
                return self._view(now)
            await asyncio.sleep(_LOOK_S)
            waited_s += _LOOK_S
        return _View(title=self._title(alarm), state=self._words["taken"], status=202)

    def _enter(self, alarm: Alarm, claim: Claim, promise_min: float | None) -> None:
        entry = Acknowledge(
            at_ms=self._clock.now_ms(),
            who=self._name(claim),
            unit=alarm.key.unit,
            rule=alarm.key.rule,
            back_within_min=promise_min,
            alarm=alarm.id,
        )
        with (
            Journal.open(self._journal_path, check=False, busy_s=_BUSY_S) as journal,
            journal.batch(),
        ):
            enter(journal, self._shop, entry, "link", entry.at_ms)

    def _name(self, claim: Claim) -> str:
        contact = self._shop.contact.get(claim.contact)
        return str(claim.contact) if contact is None else contact.name

    # --- showing --------------------------------------------------------------------------

    def _seen(self, claim: Claim) -> _View:
        alarm = self._alarm(claim.alarm_id)
        if alarm is None:
            return _View(state=self._words["unknown"], status=404)
        return self._view(alarm)

    def _alarm(self, alarm_id: str) -> Alarm | None:
        with JournalReader.open(self._journal_path, busy_s=_BUSY_S) as journal:
            row = journal.alarm(alarm_id)
        return None if row is None else alarm_from_json(row.text)

    def _view(self, alarm: Alarm) -> _View:
        return _View(
            title=self._title(alarm),
            facts=self._facts(alarm),
            state=" ".join(self._state(alarm)),
            ask=alarm.state in _OPEN,
        )

    def _title(self, alarm: Alarm) -> str:
        now_ms = self._clock.now_ms()
        return alarm_message(
            self._shop,
            alarm.condition,
            About.RAISED if alarm.active else About.RETURNED,
            raised_ms=alarm.raised_ms,
            now_ms=max(now_ms, alarm.condition.since_ms),
        ).title

    def _facts(self, alarm: Alarm) -> list[str]:
        words, now_ms = self._words, self._clock.now_ms()
        facts = [
            words["raised"].format(at=self._at(alarm.raised_ms), ago=self._ago(alarm.raised_ms))
        ]
        if alarm.key.unit is None or alarm.key.unit not in self._shop.unit:
            return facts
        limit_c = alarm.condition.limit_c
        if limit_c is not None:
            limit = wording.temperature(limit_c, self._shop.display)
            facts.append(words["limit"].format(limit=limit))
        probes = self._shop.governing_probes(alarm.key.unit)
        with JournalReader.open(self._journal_path, busy_s=_BUSY_S) as journal:
            for probe in probes:
                last = journal.last_before(probe.id, now_ms + 1)
                if last is None:
                    facts.append(words["unread"])
                    continue
                facts.append(
                    words["measured"].format(
                        value=wording.temperature(last[1], self._shop.display),
                        probe=probe.id,
                        ago=self._ago(last[0]),
                    )
                )
        return facts

    def _state(self, alarm: Alarm) -> list[str]:
        words, said = self._words, []
        if alarm.acknowledged_ms is not None:
            who = wording.printable(alarm.acknowledged_by) or "–"
            at = self._at(alarm.acknowledged_ms)
            said.append(words["acknowledged"].format(at=at, who=who))
            if alarm.reopens_ms is not None and alarm.active:
                said.append(words["back"].format(at=self._at(alarm.reopens_ms)))
        if alarm.returned_ms is not None:
            said.append(words["returned"].format(at=self._at(alarm.returned_ms)))
        return said

    def _at(self, at_ms: int) -> str:
        return local_time(at_ms, self._zone, self._small, day_of_ms=self._clock.now_ms())

    def _ago(self, at_ms: int) -> str:
        return duration(max(0.0, (self._clock.now_ms() - at_ms) / MS_PER_S), self._small)

    def _page(self, view: _View) -> Response:
        text = _template().render(
            language=self._shop.messages.language,
            shop=self._shop.name,
            words=self._words,
            title=view.title,
            facts=view.facts,
            state=view.state,
            ask=view.ask,
            promises=[
                (
                    minutes,
                    self._words["minutes"].format(count=minutes)
                    if minutes < 60
                    else duration(minutes * 60.0, self._small),
                )
                for minutes in PROMISES_MIN
            ],
        )
        return HTMLResponse(text, status_code=view.status)


async def _form(request: Request) -> Mapping[str, list[str]]:
    """Return a small form's fields; nothing of one that is too large."""
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > LARGEST_FORM_BYTES:
            return {}
    return parse_qs(body.decode("utf-8", "replace"))


def _promise(form: Mapping[str, list[str]]) -> float | None:
    """Return the minutes somebody promised to be there within; None: nothing that counts."""
    try:
        minutes = float(form.get("back_within_min", [""])[-1])
    except ValueError:
        return None
    return minutes if math.isfinite(minutes) and 0 < minutes <= LONGEST_PROMISE_MINUTES else None


@cache
def _template() -> Template:
    environment = Environment(
        loader=PackageLoader("rimewatch.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("acknowledge.html")
