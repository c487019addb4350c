"""How long a lot's record must be kept: FDA Food Code 2022, 3-402.12(A)."""

from datetime import date

import pytest

from rimewatch.lots.retention import keep_until


@pytest.mark.parametrize(
    ("last_sale", "kept_through"),
    [
        (date(2026, 12, 2), date(2027, 3, 2)),  # 28 days in February
        (date(2027, 12, 2), date(2028, 3, 1)),  # 29
        (date(2026, 3, 1), date(2026, 5, 30)),
    ],
)
def test_record_is_kept_90_calendar_days_beyond_the_last_sale(
    last_sale: date, kept_through: date
) -> None:
    """That day included, over a leap day and a clock change alike."""
    assert keep_until(last_sale) == kept_through


def test_record_is_kept_longer_where_the_shop_says_so() -> None:
    """A year."""
    assert keep_until(date(2026, 1, 1), keep_days=365) == date(2027, 1, 1)


def test_record_is_never_kept_for_less() -> None:
    """The code's 90 days are the least."""
    with pytest.raises(ValueError, match="keep_days is 89; expected at least 90"):
        keep_until(date(2026, 1, 1), keep_days=89)
