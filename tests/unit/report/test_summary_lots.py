"""How the morning summary tells each lot on its way to being servable raw."""

from report_nights import bad_ledger, quiet_ledger, summary_of

from rimewatch.report.summary_document import file_text


class TestLots:
    def test_completion_is_expected_the_missing_hours_from_now(self) -> None:
        """168 h less 121.5 h from Monday 06:30 is Wednesday 05:00."""
        text = " ".join(file_text(summary_of(quiet_ledger())).split())

        assert "in its freezing hold, complete Wed 4 March 05:00 CST at the earliest" in text

    def test_exempt_lot_says_what_that_leaves_open_and_what_is_missing(self) -> None:
        """Exempt from freezing is not free of every hazard."""
        ledger = quiet_ledger()
        ledger["lots"][2] |= {
            "species": "yellowfin tuna",
            "remaining_hazards": ["It can form scombrotoxin (histamine) if it gets warm."],
            "statement_missing": True,
            "received_too_warm": True,
        }
        summary = summary_of(ledger)
        text = " ".join(file_text(summary).split())

        assert "Lot L2 (yellowfin tuna): not for raw service: what is recorded speaks" in text
        assert "No freezing called for." in text
        assert "It can form scombrotoxin (histamine) if it gets warm." in text
        assert "It came in above 5 °C (41 °F), to be refused" in text
        assert [todo.text for todo in summary.todos] == [
            (
                "Lot L2: not for raw service: what is recorded speaks against it; "
                "keep it off the raw counter."
            ),
            "Lot L2: record the supplier’s written statement.",
        ]

    def test_hold_not_yet_counting_has_no_expected_time(self) -> None:
        """No promise before the first cold."""
        ledger = quiet_ledger()
        ledger["lots"][0] |= {"started": None, "credited_h": 0.0}
        summary = summary_of(ledger)

        assert "at the earliest" not in file_text(summary)
        assert "Lot L1: in the freezer, hold not counting yet" in file_text(summary)

    def test_interruption_of_an_earlier_night_is_not_told_again(self) -> None:
        """The news is this night's."""
        ledger = quiet_ledger()
        ledger["lots"][0]["interruptions"] = [
            {
                "start": "2026-02-26T08:00:00Z",
                "end": "2026-02-26T09:00:00Z",
                "peak_c": -17.0,
                "reason": "warm",
            }
        ]

        assert summary_of(ledger).lots[0].set_back == ()

    def test_hold_set_back_by_a_gap_says_no_readings(self) -> None:
        """Nobody should look for warmth where there was silence."""
        ledger = bad_ledger()
        ledger["lots"][0]["interruptions"][0] |= {"reason": "gap", "peak_c": None}

        assert "Set back 01:21–02:15 CST (no readings)" in file_text(summary_of(ledger))

    def test_hold_still_interrupted_does_not_count_yet(self) -> None:
        """The freezer is warm while the summary is read."""
        ledger = bad_ledger()
        ledger["lots"][0] |= {"started": None, "credited_h": 0.0}
        ledger["lots"][0]["interruptions"][0]["end"] = None
        text = " ".join(file_text(summary_of(ledger)).split())

        assert "Lot L1: in the freezer, hold not counting yet" in text
        assert "the count begins, once the cold is back, again from zero." in text

    def test_withdrawn_lot_is_left_out(self) -> None:
        """Sold out is no news in the morning."""
        ledger = quiet_ledger()
        ledger["lots"][1]["state"] = "withdrawn"

        assert "L0" not in file_text(summary_of(ledger))
