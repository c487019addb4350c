"""What works on a unit through a week: thermostat, defrosts, doors, deliveries, failures.

Pure, given what was drawn: no chance here, no I/O. Instants are seconds from the start.
"""

import math
from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from rimewatch_sim.plants.bodies import Body, Drive, IceBed

STEP_S: Final = 10
DAY_S: Final = 86_400
SOLID_C: Final = 0.5
"""A coil with frost on it does not warm past this before the frost is gone."""


class Melting(StrEnum):
    """How a unit rids its coil of frost."""

    OFF_CYCLE = "off-cycle"
    ELECTRIC = "electric"
    HOT_GAS = "hot-gas"


class Trouble(StrEnum):
    """What can fail."""

    COMPRESSOR = "compressor stops"
    FAN = "fan stops"
    LEAK = "refrigerant leaks slowly"
    ICING = "coil ices up"
    HEATER = "defrost does not end"
    AJAR = "door left ajar"


@dataclass(frozen=True, slots=True, kw_only=True)
class Defrosting:
    """When and how a unit defrosts. No schedule of the shop's names it."""

    how: Melting
    first_s: float
    every_s: float
    """From one to the next; with ``by_run`` so long of the compressor's work."""
    by_run: bool
    length_s: float
    """By the clock, or the longest where the coil ends it."""
    ends_at_c: float | None
    """Coil temperature that ends it; None: the clock does."""
    frost_a_h: float
    """Frost that gathers, K of the air's capacity an hour."""
    drip_s: float
    fan_waits: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """Something that breaks, and when it is mended."""

    what: Trouble
    from_s: float
    to_s: float
    """Infinite: nobody mends it."""
    pace_s: float = 0.0
    """For a leak or icing: how long until a third is left."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """All that happens to one unit."""

    body: Body
    set_c: float
    band_c: float
    """The compressor works above the set point plus half of it, rests below it minus half."""
    modulated: bool
    """A compressor that works harder the warmer it is, instead of switching."""
    ambient_c: float
    ambient_swing_c: float
    ambient_drift_c: float
    """The season: so much warmer at the end of the week."""
    defrosting: Defrosting
    doors: Sequence[tuple[float, float]]
    """Openings, in order."""
    door_leak: float
    """Times the leak while open."""
    curtain: tuple[float, float, float]
    """Hours of the day it is shut, from and to, and the leak behind it."""
    loads: Sequence[tuple[float, float, float]] = ()
    """Deliveries: when, how warm, how many times the air's capacity."""
    failures: Sequence[Failure] = ()
    outages: Sequence[tuple[float, float]] = ()
    """Times without power."""


@dataclass(slots=True)
class Course:
    """What came of it, one value a step."""

    air_c: "array[float]" = field(default_factory=lambda: array("d"))
    fish_c: "array[float]" = field(default_factory=lambda: array("d"))
    defrosts: list[tuple[float, float]] = field(default_factory=list)


