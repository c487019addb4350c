"""The rules over single probes: each through one check-list, and each by its own words."""

import copy
import json
import pickle
from collections.abc import Sequence
from math import inf, nan

import pytest

from handmade import probe, shop, timed_probe, unit
from rimewatch.rules.probe_rule import ProbeRule, Sample
from rimewatch.rules.probe_rules import PROBE_RULES
from rimewatch.rules.stale import StaleRule, StaleState
from rimewatch.shop import Probe, Shop, Unit
from rimewatch.vocabulary import ProbeId, Rule, UnitId

SHOP: Shop = shop(
    unit(door_open_s=300),
    timed_probe("air", battery_low=2.6),
    timed_probe("percent"),
    probe("door", measures="door"),
    probe("beating-door", measures="door", every_s=600),
    probe("floor", measures="water"),
    probe("damp", measures="humidity", humidity_high_percent=0.7),
)
CASE: Unit = SHOP.unit[UnitId("case-1")]
CASES = [
    pytest.param(rule, SHOP.probe[p.id], id=f"{rule.rule}-{p.id}")
    for rule in PROBE_RULES
    for p in SHOP.probes
    if rule.applies(CASE, p)
]
SAMPLES = [
    Sample(1000 + 60_000 * n, float(n % 3 == 1), battery)
    for n, battery in enumerate([80.0, None, 15.0, 14.0, 2.6, 2.5, None, 100.0, nan, inf, 0.0] * 12)
]
# A probe that used to move, and then repeats itself until it jumps.
SAMPLES += [Sample(SAMPLES[-1].at_ms + 60_000 * n, 0.75) for n in range(1, 90)]
SAMPLES += [Sample(SAMPLES[-1].at_ms + 60_000, 55.0)]


def the(rule: Rule) -> ProbeRule:
    """Return the rule of a name."""
    (found,) = [r for r in PROBE_RULES if r.rule is rule]
    return found


def the_probe(name: str) -> Probe:
    """Return a probe of the shop."""
    return SHOP.probe[ProbeId(name)]


# --- one check-list -------------------------------------------------------------------------


def test_check_list_meets_every_rule() -> None:
    """A rule that watched nothing here would not be tested."""
    met = {rule.rule for rule in PROBE_RULES if any(rule.applies(CASE, p) for p in SHOP.probes)}

    assert met == {rule.rule for rule in PROBE_RULES}


@pytest.mark.parametrize(("rule", "watched"), CASES)
def test_rule_gives_the_same_for_the_same_and_changes_nothing_it_is_given(
    rule: ProbeRule, watched: Probe
) -> None:
    """A pure fold."""
    state = rule.start(CASE, watched, 0)
    for sample in SAMPLES:
        state_before, sample_before = copy.deepcopy(state), copy.deepcopy(sample)
        first, second = rule.step(state, sample), rule.step(state, sample)
        rule.finding(first, sample.at_ms + 1)

        assert first == second
        assert rule.finding(first, 10**7) == rule.finding(second, 10**7)
        assert rule.due_ms(first) == rule.due_ms(second)
        assert state == state_before
        # By text: a battery that is no number is unlike itself.
        assert repr(sample) == repr(sample_before)
        state = first


@pytest.mark.parametrize(("rule", "watched"), CASES)
def test_rule_works_before_any_sample(rule: ProbeRule, watched: Probe) -> None:
    """Nothing is wrong at the start, and the start says when to look again."""
    state = rule.start(CASE, watched, 5000)

    assert rule.finding(state, 5000) is None
    due_ms = rule.due_ms(state)
    assert due_ms is None or due_ms > 5000


@pytest.mark.parametrize(("rule", "watched"), CASES)
def test_rule_state_survives_json_and_pickle(rule: ProbeRule, watched: Probe) -> None:
    """A restart loses nothing."""
    state = rule.start(CASE, watched, 0)
    for sample in SAMPLES:
        state = rule.step(state, sample)
        by_json = type(state)(**json.loads(json.dumps(state._asdict())))

        assert by_json == state
        assert pickle.loads(pickle.dumps(state)) == state
        assert rule.finding(by_json, 10**8) == rule.finding(state, 10**8)


@pytest.mark.parametrize(("rule", "watched"), CASES)
def test_rule_state_does_not_grow(rule: ProbeRule, watched: Probe) -> None:
    """A year of samples takes no more room than an hour of them."""
    state = rule.start(CASE, watched, 10**12)
    for n in range(100):
        state = rule.step(state, Sample(10**12 + n * 60_000, float(n % 2), 50.0))
    early = len(pickle.dumps(state))
    for n in range(100, 5000):
        state = rule.step(state, Sample(10**12 + n * 60_000, float(n % 2), 50.0))

    assert len(pickle.dumps(state)) <= early + 16


