"""Scheduled defrosts as instants."""

from handmade import iso, ms, probe, shop, unit
from rimewatch.evaluation.defrosts import scheduled

CHICAGO = "America/Chicago"
CASE = shop(unit(defrost=["02:00/30m", "23:45/30m"]), probe()).units[0]


def times(from_text: str, to_text: str) -> list[tuple[str, str]]:
    """Return the defrosts of a period, as text."""
    found = scheduled(CASE, CHICAGO, ms(from_text), ms(to_text))
    return [(iso(start)[:16], iso(end)[:16]) for start, end in found]


def test_defrosts_of_a_day_are_at_their_local_times() -> None:
    """02:00 and 23:45 in Chicago are 08:00 and 05:45 UTC."""
    assert times("2026-03-02T06:00:00Z", "2026-03-03T05:59:59Z") == [
        ("2026-03-02T05:45", "2026-03-02T06:15"),
        ("2026-03-02T08:00", "2026-03-02T08:30"),
        ("2026-03-03T05:45", "2026-03-03T06:15"),
    ]


def test_defrost_that_only_touches_a_period_belongs_to_it() -> None:
    """One that ends at the period's start, one that begins at its end."""
    assert times("2026-03-02T08:30:00Z", "2026-03-03T05:45:00Z") == [
        ("2026-03-02T08:00", "2026-03-02T08:30"),
        ("2026-03-03T05:45", "2026-03-03T06:15"),
    ]
    assert times("2026-03-02T08:30:01Z", "2026-03-03T05:44:59Z") == []


def test_defrost_on_the_days_of_the_clock_changes_comes_once() -> None:
    """02:00 does not exist on 8 March (it is 03:00 CDT), and 1 November has it once."""
    assert times("2026-03-08T07:00:00Z", "2026-03-08T12:00:00Z") == [
        ("2026-03-08T08:00", "2026-03-08T08:30")
    ]
    assert times("2026-11-01T06:00:00Z", "2026-11-01T12:00:00Z") == [
        ("2026-11-01T08:00", "2026-11-01T08:30")
    ]


def test_unit_without_a_schedule_has_no_defrost() -> None:
    """Nothing is guessed."""
    plain = shop(unit(), probe()).units[0]

    assert scheduled(plain, CHICAGO, 0, 10**12) == []
