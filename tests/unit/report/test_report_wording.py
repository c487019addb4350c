"""How numbers are said: scales, durations, local times, foreign text."""

import math
from zoneinfo import ZoneInfo

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_nights import ms

from rimewatch.report import wording
from rimewatch.vocabulary import Scale

CHICAGO = ZoneInfo("America/Chicago")
UNITS: pint.UnitRegistry[float] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@given(st.floats(-95.0, 95.0))
def test_in_scale_any_temperature_agrees_with_pint(celsius: float) -> None:
    """°F is what an independent library of units says it is."""
    expected = UNITS.Quantity(celsius, "degC").to("degF").magnitude

    assert math.isclose(expected, wording.in_scale(celsius, Scale.FAHRENHEIT), abs_tol=1e-9)
    assert celsius == wording.in_scale(celsius, Scale.CELSIUS)


@given(st.floats(-50.0, 50.0))
def test_difference_in_scale_any_difference_agrees_with_pint(delta_c: float) -> None:
    """A difference has no 32 in it."""
    expected = UNITS.Quantity(delta_c, "delta_degC").to("delta_degF").magnitude

    assert math.isclose(
        expected, wording.difference_in_scale(delta_c, Scale.FAHRENHEIT), abs_tol=1e-9
    )


def test_temperature_food_code_lines_read_as_printed() -> None:
    """The Food Code prints 41 °F (5 °C), −4 °F (−20 °C) and −31 °F (−35 °C): so do we."""
    said = [wording.temperature(c, Scale.FAHRENHEIT) for c in (5.0, -20.0, -35.0)]

    assert said == ["41.0 °F", "−4.0 °F", "−31.0 °F"]


def test_temperature_just_below_zero_has_no_minus_zero() -> None:
    """Nobody should wonder what −0.0 °C means."""
    assert wording.temperature(-0.04, Scale.CELSIUS) == "0.0 °C"


def test_temperature_difference_half_a_kelvin_reads_nine_tenths_fahrenheit() -> None:
    """A deadband of 0.5 °C is 0.9 °F, not 32.9 °F."""
    assert wording.temperature_difference(0.5, Scale.FAHRENHEIT) == "0.9 °F"


def test_temperature_range_says_its_unit_once() -> None:
    """A range is read in one go."""
    assert wording.temperature_range(-24.1, 1.0, Scale.CELSIUS) == "−24.1 to 1.0 °C"


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_temperature_not_finite_is_refused(value: float) -> None:
    """A reading that is no number never reaches a page."""
    with pytest.raises(ValueError, match="finite"):
        wording.temperature(value, Scale.CELSIUS)


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0.0, "0 s"),
        (0.3, "under 1 s"),
        (59.4, "59 s"),
        (59.6, "1 min"),
        (3599.0, "1 h"),
        (4320.0, "1 h 12 min"),
        (172_740.0, "47 h 59 min"),
        (172_800.0, "2 d"),
        (273_600.0, "3 d 4 h"),
    ],
)
def test_duration_reads_as_it_is_said(seconds: float, said: str) -> None:
    """No "60 min", no "0 s" for something that happened."""
    assert wording.duration(seconds) == said


@given(st.floats(0.0, 3e7))
def test_duration_any_length_is_near_the_truth(seconds: float) -> None:
    """What is said, read back, is within half the smallest unit shown."""
    said = wording.duration(seconds)
    if said == "under 1 s":
        assert 0.0 < seconds < 1.0
        return
    size = {"d": 86400.0, "h": 3600.0, "min": 60.0, "s": 1.0}
    words = said.split()
    read_s = sum(float(n) * size[u] for n, u in zip(words[::2], words[1::2], strict=True))
    allowed_s = 0.5 if seconds < 60 else 30.0 if seconds < 172_800 - 30 else 1800.0

    assert abs(read_s - seconds) <= allowed_s + 1e-6


@pytest.mark.parametrize("seconds", [-1.0, math.nan, math.inf])
def test_duration_of_nonsense_is_refused(seconds: float) -> None:
    """A negative duration is somebody's mistake, and is not printed."""
    with pytest.raises(ValueError, match="expected a finite number"):
        wording.duration(seconds)


