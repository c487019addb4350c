"""What the morning summary makes of a bare ledger, of a full one, and of a broken one."""

import copy
import math
from typing import Any

import pytest
from report_nights import (
    FROM_MS,
    TO_MS,
    an_excursion,
    bad_ledger,
    iso,
    ms,
    quiet_ledger,
    shop,
    summary_of,
)

from rimewatch.report.render_text import file_text
from rimewatch.vocabulary import Scale


class TestOptionalKeys:
    def test_bare_contract_ledger_is_enough(self) -> None:
        """Without any further key there is still a summary, and it still warns."""
        ledger = bad_ledger()
        for key in ("probes", "quarantine", "corrective_actions"):
            del ledger[key]
        for unit in ledger["units"].values():
            for key in ("doors", "defrosts", "gaps"):
                unit.pop(key, None)
            for excursion in unit["excursions"]:
                for key in ("explanation", "fish_c", "found_late"):
                    excursion.pop(key, None)
        text = file_text(summary_of(ledger))

        assert "Front display case got warm, up to 44.6 °F." in text
        assert "17 messages set aside" in text
        assert "Door" not in text

    def test_found_late_is_said(self) -> None:
        """A probe's backlog told it after the night."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [an_excursion(found_late=True, alarmed=False)]
        text = file_text(summary_of(ledger))

        assert "Found late, in readings that came in afterwards." in text
        assert "It raised no alarm." in text

    def test_excursion_of_a_unit_no_longer_configured_keeps_its_recorded_name(self) -> None:
        """Taking a unit out of the file does not take its night out of the record."""
        ledger = quiet_ledger()
        ledger["units"]["case-9"] = copy.deepcopy(ledger["units"]["case-1"]) | {
            "name": "Old corner case",
            "excursions": [an_excursion()],
        }
        text = file_text(summary_of(ledger))

        assert "Old corner case, 02:11–03:14 CST" in text
        assert "Peak 44.6 °F; above its limit for 59 min." in text

    @pytest.mark.parametrize(
        "payload",
        [b"\xff\x00boom", "line\nbreak \x1b[31m\u202egnorw", {"base64": "AAH/"}, None, ""],
    )
    def test_quarantined_payload_of_any_kind_is_shown_harmlessly(self, payload: Any) -> None:
        """What could not be believed can be looked at without harm."""
        ledger = quiet_ledger()
        ledger["quarantined"] = 1
        ledger["quarantine"] = [
            {
                "topic": "shop/x",
                "probe": None,
                "reason": "undecodable",
                "count": 1,
                "payload_start": payload,
            }
        ]
        text = file_text(summary_of(ledger))

        assert "shop/x: could not be read" in text
        assert not set(text) & set("\x00\x1b\u202e")


class TestBadLedgers:
    @pytest.mark.parametrize("value", [math.nan, "7", True, math.inf])
    def test_figure_that_is_no_number_is_refused(self, value: Any) -> None:
        """A summary does not print what it cannot have read."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["max_c"] = value

        with pytest.raises(ValueError, match=r"max_c is .*expected a finite number"):
            summary_of(ledger)

    @pytest.mark.parametrize("value", ["2026-03-02T08:11:00", "yesterday", 5])
    def test_time_without_zone_is_refused(self, value: Any) -> None:
        """A local time without its zone is an hour's doubt twice a year."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [an_excursion(start=value)]

        with pytest.raises(ValueError, match=r"start is .*expected a time such as"):
            summary_of(ledger)

    def test_missing_fixed_key_is_refused(self) -> None:
        """Missing time that is itself missing must not read as none."""
        ledger = quiet_ledger()
        del ledger["units"]["case-1"]["missing_s"]

        with pytest.raises(ValueError, match="missing_s is missing"):
            summary_of(ledger)

    def test_end_before_start_is_refused(self) -> None:
        """The two were swapped."""
        with pytest.raises(ValueError, match="expected the end after the start"):
            summary_of(quiet_ledger(), from_ms=TO_MS, to_ms=FROM_MS)


def test_building_a_summary_leaves_the_ledger_as_it_was() -> None:
    """The same ledger goes to the file afterwards."""
    ledger = bad_ledger()
    before = copy.deepcopy(ledger)
    summary_of(ledger)

    assert ledger == before


def test_celsius_shop_reads_celsius_throughout() -> None:
    """One scale on a page."""
    text = file_text(summary_of(bad_ledger(), of=shop(display=Scale.CELSIUS)))

    assert "°F" not in text
    assert "Peak 7.0 °C; above 5.0 °C for 59 min." in text
    assert "−20.0 °C or colder for 168 h" in text


def test_iso_and_ms_agree() -> None:
    """The builders of these tests do not deceive them."""
    assert ms(iso(TO_MS)) == TO_MS
