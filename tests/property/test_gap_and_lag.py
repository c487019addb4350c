"""What a hole in the readings may do to a freezing hold, with a lag and without.

The contract says where the lag goes on after a gap (at the warmer of its last value and the
new reading) and when a hold is credited; together they settle what is credited without some
of the readings. These are the true statements about that. Why there is no stronger one
stands in docs/decisions/0007-gaps-behind-a-lag.md.
"""

from collections.abc import Sequence
from functools import cache
from itertools import accumulate
from math import inf, log
from typing import Any

from hypothesis import assume, event, example, given, settings
from hypothesis import strategies as st

from handmade import shop, timed_probe, unit
from rimewatch.evaluation.channels import ChannelHistory, settings_for
from rimewatch.lots.hold import Placement, evaluate_hold
from rimewatch.rules import channel
from rimewatch.rules.stages import ALWAYS, Stage
from rimewatch.rules.watch import ChannelState
from rimewatch.shop import Probe, Seat, Unit
from rimewatch.vocabulary import MS_PER_S, Option

STALE_S = 180
LAG_S = 1200
LINE_C = -20.0
PROFILE = settings(deadline=None, max_examples=60)

Curve = Sequence[tuple[int, float]]
"""Readings: seconds and °C."""


@cache
def freezer(measures: str, lag_s: int, uncertainty_c: float) -> tuple[Unit, Probe]:
    """Return a freezer and the probe that governs it."""
    keys: dict[str, Any] = {"every_s": 60, "stale_s": STALE_S, "uncertainty_c": uncertainty_c}
    made = shop(
        unit("freezer-1", "freezer", lag_s=lag_s),
        timed_probe("cold", "freezer-1", measures, **keys),
    )
    return made.units[0], made.probes[0]


def credited_h(curve: Curve, to_s: int, *, lag_s: int, uncertainty_c: float = 0.0) -> float:
    """Return what ``20C-168h`` credits a lot that stood there from the start, behind air."""
    return _credited_h(curve, to_s, *freezer("air", lag_s, uncertainty_c))


def sure_h(curve: Curve, to_s: int) -> float:
    """Return the same, whatever happened in the gaps."""
    where, probe = freezer("air", LAG_S, 0.0)
    return _credited_h(curve, to_s, where, probe, unseen_c=probe.plausible_c[1])


def _credited_h(
    curve: Curve, to_s: int, where: Unit, probe: Probe, *, unseen_c: float = -inf
) -> float:
    how = settings_for(where, probe)
    times = [at_s * MS_PER_S for at_s, _ in curve]
    celsius = [celsius for _, celsius in curve]
    state, ended = channel.fold(how, ChannelState(), times, celsius, unseen_c=unseen_c)
    found = ChannelHistory(
        seat=Seat.of(where, probe),
        stages=(Stage(ALWAYS, how),),
        first_ms=times[0],
        state=state,
        ended=tuple(ended),
    )
    cold = found.cold(LINE_C, to_s * MS_PER_S)
    place = Placement(unit=where.id, from_ms=0.0, to_ms=None)
    hold = evaluate_hold(
        Option.F20C_168H, [place], lambda _unit, _line_c: cold, lambda _unit, _at_ms: 0.0
    )
    return hold.credited_h


def lagged_c(curve: Curve, lag_s: int) -> dict[int, float]:
    """Return the governing temperature at each reading."""
    times = [at_s * MS_PER_S for at_s, _ in curve]
    how = settings_for(*freezer("air", lag_s, 0.0))
    felt = channel.governing_curve(how, times, [celsius for _, celsius in curve]).tolist()
    return {at_s: celsius for (at_s, _), celsius in zip(curve, felt, strict=True)}