@given(st.floats(0.0, 168.0, exclude_max=True))
def test_credited_hours_unfinished_hold_never_reads_as_finished(credited_h: float) -> None:
    """167.99 h of 168 h is not 168 h."""
    shown = float(wording.credited_hours(credited_h, 168.0).split(" ")[0])

    assert shown <= credited_h + 1e-8
    assert shown < 168.0 or credited_h > 168.0 - 1e-8


def test_local_time_in_winter_and_summer_names_the_zone() -> None:
    """An inspector reads which of the two clocks it was."""
    assert wording.local_time(ms("2026-03-02T08:41:00Z"), CHICAGO) == "02:41 CST"
    assert wording.local_time(ms("2026-07-02T08:41:00Z"), CHICAGO) == "03:41 CDT"


def test_local_time_on_another_day_names_the_day() -> None:
    """A summary of the morning says that 23:10 was yesterday."""
    at, now = ms("2026-03-02T05:10:00Z"), ms("2026-03-02T12:30:00Z")

    assert wording.local_time(at, CHICAGO, day_of_ms=now) == "Sun 23:10 CST"


def test_local_span_over_the_repeated_hour_names_both_zones() -> None:
    """01:40 comes twice that night; 01:40 CDT to 01:20 CST is forty minutes."""
    start, end = ms("2026-11-01T06:40:00Z"), ms("2026-11-01T07:20:00Z")

    assert wording.local_span(start, end, CHICAGO) == "01:40 CDT – 01:20 CST"


def test_local_span_within_a_night_is_short_and_over_midnight_names_days() -> None:
    """The common case reads short; the other stays clear."""
    start, end = ms("2026-03-02T05:50:00Z"), ms("2026-03-02T06:20:00Z")

    assert wording.local_span(end, end + 600_000, CHICAGO) == "00:20–00:30 CST"
    assert wording.local_span(start, end, CHICAGO, day_of_ms=end) == "Sun 23:50 CST – 00:20 CST"


def test_zone_name_without_abbreviation_is_an_offset() -> None:
    """A zone called "-03" reads as an offset from UTC."""
    at = wording.local(ms("2026-03-02T08:41:00Z"), ZoneInfo("America/Sao_Paulo"))

    assert wording.zone_name(at) == "UTC−03"


def test_clock_change_is_found_to_the_millisecond() -> None:
    """The clocks of Chicago went forward on 8 March 2026 at 08:00 UTC."""
    found = wording.clock_change_ms(ms("2026-03-07T12:30:00Z"), ms("2026-03-08T11:30:00Z"), CHICAGO)

    assert found == ms("2026-03-08T08:00:00Z")
    assert (
        wording.clock_change_ms(ms("2026-03-06T12:30:00Z"), ms("2026-03-07T12:30:00Z"), CHICAGO)
        is None
    )


def test_relative_reads_both_ways() -> None:
    """What was and what will be, in the same words."""
    assert wording.relative(0, 720_000) == "12 min ago"
    assert wording.relative(720_000, 0) == "in 12 min"
    assert wording.relative(0, 29_000) == "just now"


@given(st.text())
def test_printable_any_text_is_one_harmless_line(text: str) -> None:
    """A payload cannot break the line, ring the bell or turn the writing around."""
    shown = wording.printable(text)

    assert len(shown.splitlines()) <= 1
    assert shown.encode("utf-8").decode("utf-8") == shown
    assert not set(shown) & set("\x00\x07\x1b\r\n\u202e\u2066\ufeff")


def test_joined_beyond_the_most_counts_the_rest() -> None:
    """Twenty lots on a lock screen are four and a number."""
    assert wording.joined([]) == ""
    assert wording.joined(["a"]) == "a"
    assert wording.joined(["a", "b", "c"]) == "a, b and c"
    assert wording.joined(list("abcdef"), most=4) == "a, b, c, d and 2 more"
