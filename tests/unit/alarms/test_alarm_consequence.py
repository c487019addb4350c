"""What is at stake: lines that were passed, kilograms and hours that make an alarm more urgent."""

import pytest

from rimewatch.alarms.consequence import (
    FROZEN_LINES_C,
    LINES_C,
    Stakes,
    furthest_line_c,
    lines_passed,
    raised_priority,
    worst_of,
)
from rimewatch.shop import AtStake
from rimewatch.vocabulary import Kind, Priority, Rule

HEAVY = AtStake(kilograms=50.0)
FAR = AtStake(hold_h=120.0)


def test_lines_are_the_published_ones() -> None:
    """41 °F of the Food Code; 50 °F and 70 °F of the Hazards guidance, appendix 4."""
    assert [round(line_c * 1.8 + 32.0, 6) for line_c in LINES_C] == [41.0, 50.0, 70.0]
    # Directive 89/108/EEC, Article 5(2); Codex CAC/RCP 8-1976 (from memory); the ice point.
    assert (-12.0, -5.0, 0.0, *LINES_C) == FROZEN_LINES_C


@pytest.mark.parametrize(
    ("kind", "limit_c", "fish_c", "passed", "line_f"),
    [
        (Kind.WALK_IN, 5.0, 5.1, 0, None),
        (Kind.WALK_IN, 5.0, 10.0, 0, None),  # at a line is not above it
        (Kind.WALK_IN, 5.0, 10.01, 1, 50.0),
        (Kind.DISPLAY_CASE, 5.0, 21.2, 2, 70.0),
        (Kind.WALK_IN, 3.0, 5.1, 1, 41.0),  # a shop's stricter limit has the published one too
        (Kind.WALK_IN, -1.5, 1.0, 0, None),  # superchilled fish is not frozen
        (Kind.WALK_IN, 11.0, 12.0, 0, None),  # a laxer limit is past that line already
        (Kind.FREEZER, -18.0, -12.0, 0, None),
        (Kind.FREEZER, -18.0, -11.9, 1, 10.4),
        (Kind.FREEZER, -18.0, -1.0, 2, 23.0),
        (Kind.FREEZER, -18.0, 0.1, 3, 32.0),
        (Kind.FREEZER, -18.0, 22.0, 6, 70.0),
        (Kind.ULTRA_LOW_FREEZER, -60.0, -13.0, 0, None),
    ],
)
def test_severity_counts_the_lines_beyond_the_limit(
    kind: Kind, limit_c: float, fish_c: float, passed: int, line_f: float | None
) -> None:
    """Each further line is a reason to call whoever has acknowledged."""
    assert lines_passed(kind, limit_c, fish_c) == passed
    line_c = furthest_line_c(kind, limit_c, fish_c)
    assert (None if line_c is None else round(line_c * 1.8 + 32.0, 6)) == line_f


def test_common_cause_is_as_bad_as_the_worst_of_its_units_chilled_and_frozen() -> None:
    """A limit of 3 °C has one line more; 10 °C is the same line for both."""
    strict, usual = (Kind.WALK_IN, 3.0, 9.0), (Kind.DISPLAY_CASE, 5.0, 9.0)
    thawing = (Kind.FREEZER, -18.0, -4.0)

    assert worst_of([]) == 0
    assert worst_of([usual]) == 0
    assert worst_of([strict, usual]) < worst_of([strict, (*usual[:2], 10.5)])
    assert worst_of([strict, (*usual[:2], 10.5)]) == worst_of([(*strict[:2], 11.0), usual])
    assert worst_of([thawing]) < worst_of([thawing, (*usual[:2], 10.5)])
    assert worst_of([thawing, thawing]) == worst_of([thawing])


@pytest.mark.parametrize(
    ("rule", "usual", "stakes", "at_stake", "raised"),
    [
        (Rule.STALE, Priority.MEDIUM, Stakes(kilograms=50.0), HEAVY, Priority.HIGH),
        (Rule.STALE, Priority.MEDIUM, Stakes(kilograms=49.9), HEAVY, None),
        (Rule.DOOR, Priority.LOW, Stakes(kilograms=80.0), HEAVY, Priority.MEDIUM),
        (Rule.DOOR, Priority.LOW, Stakes(held_h=160.0), FAR, Priority.MEDIUM),
        (Rule.DOOR, Priority.LOW, Stakes(held_h=10.0), FAR, None),
        (Rule.DOOR, Priority.LOW, Stakes(), HEAVY, None),  # nobody entered a weight
        (Rule.DOOR, Priority.LOW, Stakes(kilograms=80.0, held_h=160.0), AtStake(), None),
        (Rule.HOLDING, Priority.HIGH, Stakes(kilograms=80.0), HEAVY, None),
        (Rule.BATTERY, Priority.LOW, Stakes(kilograms=80.0), HEAVY, None),
        (Rule.PROJECTION, Priority.HIGH, Stakes(kilograms=80.0), HEAVY, None),
    ],
)
def test_priority_rises_by_one_where_the_shop_said_so(
    rule: Rule, usual: Priority, stakes: Stakes, at_stake: AtStake, raised: Priority | None
) -> None:
    """Only where it said so, only for what stands for fish, and never beyond the highest."""
    assert raised_priority(rule, usual, stakes, at_stake) is raised