@st.composite
def holes(draw: st.DrawFn) -> tuple[Curve, Curve]:
    """Return a freezer's readings, and the same without some that lie together: a gap."""
    steps = draw(st.lists(st.sampled_from([60, 60, 120, 180, 181, 900]), min_size=9, max_size=40))
    times = list(accumulate(steps, initial=0))
    cold = st.sampled_from([-20.0, -20.3, -21.0, -25.0])
    warm = st.sampled_from([-19.5, -10.0, 5.0, 20.0])
    # Trouble is rare, or nothing would ever be credited; most of it is early.
    trouble = draw(st.lists(st.integers(0, len(times) * 2 // 3), max_size=4))
    curve = [(at_s, draw(warm if n in trouble else cold)) for n, at_s in enumerate(times)]
    first = draw(st.integers(0, len(curve) - 1))
    count = draw(st.integers(1, min(20, len(curve) - 1)))
    kept = [*curve[:first], *curve[first + count :]]
    assume(kept)
    if first + count >= len(curve):
        assume(times[-1] - kept[-1][0] > STALE_S)
    elif first > 0:
        assume(times[first + count] - times[first - 1] > STALE_S)
    return curve, kept


AT_THE_LINE = [(0, -20.0), (60, -19.5), (240, -20.0), (300, -20.0), (360, -20.0)]
"""Half a degree too warm for a moment; then air that stays at the line, to the digit."""


def test_gap_behind_a_lag_may_hide_the_warmth_that_would_have_cost_the_hold() -> None:
    """The smallest case in which the contract credits more without a reading than with it.

    With all readings the fish comes back to the line only as the lag forgets, that is never;
    without the warm one the lag goes on at the line, and the hold is credited from there.
    """
    without = [one for one in AT_THE_LINE if one[0] != 60]

    assert lagged_c(AT_THE_LINE, LAG_S)[360] > LINE_C
    assert lagged_c(without, LAG_S)[240] == LINE_C
    assert credited_h(AT_THE_LINE, 360, lag_s=LAG_S) == 0.0
    assert credited_h(without, 360, lag_s=LAG_S) * 3600 == 120.0


@PROFILE
@given(hole=holes(), measures=st.sampled_from(["air", "product"]))
def test_gap_never_increases_credit_where_the_probe_is_the_fish(
    hole: tuple[Curve, Curve], measures: str
) -> None:
    """A product probe, or air without a lag: readings that were lost prove nothing."""
    curve, kept = hole
    where = freezer(measures, 0 if measures == "air" else LAG_S, 0.0)
    whole_h, holed_h = (_credited_h(one, curve[-1][0], *where) for one in (curve, kept))

    event("credited" if holed_h else "nothing credited")
    assert holed_h <= whole_h + 1e-9


@PROFILE
@given(hole=holes())
def test_gap_behind_a_lag_never_increases_credit_where_it_hid_no_warmth(
    hole: tuple[Curve, Curve],
) -> None:
    """As long as the lag goes on at least as warm as the lost readings would have left it."""
    curve, kept = hole
    whole_c, holed_c = lagged_c(curve, LAG_S), lagged_c(kept, LAG_S)
    assume(all(holed_c[at_s] >= whole_c[at_s] for at_s in holed_c))
    whole_h, holed_h = (credited_h(one, curve[-1][0], lag_s=LAG_S) for one in (curve, kept))

    assert holed_h <= whole_h + 1e-6


@PROFILE
@given(hole=holes(), uncertainty_c=st.sampled_from([0.1, 0.3, 0.5]))
@example(hole=(AT_THE_LINE, AT_THE_LINE[:1] + AT_THE_LINE[2:]), uncertainty_c=0.1)
def test_gap_behind_a_lag_gains_at_most_the_time_in_which_its_lag_forgets(
    hole: tuple[Curve, Curve], uncertainty_c: float
) -> None:
    """A hidden warmth w is within the guard band g after τ·ln(w/g): so much can be gained.

    The guard band covers what is left of it from then on: the fish, with all readings known,
    is at the option's own line or below.
    """
    curve, kept = hole
    whole_c, holed_c = lagged_c(curve, LAG_S), lagged_c(kept, LAG_S)
    hidden_c = max((whole_c[at_s] - holed_c[at_s] for at_s in holed_c), default=0.0)
    forgets_h = LAG_S * max(0.0, log(hidden_c / uncertainty_c)) / 3600 if hidden_c > 0.0 else 0.0
    to_s = curve[-1][0]
    holed_h = credited_h(kept, to_s, lag_s=LAG_S, uncertainty_c=uncertainty_c)
    whole_h = credited_h(curve, to_s, lag_s=LAG_S)

    event("hides warmth" if hidden_c > uncertainty_c else "hides none")
    assert holed_h <= whole_h + forgets_h + 1e-6


@PROFILE
@given(hole=holes())
@example(hole=(AT_THE_LINE, AT_THE_LINE[:1] + AT_THE_LINE[2:]))
def test_gap_never_increases_the_hours_that_are_sure_nor_these_the_hours_credited(
    hole: tuple[Curve, Curve],
) -> None:
    """What is sure was cold whatever the lost readings said: no more than with all of them."""
    curve, kept = hole
    assume(kept[0] == curve[0])  # before the first reading nothing is supposed
    to_s = curve[-1][0]

    assert sure_h(kept, to_s) <= credited_h(curve, to_s, lag_s=LAG_S) + 1e-6
    assert sure_h(kept, to_s) <= sure_h(curve, to_s) + 1e-6
    assert sure_h(curve, to_s) <= credited_h(curve, to_s, lag_s=LAG_S) + 1e-6
