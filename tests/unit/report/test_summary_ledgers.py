"""What the morning summary makes of a bare ledger, and of a full one."""

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

from rimewatch.report.summary_document import file_text
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

    @pytest.mark.parametrize(
        "payload",
        ["\ufffd\x00boom", "line\nbreak \x1b[31m\u202egnorw", ""],
    )
    def test_quarantined_payload_of_any_kind_is_shown_harmlessly(self, payload: str) -> None:
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


def test_end_before_start_is_refused() -> None:
    """The two were swapped."""
    with pytest.raises(ValueError, match="expected the end after the start"):
        summary_of(quiet_ledger(), from_ms=TO_MS, to_ms=FROM_MS)


def test_celsius_shop_reads_celsius_throughout() -> None:
    """One scale on a page."""
    text = file_text(summary_of(bad_ledger(), of=shop(display=Scale.CELSIUS)))

    assert "°F" not in text
    assert "Peak 7.0 °C; above 5.0 °C for 59 min." in text
    assert "−20.0 °C or colder for 168 h" in text


def test_iso_and_ms_agree() -> None:
    """The builders of these tests do not deceive them."""
    assert ms(iso(TO_MS)) == TO_MS
