"""The pictures: honest about gaps, true to the local clock, the same bytes each time."""

import subprocess
import sys
from io import BytesIO
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from report_nights import FROM_MS, TO_MS, curves, ms, shop

from rimewatch.report import chart
from rimewatch.report.curve import Curve
from rimewatch.vocabulary import Scale, UnitId

CHICAGO = ZoneInfo("America/Chicago")
VIEW = chart.View(from_ms=FROM_MS, to_ms=TO_MS, zone=CHICAGO, scale=Scale.FAHRENHEIT)
UNIT = shop().units[2]  # limit only, measured is governing
HOUR_MS = 3_600_000


def _pixels(png: bytes) -> NDArray[np.uint8]:
    with Image.open(BytesIO(png)) as image:
        return np.asarray(image.convert("RGBA"))


def _ink(png: bytes, colour: str) -> NDArray[np.bool_]:
    """Return where a picture has about this colour."""
    wanted = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)])
    pixels = _pixels(png).astype(int)
    near = np.abs(pixels[..., :3] - wanted).max(axis=2) < 30
    found: NDArray[np.bool_] = near & (pixels[..., 3] > 150)
    return found


def _level(values_c: NDArray[np.float64], times_ms: NDArray[np.int64]) -> Curve:
    return Curve(times_ms=times_ms, measured_c=values_c, governing_c=values_c)


def _columns_without_fish(png: bytes) -> float:
    """Return which part of the plotted width shows no fish line."""
    drawn = np.flatnonzero(_ink(png, chart.FISH_INK).any(axis=0))
    return 1.0 - len(drawn) / float(drawn[-1] - drawn[0] + 1)


def test_same_input_gives_the_same_bytes_without_date_or_program() -> None:
    """A record can be made again and compared."""
    curve = curves(bad=True)[UnitId("case-1")]
    one = chart.unit_chart_png(shop().units[0], curve, VIEW)
    two = chart.unit_chart_png(shop().units[0], curve, VIEW)

    assert one == two
    assert not [name for name in (b"tEXt", b"iTXt", b"zTXt", b"tIME") if name in one]


def test_gap_of_nan_stays_open() -> None:
    """No line is drawn through time in which nothing was measured."""
    times_ms = np.arange(FROM_MS, TO_MS, 60_000)
    values_c = np.full(len(times_ms), 1.0)
    whole = chart.unit_chart_png(UNIT, _level(values_c, times_ms), VIEW)
    values_c[480:720] = np.nan  # four hours of twenty-four
    broken = chart.unit_chart_png(UNIT, _level(values_c, times_ms), VIEW)

    assert _columns_without_fish(whole) == 0.0
    assert _columns_without_fish(broken) == pytest.approx(4 / 24, abs=0.02)


def test_points_too_far_apart_are_not_joined() -> None:
    """A gap that is only missing points stays open as well."""
    times_ms = np.arange(FROM_MS, TO_MS, 60_000)
    kept = np.r_[0:480, 720 : len(times_ms)]
    curve = _level(np.full(len(kept), 1.0), times_ms[kept])
    joined = chart.unit_chart_png(UNIT, curve, VIEW)
    broken = chart.unit_chart_png(UNIT, curve, VIEW, break_s=180.0)

    assert _columns_without_fish(joined) == 0.0
    assert _columns_without_fish(broken) == pytest.approx(4 / 24, abs=0.02)


def test_warm_fish_is_drawn_above_the_limit_and_cold_below() -> None:
    """Up is warm, and the limit lies where the fish crossed it."""
    times_ms = np.arange(FROM_MS, TO_MS, 60_000)
    values_c = np.where(np.arange(len(times_ms)) < 720, 2.0, 8.0)
    png = chart.unit_chart_png(UNIT, _level(values_c, times_ms), VIEW)
    fish, limit = _ink(png, chart.FISH_INK), _ink(png, chart.LIMIT_INK)
    limit_row = np.flatnonzero(limit.any(axis=1)).mean()
    middle = fish.shape[1] // 2
    cold_rows = np.flatnonzero(fish[:, middle - 150 : middle - 50].any(axis=1))
    warm_rows = np.flatnonzero(fish[:, middle + 50 : middle + 250].any(axis=1))

    assert cold_rows.min() > limit_row > warm_rows.max()


@pytest.mark.parametrize("scale", [Scale.CELSIUS, Scale.FAHRENHEIT])
def test_scale_changes_the_figures_and_not_the_course(scale: Scale) -> None:
    """The line has the same shape in °C and °F."""
    view = chart.View(from_ms=FROM_MS, to_ms=TO_MS, zone=CHICAGO, scale=scale)
    curve = curves(bad=False)[UnitId("walk-in")]
    fish = _ink(chart.unit_chart_png(UNIT, curve, view), chart.FISH_INK)
    other = _ink(chart.unit_chart_png(UNIT, curve, VIEW), chart.FISH_INK)

    assert fish.sum() == pytest.approx(other.sum(), rel=0.02)


