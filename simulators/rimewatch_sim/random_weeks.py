"""Weeks of chance, each with its ground truth: to measure missed breaches and false alarms.

A seed gives one week, the same for ever. What can happen and how often is chosen so
that a judge meets every kind of trouble in a few dozen weeks; it is no statistic of
real shops (no source).
Pure, given the seed: no I/O but the shipped shop's file, no clock.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from random import Random
from typing import Any, Final

from rimewatch_sim.chance import stream
from rimewatch_sim.scenario import Scenario, shop_table

_SHOP: Final = "saltmarsh-row"
_CHILLED: Final = ("case-1", "case-2", "walk-in")
_FIRST_DAY: Final = datetime(2026, 1, 5)  # noqa: DTZ001 - local wall time; the scenario has the zone
_DAYS: Final = 7

_Table = dict[str, Any]


def random_week(seed: int) -> Scenario:
    """Return the week of a seed, from Monday to Monday, local midnight to midnight."""
    chance = stream(seed, "week")
    start = _FIRST_DAY + timedelta(weeks=chance.randrange(52))
    shop = shop_table(_SHOP, source="random_weeks")
    week = _Week(chance, start, [probe["id"] for probe in shop["probe"]], _timed(shop))
    happened = [
        *week.trade(),
        *week.open_doors(),
        *week.cooling_losses(),
        *week.power_losses(),
        *week.probe_troubles(),
        *week.nonsense(),
    ]
    troubles = sorted({event["do"] for event in happened} & _TROUBLES)
    return Scenario.model_validate(
        {
            **shop,
            "name": f"week-{seed}",
            "about": ", ".join(troubles) or "nothing out of the ordinary",
            "start": start.isoformat(),
            "lasts": f"{_DAYS}d",
            "seed": seed,
            "ambient_c": round(chance.uniform(17.0, 26.0), 1),
            "ambient_swing_c": round(chance.uniform(0.5, 3.0), 1),
            "event": happened,
        }
    )


_TROUBLES: Final = {
    "compressor-failure",
    "refrigerant-decline",
    "evaporator-icing",
    "power-loss",
    "drop-out",
    "stuck",
    "clock-offset",
}


def random_weeks(seed: int, count: int) -> Iterator[Scenario]:
    """Yield the weeks of so many seeds, from one on."""
    for n in range(count):
        yield random_week(seed + n)


def _timed(shop: _Table) -> list[str]:
    """Return the probes whose messages carry their own time."""
    return [
        probe["id"]
        for probe in shop["probe"]
        if probe["measures"] != "door" and probe.get("format", "json") == "json"
    ]


class _Week:
    def __init__(
        self, chance: Random, start: datetime, probes: list[str], timed: list[str]
    ) -> None:
        self._chance = chance
        self._start = start
        self._probes = probes
        self._timed = timed
        self._temperature = [probe for probe in probes if not probe.endswith("-door")]

    def trade(self) -> Iterator[_Table]:
        """The shop's days: doors, and deliveries on most mornings; shut on Sunday."""
        chance = self._chance
        for day in range(_DAYS - 1):
            for unit in _CHILLED:
                yield {
                    "do": "door-traffic",
                    "at": self._at(day, 9.0),
                    "unit": unit,
                    "lasts": "9h30m",
                    "per_hour": round(chance.uniform(4.0, 24.0), 1),
                    "open_s": round(chance.uniform(6.0, 25.0), 1),
                }
            if chance.random() < 0.7:
                yield {
                    "do": "load",
                    "at": self._at(day, chance.uniform(6.5, 8.5)),
                    "unit": "walk-in",
                    "lot": f"D{day + 1}",
                    "kilograms": round(chance.uniform(5.0, 35.0), 1),
                    "celsius": round(chance.uniform(-0.5, 4.8), 1),
                }

    def open_doors(self) -> Iterator[_Table]:
        """Doors left open, from a nuisance to a danger."""
        for _ in range(self._chance.randrange(4)):
            yield {
                "do": "door-open",
                "at": self._sometime(),
                "unit": self._chance.choice((*_CHILLED, "freezer-1")),
                "lasts": self._span(180, 5400),
            }

    def cooling_losses(self) -> Iterator[_Table]:
        """Compressors, refrigerant, ice."""
        chance = self._chance
        kinds = (
            ("compressor-failure", 0.6, (0.0, 0.3), (60, 3600), (3600, 36_000)),
            ("compressor-failure", 0.3, (0.0, 0.1), (60, 600), (7200, 28_800)),
            ("refrigerant-decline", 0.25, (0.0, 0.4), (86_400, 259_200), (172_800, 432_000)),
            ("evaporator-icing", 0.25, (0.05, 0.5), (21_600, 86_400), (43_200, 172_800)),
        )
        for do, likely, left, over, lasts in kinds:
            if chance.random() < likely:
                yield {
                    "do": do,
                    "at": self._sometime(),
                    "unit": chance.choice((*_CHILLED, "freezer-1", "ulf-1")),
                    "left": round(chance.uniform(*left), 2),
                    "over": self._span(*over),
                    "lasts": self._span(*lasts),
                }

    def power_losses(self) -> Iterator[_Table]:
        """Power gone from everything, with or without the network."""
        if self._chance.random() < 0.35:
            yield {
                "do": "power-loss",
                "at": self._sometime(),
                "lasts": self._span(300, 14_400),
                "network_too": self._chance.random() < 0.4,
            }

    def probe_troubles(self) -> Iterator[_Table]:
        """Silences with and without a back-log, values that stick, clocks that are off."""
        chance = self._chance
        for _ in range(chance.randrange(5)):
            probe = chance.choice(self._probes)
            yield {
                "do": "drop-out",
                "at": self._sometime(),
                "probe": probe,
                "lasts": self._span(120, 10_800),
                "backlog": probe in self._timed and chance.random() < 0.6,
            }
        if chance.random() < 0.15:
            yield {
                "do": "stuck",
                "at": self._sometime(),
                "probe": chance.choice(self._temperature),
                "lasts": self._span(3600, 86_400),
            }
        if chance.random() < 0.15:
            yield {
                "do": "clock-offset",
                "at": self._sometime(),
                "probe": chance.choice(self._timed),
                "seconds": chance.randint(-600, 240),
                "lasts": self._span(3600, 86_400),
            }
        for _ in range(chance.randrange(3)):
            yield {
                "do": "duplicates",
                "at": self._sometime(),
                "probe": chance.choice(self._probes),
                "lasts": self._span(600, 7200),
            }

    def nonsense(self) -> Iterator[_Table]:
        """Fault codes, and payloads that are no readings."""
        chance = self._chance
        for _ in range(chance.randrange(7)):
            yield {
                "do": "fault",
                "at": self._sometime(),
                "probe": chance.choice(self._temperature),
                "code": chance.choice(("-127", "85", "999", "NaN")),
                "count": chance.randint(1, 5),
            }
        for _ in range(chance.randrange(5)):
            yield {
                "do": "garbage",
                "at": self._sometime(),
                "topic": f"shop/{chance.choice(_CHILLED)}/air",
                "payload": chance.choice(("", "sensor starting", "{", "null", '{"t": "warm"}')),
            }

    def _at(self, day: int, hour: float) -> str:
        """Return a local time; those that clocks may skip in spring are moved an hour on."""
        minutes = int(hour * 60)
        if 120 <= minutes < 180:
            minutes += 60
        return (self._start + timedelta(days=day, minutes=minutes)).isoformat()

    def _sometime(self) -> str:
        return self._at(self._chance.randrange(_DAYS), self._chance.uniform(0.0, 23.9))

    def _span(self, shortest_s: int, longest_s: int) -> str:
        """Return a duration, short ones likelier: even over its logarithm."""
        ratio = longest_s / shortest_s
        return f"{int(shortest_s * ratio ** self._chance.random())}s"
