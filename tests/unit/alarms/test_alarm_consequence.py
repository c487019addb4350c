"""What is at stake: lines that were passed, kilograms and hours that make an alarm more urgent."""

import pytest

from rimewatch.alarms.consequence import (
    LINES_C,
    Stakes,
    furthest_line_c,
    lines_passed,
    raised_priority,
)
from rimewatch.shop import AtStake
from rimewatch.vocabulary import Priority, Rule

HEAVY = AtStake(kilograms=50.0)
FAR = AtStake(hold_h=120.0)


def test_lines_are_the_published_ones() -> None:
    """41 °F of the Food Code; 50 °F and 70 °F of the Hazards guidance, appendix 4."""
    assert [round(line_c * 1.8 + 32.0, 6) for line_c in LINES_C] == [41.0, 50.0, 70.0]


@pytest.mark.parametrize(
    ("limit_c", "fish_c", "passed", "line_f"),
    [
        (5.0, 5.1, 0, None),
        (5.0, 10.0, 0, None),  # at a line is not above it
        (5.0, 10.01, 1, 50.0),
        (5.0, 21.2, 2, 70.0),
        (3.0, 5.1, 1, 41.0),  # a shop's stricter limit has the published one beyond it
        (-18.0, -1.0, 0, None),
        (-18.0, 6.0, 1, 41.0),
        (-18.0, 22.0, 3, 70.0),
        (11.0, 12.0, 0, None),  # a laxer limit is past that line already
    ],
)
def test_severity_counts_the_lines_beyond_the_limit(
    limit_c: float, fish_c: float, passed: int, line_f: float | None
) -> None:
    """Each further line is a reason to call whoever has acknowledged."""
    assert lines_passed(limit_c, fish_c) == passed
    line_c = furthest_line_c(limit_c, fish_c)
    assert (None if line_c is None else round(line_c * 1.8 + 32.0, 6)) == line_f


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