@pytest.mark.parametrize(("rule", "watched"), CASES)
def test_rule_says_beforehand_when_its_finding_changes_by_itself(
    rule: ProbeRule, watched: Probe
) -> None:
    """Without a sample the finding changes at the due time, and at no other."""
    state = rule.start(CASE, watched, 0)
    for sample in SAMPLES[:20]:
        state = rule.step(state, sample)
        due_ms = rule.due_ms(state)
        if due_ms is None:
            assert rule.finding(state, sample.at_ms) == rule.finding(state, 10**10)
        elif due_ms > sample.at_ms:
            assert rule.finding(state, sample.at_ms) == rule.finding(state, due_ms - 1)
            assert rule.finding(state, due_ms) == rule.finding(state, 10**10)


@pytest.mark.parametrize(("rule", "watched"), CASES)
def test_rule_names_the_probe_it_found_something_on(rule: ProbeRule, watched: Probe) -> None:
    """Somebody has to walk to it."""
    state = rule.start(CASE, watched, 0)
    found = []
    for sample in SAMPLES:
        state = rule.step(state, sample)
        found += [rule.finding(state, sample.at_ms), rule.finding(state, sample.at_ms + 10**7)]

    assert any(found), "the samples show what the rule looks for"
    assert all(watched.id in finding.detail for finding in found if finding is not None)


# --- stale ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("silent_ms", "is_found"), [(179_999, False), (180_000, True)])
def test_stale_is_found_after_exactly_the_stale_time(silent_ms: int, is_found: bool) -> None:
    """Raised at the last reading plus the stale time."""
    rule = the(Rule.STALE)
    state = rule.step(rule.start(CASE, the_probe("air"), 0), Sample(60_000, 2.0))

    finding = rule.finding(state, 60_000 + silent_ms)

    assert (finding is not None) is is_found
    assert rule.due_ms(state) == 240_000
    if finding is not None:
        assert finding.since_ms == 60_000


def test_stale_is_found_soon_after_the_probe_is_said_to_be_gone() -> None:
    """A node's last will: nobody need wait for the silence to last, until the probe speaks."""
    rule = StaleRule()
    heard = rule.step(rule.start(CASE, the_probe("air"), 0), Sample(60_000, 2.0))
    gone = rule.lose(heard, 70_000)

    assert rule.finding(gone, 89_999) is None
    assert rule.due_ms(gone) == 90_000
    finding = rule.finding(gone, 90_000)
    assert finding is not None
    assert finding.since_ms == 60_000
    assert finding.detail == "air is gone: its node or device has said so"
    assert rule.lose(gone, 80_000) == gone  # said again, it is gone since the first time

    back = rule.step(gone, Sample(90_000, 2.0))
    assert rule.due_ms(back) == 90_000 + 180_000


def delayed(rule: StaleRule, delays_s: Sequence[float]) -> StaleState:
    """Return the state after a reading a minute, each so much late."""
    state = rule.start(CASE, the_probe("air"), 0)
    for minute, delay_s in enumerate(delays_s, start=1):
        at_ms = 60_000 * minute
        state = rule.step(state, Sample(at_ms, 2.0, arrived_ms=at_ms + round(1000 * delay_s)))
    return state


@pytest.mark.parametrize(
    ("delays_s", "allowed_s"),
    [
        ((120, 120, 120), 0),  # three times may be the network
        ((120, 120, 120, 120), 120),  # four times is a slow clock
        ((120, 130, 125, 121), 120),  # of alike delays the least
        ((120, 130.001, 120, 120), 0),  # these are not alike: counted anew
        ((9.999,) * 6, 0),  # as late as any network
        ((10,) * 6, 10),
        ((7200,) * 6, 180),  # no more than the stale time: that is no news of now
        ((120, 120, 120, 120, 0), 0),  # the clock was put right
    ],
)
def test_stale_allows_for_a_delay_that_lasts(delays_s: tuple[float, ...], allowed_s: float) -> None:
    """A probe whose clock is slow is not silent once a minute all night."""
    rule = StaleRule()
    state = delayed(rule, delays_s)

    assert rule.due_ms(state) == 60_000 * len(delays_s) + 180_000 + 1000 * allowed_s


