"""What is heard and watches nothing yet, as a probe that only wants its place."""

from handmade import shop, timed_probe, unit
from rimewatch.intake.placing import placeable, unplaced
from rimewatch.intake.survey import Survey

AT_MS = 1_772_452_800_000


def heard(*messages: tuple[str, str]) -> Survey:
    """Return what was heard: each message three times, a minute apart."""
    survey = Survey()
    for number in range(3):
        for topic, payload in messages:
            survey.add(topic, payload.encode(), AT_MS + 60_000 * number)
    return survey


def test_thermometer_is_ready_to_be_placed() -> None:
    """The table reads it; its id and its unit are for whoever places it."""
    survey = heard(("shop/garage/air", '{"temperature": -20.5, "battery": 88}'))
    (found,) = placeable(survey.guesses(), "UTC")

    assert (found.name, found.kind) == ("garage", "freezer")
    assert found.table == {
        "measures": "air",
        "topic": "shop/garage/air",
        "format": "json",
        "fields": {"value": "temperature", "battery": "battery"},
        "every_s": 60,
    }


def test_contact_alone_is_ready_too_though_it_tells_no_kind_of_unit() -> None:
    """A door that is put on later has no thermometer in its messages."""
    (found,) = placeable(heard(("shop/case-1/door", '{"open": false}')).guesses(), "UTC")

    assert (found.name, found.kind) == ("case-1", "")
    assert found.table["measures"] == "door"


def test_what_a_probe_reads_already_is_not_new() -> None:
    """By its topic, wildcards included, and by the value it takes from it."""
    own = shop(
        unit(),
        timed_probe("air", topic="shop/+/air"),
    )
    survey = heard(
        ("shop/case-1/air", '{"t": 2.1}'),
        ("shop/case-2/box", '{"temperature": 3.1}'),
    )
    found = placeable(survey.guesses(), "UTC")

    assert len(found) == 2
    assert [each.guess.topic for each in unplaced(found, own.probes)] == ["shop/case-2/box"]


def test_what_nobody_understands_is_not_offered() -> None:
    """It is named on the page, and added by hand."""
    assert placeable(heard(("other/thing", "hello")).guesses(), "UTC") == []
