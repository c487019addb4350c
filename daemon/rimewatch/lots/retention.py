"""How long a lot's record must be kept.

Nothing in this service deletes a record; this tells until when nobody else may.
Pure: no clock, no I/O. Dates are the shop's own calendar days.

References:
    [1] FDA Food Code 2022, 3-402.12(A): 90 calendar days beyond the time of service or
        sale of the fish, so from the last sale of the lot.
"""

from datetime import date, timedelta

from rimewatch.rules.provisions_food_code import FREEZING_RECORD_DAYS


def keep_until(last_sale: date, *, keep_days: int = FREEZING_RECORD_DAYS) -> date:
    """Return the last day on which a lot's record must still be there.

    Args:
        last_sale: The local day of the lot's last sale or service.
        keep_days: Calendar days beyond it, at least the 90 of [1].

    Raises:
        ValueError: If ``keep_days`` is less.

    >>> keep_until(date(2026, 12, 2)).isoformat(), keep_until(date(2027, 12, 2)).isoformat()
    ('2027-03-02', '2028-03-01')
    """
    if keep_days < FREEZING_RECORD_DAYS:
        raise ValueError(
            f"keep_days is {keep_days}; expected at least {FREEZING_RECORD_DAYS} "
            "(FDA Food Code 2022, 3-402.12(A))"
        )
    return last_sale + timedelta(days=keep_days)
