"""What people enter about alarms and units: seen, put aside, out of service, what was done."""

from typing import Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from rimewatch.alarms.alarm import Alarm
from rimewatch.shop import Shop
from rimewatch.web.forms import Forms
from rimewatch.web.rendering import go_to

SHELVES_MIN: Final = (15, 30, 60, 120, 240)
"""For how long an alarm may be put aside on the page (our choice)."""
PROMISES_MIN: Final = (10, 20, 30, 60)


class UnitForms(Forms):
    """Takes the forms about alarms and units."""

    def routes(self) -> list[BaseRoute]:
        """Return the routes of the forms; none answers to GET."""
        return [
            Route("/acknowledge", self.acknowledge, methods=["POST"]),
            Route("/shelve", self.shelve, methods=["POST"]),
            Route("/unshelve", self.unshelve, methods=["POST"]),
            Route("/unit/{unit}/service", self.service, methods=["POST"]),
            Route("/unit/{unit}/note", self.note, methods=["POST"]),
        ]

    async def acknowledge(self, request: Request) -> Response:
        """Note that somebody has seen the very alarm that was shown to them."""
        visitor, fields = await self._form(request)
        alarm = self._alarm(fields)
        entry: dict[str, object] = {
            "do": "acknowledge",
            "unit": alarm.key.unit,
            "rule": alarm.key.rule.value,
        }
        if minutes := fields.get("back_within_min"):
            entry["back_within_min"] = number(minutes, "minutes")
        await self._desk.take(visitor, entry, alarm=alarm.id)
        return self._back(fields, alarm.key.unit)

    async def shelve(self, request: Request) -> Response:
        """Put an alarm aside for some minutes, the one that is shown or one that may come."""
        visitor, fields = await self._form(request)
        alarm = self._alarm(fields) if "alarm" in fields else None
        unit = fields.get("unit") or None if alarm is None else alarm.key.unit
        rule = fields.get("rule", "") if alarm is None else alarm.key.rule.value
        minutes = number(fields.get("minutes", ""), "minutes")
        entry = {"do": "shelve", "unit": unit, "rule": rule, "minutes": minutes}
        await self._desk.take(visitor, entry)
        return self._back(fields, unit)

    async def unshelve(self, request: Request) -> Response:
        """End a shelf before its time."""
        visitor, fields = await self._form(request)
        unit, rule = fields.get("unit") or None, fields.get("rule", "")
        if (unit, rule) not in [(key.unit, key.rule) for key, _ in self._board.latest.shelves]:
            raise HTTPException(410, "This is put aside no longer; nothing was noted.")
        await self._desk.take(visitor, {"do": "unshelve", "unit": unit, "rule": rule})
        return go_to(f"/unit/{known_unit(self._shop, fields.get('from', ''))}")

    async def service(self, request: Request) -> Response:
        """Take a unit out of service, or put it back."""
        unit = known_unit(self._shop, request.path_params["unit"])
        visitor, fields = await self._form(request)
        do = fields.get("do", "")
        if do not in ("out-of-service", "in-service"):
            raise HTTPException(422, "Expected out-of-service or in-service.")
        await self._desk.take(visitor, {"do": do, "unit": unit})
        return go_to(f"/unit/{unit}")

    async def note(self, request: Request) -> Response:
        """Note a corrective action in somebody's own words."""
        unit = known_unit(self._shop, request.path_params["unit"])
        visitor, fields = await self._form(request)
        entry: dict[str, object] = {
            "do": "corrective-action",
            "unit": unit,
            "text": fields.get("text", ""),
        }
        if disposition := fields.get("disposition"):
            entry["disposition"] = disposition
        if lot := fields.get("lot"):
            entry["lots"] = [lot]
        await self._desk.take(visitor, entry)
        return go_to(f"/unit/{unit}")

    def _alarm(self, fields: dict[str, str]) -> Alarm:
        wanted = fields.get("alarm", "")
        for alarm in self._board.latest.alarms:
            if alarm.id == wanted:
                return alarm
        raise HTTPException(410, "This alarm is over; nothing was noted.")

    @staticmethod
    def _back(fields: dict[str, str], unit: str | None) -> Response:
        return go_to(f"/unit/{unit}" if fields.get("from") == "unit" and unit is not None else "/")


def known_unit(shop: Shop, unit: str) -> str:
    """Return a unit's id.

    Raises:
        HTTPException: 404, if the shop has no such unit.
    """
    if unit not in shop.unit:
        raise HTTPException(404)
    return unit


def number(text: str, what: str) -> float:
    """Return a number that somebody typed, with a comma or a point.

    Raises:
        HTTPException: 422, if it is none.
    """
    try:
        return float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        raise HTTPException(422, f"The {what} are “{text[:40]}”; expected a number.") from None
