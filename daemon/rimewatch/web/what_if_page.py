"""What another setting would have made of the shop's own past, asked on the phone.

Nothing is changed by it. One setting of one unit is tried; whoever likes what they see changes it
on the unit's own page.
"""

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any, Final, Protocol

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.config.changing import Tables
from rimewatch.evaluation.mornings import local_day
from rimewatch.report import wording
from rimewatch.report.sections import RULES
from rimewatch.vocabulary import Rule, UnitId
from rimewatch.web.guard import Visitor
from rimewatch.web.page import Means, Page, again
from rimewatch.web.people import Role
from rimewatch.web.rendering import go_to
from rimewatch.web.setting_forms import value_at
from rimewatch.web.setting_kinds import NotRead
from rimewatch.web.setting_subjects import UNIT, Field
from rimewatch.web.settings_keeper import SettingsKeeper

PATH: Final = "/what-if"
AGAIN_S: Final = 3
MOST_DAYS: Final = 31
"""A month (our choice): more takes long on a small machine; the command has no such limit."""
USUAL_DAYS: Final = 7
TRIED: Final = ("limit_c", "operating_limit_c", "on_delay_s", "lag_s", "deadband_c")


@dataclass(frozen=True, slots=True, kw_only=True)
class Supposition:
    """What is supposed, and of which days."""

    words: str
    first: date
    last: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Supposed:
    """What came of it."""

    supposition: Supposition | None = None
    is_at_work: bool = False
    for_s: float = 0.0
    document: Mapping[str, Any] = field(default_factory=dict)
    """As the command gives it for programs."""
    trouble: str = ""


class Supposes(Protocol):
    """Plays other settings over the past. Neither call waits."""

    def begin(self, supposition: Supposition, tables: Tables) -> bool:
        """Begin; False: another is being worked out."""
        ...

    def latest(self) -> Supposed:
        """Return the one that is being worked out, or was last."""
        ...


