"""What is at stake: how bad an excursion is, and how urgent a lesser alarm becomes by it.

Two things follow from the consequence. *Severity* counts the published lines that the fish
has passed beyond its limit; an alarm that somebody acknowledged opens again when it rises,
since what they looked at was less bad. *Priority* of a lesser alarm is raised by one where
the shop has said from how much fish, or from which hour of a hold on, that is due. It never
raises anything by itself: the usual priorities are what a shop expects.

A lost hold is not made more urgent by its hours: its alarm is of the highest priority
already, and what is gone is gone. Pure values.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from rimewatch.rules.provisions import (
    COLD_HOLDING_LIMIT_C,
    FROZEN_DISPLAY_C,
    ICE_MELTS_C,
    MAXIMUM_CRYSTALLISATION_C,
    RAW_RTE_LINE_C,
    RAW_RTE_WARM_LINE_C,
)
from rimewatch.shop import AtStake
from rimewatch.vocabulary import Kind, Priority, Rule

LINES_C: Final = (COLD_HOLDING_LIMIT_C, RAW_RTE_LINE_C, RAW_RTE_WARM_LINE_C)
"""Published lines, the mildest first: cold holding (FDA Food Code 2022, 3-501.16(A)(2)), then
50 °F and 70 °F, above which raw ready-to-eat fish has hours only (FDA Fish and Fishery Products
Hazards and Controls Guidance, 4th ed., appendix 4)."""

FROZEN_LINES_C: Final = (
    FROZEN_DISPLAY_C,
    MAXIMUM_CRYSTALLISATION_C,
    ICE_MELTS_C,
    *LINES_C,
)
"""Those of frozen stock: it softens, thaws and is thawed before it comes to the others."""


_STEP_UP: Final = {Priority.LOW: Priority.MEDIUM, Priority.MEDIUM: Priority.HIGH}

LESSER_RULES: Final = frozenset(
    {Rule.OPERATING_LIMIT, Rule.DOOR, Rule.STALE, Rule.COOLING, Rule.PROJECTION, Rule.WATER}
)
"""Rules whose alarms stand for fish and are not of the highest priority anyway. A battery or a
stuck probe is no more urgent for what lies beside it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stakes:
    """What a unit holds, as far as it was entered."""

    kilograms: float | None = None
    """None: nobody has entered a weight."""
    held_h: float | None = None
    """Hours that the furthest hold in it has been credited; None: there is none."""


def lines_of(kind: Kind) -> tuple[float, ...]:
    """Return the published lines of a kind of unit, the mildest first."""
    return FROZEN_LINES_C if kind.is_freezer else LINES_C


def lines_passed(kind: Kind, limit_c: float, fish_c: float) -> int:
    """Return how many published lines beyond its limit the fish has passed.

    A line counts once the fish is above it, as a limit does.

    >>> [lines_passed(Kind.WALK_IN, 5.0, fish_c) for fish_c in (9.0, 10.0, 10.1, 25.0)]
    [0, 0, 1, 2]
    """
    return sum(limit_c < line_c < fish_c for line_c in lines_of(kind))


def furthest_line_c(kind: Kind, limit_c: float, fish_c: float) -> float | None:
    """Return the furthest line that the fish has passed beyond its limit; None: none."""
    return max((line_c for line_c in lines_of(kind) if limit_c < line_c < fish_c), default=None)


def worst_of(warmest: Iterable[tuple[Kind, float, float]]) -> int:
    """Return the severity of a cause common to several units, by their kinds, limits and peaks.

    That of the worst of them, by the line it has passed. Chilled and frozen fish have lines of
    their own: the worst of each counts, or a case that passes 10 °C beside a freezer that has
    long begun to thaw would be nothing new.

    >>> freezer, case = (Kind.FREEZER, -18.0, -4.0), (Kind.DISPLAY_CASE, 5.0, 9.0)
    >>> worst_of([freezer]), worst_of([freezer, case]), worst_of([freezer, (*case[:2], 11.0)])
    (2, 2, 4)
    """
    ranks = {True: 0, False: 0}
    for kind, limit_c, fish_c in warmest:
        line_c = furthest_line_c(kind, limit_c, fish_c)
        rank = 0 if line_c is None else lines_of(kind).index(line_c) + 1
        ranks[kind.is_freezer] = max(ranks[kind.is_freezer], rank)
    return sum(ranks.values())


def raised_priority(
    rule: Rule, priority: Priority, stakes: Stakes, at_stake: AtStake
) -> Priority | None:
    """Return a more urgent priority where enough is at stake; None: it stays.

    Args:
        rule: What was found wrong.
        priority: What it would be without regard to what is at stake.
        stakes: What the unit holds.
        at_stake: From when on the shop wants to be told more urgently.
    """
    if rule not in LESSER_RULES:
        return None
    heavy = (
        at_stake.kilograms is not None
        and stakes.kilograms is not None
        and stakes.kilograms >= at_stake.kilograms
    )
    far = (
        at_stake.hold_h is not None
        and stakes.held_h is not None
        and stakes.held_h >= at_stake.hold_h
    )
    return _STEP_UP.get(priority) if heavy or far else None
