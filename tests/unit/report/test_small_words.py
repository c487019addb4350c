"""Small words that a person stumbles over when they are wrong."""

from report_nights import TO_MS, quiet_ledger, summary_of

from rimewatch.report.page import page
from rimewatch.report.push_text import _as_many_as_fit


def test_summary_of_a_few_minutes_says_them() -> None:
    """Asked for right after the start, it covers no "0.11 h"."""
    summary = summary_of(quiet_ledger(), from_ms=TO_MS - 400_000)

    assert page(summary).period.endswith(", 7 min")


def test_one_lot_that_does_not_fit_is_one() -> None:
    """Never "1 more lots"."""
    assert _as_many_as_fit(["a" * 30, "b" * 30], 50, "lots").endswith("… and 1 more lot")
