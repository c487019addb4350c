"""What a key left out stands for, and how the file's values reach the service."""

from collections.abc import Callable
from datetime import time
from pathlib import Path

import pytest

from rimewatch.config import load_shop, read_shop, warnings_of
from rimewatch.vocabulary import Kind, Measures, Priority, Rule, Scale

Configuration = Callable[..., str]
EXAMPLE = Path(__file__).parents[3] / "config" / "saltmarsh-row.toml"

SMALLEST = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
"""


def test_smallest_file_gives_the_shop_its_defaults() -> None:
    """Name, zone and one unit are enough to begin with."""
    shop = load_shop(SMALLEST)

    assert (shop.display, shop.summary_at) == (Scale.CELSIUS, time(6, 30))
    assert (shop.broker.url, shop.broker.client_id) == ("mqtt://127.0.0.1:1883", "rimewatch")
    assert shop.broker.username is None
    assert shop.broker.password is None
    assert (shop.probes, shop.contacts, shop.night, shop.escalation) == ((), (), None, ())
    assert dict(shop.priorities) == {}


@pytest.mark.parametrize(
    ("kind", "limit_c"),
    [
        (Kind.DISPLAY_CASE, 5.0),  # FDA Food Code 2022, 3-501.16(A)(2): 5 °C (41 °F)
        (Kind.WALK_IN, 5.0),  # likewise
        (Kind.FREEZER, -18.0),  # Directive 89/108/EEC, article 1: −18 °C (from memory)
        (Kind.ULTRA_LOW_FREEZER, -60.0),  # common practice, no source
    ],
)
def test_unit_without_limit_takes_its_kinds(
    configuration: Configuration, kind: Kind, limit_c: float
) -> None:
    """Each kind of unit has a limit of its own."""
    unit = load_shop(configuration(unit={"kind": f'"{kind}"'})).units[0]

    assert unit.limit_c == limit_c
    assert unit.operating_limit_c is None
    assert (unit.deadband_c, unit.on_delay_s, unit.lag_s) == (0.5, 900.0, 1200.0)
    assert (unit.defrost, unit.door_open_s, unit.laxer_because) == ((), 300.0, "")


@pytest.mark.parametrize(
    ("measures", "every_s", "stale_s", "plausible_c"),
    [
        (Measures.AIR, 60.0, 180.0, (-90.0, 60.0)),
        (Measures.PRODUCT, 60.0, 180.0, (-90.0, 60.0)),
        (Measures.HUMIDITY, 60.0, 180.0, (0.0, 100.0)),
        (Measures.DOOR, None, None, (0.0, 1.0)),
        (Measures.WATER, None, None, (0.0, 1.0)),
    ],
)
def test_probe_without_more_takes_what_its_measure_calls_for(
    configuration: Configuration,
    measures: Measures,
    every_s: float | None,
    stale_s: float | None,
    plausible_c: tuple[float, float],
) -> None:
    """A thermometer speaks every minute; a door speaks when it moves."""
    probe = load_shop(configuration(probe={"measures": f'"{measures}"'})).probes[0]

    assert (probe.every_s, probe.stale_s, probe.plausible_c) == (every_s, stale_s, plausible_c)
    assert (probe.uncertainty_c, probe.offset_c, probe.slope) == (0.3, 0.0, 1.0)
    assert (probe.scale, probe.battery_low) == (Scale.CELSIUS, None)


def test_door_with_an_interval_can_be_stale(configuration: Configuration) -> None:
    """A contact that reports regularly is missed like any other probe."""
    probe = load_shop(configuration(probe={"measures": '"door"', "every_s": "600"})).probes[0]

    assert (probe.every_s, probe.stale_s) == (600.0, 1800.0)


def test_stale_time_written_outright_stands(configuration: Configuration) -> None:
    """A shop may wait longer, or less, than three intervals."""
    probe = load_shop(configuration(probe={"every_s": "60", "stale_s": "60"})).probes[0]

    assert probe.stale_s == 60.0


@pytest.mark.parametrize(
    ("keys", "form", "fields"),
    [
        ({}, "number", {}),
        ({"format": '"json"'}, "json", {"value": "value"}),
        ({"fields": '{ value = "t" }'}, "json", {"value": "t"}),
        ({"fields": '{ time = "ts" }'}, "json", {"value": "value", "time": "ts"}),
        ({"format": '"senml"'}, "senml", {}),
        ({"format": '"senml"', "fields": '{ value = "temp" }'}, "senml", {"value": "temp"}),
        (
            {
                "format": '"sparkplug"',
                "topic": '"spBv1.0/fish/+/node-1"',
                "fields": '{ value = "T", battery = "b" }',
            },
            "sparkplug",
            {"value": "T", "battery": "b"},
        ),
    ],
)
def test_format_and_fields_complete_each_other(
    configuration: Configuration, keys: dict[str, str], form: str, fields: dict[str, str]
) -> None:
    """Fields mean JSON; JSON without fields has its value under "value"."""
    probe = load_shop(configuration(probe=keys)).probes[0]

    assert (probe.format, dict(probe.fields)) == (form, fields)


@pytest.mark.parametrize(
    ("text", "length_s"), [("30m", 1800.0), ("1h", 3600.0), ("90s", 90.0), ("1h30m", 5400.0)]
)
def test_defrost_gives_local_start_and_length(
    configuration: Configuration, text: str, length_s: float
) -> None:
    """Windows are written as people set the timer."""
    (window,) = load_shop(configuration(unit={"defrost": f'["14:05/{text}"]'})).units[0].defrost

    assert (window.start, window.length_s) == (time(14, 5), length_s)


@pytest.mark.parametrize(
    ("url", "full"),
    [
        ("mqtt://broker.local", "mqtt://broker.local:1883"),
        ("mqtts://broker.local", "mqtts://broker.local:8883"),
        ("mqtt://127.0.0.1:1884/", "mqtt://127.0.0.1:1884"),
        ("mqtt://[::1]", "mqtt://[::1]:1883"),
        ("ws://broker.local", "ws://broker.local:80/mqtt"),
        ("wss://broker.local:9443/rime/", "wss://broker.local:9443/rime"),
    ],
)
def test_broker_without_port_takes_the_registered_one(
    configuration: Configuration, url: str, full: str
) -> None:
    """IANA: 1883 for MQTT, 8883 over TLS; RFC 6455, section 3: 80 and 443 for WebSocket."""
    assert load_shop(configuration(broker={"url": f'"{url}"'})).broker.url == full


def test_night_without_wake_for_wakes_for_high_alone(configuration: Configuration) -> None:
    """At night the phone sounds only when fish is at risk."""
    night = load_shop(configuration()).night

    assert night is not None
    assert (night.begins, night.ends) == (time(21), time(6))
    assert night.wake_for == {Priority.HIGH}


def test_toml_local_time_is_taken_for_a_quoted_one(configuration: Configuration) -> None:
    """TOML has times of its own; they mean the same."""
    assert load_shop(configuration(shop={"summary_at": "05:45:00"})).summary_at == time(5, 45)


def test_contacts_without_escalation_are_all_told_at_once_and_again() -> None:
    """Whoever writes contacts down wants them told: silence is the dangerous reading."""
    contacts = """
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:9000/"]
[[contact]]
id = "second"
name = "Owner"
urls = ["json://127.0.0.1:9000/"]
"""
    (step,) = load_shop(SMALLEST + contacts).escalation

    assert (step.after_s, step.contacts, step.repeat_s) == (0.0, ("first", "second"), 900.0)


def test_priorities_of_the_shop_are_kept(configuration: Configuration) -> None:
    """A shop may hold a silent probe for urgent."""
    shop = load_shop(configuration('[priorities]\nstale = "high"\npower-loss = "medium"\n'))

    assert dict(shop.priorities) == {Rule.STALE: Priority.HIGH, Rule.POWER_LOSS: Priority.MEDIUM}


def test_stricter_limit_needs_no_reason(configuration: Configuration) -> None:
    """A shop may always keep its fish colder than the code asks."""
    assert load_shop(configuration(unit={"limit_c": "2"})).units[0].limit_c == 2.0


def test_laxer_limit_with_its_reason_is_kept_with_it(configuration: Configuration) -> None:
    """A variance is granted in writing; the record shows it."""
    unit = load_shop(
        configuration(unit={"limit_c": "7", "laxer_because": '"variance 12, 2026-01-15"'})
    ).units[0]

    assert (unit.limit_c, unit.laxer_because) == (7.0, "variance 12, 2026-01-15")


def test_freezer_may_be_warmer_than_a_case_could(configuration: Configuration) -> None:
    """The cold-holding provision is about cold holding."""
    unit = load_shop(configuration(unit={"kind": '"freezer"', "limit_c": "-15"})).units[0]

    assert unit.limit_c == -15.0


def test_unit_without_probe_is_accepted(configuration: Configuration) -> None:
    """A unit may be written down before its probe has arrived; a warning says so."""
    shop = load_shop(configuration(probe={"measures": '"door"'}))

    assert shop.governing_probes(shop.units[0].id) == ()


def test_example_loads_as_described_and_without_warnings() -> None:
    """The example in the repository is the shop of the manual."""
    shop = read_shop(EXAMPLE, {})

    assert (shop.timezone, shop.display) == ("America/Chicago", Scale.FAHRENHEIT)
    assert {unit.id: (unit.kind, unit.limit_c) for unit in shop.units} == {
        "case-1": (Kind.DISPLAY_CASE, 5.0),
        "case-2": (Kind.DISPLAY_CASE, 5.0),
        "walk-in": (Kind.WALK_IN, 5.0),
        "freezer-1": (Kind.FREEZER, -18.0),
        "ulf-1": (Kind.ULTRA_LOW_FREEZER, -60.0),
    }
    case = shop.units[0]
    assert case.operating_limit_c == 3.3
    assert [(w.start, w.length_s) for w in case.defrost] == [(time(2), 1500.0), (time(14), 1500.0)]
    assert {probe.id: (probe.topic, probe.format) for probe in shop.probes} == {
        "case-1-air": ("shop/case-1/air", "json"),
        "case-1-door": ("shop/case-1/door", "json"),
        "case-2-air": ("shop/case-2/air", "json"),
        "case-2-product": ("shop/case-2/product", "json"),
        "walk-in-air": ("shop/walk-in/air", "json"),
        "walk-in-door": ("shop/walk-in/door", "json"),
        "freezer-1-air": ("shop/freezer-1/air", "number"),
        "ulf-1-product": ("shop/ulf-1/product", "json"),
        "ulf-1-air": ("shop/ulf-1/air", "json"),
    }
    assert [p.id for p in shop.probes if p.scale is Scale.FAHRENHEIT] == ["walk-in-air"]
    assert [(s.after_s, s.contacts, s.repeat_s) for s in shop.escalation] == [
        (0.0, ("first",), 900.0),
        (1200.0, ("second",), None),
    ]
    (warning,) = warnings_of(shop)
    assert warning.startswith("[watch] has no heartbeat_url")  # each shop has one of its own