def test_doors_defrosts_and_gaps_each_leave_a_mark() -> None:
    """Why it got warm can be seen beside how warm it got."""
    times_ms = np.arange(FROM_MS, TO_MS, 60_000)
    level = np.full(len(times_ms), 1.0)
    plain = chart.unit_chart_png(UNIT, _level(level, times_ms), VIEW)
    span = ((FROM_MS + 6 * HOUR_MS, FROM_MS + 8 * HOUR_MS),)
    doors = Curve(times_ms=times_ms, measured_c=level, governing_c=level, doors=span)
    defrosts = Curve(times_ms=times_ms, measured_c=level, governing_c=level, defrosts=span)
    marked = (
        chart.unit_chart_png(UNIT, doors, VIEW),
        chart.unit_chart_png(UNIT, defrosts, VIEW),
        chart.unit_chart_png(UNIT, _level(level, times_ms), VIEW, gaps=span),
    )

    assert len({plain, *marked}) == 4
    for png in marked:
        moved = np.abs(_pixels(png).astype(int) - _pixels(plain)).max(axis=2)
        changed = np.flatnonzero((moved > 60).any(axis=0))  # less is the palette's rounding
        width = _pixels(png).shape[1]
        assert 0.25 < changed.min() / width < 0.45
        assert changed.max() / width < 0.45


def test_full_chart_is_larger_and_has_a_legend() -> None:
    """A page of its own for a record."""
    curve = curves(bad=True)[UnitId("case-1")]
    png = chart.unit_chart_png(shop().units[0], curve, VIEW, size=chart.FULL)

    assert _pixels(png).shape == (630, 1440, 4)
    assert _ink(png, chart.FISH_INK)[:40].any()  # its sample of the line, above the plot


@pytest.mark.parametrize("points", [0, 1, 2])
def test_chart_of_hardly_any_points_is_still_a_chart(points: int) -> None:
    """A probe's first minute breaks nothing."""
    times_ms = FROM_MS + np.arange(points) * 60_000
    png = chart.unit_chart_png(UNIT, _level(np.ones(points), times_ms), VIEW, break_s=180.0)

    assert _ink(png, chart.LIMIT_INK).any()


def test_curve_with_unequal_or_unordered_arrays_is_refused() -> None:
    """A chart of misplaced readings would be a false record."""
    two = np.array([1.0, 2.0])
    with pytest.raises(ValueError, match="one length for all three"):
        Curve(times_ms=np.array([1, 2, 3]), measured_c=two, governing_c=two)
    with pytest.raises(ValueError, match="strictly increase"):
        Curve(times_ms=np.array([2, 2]), measured_c=two, governing_c=two)


class TestLocalTicks:
    def test_ordinary_day_has_round_local_hours(self) -> None:
        """06:30 to 06:30 is marked at noon, six, midnight and six."""
        at, labels = chart.local_ticks(FROM_MS, TO_MS, CHICAGO, 5)

        assert labels == ("12:00", "18:00", "00:00", "06:00")
        assert at[0] == ms("2026-03-01T18:00:00Z")

    def test_spring_night_jumps_over_the_hour_that_was_not(self) -> None:
        """There is no 02:00 on 8 March 2026 in Chicago."""
        _, labels = chart.local_ticks(
            ms("2026-03-08T05:30:00Z"), ms("2026-03-08T11:30:00Z"), CHICAGO, 13
        )

        assert labels == ("00:00", "01:00", "03:00", "04:00", "05:00", "06:00")

    def test_autumn_night_shows_the_repeated_hour_twice(self) -> None:
        """01:00 comes twice on 1 November 2026, an hour apart."""
        at, labels = chart.local_ticks(
            ms("2026-11-01T04:30:00Z"), ms("2026-11-01T10:30:00Z"), CHICAGO, 13
        )

        assert labels == ("00:00", "01:00", "01:00", "02:00", "03:00", "04:00")
        assert set(np.diff(at)) == {HOUR_MS}

    def test_zone_off_by_three_quarters_of_an_hour_still_has_round_hours(self) -> None:
        """Kathmandu is 5 h 45 min ahead."""
        _, labels = chart.local_ticks(FROM_MS, TO_MS, ZoneInfo("Asia/Kathmandu"), 5)

        assert all(label.endswith(":00") for label in labels)
        assert 3 <= len(labels) <= 5

    @pytest.mark.parametrize("days", [2, 7, 31, 400])
    def test_many_days_are_marked_at_midnights_and_never_crowded(self, days: int) -> None:
        """A month's record is as readable as a night's."""
        at, labels = chart.local_ticks(FROM_MS, FROM_MS + days * 24 * HOUR_MS, CHICAGO, 13)

        assert 2 <= len(at) <= 13
        assert len(labels) == len(at)


def test_importing_the_mail_does_not_load_the_drawing() -> None:
    """The service starts without the library for pictures, and never loads its global state."""
    code = (
        "import sys; sys.path.append('../..'); import rimewatch.report.summary_document as mail; "
        "assert 'matplotlib' not in sys.modules; "
        "import numpy as np; from rimewatch.report import chart; "
        "from rimewatch.report.curve import Curve; from report_nights import *; "
        "from zoneinfo import ZoneInfo; "
        "v = chart.View(from_ms=FROM_MS, to_ms=TO_MS, zone=ZoneInfo('UTC'), scale=Scale.CELSIUS); "
        "chart.unit_chart_png(shop().units[0], curves(bad=False)[UnitId('case-1')], v); "
        "assert 'matplotlib' in sys.modules; "
        "assert 'matplotlib.pyplot' not in sys.modules"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=__file__.rpartition("/")[0],
        capture_output=True,
        text=True,
        check=False,
    )

    assert (done.returncode, done.stderr) == (0, "")
