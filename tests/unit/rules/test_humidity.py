"""Air that stays too damp: half an hour, measured without a gap."""

import pytest

from handmade import probe, shop, unit
from rimewatch.config import ConfigError, load_shop
from rimewatch.rules.humidity import HumidityRule, HumidityState
from rimewatch.rules.probe_rule import Finding, Sample
from rimewatch.shop import Probe, Unit
from rimewatch.vocabulary import ProbeId, UnitId

SHOP = shop(
    unit(),
    probe(),
    probe("damp", measures="humidity", humidity_high_percent=85.0),
    probe("unasked", measures="humidity"),
)
CASE: Unit = SHOP.unit[UnitId("case-1")]
DAMP: Probe = SHOP.probe[ProbeId("damp")]
MINUTE = 60_000
RULE = HumidityRule()


def after(*said: tuple[float, float]) -> Finding | None:
    """Return what is found after samples, each a minute and a percentage."""
    state: HumidityState = RULE.start(CASE, DAMP, 0)
    finding = None
    for minute, percent in said:
        state = RULE.step(state, Sample(round(minute * MINUTE), percent))
        finding = RULE.finding(state, round(minute * MINUTE))
    return finding


def each_minute(first: int, last: int, percent: float) -> list[tuple[float, float]]:
    """Return samples of one percentage, a minute apart."""
    return [(float(minute), percent) for minute in range(first, last + 1)]


def test_only_a_probe_with_a_line_is_asked() -> None:
    """The rule is off by default."""
    asked = [probe.id for probe in SHOP.probes if RULE.applies(CASE, probe)]

    assert asked == ["damp"]


def test_half_an_hour_above_the_line_is_too_damp() -> None:
    """A minute less is a door, or a defrost."""
    assert after(*each_minute(5, 34, 85.1)) is None
    found = after(*each_minute(5, 35, 85.1))
    assert found is not None
    assert (found.since_ms, found.detail) == (5 * MINUTE, "damp: above 85 % relative humidity")


def test_at_the_line_it_is_not_above_it() -> None:
    """The line itself is allowed."""
    assert after(*each_minute(0, 120, 85.0)) is None


@pytest.mark.parametrize(("percent", "is_over"), [(82.1, False), (82.0, True)])
def test_air_must_come_well_below_the_line_to_be_dry_again(percent: float, is_over: bool) -> None:
    """Two readings of one hygrometer differ by some percent."""
    found = after(*each_minute(0, 40, 90.0), (41.0, percent))

    assert (found is None) is is_over


def test_silence_is_not_damp_time() -> None:
    """A gap before the half hour is full begins it anew; what was found stays found."""
    assert after(*each_minute(0, 10, 90.0), (50.0, 90.0)) is None
    assert after(*each_minute(0, 10, 90.0), (50.0, 84.0), *each_minute(51, 75, 84.0)) is None
    found = after(*each_minute(0, 30, 90.0), (90.0, 90.0))
    assert found is not None
    assert found.since_ms == 0


def test_line_on_another_probe_is_refused() -> None:
    """A line that would never be looked at is worse than none."""
    with pytest.raises(ConfigError, match=r"humidity_high_percent.*only where measures"):
        load_shop(
            """
            [shop]
            name = "Saltmarsh Row Fish"
            timezone = "UTC"
            [broker]
            url = "mqtt://127.0.0.1:1883"
            [[unit]]
            id = "case-1"
            name = "Case"
            kind = "display-case"
            [[probe]]
            id = "case-1-air"
            unit = "case-1"
            measures = "air"
            topic = "shop/case-1/air"
            humidity_high_percent = 85
            """
        )
