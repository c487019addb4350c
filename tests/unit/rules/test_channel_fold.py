"""The fold over one governing probe: where spells begin and end, and what gaps do to them."""

import random
from collections.abc import Sequence
from itertools import pairwise
from math import exp, log, sin
from typing import Any

import pytest

from rimewatch.rules.channel import finish, fold
from rimewatch.rules.watch import (
    BreakReason,
    ChannelSettings,
    ChannelState,
    Spell,
    Watch,
    WatchKind,
)
from rimewatch.science import lag, lag_run

STALE_MS = 180_000


def excursion(
    limit_c: float = 5.0, deadband_c: float = 0.5, on_delay_s: float = 0.0, name: str = "holding"
) -> Watch:
    """Return a limit that is watched."""
    return Watch(
        name=name,
        kind=WatchKind.EXCURSION,
        open_above_c=limit_c,
        close_below_c=limit_c - deadband_c,
        on_delay_ms=on_delay_s * 1000.0,
    )


def hold(level_c: float = -20.0) -> Watch:
    """Return a freezing option's temperature that is watched."""
    return Watch(name="hold", kind=WatchKind.HOLD, open_above_c=level_c, close_below_c=level_c)


def run(
    points: Sequence[tuple[float, float]], *watches: Watch, lag_s: float = 0.0
) -> tuple[list[Spell], list[Spell]]:
    """Fold readings given as (seconds, °C); return the spells that ended, and those open."""
    settings = ChannelSettings(lag_s=lag_s, stale_ms=STALE_MS, watches=watches)
    times = [round(t * 1000) for t, _ in points]
    state, ended = fold(settings, ChannelState(), times, [c for _, c in points])
    return ended, finish(state)


def bounds_s(spell: Spell) -> tuple[float, float | None]:
    """Return a spell's start and end in seconds, to the millisecond."""
    end = None if spell.end_ms is None else round(spell.end_ms / 1000.0, 3)
    return round(spell.start_ms / 1000.0, 3), end


def test_excursion_begins_and_ends_at_the_interpolated_crossings() -> None:
    """2 → 8 °C passes 5 °C after 30 s; 8 → 2 °C passes 4.5 °C after 35 s more than a minute.

    Above 5 °C: 30 s up and 30 s down.
    """
    (spell,), still = run([(0, 2.0), (60, 8.0), (120, 2.0)], excursion())

    assert bounds_s(spell) == (30.0, 95.0)
    assert spell.above_ms == pytest.approx(60_000.0)
    assert spell.peak_c == 8.0
    assert still == []


def test_excursion_does_not_close_within_the_deadband() -> None:
    """Down to 4.6 °C and up again: one excursion, its time above the limit counted in two."""
    (spell,), _ = run([(0, 5.5), (60, 4.6), (120, 5.5), (180, 3.5)], excursion())

    # Down: 5.5 → 4.6 passes 5 after 33.333 s; up: 26.667 s after the minute; down: 5.5 → 3.5
    # passes 5 after 15 s and 4.5 after 30 s.
    assert bounds_s(spell) == (0.0, 150.0)
    assert spell.above_ms / 1000 == pytest.approx(33.3333 + 33.3333 + 15.0, abs=1e-3)


def test_excursion_touching_the_closing_line_stays_open() -> None:
    """It must fall *below* limit less deadband, not to it."""
    ended, (spell,) = run([(0, 5.5), (60, 4.5), (120, 4.5), (180, 4.6)], excursion())

    assert ended == []
    assert spell.above_ms / 1000 == pytest.approx(30.0)


def test_excursion_ends_where_it_touched_the_line_before_falling_below_it() -> None:
    """At 4.5 °C exactly for a minute, then below: the crossing is at the end of the minute."""
    (spell,), _ = run([(0, 5.5), (60, 4.5), (120, 4.5), (180, 4.4)], excursion())

    assert bounds_s(spell) == (0.0, 120.0)


@pytest.mark.parametrize(("held_c", "count"), [(4.99, 0), (5.0, 0), (5.01, 1)])
def test_temperature_at_the_limit_is_no_excursion(held_c: float, count: int) -> None:
    """FDA Food Code 2022, 3-501.16(A)(2): 5 °C (41 °F) or less."""
    _, still = run([(60.0 * n, held_c) for n in range(10)], excursion())

    assert len(still) == count


def test_excursion_already_under_way_begins_at_the_first_reading() -> None:
    """Nothing is known of the time before."""
    (spell,), _ = run([(10, 6.0), (70, 6.0), (130, 4.0)], excursion())

    assert bounds_s(spell) == (10.0, 115.0)


@pytest.mark.parametrize(
    ("lasting_s", "sustained_ms"), [(899, None), (900, 900_000.0), (901, 900_000.0)]
)
def test_on_delay_is_reached_to_the_second(lasting_s: int, sustained_ms: float | None) -> None:
    """Open for 900 s from the crossing on, at whatever reading it shows."""
    points = [(60.0 * n, 6.0) for n in range(15)]

    _, (spell,) = run([*points, (lasting_s, 6.0)], excursion(on_delay_s=900))

    assert spell.sustained_ms == sustained_ms


