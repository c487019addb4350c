"""A condition: something a rule finds wrong right now, before any alarm is made of it.

A rule says *what is so*; the alarm engine decides who hears of it and when.
Pure values.
"""

from dataclasses import dataclass, field
from typing import Final

from rimewatch.vocabulary import Cause, LotId, Priority, ProbeId, Rule, Standing, UnitId, Unread

LOTS_NAMED: Final = 4
"""A message names so many lots, and the number of the rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmKey:
    """What an alarm is about. ``unit`` is None for a cause common to several units."""

    unit: UnitId | None
    rule: Rule


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """A rule's finding that calls for a response, with the facts a message needs."""

    key: AlarmKey
    since_ms: int
    """Event time at which it began (for an excursion, the crossing of the limit)."""
    priority: Priority | None = None
    """A priority decided by consequence; None: the rule's usual one."""
    units: tuple[UnitId, ...] = ()
    """The units concerned where ``key.unit`` is None."""
    fish_c: float | None = None
    fish_ms: int | None = None
    """When the fish was last seen so, where it has been silent since; None: just now."""
    air_c: float | None = None
    limit_c: float | None = None
    peak_c: float | None = None
    rate_c_per_h: float | None = None
    time_left_s: float | None = None
    """Until fish passes ``limit_c``, or that hold is lost."""
    estimated_ms: int | None = None
    """When ``time_left_s`` was; None: just now."""
    first_unit: UnitId | None = None
    """Where ``key.unit`` is None: whose fish comes to its next line first."""
    cause: Cause | None = None
    explanation: str = ""
    """One sentence on why the cause is thought so."""
    lots: tuple[LotId, ...] = field(default=())
    standings: tuple[tuple[LotId, Standing], ...] = ()
    """What may be said of those of them that a message names, at its moment."""
    severity: int = 0
    """How bad it is on the rule's own scale. Rising after somebody has acknowledged the
    alarm, it opens that alarm again: matters got worse since they looked."""
    detail: str = ""
    """What else helps: which probe, the battery's level."""
    passed_c: float | None = None
    """The furthest line beyond its limit that it has passed; None: none."""
    kilograms: float | None = None
    """Fish in the unit, as far as it was entered; None: not known."""
    held_h: float | None = None
    """Hours that the furthest hold concerned had been credited; None: there is none."""
    needed_h: float | None = None
    """Hours which that hold needs."""
    used_share: float | None = None
    """How much of a cumulative limit in the warm fish here has used, 1 is all; None: not asked."""
    record_c: float | None = None
    """The warmest that fish told of for being warmer was on the days before; None: not asked."""
    unread: tuple[tuple[ProbeId, Unread], ...] = ()
    """Silent probes on whose topics messages arrive all the same, and why they give no reading:
    then neither battery nor range is the matter."""
