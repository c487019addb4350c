"""A scenario file: a shop, a stretch of time, what happens in it and what people do.

Reads TOML and refuses what is wrong in one sentence a mistake. Runs nothing.
"""

import tomllib
from collections.abc import Iterable
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import Any, Final, Literal, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, ValidationError, field_validator, model_validator

from rimewatch_sim import events
from rimewatch_sim.entries import SaidEntry
from rimewatch_sim.events import AnyEvent
from rimewatch_sim.models import DailyDefrost, Duration, Name, Start, Strict
from rimewatch_sim.plant import PlantSpec
from rimewatch_sim.timeline import MS_PER_S, duration_s, local_datetime, resolve_ms, to_ms

SHOPS: Final = Path(__file__).parent / "shops"

_LONGEST_S: Final = 731 * 86_400


class ScenarioError(Exception):
    """A scenario cannot be used; the text says where, what, and what would be right."""


class PlantModel(Strict):
    """What a unit is made of; see :class:`rimewatch_sim.plant.PlantSpec`."""

    air_j_per_k: float = Field(ge=100, le=1e9)
    fixtures_j_per_k: float = Field(ge=100, le=1e9)
    fixtures_w_per_k: float = Field(gt=0, le=1e5)
    leak_w_per_k: float = Field(gt=0, le=1e5)
    door_w_per_k: float = Field(ge=0, le=1e5)
    fish_kg: float = Field(ge=0.01, le=1e5)
    fish_lag_s: float = Field(ge=1, le=1e6)
    evaporator_w_per_k: float = Field(gt=0, le=1e5)
    evaporator_c: float = Field(ge=-150, le=40)
    set_c: float = Field(ge=-150, le=40)
    hysteresis_c: float = Field(gt=0, le=40)
    heater_w: float = Field(default=0.0, ge=0, le=1e6)
    heater_stop_c: float = 15.0
    still_factor: float = Field(default=0.4, gt=0, le=1)

    @model_validator(mode="after")
    def _can_cool(self) -> Self:
        if self.evaporator_c >= self.set_c - self.hysteresis_c / 2:
            raise ValueError(
                f"evaporator_c is {self.evaporator_c}; it must be colder than set_c less half "
                f"of hysteresis_c, {self.set_c - self.hysteresis_c / 2}"
            )
        return self

    def spec(self) -> PlantSpec:
        """Return the plant's own value."""
        return PlantSpec(**self.model_dump())


class UnitModel(Strict):
    """A unit with its true limit (for the labels) and its plant."""

    id: Name
    name: str
    limit_c: float
    defrost: tuple[DailyDefrost, ...] = ()
    plant: PlantModel


class ProbeModel(Strict):
    """A probe: what it measures, how badly, and how it says so."""

    id: Name
    unit: Name
    measures: Literal["air", "product", "door"]
    topic: str = Field(min_length=1, pattern=r"^[^+#\x00]+$")
    every_s: int = Field(default=60, ge=1)
    format: Literal["json", "number"] = "json"
    scale: Literal["C", "F"] = "C"
    stamped: bool = True
    """The payload carries its own time (JSON only)."""
    resolution: float = Field(default=0.01, gt=0)
    """Step of the sent value, in its own scale."""
    noise_c: float = Field(default=0.03, ge=0)
    offset_c: float = 0.0
    lag_s: float = Field(default=30.0, ge=0)
    """Time constant of the sensor itself."""
    battery_percent: float | None = Field(default=None, ge=0, le=100)
    battery_per_day: float = Field(default=0.05, ge=0)
    clock_offset_s: int = 0

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.format == "number" and self.battery_percent is not None:
            raise ValueError('format is "number", which cannot carry battery_percent; use "json"')
        return self

    @property
    def keeps_time(self) -> bool:
        """Whether its messages carry the time of the reading."""
        return self.format == "json" and self.stamped and self.measures != "door"