class _Control:
    """The unit's own controller: what it does in each step."""

    def __init__(self, life: Life) -> None:
        self.life = life
        self.cooling = 0.0
        self.next_defrost_s = life.defrosting.first_s
        self.run_s = 0.0
        self.since_s: float | None = None
        self.rest_until_s = 0.0
        self.fan_until_s = 0.0
        self.frost = 0.5 * life.defrosting.frost_a_h

    def drive(self, drive: Drive, at_s: float, course: Course, state: dict[Trouble, float]) -> None:
        """Set what works in this step."""
        of, body = self.life.defrosting, self.life.body
        drive.heater, drive.fan, drive.cooling = 0.0, 1.0, 0.0
        if self.since_s is None and (
            self.run_s >= of.every_s if of.by_run else at_s >= self.next_defrost_s
        ):
            self.since_s = at_s
        if self.since_s is not None:
            self._defrost(drive, at_s, course, stuck=Trouble.HEATER in state)
        elif at_s >= self.rest_until_s:
            self._cool(drive, body.air_c)
            if of.fan_waits and at_s < self.fan_until_s and body.coil_c > body.air_c - 3.0:
                drive.fan = 0.0
        humid = 1.0 + 0.08 * (drive.leak - 1.0) + 3.0 * (Trouble.ICING in state)
        self.frost += of.frost_a_h * humid * STEP_S / 3600.0

    def _cool(self, drive: Drive, air_c: float) -> None:
        life = self.life
        if life.modulated:
            self.cooling = min(1.0, max(0.0, 0.5 + (air_c - life.set_c) / max(life.band_c, 1.0)))
        elif air_c > life.set_c + life.band_c / 2.0:
            self.cooling = 1.0
        elif air_c < life.set_c - life.band_c / 2.0:
            self.cooling = 0.0
        drive.cooling = self.cooling
        self.run_s += STEP_S * self.cooling

    def _defrost(self, drive: Drive, at_s: float, course: Course, *, stuck: bool) -> None:
        of, body = self.life.defrosting, self.life.body
        assert self.since_s is not None
        if of.how is not Melting.OFF_CYCLE:
            drive.heater = 1.0
            drive.fan = 0.0
        if self.frost > 0.0 and body.coil_c >= SOLID_C:
            if of.how is Melting.OFF_CYCLE:
                self.frost -= of.frost_a_h * STEP_S / 120.0
            else:
                self.frost -= STEP_S * body.sizes.heater * 0.8
                drive.heater = 0.2
        if stuck:
            return
        warm = of.ends_at_c is not None and body.coil_c >= of.ends_at_c
        if warm or at_s - self.since_s >= of.length_s:
            course.defrosts.append((self.since_s, at_s))
            self.rest_until_s = at_s + of.drip_s
            self.fan_until_s = self.rest_until_s + 360.0
            self.cooling = 1.0
            if not of.by_run:
                self.next_defrost_s += of.every_s
            self.run_s, self.since_s, self.frost = 0.0, None, max(self.frost, 0.0)


def run(life: Life, lasts_s: float, *, season_s: float | None = None) -> Course:
    """Return what comes of a unit's life.

    Args:
        life: The life.
        lasts_s: How long it is followed.
        season_s: How long the season's drift takes; None: as long as it is followed.
    """
    course, control, drive = Course(), _Control(life), Drive()
    body, door = life.body, 0
    loads = list(life.loads)
    add_air, add_fish = course.air_c.append, course.fish_c.append
    for at_s in range(0, round(lasts_s), STEP_S):
        add_air(body.air_c)
        add_fish(body.fish_c)
        hour = at_s % DAY_S / 3600.0
        drive.ambient_c = (
            life.ambient_c
            + life.ambient_swing_c * math.sin((hour - 9.0) / 24.0 * 2.0 * math.pi)
            + life.ambient_drift_c * at_s / (season_s or lasts_s)
        )
        state = _troubles(life.failures, at_s)
        while door < len(life.doors) and life.doors[door][1] <= at_s:
            door += 1
        from_h, to_h, behind = life.curtain
        shut = hour >= from_h or hour < to_h
        drive.leak = behind if shut else 1.0
        if (door < len(life.doors) and life.doors[door][0] <= at_s) or Trouble.AJAR in state:
            drive.leak = life.door_leak if Trouble.AJAR not in state else 0.6 * life.door_leak
        if loads and at_s >= loads[0][0]:
            _, body.goods_c, drive.goods = loads.pop(0)
        if hour == 7.0 and isinstance(body, IceBed):
            body.make_up()
        control.drive(drive, at_s, course, state)
        _break(drive, state)
        if any(start <= at_s < end for start, end in life.outages):
            drive.cooling = drive.heater = drive.fan = 0.0
        body.step(drive, STEP_S)
    return course


def _troubles(failures: Sequence[Failure], at_s: float) -> dict[Trouble, float]:
    """Return what is broken now, and what is left of the cooling for each."""
    return {
        one.what: math.exp(-(at_s - one.from_s) / one.pace_s) if one.pace_s else 0.0
        for one in failures
        if one.from_s <= at_s < one.to_s
    }


def _break(drive: Drive, state: dict[Trouble, float]) -> None:
    for what, left in state.items():
        if what in (Trouble.COMPRESSOR, Trouble.LEAK):
            drive.cooling *= left
        elif what is Trouble.FAN:
            drive.fan = 0.0
        elif what is Trouble.ICING:
            drive.fan *= max(left, 0.05)
            drive.cooling *= max(left, 0.3)