class WhatIfPage(Page):
    """Serves the question and its answer.

    Args:
        means: What every page is made with.
        keeper: Says what holds now.
        supposes: Works it out.
    """

    def __init__(self, means: Means, keeper: SettingsKeeper, supposes: Supposes) -> None:
        super().__init__(means)
        self._keeper = keeper
        self._supposes = supposes

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the page and its form."""
        return [Route(PATH, self.show), Route(PATH, self.ask, methods=["POST"])]

    async def show(self, request: Request) -> Response:
        """Show the form, and what came of the last question."""
        visitor = await self._guard.visitor(request, Role.SET_UP)
        latest = self._supposes.latest()
        return self._page(request, visitor, latest, {}, {})

    async def ask(self, request: Request) -> Response:
        """Begin to work it out."""
        visitor = await self._guard.visitor(request, Role.SET_UP)
        fields = await self._guard.form(request, visitor)
        errors: dict[str, str] = {}
        unit, key = fields.get("unit", ""), fields.get("key", "")
        own = UNIT.field(key) if key in TRIED else None
        if own is None or UnitId(unit) not in self._shop.unit:
            raise HTTPException(422, "There is no such unit or setting.")
        scale = self._shop.display
        value: object = None
        try:
            value = own.kind.read(fields.get("value", ""), scale)
        except NotRead as unread:
            errors["value"] = str(unread)
        days = _days(fields, errors, local_day(self._clock.now_ms(), self._shop.timezone))
        if errors or days is None:
            return self._page(request, visitor, self._supposes.latest(), fields, errors)
        in_use = await run_in_threadpool(self._keeper.in_use)
        tables = _with(in_use.tables, unit, key, value)
        words = (
            f"{self._shop.unit[UnitId(unit)].name}, {own.label}: "
            f"{self._now(in_use.tables, unit, own)} → {own.kind.show(value, scale)} "
            f"{own.kind.unit(scale)}"
        )
        supposition = Supposition(words=wording.printable(words), first=days[0], last=days[1])
        if not self._supposes.begin(supposition, tables):
            errors["value"] = "Another is being worked out; try again when it is done."
            return self._page(request, visitor, self._supposes.latest(), fields, errors)
        return go_to(PATH)

    def _now(self, tables: Tables, unit: str, own: Field) -> str:
        held: Tables = next((u for u in tables.get("unit", ()) if u.get("id") == unit), {})
        value = value_at(held, own.key)
        return "the usual" if value is None else own.kind.show(value, self._shop.display)

    def _page(
        self,
        request: Request,
        visitor: Visitor,
        latest: Supposed,
        typed: Mapping[str, str],
        errors: Mapping[str, str],
    ) -> Response:
        scale = self._shop.display
        today = local_day(self._clock.now_ms(), self._shop.timezone)
        settings = [field for field in UNIT.fields if field.key in TRIED]
        return self._renderer.page(
            "what_if.html",
            title="What if",
            visitor=visitor,
            here="/settings",
            status=422 if errors else 200,
            latest=latest,
            again=again(request, AGAIN_S, when=latest.is_at_work),
            waited=wording.duration(latest.for_s),
            rows=list(self._rows(latest.document)) if latest.document else [],
            missed=[self._missed(each) for each in latest.document.get("missed", ())],
            units=[(str(u.id), wording.printable(u.name)) for u in self._shop.units],
            keys=[
                (f.key, f.label + (f", {f.kind.unit(scale)}" if f.kind.unit(scale) else ""))
                for f in settings
            ],
            typed=typed,
            errors=errors,
            first=typed.get("first") or (today - timedelta(days=USUAL_DAYS)).isoformat(),
            last=typed.get("last") or (today - timedelta(days=1)).isoformat(),
            most_days=MOST_DAYS,
        )

    def _rows(self, document: Mapping[str, Any]) -> list[tuple[str, str, str]]:
        now, then = document["now"], document["changed"]
        rows = [
            ("Alarms", str(now["raised"]), str(then["raised"])),
            ("that woke somebody", str(now["woke"]), str(then["woke"])),
            ("Messages", str(now["messages"]), str(then["messages"])),
        ]
        both = [{(e["unit"], e["rule"]): e for e in side["excursions"]} for side in (now, then)]
        for unit, rule in sorted(both[0].keys() | both[1].keys()):
            name = self._shop.unit[UnitId(unit)].name if UnitId(unit) in self._shop.unit else unit
            what = wording.printable(f"{name}: {RULES.get(Rule(rule), rule)}")
            found = [side.get((unit, rule), {"count": 0, "longest_s": 0.0}) for side in both]
            rows.append((what, *(_times(each) for each in found)))  # type: ignore[arg-type]
        held = (len(side["holds_completed"]) for side in (now, then))
        rows.append(("Freezing holds completed", *(str(count) for count in held)))  # type: ignore[arg-type]
        return rows

    def _missed(self, each: Mapping[str, Any]) -> str:
        scale = self._shop.display
        peak = wording.temperature(each["peak_c"], scale)
        when = wording.local_moment(round(each["start_ms"]), self._zone)
        return wording.printable(f"{each['name']}, {when}, peak {peak}")


def _times(spells: Mapping[str, Any]) -> str:
    count = int(spells["count"])
    if not count:
        return "0"
    return f"{count}, longest {wording.duration(spells['longest_s'])}"


def _with(tables: Tables, unit: str, key: str, value: object) -> dict[str, Any]:
    after = deepcopy(dict(tables))
    for each in after.get("unit", []):
        if each.get("id") == unit:
            each[key] = value
    return after


def _days(
    fields: Mapping[str, str], errors: dict[str, str], today: date
) -> tuple[date, date] | None:
    try:
        first, last = (date.fromisoformat(fields.get(key, "")) for key in ("first", "last"))
    except ValueError:
        errors["days"] = "Type two dates, such as 2026-03-01."
        return None
    if not first <= last <= today or (last - first).days >= MOST_DAYS:
        errors["days"] = f"Expected at most {MOST_DAYS} days, the first one first, none to come."
        return None
    return first, last
