"""A freezing hold against an oracle that knows nothing of breaks: it looks at every second.

The oracle draws the curve of each freezer on a grid of one second, marks the seconds at
which the fish was measured cold where the lot stood, and looks for an unbroken run of
them. FDA Food Code 2022, 3-402.11(A); Regulation (EC) 853/2004 as amended by 1276/2011.
"""

from collections.abc import Sequence
from functools import cache
from itertools import accumulate, pairwise
from typing import Any

import numpy as np
from hypothesis import event, example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from core_run import run_core
from handmade import Paper, ms, shop, timed_probe, unit
from rimewatch.shop import Shop

START = "2026-02-02T15:00:00Z"
STALE_S = 3600
H = 3600
PROFILE = settings(deadline=None, max_examples=60)

Curve = list[tuple[int, float]]
Bools = NDArray[np.bool_]


@cache
def freezers(uncertainty_c: float) -> Shop:
    """Return a shop with two freezers, whose product probes may be silent for an hour."""
    keys: dict[str, Any] = {"every_s": 600, "stale_s": STALE_S, "uncertainty_c": uncertainty_c}
    return shop(
        unit("one", "freezer"),
        unit("two", "freezer"),
        timed_probe("one", "one", "product", **keys),
        timed_probe("two", "two", "product", **keys),
    )


@st.composite
def curves(draw: st.DrawFn, values: Sequence[float]) -> Curve:
    """Return a freezer's readings over up to three days: mostly cold, with trouble in it."""
    first_s = draw(st.integers(0, 5000))
    count = draw(st.sampled_from([60, 40, 20, 1]))
    hourly = [3600] * count
    for n in draw(st.lists(st.integers(0, count - 1), max_size=3)):
        hourly[n] = draw(st.sampled_from([1, 900, 3601]))
    times = list(accumulate(hourly, initial=first_s))
    cold, odd = values[:2], values[2:]
    # Trouble is rare, or no hold would ever be complete.
    trouble = draw(st.lists(st.integers(0, len(times) - 1), max_size=3))
    return [
        (at_s, draw(st.sampled_from(odd)) if n in trouble else draw(st.sampled_from(cold)))
        for n, at_s in enumerate(times)
    ]


def on_grid(curve: Curve, level_c: float, length_s: int) -> tuple[Bools, NDArray[np.float64]]:
    """Return for each second whether it was measured at or below a level, and the temperature.

    Between two readings no further apart than the stale time it is linear; elsewhere it is
    not measured, which is not cold.
    """
    seconds = np.arange(length_s + 1)
    times = np.array([at_s for at_s, _ in curve])
    celsius = np.interp(seconds, times, np.array([c for _, c in curve]))
    measured = (seconds >= times[0]) & (seconds <= times[-1])
    for start_s, end_s in pairwise(times.tolist()):
        if end_s - start_s > STALE_S:
            measured[start_s + 1 : end_s] = False
    # A grid point within a nanodegree of the line is the reading itself, or no matter.
    return measured & (celsius <= level_c + 1e-9), np.where(measured, celsius, np.nan)


def runs(cold: Bools, from_s: int) -> list[tuple[int, int]]:
    """Return the unbroken runs of cold seconds from an instant on, as (first, last)."""
    edges = np.diff(np.concatenate(([0], cold[from_s:].astype(np.int8), [0])))
    first, last = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    return [(a + from_s, b + from_s) for a, b in zip(first.tolist(), last.tolist(), strict=True)]


def cut_at(run: tuple[int, int], cuts: Sequence[int]) -> list[tuple[int, int]]:
    """Return the parts of a run that instants cut it into."""
    edges = [run[0], *sorted(cut for cut in cuts if run[0] < cut <= run[1]), run[1] + 1]
    return [(a, b - 1) for a, b in pairwise(edges)]


def told(
    curves_of: dict[str, Curve],
    option: str,
    from_s: int,
    moves: Sequence[tuple[int, str]],
    uncertainty_c: float,
) -> tuple[dict[str, Any], int, Paper]:
    """Return the lot as the ledger tells it, the last instant, and the trace."""
    paper = Paper(START).receive(0).freeze(from_s, option, "one")
    for at_s, unit_id in moves:
        paper.do(at_s, "move-lot", lot="L1", unit=unit_id)
    for topic, curve in curves_of.items():
        for at_s, celsius in curve:
            paper.dated(at_s, at_s, celsius, topic)
    run = run_core(freezers(uncertainty_c), paper.read())
    (lot,) = run.ledger["lots"]
    return lot, round((run.to_ms - ms(START)) / 1000), paper


def seconds_of(text: str) -> float:
    """Return an instant of the ledger in seconds after the start."""
    return (ms(text) - ms(START)) / 1000.0


VALUES_20 = (-20.0, -25.0, -19.9, -15.0, 2.0)
VALUES_35 = (-36.0, -40.0, -34.0, -15.0, 2.0)