class Scenario(Strict):
    """A whole scenario. ``start`` and times of day are local to ``timezone``."""

    name: Name
    about: str = Field(min_length=1, max_length=120)
    start: Start
    lasts: Duration
    lead_in: Duration | None = None
    """How much of the beginning only sets the scene; a demo may rush through it."""
    timezone: str
    seed: int = Field(default=1, ge=0)
    step_s: int = Field(default=10, ge=1, le=60)
    ambient_c: float = Field(default=20.0, ge=-20, le=50)
    ambient_swing_c: float = Field(default=1.5, ge=0, le=20)
    shop: Name | None = None
    unit: tuple[UnitModel, ...] = Field(min_length=1)
    probe: tuple[ProbeModel, ...] = Field(min_length=1)
    event: tuple[AnyEvent, ...] = ()
    entry: tuple[SaidEntry, ...] = ()

    @field_validator("timezone")
    @classmethod
    def _zone_exists(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError):
            raise ValueError(
                f'"{value}" is not a time zone; write one such as "America/Chicago"'
            ) from None
        return value

    @model_validator(mode="after")
    def _names_hang_together(self) -> Self:
        _refuse_twice("unit", (unit.id for unit in self.unit))
        _refuse_twice("probe", (probe.id for probe in self.probe))
        _refuse_twice("topic", (probe.topic for probe in self.probe))
        units = {unit.id for unit in self.unit}
        probes = {probe.id: probe for probe in self.probe}
        for probe in self.probe:
            _require(probe.unit, units, f"probe {probe.id}: unit")
        for event in self.event:
            where = f"event {event.do} at {event.at}"
            for unit in _units_of(event):
                _require(unit, units, f"{where}: unit")
            if isinstance(event, events.OfProbe):
                _require(event.probe, set(probes), f"{where}: probe")
                _refuse_impossible(event, probes[event.probe], where)
        for entry in self.entry:
            if entry.unit is not None:
                _require(entry.unit, units, f"entry {entry.do} at {entry.at}: unit")
        self._refuse_unknown_lots()
        return self

    def _refuse_unknown_lots(self) -> None:
        received = {entry.lot or "" for entry in self.entry if entry.do == "receive-lot"}
        for entry in self.entry:
            if entry.lot is not None:
                _require(entry.lot, received, f"entry {entry.do} at {entry.at}: lot")

    @model_validator(mode="after")
    def _all_within(self) -> Self:
        if self.end_ms - self.start_ms > _LONGEST_S * MS_PER_S:
            raise ValueError(f'lasts is "{self.lasts}"; at most two years, "731d"')
        if self.story_ms >= self.end_ms:
            raise ValueError(f'lead_in is "{self.lead_in}"; it must be shorter than lasts')
        for thing in (*self.event, *self.entry):
            at_ms = self.at_ms(thing.at)
            if not self.start_ms <= at_ms < self.end_ms:
                raise ValueError(
                    f"{thing.do} at {thing.at} is outside the scenario, which starts at "
                    f"{self.start} and lasts {self.lasts}"
                )
        return self

    @cached_property
    def zone(self) -> ZoneInfo:
        """The shop's time zone."""
        return ZoneInfo(self.timezone)

    @cached_property
    def start_local(self) -> datetime:
        """The local start, without a zone."""
        return local_datetime(self.start)

    @cached_property
    def start_ms(self) -> int:
        """The start in UTC milliseconds."""
        return to_ms(self.start_local, self.zone)

    @cached_property
    def end_ms(self) -> int:
        """The end in UTC milliseconds, not included."""
        return self.start_ms + duration_s(self.lasts) * MS_PER_S

    @property
    def story_ms(self) -> int:
        """Where the story begins, after the lead-in."""
        return self.start_ms + (duration_s(self.lead_in) * MS_PER_S if self.lead_in else 0)

    def at_ms(self, moment: str) -> int:
        """Return the UTC instant of one of its moments."""
        return resolve_ms(moment, start=self.start_local, zone=self.zone)


def _units_of(event: AnyEvent) -> tuple[str, ...]:
    if isinstance(event, events.PowerLoss):
        return event.units
    unit = getattr(event, "unit", None)
    return () if unit is None else (unit,)


def _refuse_twice(what: str, names: Iterable[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise ValueError(f'{what} "{name}" is there twice; each must be named once')
        seen.add(name)


def _require(name: str, known: set[str], where: str) -> None:
    if name not in known:
        expected = ", ".join(sorted(known)) or "none is defined"
        raise ValueError(f'{where} "{name}" is not known; expected one of: {expected}')


def _refuse_impossible(event: events.OfProbe, probe: ProbeModel, where: str) -> None:
    if isinstance(event, events.DropOut) and event.backlog and not probe.keeps_time:
        raise ValueError(f"{where}: backlog is true, but probe {probe.id} sends no time of its own")
    if isinstance(event, events.DropOut) and event.backlog and event.lasts is None:
        raise ValueError(f"{where}: backlog is true, so the drop-out must end; set lasts")
    if isinstance(event, events.Fault) and probe.measures == "door":
        raise ValueError(f"{where}: probe {probe.id} is a contact and has no such codes")
    if isinstance(event, events.Battery) and probe.battery_percent is None:
        raise ValueError(f"{where}: probe {probe.id} has no battery; set its battery_percent")
    if isinstance(event, events.ClockOffset) and not probe.keeps_time:
        raise ValueError(f"{where}: probe {probe.id} sends no time of its own")


def parse_scenario(text: str, *, source: str) -> Scenario:
    """Return the scenario of a TOML text.

    Args:
        text: The TOML.
        source: What to call it in an error, such as the file's name.

    Raises:
        ScenarioError: If it is not TOML or not a scenario.
    """
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(f"{source}: not valid TOML: {error}") from None
    if isinstance(table.get("shop"), str):
        table = {**shop_table(table["shop"], source=source), **table}
    try:
        return Scenario.model_validate(table)
    except ValidationError as error:
        raise ScenarioError(f"{source}: {_first_mistake(error)}") from None


def shop_table(name: str, *, source: str) -> dict[str, Any]:
    """Return the units and probes of a shipped shop, as they stand in its file.

    Raises:
        ScenarioError: If there is no such shop; ``source`` is who asked for it.
    """
    path = SHOPS / f"{name}.toml"
    known = sorted(file.stem for file in SHOPS.glob("*.toml"))
    if name not in known:
        raise ScenarioError(f'{source}: shop is "{name}"; expected one of: {", ".join(known)}')
    return tomllib.loads(path.read_text(encoding="utf-8"))


def _first_mistake(error: ValidationError) -> str:
    first = error.errors(include_url=False)[0]
    where = ".".join(str(part) for part in first["loc"])
    if first["type"] == "extra_forbidden":
        what = "unknown key; remove it or check its spelling"
    elif first["type"] == "value_error":
        what = str(first["ctx"]["error"])
    elif first["type"] == "missing":
        what = "missing; it is required"
    else:
        what = f"is {first['input']!r}; {first['msg'][:1].lower()}{first['msg'][1:]}"
    more = error.error_count() - 1
    rest = f" (and {more} more)" if more else ""
    return f"{where}: {what}{rest}" if where else f"{what}{rest}"
