"""The first line of the morning summary: what the cold did, soberly."""

import re
from typing import Any

import pytest
from report_nights import an_excursion, bad_ledger, quiet_ledger, summary_of

from rimewatch.report.facts import State
from rimewatch.report.push_text import push_text, summary_message
from rimewatch.report.summary_document import file_text


class TestVerdict:
    def test_quiet_night_is_all_cold_held_and_nothing_to_do(self) -> None:
        """The best morning is two short sentences."""
        assert summary_of(quiet_ledger()).headline == "All cold held. Nothing to do."

    def test_air_above_the_limit_in_a_defrost_is_no_warm_night(self) -> None:
        """Air is not fish: a defrost every night must not cry wolf every morning."""
        summary = summary_of(quiet_ledger())

        assert summary.units[0].account.above_limit_s == 1140.0
        assert summary.state is State.HELD

    def test_one_gap_of_any_length_is_not_proven(self) -> None:
        """Missing data is never cold."""
        ledger = quiet_ledger()
        ledger["units"]["walk-in"]["missing_s"] = 200.0
        summary = summary_of(ledger)

        assert summary.state is State.NOT_PROVEN
        assert summary.headline == (
            "Cold not proven: Walk-in cooler was unmonitored for 3 min. One thing to do."
        )

    def test_warm_case_leads_and_doubt_follows(self) -> None:
        """The gravest is read first."""
        assert summary_of(bad_ledger()).verdict == (
            "Front display case got warm, up to 44.6 °F.",
            "Cold not proven: Side display case was unmonitored for 42 min.",
            "One freezing hold set back.",
            "Eight things to do.",
        )

    def test_fish_above_the_limit_for_seconds_without_excursion_is_warm(self) -> None:
        """Too short for an alarm is not too short for the record."""
        ledger = quiet_ledger()
        ledger["units"]["case-2"]["governing_above_limit_s"] = 20.0

        assert summary_of(ledger).headline.startswith("Side display case got warm.")

    def test_early_line_alone_leaves_the_cold_held(self) -> None:
        """The operating limit lies inside the critical one."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [
            an_excursion(rule="operating-limit", peak_c=3.9, above_s=1200.0)
        ]
        summary = summary_of(ledger)

        assert summary.verdict[0] == "All cold held."
        assert "above its operating limit 37.9 °F for 20 min" in file_text(summary)

    def test_early_line_on_the_way_to_the_limit_is_not_told_twice(self) -> None:
        """One warm spell is one paragraph, and one task."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [
            an_excursion(rule="operating-limit", start="2026-03-02T08:01:00Z", end=None),
            an_excursion(end=None),
        ]
        ledger["alarms"] = [
            {
                "unit": "case-1",
                "rule": "operating-limit",
                "priority": "medium",
                "raised": "2026-03-02T08:16:00Z",
                "acknowledged": None,
                "returned": None,
                "woke": False,
            }
        ]
        summary = summary_of(ledger)

        assert (
            "operating limit"
            not in file_text(summary).partition("EXCURSIONS")[2].partition("LOTS")[0]
        )
        assert len(summary.todos) == 2

    def test_open_excursion_says_it_still_is(self) -> None:
        """Whoever reads it over coffee must get up."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [an_excursion(end=None)]
        summary = summary_of(ledger)

        assert summary.verdict[0] == "Front display case got warm, up to 44.6 °F and still is."
        assert summary.todos[0].text.startswith("Front display case is still above 41.0 °F: move")

    def test_two_warm_units_are_counted_and_named(self) -> None:
        """Both names stand in the first line."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [an_excursion()]
        ledger["units"]["freezer-1"]["excursions"] = [
            an_excursion(rule="freezer", peak_c=-15.0, end=None)
        ]

        assert summary_of(ledger).verdict[0] == (
            "Two units got warm: Front display case and Chest freezer; one still is."
        )

    def test_silence_all_night_proves_nothing(self) -> None:
        """No readings is not a quiet night."""
        ledger = quiet_ledger()
        for unit in ledger["units"].values():
            unit |= {"readings": 0, "missing_s": 86400.0, "min_c": None, "max_c": None}
            unit |= {"mean_c": None, "kinetic_c": None}
        summary = summary_of(ledger)

        assert summary.verdict[0] == "Nothing was measured: the cold is not proven."
        assert "never above" not in file_text(summary)

    @pytest.mark.parametrize("ledger", [quiet_ledger(), bad_ledger()])
    def test_the_word_safe_is_never_said(self, ledger: dict[str, Any]) -> None:
        """A thermometer does not know it; the cautions stand at the foot instead."""
        summary = summary_of(ledger)
        text = f"{file_text(summary)} {push_text(summary)} {summary_message(summary).title}"

        assert not re.search(r"\bsafe\b|\bunsafe\b", text, re.IGNORECASE)
        assert "not a guarantee of food safety" in " ".join(text.split())
        assert "The person in charge decides" in text
        assert "Local codes and the licensed authority come first." in text
