"""The page of what is heard now: a new probe is named and given its place in one tap.

It works without a script: while nothing is found the page loads itself again, and no longer once
there is something to choose.
"""

import re
from collections.abc import Mapping, Sequence
from copy import deepcopy
from typing import Any, Final

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.config.changing import Tables
from rimewatch.web.guard import Visitor
from rimewatch.web.heard import Found, Listens
from rimewatch.web.page import Means, Page, again
from rimewatch.web.people import Role
from rimewatch.web.rendering import go_to
from rimewatch.web.setting_forms import in_shops_words, name_for
from rimewatch.web.setting_pages import PATH as SET_UP
from rimewatch.web.setting_subjects import PROBE
from rimewatch.web.settings_keeper import Asked, NotDone, SettingsKeeper

PATH: Final = f"{SET_UP}/heard"
NEW_UNIT: Final = "+"
"""Stands for a unit that is not there yet; no unit's id holds it."""
AGAIN_S: Final = 2
KINDS: Final = (
    ("display-case", "a new display case"),
    ("walk-in", "a new walk-in cooler"),
    ("freezer", "a new freezer"),
    ("ultra-low-freezer", "a new ultra-low freezer"),
)
_OF_THE_PROBE: Final = ("unit", "measures")
"""What a spare takes over from the probe whose place it takes; all else is its own."""


class HeardPage(Page):
    """Shows what is heard and watches nothing yet, and gives it a place.

    Args:
        means: What every page is made with.
        keeper: Keeps the settings.
        listens: Listens to the broker.
    """

    def __init__(self, means: Means, keeper: SettingsKeeper, listens: Listens) -> None:
        super().__init__(means)
        self._keeper = keeper
        self._listens = listens

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the page and its forms."""
        return [
            Route(PATH, self.show),
            Route(f"{PATH}/listen", self.listen, methods=["POST"]),
            Route(f"{PATH}/place", self.place, methods=["POST"]),
            Route(f"{PATH}/spare", self.spare, methods=["POST"]),
        ]

    async def show(self, request: Request) -> Response:
        """Show what is heard."""
        visitor = await self._guard.visitor(request, Role.SET_UP)
        return await self._page(request, visitor, "")

    async def listen(self, request: Request) -> Response:
        """Begin to listen."""
        visitor = await self._guard.visitor(request, Role.SET_UP)
        await self._guard.form(request, visitor)
        self._listens.begin()
        return go_to(PATH)

    async def place(self, request: Request) -> Response:
        """Give what is heard a name and a place."""
        visitor, fields, found, tables = await self._asked_for(request)
        after = deepcopy(dict(tables))
        unit = fields.get("unit", "")
        if unit.startswith(NEW_UNIT):
            kind = unit.removeprefix(NEW_UNIT)
            units = list(after.get("unit", []))
            name = fields.get("name", "") or found.name
            unit = name_for(name, (str(each.get("id")) for each in units))
            after["unit"] = [*units, {"id": unit, "name": name, "kind": kind}]
        probes = list(after.get("probe", []))
        measures = fields.get("measures") or str(found.table["measures"])
        table = {**found.table, "unit": unit, "measures": measures}
        after["probe"] = [*probes, _named(f"{unit}-{measures}", probes, table)]
        return await self._change(request, visitor, tables, after, f"/unit/{unit}")

    async def spare(self, request: Request) -> Response:
        """Put what is heard in the place of a probe: a probe of its own, with its own checks."""
        visitor, fields, found, tables = await self._asked_for(request)
        probes = list(tables.get("probe", []))
        at = next((n for n, p in enumerate(probes) if p.get("id") == fields.get("of")), None)
        if at is None:
            raise HTTPException(410, "That probe was taken out meanwhile; nothing was changed.")
        own = {key: probes[at][key] for key in _OF_THE_PROBE}
        spare = _named(str(probes[at]["id"]), probes, {**found.table, **own})
        after = deepcopy(dict(tables))
        after["probe"] = [*probes[:at], *probes[at + 1 :], spare]
        return await self._change(request, visitor, tables, after, f"{SET_UP}/probe")

    async def _asked_for(self, request: Request) -> tuple[Visitor, dict[str, str], Found, Tables]:
        visitor = await self._guard.visitor(request, Role.SET_UP)
        fields = await self._guard.form(request, visitor)
        heard = await run_in_threadpool(self._listens.heard)
        found = next((each for each in heard.found if each.key == fields.get("key")), None)
        if found is None:
            raise HTTPException(410, "It has its place already, or is heard no more. Listen anew.")
        in_use = await run_in_threadpool(self._keeper.in_use)
        return visitor, fields, found, in_use.tables

    async def _change(
        self,
        request: Request,
        visitor: Visitor,
        before: Tables,
        after: dict[str, Any],
        where: str,
    ) -> Response:
        asked = Asked(who=visitor.person.name, before=before, after=after)
        answer = await run_in_threadpool(self._keeper.change, asked)
        if isinstance(answer, NotDone):
            scale = self._shop.display
            said = [in_shops_words(f.sentence, PROBE, None, scale) for f in answer.findings]
            if answer.clashes:
                said.append("Somebody changed the same in the file meanwhile; look again.")
            return await self._page(request, visitor, " ".join([*said, answer.trouble]).strip())
        made = f"?made={answer.number}" if where.startswith(SET_UP) and answer.number else ""
        return go_to(where + made)

    async def _page(self, request: Request, visitor: Visitor, said: str) -> Response:
        heard = await run_in_threadpool(self._listens.heard)
        in_use = await run_in_threadpool(self._keeper.in_use)
        return self._renderer.page(
            "heard.html",
            title="What is heard now",
            visitor=visitor,
            here=SET_UP,
            status=422 if said else 200,
            said=said,
            heard=heard,
            asks={
                f.key: [in_shops_words(ask, PROBE, None, self._shop.display) for ask in f.asks]
                for f in heard.found
            },
            in_use=in_use,
            again=again(request, AGAIN_S, when=heard.is_listening and not heard.found and not said),
            left=round(heard.left_s),
            units=[(str(u["id"]), str(u.get("name", u["id"]))) for u in in_use.tables["unit"]],
            kinds=[(NEW_UNIT + kind, words) for kind, words in KINDS],
            likely={f.key: likely_unit(f, in_use.tables) for f in heard.found},
            probes=[str(p["id"]) for p in in_use.tables.get("probe", [])],
            may_be_fish=[f.key for f in heard.found if f.table["measures"] == "air"],
        )


def likely_unit(found: Found, tables: Tables) -> str:
    """Return the unit in which a probe most likely hangs: by its name, else a new one of its kind.

    >>> from rimewatch.web.heard import Found
    >>> new = Found(key="k", topic="shop/case-2/air", what="", name="case-2", kind="", table={})
    >>> likely_unit(new, {"unit": [{"id": "case-1"}, {"id": "case-2", "name": "Side case"}]})
    'case-2'
    """
    units: Sequence[Mapping[str, Any]] = tables.get("unit", [])
    for unit in units:
        names = {_letters(str(unit.get(key, ""))) for key in ("id", "name")} - {""}
        if _letters(found.name) in names or names & set(map(_letters, found.topic.split("/"))):
            return str(unit["id"])
    return NEW_UNIT + found.kind if found.kind else str(units[0]["id"])


def _letters(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


def _named(
    name: str, probes: Sequence[Mapping[str, Any]], table: Mapping[str, Any]
) -> dict[str, Any]:
    """Return a probe's table under an id of its own; never that of one that was there before."""
    return {"id": name_for(name, (str(each.get("id")) for each in probes)), **table}
