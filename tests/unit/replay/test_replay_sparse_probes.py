"""Probes that send every five to fifteen minutes: what lasts between two readings."""

from typing import Any

import pytest
from watched import Watched

from handmade import ONE_CONTACT, Paper, probe, shop, unit
from rimewatch.vocabulary import About, Rule

CASE = shop(
    unit(on_delay_s=900),
    probe("p", measures="product", every_s=900),
    ONE_CONTACT,
)


def sent(ledger: dict[str, Any]) -> list[str]:
    """Return what was sent about the case's fish, in order."""
    return [m["about"] for m in ledger["messages"] if m["rule"] == "holding"]


def shown(*celsius: float, every_s: int = 900) -> dict[str, Any]:
    """Return the ledger of some readings after two hours of cold."""
    values = [2.0] * 8 + list(celsius)
    return Paper().curve([(every_s * n, c) for n, c in enumerate(values)], "p").ledger(CASE)


def test_what_lasted_its_delay_between_two_readings_is_on_record() -> None:
    """12 °C between two readings of 2 °C: 21 min above 5 °C. It is over when it is known."""
    ledger = shown(12.0, 2.0, 2.0)

    (excursion,) = ledger["units"]["case-1"]["excursions"]
    assert excursion["above_s"] == pytest.approx(1260.0)
    assert excursion["alarmed"] is True
    (alarm,) = ledger["alarms"]
    assert (alarm["rule"], alarm["priority"]) == ("holding", "high")
    assert alarm["raised"] == alarm["returned"]
    assert alarm["woke"] is False
    assert sent(ledger) == []  # one warm reading is no reason to ring for what is over


def test_what_comes_again_and_again_between_readings_is_on_record() -> None:
    """A compressor that fails and starts: each time over before the next reading, all night."""
    ledger = shown(*[12.0, 2.0] * 4)

    excursions = ledger["units"]["case-1"]["excursions"]
    assert [e["alarmed"] for e in excursions] == [True] * 4
    assert sent(ledger) == ["raised", "returned"] * 2


def test_words_of_what_is_over_say_how_warm_it_was() -> None:
    """To call it too warm at 35.6 °F would say the opposite of what was so."""
    values = [2.0] * 8 + [12.0, 2.0] * 3
    seen = Watched(Paper().curve([(900 * n, c) for n, c in enumerate(values)], "p"), CASE)
    raised, returned = seen.of(Rule.HOLDING)[0], seen.of(Rule.HOLDING, About.RETURNED)[0]

    assert seen.words(raised).title == "case-1: fish too warm, 53.6 °F"
    assert "peak 53.6 °F" in seen.words(returned).title


def test_what_did_not_last_its_delay_is_no_alarm() -> None:
    """6 °C between two readings of 2 °C: 7.5 min above 5 °C, closed below 4.5 °C."""
    ledger = shown(6.0, 2.0, 6.0, 2.0)

    assert [e["alarmed"] for e in ledger["units"]["case-1"]["excursions"]] == [False, False]
    assert ledger["alarms"] == []
