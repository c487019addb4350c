"""Power lost on several units is told from doors, defrosts and compressors."""

from dataclasses import replace

import pytest

from rimewatch.rules import power_loss
from rimewatch.rules.power_loss import Outage, Warming
from rimewatch.rules.usual import Again, Departure
from rimewatch.vocabulary import UnitId

MINUTE = 60_000


def warming(unit: str, begins: float, seen: float, *, now: float = 30, **keys: object) -> Warming:
    """A unit whose air was calm until one minute and above its band from another."""
    departure = Departure(
        usual_c=1.0,
        top_c=2.0,
        from_ms=round(begins * MINUTE),
        left_ms=round(seen * MINUTE),
        peak_c=6.0,
        peak_ms=round(now * MINUTE),
        last_ms=round(now * MINUTE),
        last_c=6.0,
    )
    explained = bool(keys.pop("explained", False))
    return Warming(
        unit=UnitId(unit),
        departure=replace(departure, **keys),  # type: ignore[arg-type]
        explained=explained,
    )


TOGETHER = [warming("a", 2, 8), warming("b", 5, 9), warming("c", 4, 14)]


def test_units_that_warm_from_one_moment_have_lost_power() -> None:
    """Every unit is named, and the moment lies after each was calm."""
    found = power_loss.find(TOGETHER, 4, 30 * MINUTE)

    assert found == Outage(since_ms=5 * MINUTE, units=(UnitId("a"), UnitId("b"), UnitId("c")))


@pytest.mark.parametrize(
    "units",
    [
        pytest.param([warming("a", 2, 8)], id="one compressor"),
        pytest.param([warming("a", 2, 8), warming("b", 20, 25)], id="not at the same moment"),
        pytest.param(
            [warming("a", 2, 8, explained=True), warming("b", 4, 9, explained=True)],
            id="defrosts at the same time",
        ),
        pytest.param([warming("a", 2, 8), warming("b", 4, 9, last_c=3.0)], id="one comes back"),
        pytest.param([warming("a", 2, 26), warming("b", 4, 27)], id="too young"),
        pytest.param(
            [
                warming("a", 2, 8, again=Again(from_ms=20 * MINUTE, from_c=3.0, peak_c=6.0)),
                warming("b", 4, 9),
            ],
            id="one had come back from its door, and defrosts",
        ),
    ],
)
def test_units_that_do_not_warm_together_have_power(units: list[Warming]) -> None:
    """Two of three units, and still no power loss."""
    assert power_loss.find(units, 3, 30 * MINUTE) is None


def test_unit_that_was_on_its_way_back_from_its_door_rises_with_the_others() -> None:
    """What begins anew is held against the moment, not the door before."""
    again = Again(from_ms=15 * MINUTE, from_c=3.0, peak_c=6.0)

    found = power_loss.find([warming("a", 2, 8, again=again), warming("b", 12, 18)], 2, 30 * MINUTE)

    assert found == Outage(since_ms=15 * MINUTE, units=(UnitId("a"), UnitId("b")))


def test_less_than_half_of_the_units_is_no_loss_of_power() -> None:
    """Three units of seven may be three doors on a busy morning."""
    assert power_loss.find(TOGETHER, 6, 30 * MINUTE) is not None
    assert power_loss.find(TOGETHER, 7, 30 * MINUTE) is None


def test_power_is_back_when_most_units_cool_again() -> None:
    """One unit that stays warm does not keep everybody waiting."""
    outage = Outage(since_ms=0, units=(UnitId("a"), UnitId("b"), UnitId("c")))
    warm = TOGETHER[0].departure
    cooling = replace(warm, last_c=4.0)

    assert not power_loss.is_back(outage, [warm, warm, cooling])
    assert power_loss.is_back(outage, [warm, cooling, cooling])
    assert power_loss.is_back(outage, [warm, None, cooling])


def test_unit_that_was_in_its_defrost_joins_when_it_does_not_come_back() -> None:
    """Power may go while a case is warm already."""
    outage = Outage(since_ms=20 * MINUTE, units=(UnitId("a"), UnitId("b")))

    assert not power_loss.joins(outage, warming("c", 0, 4, now=45))
    assert power_loss.joins(outage, warming("c", 0, 4, now=51))
    assert not power_loss.joins(outage, warming("c", 0, 4, now=51, last_c=2.5))
    assert power_loss.joins(outage, warming("d", 15, 90, now=95))
    assert not power_loss.joins(outage, warming("e", 60, 90, now=95))


def test_two_units_are_enough_where_they_are_most_of_those_measured() -> None:
    """A small shop has no third."""
    found = power_loss.find(TOGETHER[:2], 3, 30 * MINUTE)

    assert found is not None
    assert found.units == (UnitId("a"), UnitId("b"))


def test_only_units_that_fit_the_moment_are_named() -> None:
    """A door opened an hour later is no part of it."""
    later = warming("c", 60, 64, now=90)
    found = power_loss.find([*TOGETHER[:2], later], 4, 90 * MINUTE)

    assert found is not None
    assert found.units == (UnitId("a"), UnitId("b"))


def test_moment_lies_no_later_than_the_first_unit_was_seen_warm() -> None:
    """Though another was still calm then: each may lag behind the moment."""
    found = power_loss.find([warming("a", 2, 8), warming("b", 10, 12)], 3, 30 * MINUTE)

    assert found is not None
    assert found.since_ms == 8 * MINUTE


def test_two_of_three_units_are_looked_at_before_anybody_is_told() -> None:
    """Two defrosts that nobody typed begin in the same minute on many a day."""
    two = TOGETHER[:2]
    found = Outage(since_ms=5 * MINUTE, units=(UnitId("a"), UnitId("b")))

    assert not power_loss.may_tell(found, two, 3, 40 * MINUTE)
    assert power_loss.may_tell(found, two, 3, 9 * MINUTE + power_loss.PATIENT_FOR_MS)


def test_all_of_three_units_are_no_chance() -> None:
    """Three of three are told as soon as they are found; two of two are not."""
    units = (UnitId("a"), UnitId("b"), UnitId("c"))

    assert power_loss.may_tell(Outage(since_ms=5 * MINUTE, units=units), TOGETHER, 3, 30 * MINUTE)
    assert not power_loss.may_tell(
        Outage(since_ms=5 * MINUTE, units=units[:2]), TOGETHER[:2], 2, 30 * MINUTE
    )