@PROFILE
@given(
    one=curves(VALUES_20),
    two=curves(VALUES_20),
    from_s=st.integers(0, 40_000),
    moves=st.lists(
        st.tuples(st.integers(40_001, 180_000), st.sampled_from(["one", "two"])), max_size=3
    ),
    uncertainty_c=st.sampled_from([0.0, 0.3]),
)
def test_hold_is_complete_exactly_where_every_second_of_it_was_cold(
    one: Curve,
    two: Curve,
    from_s: int,
    moves: list[tuple[int, str]],
    uncertainty_c: float,
) -> None:
    """``20C-24h`` through two freezers, with gaps, warm spells and moves."""
    curves_of = {"one": one, "two": two}
    moves = sorted(dict(moves).items())
    lot, to_s, _ = told(curves_of, "20C-24h", from_s, moves, uncertainty_c)

    cold = np.zeros(to_s + 1, dtype=np.bool_)
    places = [(from_s, "one"), *moves, (to_s + 1, "")]
    cuts: list[int] = []
    for (start_s, place), (end_s, _) in pairwise(places):
        there, _ = on_grid(curves_of[place], -20.0 - uncertainty_c, to_s)
        cold[start_s:end_s] = there[start_s:end_s]
        if start_s > from_s and start_s <= to_s:
            before = places[[p[0] for p in places].index(start_s) - 1][1]
            left_cold = on_grid(curves_of[before], -20.0 - uncertainty_c, to_s)[0][start_s]
            cuts.extend([] if left_cold else [start_s])
    # A lot that was not cold where it left begins anew where it comes.
    found = [part for run in runs(cold, from_s) for part in cut_at(run, cuts)]

    required_s = 24 * H
    certain = [last for first, last in found if last - first >= required_s]
    # The true run may be up to a second longer than the grid's on either side.
    possible = [last for first, last in found if last - first + 2 > required_s]
    event("complete" if lot["completed"] else "not complete")
    if certain:
        assert lot["completed"] is not None
    if not possible:
        assert lot["completed"] is None
        assert lot["credited_h"] < 24.0
    if lot["completed"] is not None:
        completed_s = seconds_of(lot["completed"])
        assert abs(seconds_of(lot["started"]) + required_s - completed_s) < 0.002
        inside = slice(int(np.ceil(completed_s - required_s)), int(completed_s) + 1)
        assert cold[inside].all(), "every second of the hold is on record as cold"
        earliest = next(first for first, last in found if last - first + 2 > required_s)
        assert earliest - 1 <= completed_s - required_s <= earliest


@PROFILE
@given(one=curves(VALUES_20), from_s=st.integers(0, 40_000))
def test_hold_credit_is_the_run_of_cold_up_to_the_last_reading(one: Curve, from_s: int) -> None:
    """In one freezer, and not complete: the last unbroken cold is what counts."""
    lot, to_s, _ = told({"one": one}, "20C-168h", from_s, [], 0.0)

    cold, _ = on_grid(one, -20.0, to_s)
    last_s = one[-1][0]
    lasting = [first for first, last in runs(cold, from_s) if last == last_s]
    silent = to_s - last_s > STALE_S
    if lasting and not silent and last_s > from_s:
        assert lot["credited_h"] * H == np.clip(
            lot["credited_h"] * H, last_s - lasting[0] - 0.01, last_s - lasting[0] + 1
        )
    else:
        assert lot["credited_h"] == 0.0
    assert (lot["state"], lot["completed"]) == ("freezing", None)


@PROFILE
@given(one=curves(VALUES_35), from_s=st.integers(0, 40_000))
def test_hold_at_minus_35_is_complete_exactly_where_every_second_of_it_was_cold(
    one: Curve, from_s: int
) -> None:
    """``35C-15h`` with the probe in the centre."""
    lot, to_s, _ = told({"one": one}, "35C-15h", from_s, [], 0.0)

    cold, _ = on_grid(one, -35.0, to_s)
    found = runs(cold, from_s)
    event("complete" if lot["completed"] else "not complete")
    if any(last - first >= 15 * H for first, last in found):
        assert lot["completed"] is not None
    if not any(last - first + 2 > 15 * H for first, last in found):
        assert lot["completed"] is None


@PROFILE
@given(
    # Cold enough to be stored, with some hours cold enough to be frozen solid.
    one=curves((-21.0, -25.0, -36.0, -36.0, -40.0, -15.0, -4.0, 2.0)),
    solid_at=st.lists(st.integers(0, 59), max_size=2),
    from_s=st.integers(0, 20_000),
)
@example(  # solid for an eighth of a second, between two readings a second apart
    one=[(0, -21.0), (1, -21.0), *[(1 + 3600 * n, -21.0) for n in range(1, 60)]],
    solid_at=[0],
    from_s=0,
)
def test_hold_after_solid_is_complete_exactly_where_the_oracle_says(
    one: Curve, solid_at: list[int], from_s: int
) -> None:
    """``35C-then-20C-24h``: solid at −35 °C, kept from thawing, then 24 h without a break."""
    one = [(at_s, -37.0 if n in solid_at else c) for n, (at_s, c) in enumerate(one)]
    lot, to_s, _ = told({"one": one}, "35C-then-20C-24h", from_s, [], 0.0)

    stored, celsius = on_grid(one, -20.0, to_s)
    frozen, _ = on_grid(one, -35.0, to_s)
    seen = np.append(~np.isnan(celsius), False)
    is_solid, count_s, completed_s = False, -1, None
    for second in range(from_s, to_s + 1):
        # One reading alone, with silence around it, freezes nothing; nor does an instant at
        # the line as the lot comes.
        before = second > from_s and seen[second - 1]
        after = seen[second + 1] and (second > from_s or celsius[second] < -35.0 - 1e-9)
        if celsius[second] > -5.0:
            is_solid = False
        elif frozen[second] and (before or after):
            is_solid = True
        count_s = count_s + 1 if is_solid and stored[second] else -1
        if count_s == 24 * H:
            completed_s = second
            break
    event("complete" if lot["completed"] else "not complete")
    if completed_s is None:
        # The grid may miss up to a second at either end, and one more for being sure of solid.
        assert lot["completed"] is None or count_s >= 24 * H - 3
    else:
        assert lot["completed"] is not None
        assert completed_s - 2 <= seconds_of(lot["completed"]) <= completed_s
