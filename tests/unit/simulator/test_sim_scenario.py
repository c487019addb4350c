"""What a scenario file may say, and how it is refused."""

import re
from pathlib import Path

import pytest

from rimewatch_sim import ScenarioError, load_scenario, names, parse_scenario

HEAD = """
name = "tried"
about = "A scenario for a test."
shop = "saltmarsh-row"
start = "2026-03-02T20:00"
lasts = "2h"
"""


def test_shipped_scenarios_are_all_there_and_sound() -> None:
    """Every scenario that is shipped can be read, and is named like its file."""
    assert names() == [
        "busy-saturday",
        "compressor-failure",
        "dead-probe",
        "defrost-only",
        "freezing-week",
        "night-at-saltmarsh-row",
        "power-loss",
        "quiet-night",
    ]
    assert [load_scenario(name).name for name in names()] == names()


def test_shipped_shop_has_the_units_and_topics_of_the_shop() -> None:
    """The simulator speaks on the topics that the shipped configuration listens to."""
    scenario = load_scenario("quiet-night")

    assert [unit.id for unit in scenario.unit] == [
        "case-1",
        "case-2",
        "walk-in",
        "freezer-1",
        "ulf-1",
    ]
    assert {probe.id: probe.topic for probe in scenario.probe} == {
        "case-1-air": "shop/case-1/air",
        "case-1-door": "shop/case-1/door",
        "case-2-air": "shop/case-2/air",
        "case-2-product": "shop/case-2/product",
        "walk-in-air": "shop/walk-in/air",
        "walk-in-door": "shop/walk-in/door",
        "freezer-1-air": "shop/freezer-1/air",
        "ulf-1-product": "shop/ulf-1/product",
        "ulf-1-air": "shop/ulf-1/air",
    }


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name = ", "t.toml: not valid TOML"),
        (HEAD + "sped = 3", "t.toml: sped: unknown key"),
        (HEAD.replace("lasts", "last"), "lasts: missing"),
        (HEAD.replace('"2h"', '"two hours"'), '"two hours" is not a duration'),
        (HEAD.replace("20:00", "20.00"), '"2026-03-02T20.00" is not a local date'),
        (HEAD + 'timezone = "Mars/Olympus"', '"Mars/Olympus" is not a time zone'),
        (HEAD.replace("saltmarsh-row", "nowhere"), 'shop is "nowhere"; expected one of'),
        (HEAD + "seed = -1", "seed: is -1"),
        (HEAD + "ambient_c = nan", "ambient_c: is nan"),
        (
            HEAD + '[[event]]\nat = "21:00"\ndo = "door-open"\nunit = "case-9"\nlasts = "5m"',
            'event door-open at 21:00: unit "case-9" is not known; expected one of: case-1',
        ),
        (
            HEAD + '[[event]]\nat = "21:00"\ndo = "melt"\nunit = "case-1"',
            "event.0",
        ),
        (
            HEAD + '[[event]]\nat = "23:00"\ndo = "door-open"\nunit = "case-1"\nlasts = "5m"',
            "door-open at 23:00 is outside the scenario",
        ),
        (
            HEAD + '[[event]]\nat = "21:00"\ndo = "drop-out"\nprobe = "freezer-1-air"\n'
            'lasts = "5m"\nbacklog = true',
            "probe freezer-1-air sends no time of its own",
        ),
        (
            HEAD + '[[event]]\nat = "21:00"\ndo = "drop-out"\nprobe = "case-1-air"\nbacklog = true',
            "so the drop-out must end; set lasts",
        ),
        (
            HEAD + '[[event]]\nat = "21:00"\ndo = "fault"\nprobe = "case-1-door"\ncode = "85"',
            "is a contact and has no such codes",
        ),
        (
            HEAD + '[[event]]\nat = "21:00"\ndo = "battery"\nprobe = "ulf-1-air"\n'
            "percent = 5\nper_day = 1",
            "probe ulf-1-air has no battery",
        ),
        (
            HEAD + '[[entry]]\nat = "21:00"\ndo = "move-lot"\nlot = "L9"\nunit = "case-1"',
            'entry move-lot at 21:00: lot "L9" is not known; expected one of: none is defined',
        ),
        (
            HEAD + '[[entry]]\nat = "21:00"\ndo = "acknowledge"\nrule = "holding"',
            'acknowledge: "unit" is missing; it needs unit, rule',
        ),
        (
            HEAD + '[[entry]]\nat = "21:00"\ndo = "start-freezing"\nlot = "L9"\n'
            'unit = "ulf-1"\noption = "20C-2h"',
            "20C-2h",
        ),
        (
            HEAD + '[[event]]\nat = "21:00"\ndo = "garbage"\ntopic = "a"\npayload = "7x"\n'
            "hexadecimal = true",
            'payload is "7x"; with hexadecimal = true',
        ),
        (HEAD.replace("2h", "800d"), 'lasts is "800d"; at most two years'),
        (HEAD + 'lead_in = "2h"', 'lead_in is "2h"; it must be shorter than lasts'),
        (
            HEAD.replace("2026-03-02T20:00", "2026-03-08T02:30"),
            "2026-03-08T02:30:00 does not exist in America/Chicago",
        ),
        (
            HEAD + '[[probe]]\nid = "p"\nunit = "case-1"\nmeasures = "air"\ntopic = "a/#"',
            "probe.0.topic",
        ),
    ],
)
def test_scenario_that_is_wrong_is_refused_in_one_sentence(text: str, says: str) -> None:
    """Who writes a scenario is told which key, which value, and what would be right."""
    with pytest.raises(ScenarioError, match=re.escape(says)) as refused:
        parse_scenario(text, source="t.toml")

    assert str(refused.value).startswith("t.toml: ")
    assert "\n" not in str(refused.value)


def test_unit_whose_evaporator_is_too_warm_is_refused() -> None:
    """A plant that could never reach its set point is a slip of the pen."""
    text = """
name = "tried"
about = "One unit."
timezone = "UTC"
start = "2026-03-02T20:00"
lasts = "1h"
[[unit]]
id = "u"
name = "U"
limit_c = 5
plant = {air_j_per_k = 1000, fixtures_j_per_k = 1000, fixtures_w_per_k = 1, leak_w_per_k = 1,
 door_w_per_k = 1, fish_kg = 1, fish_lag_s = 1, evaporator_w_per_k = 1, evaporator_c = 2,
 set_c = 1, hysteresis_c = 1}
[[probe]]
id = "p"
unit = "u"
measures = "air"
topic = "p"
""".replace(",\n ", ", ")

    with pytest.raises(ScenarioError, match=r"evaporator_c is 2\.0; it must be colder"):
        parse_scenario(text, source="t.toml")


def test_scenario_that_is_not_there_is_refused_with_the_names(tmp_path: Path) -> None:
    """A slip in the name shows the names there are."""
    with pytest.raises(ScenarioError, match="quiet-night"):
        load_scenario("quite-night")
    with pytest.raises(ScenarioError, match="cannot be read: No such file"):
        load_scenario(str(tmp_path / "none.toml"))