def test_on_delay_is_not_reached_by_an_excursion_that_closes_before_it() -> None:
    """Crosses up at 30 s, closes at 95 s: 65 s, of a delay of 66 s."""
    points = [(0, 2.0), (60, 8.0), (120, 2.0)]

    (shorter,), _ = run(points, excursion(on_delay_s=66))
    (longer,), _ = run(points, excursion(on_delay_s=65))

    assert shorter.sustained_ms is None
    assert longer.sustained_ms == pytest.approx(95_000.0)


def test_gap_counts_neither_above_the_limit_nor_in_the_on_delay() -> None:
    """100 s before a gap of 400 s and 150 s after it are 250 s, of a delay of 240 s.

    Reached 140 s after the return: 0 + 400 + 240 = 640 s.
    """
    points = [(0, 6.0), (100, 6.0), (500, 6.0), (600, 6.0), (650, 6.0)]

    _, (spell,) = run(points, excursion(on_delay_s=240))
    _, (early,) = run(points[:4], excursion(on_delay_s=240))

    assert spell.above_ms == 250_000.0
    assert spell.sustained_ms == 640_000.0
    assert early.sustained_ms is None


def test_gap_with_a_cold_return_ends_the_excursion_at_the_last_reading_before_it() -> None:
    """Cold on return: it was over, for all that is known, when last seen."""
    (spell,), still = run([(0, 6.0), (60, 7.0), (600, 4.0), (660, 9.0)], excursion())

    assert bounds_s(spell) == (0.0, 60.0)
    assert (spell.above_ms, spell.peak_c) == (60_000.0, 7.0)
    assert [bounds_s(s) for s in still] == [(612.0, None)]


@pytest.mark.parametrize("back_c", [4.5, 4.8, 5.0, 5.1, 8.0])
def test_gap_with_a_return_in_the_deadband_or_above_leaves_the_excursion_open(
    back_c: float,
) -> None:
    """Cold means below limit less deadband; anything else goes on."""
    ended, (spell,) = run([(0, 6.0), (60, 7.0), (600, back_c)], excursion())

    assert ended == []
    assert bounds_s(spell) == (0.0, None)
    assert spell.gap_ms == 540_000.0
    assert spell.peak_c == max(7.0, back_c)


def test_gap_with_a_warm_return_from_the_cold_begins_an_excursion_at_the_return() -> None:
    """Nobody knows when it warmed: it is warm from the first warm reading on."""
    _, (spell,) = run([(0, 2.0), (600, 6.0), (630, 6.0)], excursion())

    assert bounds_s(spell) == (600.0, None)
    assert spell.above_ms == 30_000.0


def test_peak_of_lagged_fish_is_its_turning_point_between_readings() -> None:
    """Air falls through the fish's temperature: the fish peaks there, not at a reading.

    a 10, b 2 over 120 s, τ 600, y0 6: s −1/15, sτ −40. y = u where
    exp(−t/τ) = sτ/(y0 − a + sτ) = 40/44, t = 600·ln 1.1 = 57.186 s;
    u = 10 − 57.186/15 = 6.1876 °C.
    """
    settings = ChannelSettings(lag_s=600.0, stale_ms=STALE_MS, watches=(excursion(),))
    state = ChannelState(lag_run.begin(600.0, 120_000, 10.0, 6.0), open=(None,))

    state, _ = fold(settings, state, [240_000], [2.0])

    (spell,) = finish(state)
    turn_s = 600.0 * log(1.1)
    assert spell.peak_c == pytest.approx(10.0 - turn_s / 15.0, abs=1e-9)


def test_time_above_goes_on_from_where_the_curve_just_touched_the_level_and_turned() -> None:
    """Fish that cools to the limit to the last bit and warms again is above it but for that."""
    lag_s, h_s = 600.0, 150.0
    turn = lag.turning_point(8.0, 2.0, 12.0, h_s, lag_s)
    assert turn is not None
    turn_ms, turn_c = 1000.0 * turn[0], turn[1]
    settings = ChannelSettings(lag_s=lag_s, stale_ms=STALE_MS, watches=(excursion(turn_c),))
    warm = fold(settings, ChannelState(), [0], [8.0])[0].open

    state, ended = fold(
        settings, ChannelState(lag_run.begin(lag_s, 0, 2.0, 8.0), warm), [150_000], [12.0]
    )

    (spell,) = finish(state)
    assert not ended
    assert spell.above == ((0.0, turn_ms), (turn_ms, 150_000.0))