def test_stale_is_not_put_off_by_an_older_sample() -> None:
    """A backlog does not make a silent probe lively."""
    rule = the(Rule.STALE)
    state = rule.step(rule.start(CASE, the_probe("air"), 0), Sample(60_000, 2.0))

    assert rule.step(state, Sample(30_000, 2.0)) == state


def test_stale_watches_a_door_only_if_it_is_expected_to_speak() -> None:
    """A contact that speaks only when it changes is never stale."""
    rule = the(Rule.STALE)

    assert rule.applies(CASE, the_probe("beating-door"))
    assert not rule.applies(CASE, the_probe("door"))


# --- door and water -------------------------------------------------------------------------


@pytest.mark.parametrize(("open_ms", "is_found"), [(299_999, False), (300_000, True)])
def test_door_is_found_after_exactly_the_time_it_may_stand_open(
    open_ms: int, is_found: bool
) -> None:
    """Five minutes."""
    rule = the(Rule.DOOR)
    state = rule.step(rule.start(CASE, the_probe("door"), 0), Sample(10_000, 1.0))

    assert (rule.finding(state, 10_000 + open_ms) is not None) is is_found


def test_door_open_since_is_when_it_was_opened_not_when_it_last_said_so() -> None:
    """A contact that repeats itself does not open anew."""
    rule = the(Rule.DOOR)
    state = rule.start(CASE, the_probe("door"), 0)
    for at_ms in (10_000, 100_000, 200_000):
        state = rule.step(state, Sample(at_ms, 1.0))

    finding = rule.finding(state, 310_000)

    assert finding is not None
    assert finding.since_ms == 10_000


def test_door_that_was_shut_begins_again() -> None:
    """Two short openings are not one long one."""
    rule = the(Rule.DOOR)
    state = rule.start(CASE, the_probe("door"), 0)
    for at_ms, value in [(0, 1.0), (200_000, 0.0), (201_000, 1.0)]:
        state = rule.step(state, Sample(at_ms, value))

    assert rule.finding(state, 500_999) is None
    assert rule.finding(state, 501_000) is not None


def test_water_is_found_at_once_and_gone_when_dry() -> None:
    """Water may not stand at all."""
    rule = the(Rule.WATER)
    wet = rule.step(rule.start(CASE, the_probe("floor"), 0), Sample(10, 1.0))

    assert rule.finding(wet, 10) is not None
    assert rule.finding(rule.step(wet, Sample(20, 0.0)), 20) is None


# --- battery --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "level", "is_found"),
    [("percent", 15.1, False), ("percent", 15.0, True), ("air", 2.61, False), ("air", 2.6, True)],
)
def test_battery_is_low_at_its_line(name: str, level: float, is_found: bool) -> None:
    """15 % unless the probe has a line of its own, here 2.6 V."""
    rule = the(Rule.BATTERY)
    state = rule.step(rule.start(CASE, the_probe(name), 0), Sample(10, 2.0, level))

    assert (rule.finding(state, 10) is not None) is is_found


@pytest.mark.parametrize(
    ("levels", "found"),
    [
        ([3.01, 2.98, 3.0], [False, False, False]),
        ([2.98, 2.41, 2.4], [False, False, True]),
        ([3.0, 2.99], [True, False]),  # one whole number may be a percentage; the next tells
        ([2995.0, 2401.0, 2400.0], [False, False, True]),
        ([88.0, 16.0, 14.5, 3.5], [False, False, True, True]),
    ],
)
def test_figure_of_a_battery_tells_its_kind(levels: list[float], found: list[bool]) -> None:
    """Volts and millivolts are no percentages: a new cell of 3 V is not to be changed today."""
    rule = the(Rule.BATTERY)
    state = rule.start(CASE, the_probe("percent"), 0)
    told = []
    for at_ms, level in enumerate(levels):
        state = rule.step(state, Sample(at_ms, 2.0, level))
        told.append(rule.finding(state, at_ms) is not None)

    assert told == found


def test_battery_stays_low_until_it_is_changed() -> None:
    """A cold battery that warms a little is still an old one; silence about it is no news."""
    rule = the(Rule.BATTERY)
    state = rule.start(CASE, the_probe("percent"), 0)
    found = []
    for at_ms, level in [(10, 15.0), (20, 17.0), (30, None), (40, 17.25), (50, 17.3)]:
        state = rule.step(state, Sample(at_ms, 2.0, level))
        finding = rule.finding(state, at_ms)
        found.append(None if finding is None else finding.since_ms)

    assert found == [10, 10, 10, 10, None]
