import pytest

from rimewatch.intake.decoders.times import instant_ms

MS = 1_772_438_400_000
"""2026-03-02T08:00:00Z."""


@pytest.mark.parametrize(
    "time",
    [
        "2026-03-02T08:00:00Z",
        "2026-03-02T08:00:00.000+00:00",
        "2026-03-02T02:00:00-06:00",
        "2026-03-02 13:30:00+05:30",
        "20260302T080000Z",
        1_772_438_400,
        1_772_438_400.0,
        1_772_438_400_000,
        "1772438400",
        "1772438400.000",
        "1772438400000",
    ],
)
def test_instant_in_any_of_the_contracts_forms_is_the_same(time: object) -> None:
    """ISO 8601 with a zone, epoch seconds and milliseconds all name one instant."""
    assert instant_ms(time) == MS


@pytest.mark.parametrize(
    "time",
    [
        "2026-03-02T08:00:00",
        "2026-03-02",
        "08:00",
        "20260302",
        "",
        "soon",
        "1_772_438_400",
        "١٧٧٢٤٣٨٤٠٠",
        True,
        None,
        [],
        0,
        86_400,
        99_999_999,
        -1_772_438_400,
        1_772_438_400_000_000,
        float("nan"),
        float("inf"),
        10**400,
        "2026-02-30T08:00:00Z",
        "2026-03-02T08:00:61Z",
    ],
)
def test_instant_without_a_zone_or_out_of_range_is_none(time: object) -> None:
    """A wall clock's time, a counter or a date names no instant, and is not guessed at."""
    assert instant_ms(time) is None


def test_instant_ranges_of_seconds_and_milliseconds_do_not_meet() -> None:
    """The watershed lies where no reading can be: seconds in 5138, milliseconds in 1973."""
    assert instant_ms(10**11 - 1) == (10**11 - 1) * 1000
    assert instant_ms(10**11) == 10**11
    assert instant_ms(10**8) == 10**11


def test_instant_keeps_milliseconds() -> None:
    """Fractions of a second survive in every form."""
    assert instant_ms(1_772_438_400.123) == MS + 123
    assert instant_ms("2026-03-02T08:00:00.123456Z") == MS + 123


@pytest.mark.parametrize("time", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"])
def test_instant_at_the_ends_of_the_calendar_is_no_error(time: object) -> None:
    """A broken clock may say anything."""
    assert instant_ms(time) is not None