def test_excursion_between_two_cold_readings_is_found_under_lag() -> None:
    """The fish may rise above the limit and come back between two readings that miss it.

    y0 4.99, air 12 → 0 °C within 170 s, τ 600: it turns above 5 °C.
    """
    settings = ChannelSettings(lag_s=600.0, stale_ms=STALE_MS, watches=(excursion(deadband_c=0.0),))
    state = ChannelState(lag_run.begin(600.0, 0, 12.0, 4.99), open=(None,))

    state, ended = fold(settings, state, [170_000, 340_000, 510_000], [0.0, 0.0, 0.0])

    (spell,) = ended
    grid = [_lagged(4.99, 12.0, 0.0, 170.0, 600.0, second / 10) for second in range(1701)]
    above_s = sum(y > 5.0 for y in grid) / 10
    after_c = grid[-1]
    if after_c > 5.0:  # the rest of it, decaying towards 0 °C
        above_s += 600.0 * log(after_c / 5.0)
    assert spell.above_ms / 1000 == pytest.approx(above_s, abs=0.3)
    assert spell.peak_c == pytest.approx(max(grid), abs=1e-6)


def _lagged(y0: float, a: float, b: float, h_s: float, lag_s: float, t_s: float) -> float:
    """Return the closed form of the contract, written out again here."""
    slope = (b - a) / h_s
    return a + slope * t_s - slope * lag_s + (y0 - a + slope * lag_s) * exp(-t_s / lag_s)


def test_hold_is_lost_above_its_line_and_regained_at_it() -> None:
    """FDA Food Code 2022, 3-402.11(A): −20 °C or below. −20.0 is cold, −19.9 is not."""
    (spell,), _ = run([(0, -20.0), (60, -19.0), (120, -20.0), (180, -20.0)], hold())

    assert bounds_s(spell) == (0.0, 120.0)
    assert (spell.peak_c, spell.reason) == (-19.0, BreakReason.WARM)
    assert run([(60.0 * n, -20.0) for n in range(9)], hold()) == ([], [])


def test_hold_is_lost_in_a_gap_though_cold_on_both_sides() -> None:
    """Missing data is never cold."""
    (spell,), still = run([(0, -25.0), (60, -25.0), (241, -24.0), (300, -24.0)], hold())

    assert bounds_s(spell) == (60.0, 241.0)
    assert spell.reason is BreakReason.GAP
    assert still == []


def test_hold_is_kept_over_an_interval_as_long_as_the_stale_time() -> None:
    """No further apart than the stale time is monitored."""
    assert run([(0, -25.0), (180, -25.0)], hold()) == ([], [])


def test_hold_lost_in_a_gap_and_warm_on_return_lasts_until_the_cold_is_back() -> None:
    """One interruption, from the last cold reading to the cold again."""
    (spell,), _ = run([(0, -25.0), (600, -15.0), (660, -25.0)], hold())

    assert bounds_s(spell) == (0.0, 630.0)
    assert (spell.peak_c, spell.reason) == (-15.0, BreakReason.GAP)


def test_several_watches_are_kept_apart() -> None:
    """An operating limit and a limit: each with its own crossings, in order of their end."""
    ended, _ = run(
        [(0, 2.0), (60, 8.0), (120, 2.0)],
        excursion(),
        excursion(limit_c=3.3, deadband_c=0.3, name="operating-limit"),
    )

    assert [(s.watch, *bounds_s(s)) for s in ended] == [
        ("holding", 30.0, 95.0),
        ("operating-limit", 13.0, 110.0),
    ]


def test_readings_out_of_order_are_our_own_mistake() -> None:
    """Whoever calls the fold sorts first."""
    with pytest.raises(AssertionError, match="in order"):
        run([(60, 2.0), (60, 3.0)], excursion())


def test_fold_of_nothing_changes_nothing() -> None:
    """No reading, no news; the state given is the state got, and is never changed in place."""
    settings = ChannelSettings(lag_s=0.0, stale_ms=STALE_MS, watches=(excursion(),))
    before, _ = fold(settings, ChannelState(), [0, 60_000], [6.0, 7.0])
    kept = repr(before)

    assert fold(settings, before, [], []) == (before, [])
    fold(settings, before, [120_000], [2.0])
    assert repr(before) == kept


@pytest.mark.parametrize("lag_s", [0.0, 300.0])
@pytest.mark.parametrize("seed", range(8))
def test_fold_cut_anywhere_gives_the_same_spells(seed: int, lag_s: float) -> None:
    """One reading at a time, or a year at once."""
    rng = random.Random(seed)
    times = [0]
    while len(times) < 120:
        times.append(times[-1] + rng.choice([1000, 30_000, 60_000, 60_000, 181_000]))
    # Waves of half an hour, which the lagged fish follows, and noise upon them.
    values = [round(5.0 + 3.0 * sin(t / 300_000) + rng.uniform(-1.0, 1.0), 3) for t in times]
    settings = ChannelSettings(
        lag_s=lag_s,
        stale_ms=STALE_MS,
        watches=(excursion(on_delay_s=120), excursion(limit_c=4.0), hold(4.4)),
    )

    whole_state, whole = fold(settings, ChannelState(), times, values)
    state, ended = ChannelState(), list[Any]()
    cuts = sorted({0, *rng.sample(range(1, 120), 40), 120})
    for start, end in pairwise(cuts):
        state, found = fold(settings, state, times[start:end], values[start:end])
        ended.extend(found)

    assert ended == whole
    assert state == whole_state
    assert whole, "the curve crosses its lines"
