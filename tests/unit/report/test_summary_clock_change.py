"""Mornings after a night in which the clocks were changed."""

import pytest
from report_nights import ms, quiet_ledger, shop, summary_of

from rimewatch.report.page import page
from rimewatch.report.push_text import push_text


class TestNightsOfClockChange:
    @pytest.mark.parametrize(
        ("begins", "ends", "note"),
        [
            (
                "2026-03-07T12:30:00Z",
                "2026-03-08T11:30:00Z",
                "The clocks went forward 1 h at 02:00 CST: this is 23 h, not 24 h.",
            ),
            (
                "2026-10-31T11:30:00Z",
                "2026-11-01T12:30:00Z",
                "The clocks went back 1 h at 02:00 CDT: this is 25 h, not 24 h.",
            ),
        ],
    )
    def test_chicago_says_how_long_the_day_was(self, begins: str, ends: str, note: str) -> None:
        """A hold of seven local days over the change is an hour short: the page says so."""
        summary = summary_of(quiet_ledger(), from_ms=ms(begins), to_ms=ms(ends))

        assert page(summary).clock_note == note
        assert note in push_text(summary)

    def test_lord_howe_moves_by_half_an_hour(self) -> None:
        """Not every zone moves by whole hours."""
        summary = summary_of(
            quiet_ledger(),
            of=shop(timezone="Australia/Lord_Howe"),
            from_ms=ms("2026-10-03T06:30:00Z"),
            to_ms=ms("2026-10-04T06:00:00Z"),
        )

        assert page(summary).clock_note == (
            "The clocks went forward 30 min at 02:00 UTC+1030: this is 23.5 h, not 24 h."
        )

    def test_ordinary_night_says_nothing_about_clocks(self) -> None:
        """Only news is told."""
        seen = page(summary_of(quiet_ledger()))

        assert seen.clock_note == ""
        assert seen.night == "Night to Monday 2 March 2026"
        assert seen.period == "Sun 1 March 06:30 CST to Mon 2 March 06:30 CST, 24 h"
