"""Probes that repeat themselves, jump, or are slow of clock."""

from handmade import probe, shop, unit
from rimewatch.rules.implausible import ImplausibleRule, ImplausibleState
from rimewatch.rules.probe_rule import Sample
from rimewatch.rules.stale import StaleRule, StaleState
from rimewatch.rules.stuck import StuckRule, StuckState
from rimewatch.shop import Shop
from rimewatch.vocabulary import ProbeId, UnitId

MINUTE = 60_000
SHOP: Shop = shop(unit(), probe("air"), probe("product", measures="product"))
CASE = SHOP.unit[UnitId("case-1")]
STUCK, IMPLAUSIBLE, STALE = StuckRule(), ImplausibleRule(), StaleRule()


def stuck_after(
    celsius: list[float], beside: list[float] | None = None, which: str = "air"
) -> StuckState:
    """Fold a probe's readings a minute apart."""
    state = STUCK.start(CASE, SHOP.probe[ProbeId(which)], 0)
    for n, value in enumerate(celsius):
        beside_c = None if beside is None else beside[n]
        state = STUCK.step(state, Sample(n * MINUTE, value, beside_c=beside_c))
    return state


def is_stuck(state: StuckState) -> bool:
    """Whether the rule finds it stuck now."""
    return STUCK.finding(state, state.last_ms) is not None


LIVELY = [1.0 + 0.1 * (n % 7) for n in range(150)]


def test_probe_that_moved_all_the_time_and_then_repeats_itself_is_stuck_after_an_hour() -> None:
    """Not before: a coarse probe may repeat itself for a while."""
    assert not is_stuck(stuck_after(LIVELY + [1.3] * 59))
    state = stuck_after(LIVELY + [1.3] * 63)

    finding = STUCK.finding(state, state.last_ms)
    assert finding is not None
    assert finding.since_ms == state.since_ms
    assert not is_stuck(STUCK.step(state, Sample(state.last_ms + MINUTE, 1.4)))


def test_probe_that_never_moved_much_is_not_stuck() -> None:
    """A coarse probe in a quiet freezer changes once an hour; a test rig never."""
    coarse = [-20.0 + 0.5 * (n // 60 % 2) for n in range(400)]

    assert not is_stuck(stuck_after([2.0] * 2000))
    assert not is_stuck(stuck_after(coarse + [-20.0] * 300))


def test_product_is_stuck_where_the_air_beside_it_moved() -> None:
    """Dead since it was put up: its past tells nothing, the probe beside it does."""
    beside = [1.0 + 0.05 * n for n in range(250)]

    assert is_stuck(stuck_after([2.0] * 250, beside, "product"))
    assert not is_stuck(stuck_after([2.0] * 239, beside, "product"))
    assert not is_stuck(stuck_after([2.0] * 250, [1.0 + n % 2 for n in range(250)], "product"))
    assert not is_stuck(stuck_after([2.0] * 250, beside)), "air may stand still"


def test_product_in_melting_ice_may_repeat_itself_for_hours() -> None:
    """It is at 0 °C because ice is."""
    moving = [1.0 - 0.01 * n for n in range(101)] + [0.0] * 120

    assert not is_stuck(stuck_after(LIVELY + moving, which="product"))


def implausible_after(points: list[tuple[float, float]], which: str = "air") -> ImplausibleState:
    """Fold a probe's readings by minute and value."""
    state = IMPLAUSIBLE.start(CASE, SHOP.probe[ProbeId(which)], 0)
    for minute, value in points:
        state = IMPLAUSIBLE.step(state, Sample(round(minute * MINUTE), value))
    return state


def test_jump_that_no_fish_makes_is_found_and_forgotten_after_a_quiet_quarter() -> None:
    """Pulled out of the fish, or broken."""
    state = implausible_after([(0, 1.0), (1, 21.5), (2, 21.0)], "product")
    small = implausible_after([(0, 1.0), (1, 20.5)], "product")
    slow = implausible_after([(0, 1.0), (11, 22.0)], "product")

    assert IMPLAUSIBLE.finding(state, 2 * MINUTE) is not None
    assert IMPLAUSIBLE.due_ms(state) == 16 * MINUTE
    assert IMPLAUSIBLE.finding(state, 16 * MINUTE) is None
    assert IMPLAUSIBLE.finding(small, MINUTE) is None
    assert IMPLAUSIBLE.finding(slow, 11 * MINUTE) is None


def test_door_of_a_freezer_is_no_jump() -> None:
    """Air takes 25 K from a room within minutes."""
    state = implausible_after([(0, -20.0), (2, 5.0)])

    assert IMPLAUSIBLE.finding(state, 2 * MINUTE) is None


def test_five_values_not_believed_are_a_fault_and_four_are_not() -> None:
    """One bad value is every network's business."""
    state = implausible_after([(0, 1.0)])
    for minute in range(1, 5):
        state = IMPLAUSIBLE.doubt(state, minute * MINUTE)
    assert IMPLAUSIBLE.finding(state, 4 * MINUTE) is None
    apart = IMPLAUSIBLE.doubt(state, 20 * MINUTE)
    state = IMPLAUSIBLE.doubt(state, 5 * MINUTE)

    finding = IMPLAUSIBLE.finding(state, 5 * MINUTE)
    assert finding is not None
    assert finding.since_ms == MINUTE
    assert IMPLAUSIBLE.finding(apart, 20 * MINUTE) is None


def stale_after(delays_s: list[float]) -> StaleState:
    """Fold readings a minute apart that arrive late by so much."""
    state = STALE.start(CASE, SHOP.probe[ProbeId("air")], 0)
    for n, delay_s in enumerate(delays_s):
        at_ms = (n + 1) * MINUTE
        state = STALE.step(state, Sample(at_ms, 1.0, arrived_ms=at_ms + round(delay_s * 1000)))
    return state


def test_slow_clock_is_not_silence() -> None:
    """Its readings are 140 s old as they come, all of them: silence counts on from there."""
    state = stale_after([140.0] * 6)

    assert STALE.due_ms(state) == 6 * MINUTE + 180_000 + 140_000


def test_network_and_backlog_leave_the_stale_time_as_it_is() -> None:
    """Raised at the last reading plus the stale time, to the millisecond."""
    for delays_s in ([0.9] * 6, [300.0, 240.0, 180.0, 120.0, 60.0, 0.5], [140.0] * 3):
        state = stale_after(delays_s)
        assert STALE.due_ms(state) == len(delays_s) * MINUTE + 180_000


def test_reading_older_than_the_stale_time_is_no_news() -> None:
    """However steadily it comes: how cold it is now, nobody knows."""
    state = stale_after([4000.0] * 6)

    assert STALE.finding(state, 6 * MINUTE + 4_000_000) is not None


def test_sign_that_comes_as_the_probe_is_believed_again_begins_a_new_trouble() -> None:
    """The first was over at that very instant: it is not counted as lasting since then."""
    pulled = [(0, 1.0), (1, 21.5), (2, 21.5)]
    again = implausible_after([*pulled, (15, 21.5), (16, 1.0)], "product")
    sooner = implausible_after([*pulled, (15, 21.5), (15.99, 1.0)], "product")

    found, lasting = IMPLAUSIBLE.finding(again, 16 * MINUTE), IMPLAUSIBLE.finding(sooner, 959_400)

    assert found is not None
    assert found.since_ms == 16 * MINUTE
    assert lasting is not None
    assert lasting.since_ms == MINUTE
