"""How far recording lies behind: told when a disk stays slow, and not for one slow moment."""

from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimewatch.clock import SteppedClock
from rimewatch.intake.arrivals import Arrived, SessionHealth
from rimewatch.service.lateness import Batch, Lag, Lateness, step

NOW_MS = 1_772_506_800_000


def batch(
    ended_s: float,
    took_s: float,
    *,
    held: int = 1,
    delay_s: float | None = None,
    is_full: bool = False,
) -> Batch:
    """Return a batch that the disk alone has held up."""
    return Batch(
        ended_s=ended_s,
        took_s=took_s,
        disk_s=took_s,
        delay_s=took_s if delay_s is None else delay_s,
        waiting=0,
        held=held,
        is_full=is_full,
    )


def after(batches: Iterable[Batch]) -> list[Lag]:
    """Return what is known after each batch."""
    lags = [Lag()]
    for one in batches:
        lags.append(step(lags[-1], one))
    return lags[1:]


def test_one_slow_moment_is_nobodys_business() -> None:
    """Half a minute of one sync, then quick again."""
    lags = after([batch(1.0, 0.02), batch(31.0, 30.0), batch(32.0, 0.02)])

    assert [lag.is_late for lag in lags] == [False, False, False]
    assert lags[1].delay_s == 30.0, "the page shows it all the same"


def test_disk_that_hiccups_now_and_then_is_not_told() -> None:
    """Five slow seconds in every thirty: each quick batch begins the count anew."""
    lags = after(
        batch(30.0 * n + s, took) for n in range(60) for s, took in ((5.0, 5.0), (6.0, 0.02))
    )

    assert not any(lag.is_late for lag in lags)


def test_disk_that_stays_slow_is_told_after_a_minute_and_until_it_was_quick_for_one() -> None:
    """Hysteresis at both ends."""
    slow = after(batch(3.0 * n, 3.0) for n in range(1, 31))
    since_s = next(3.0 * n for n, lag in enumerate(slow, start=1) if lag.is_late)
    assert since_s == 60.0

    quick = [slow[-1]]
    for n in range(1, 8):
        quick.append(step(quick[-1], batch(90.0 + 10.0 * n, 0.02)))
    assert [lag.is_late for lag in quick] == [True] * 7 + [False]

    again = step(quick[3], batch(125.0, 3.0))
    assert step(again, batch(130.0, 0.02)).quick_from_s == pytest.approx(129.98)


def test_single_sync_of_ten_minutes_is_told() -> None:
    """It is no moment: every alarm was late by as much."""
    (lag,) = after([batch(600.0, 600.0)])

    assert lag.is_late
    assert lag.is_grave


def test_broker_that_fills_its_window_each_time_is_said_to_hold_back_more() -> None:
    """How old that is, nobody knows here; five minutes of it are grave."""
    lags = after(batch(3.0 * n, 3.0, held=200) for n in range(1, 121))

    assert lags[0].held_back_s == lags[2].held_back_s == 0.0
    assert lags[3].held_back_s == pytest.approx(9.0)
    assert "the broker has held back more for 2 min" in lags[40].words()
    assert not lags[90].is_grave
    assert lags[-1].is_grave


def test_broker_beyond_its_window_holds_back_more_once_no_more_is_read() -> None:
    """It lets more ahead each time, until nothing more is read here; that we do know."""
    lags = after(batch(3.0 * n, 3.0, held=2000 * n, is_full=n > 10) for n in range(1, 41))

    assert not any(lag.held_back_s for lag in lags[:12])
    assert lags[12].held_back_s == pytest.approx(9.0)
    assert lags[-1].held_back_s == pytest.approx(90.0)


@pytest.mark.parametrize(
    "held",
    [
        [3] * 20,  # a small shop's handful
        [12, 15, 13, 14, 15, 12, 11, 15],  # as much as comes, not as much as may
        [12, 13, 14, 15, 16, 17],
    ],
)
def test_messages_that_come_as_they_come_do_not_look_held_back(held: list[int]) -> None:
    """A window that is not full lets everything through."""
    lags = after(batch(3.0 * n, 3.0, held=count) for n, count in enumerate(held, start=1))

    assert all(lag.held_back_s == 0.0 for lag in lags)


def test_quick_disk_with_a_long_backlog_is_not_late() -> None:
    """After an outage the broker's queue comes at full speed: old messages, and no slow disk."""
    lags = after(batch(0.1 * n, 0.05, held=200, delay_s=400.0) for n in range(1, 2000))

    assert not any(lag.is_late or lag.held_back_s for lag in lags)


@given(st.lists(st.tuples(st.floats(0.0, 100.0), st.floats(0.0, 100.0)), max_size=60))
def test_late_is_never_said_of_a_stretch_without_a_slow_minute(
    pauses: list[tuple[float, float]],
) -> None:
    """Whatever the batches: who was quick for a minute is not late, nor who never was slow."""
    now_s, lag, quick_from_s, slow_from_s = 0.0, Lag(), 0.0, None
    for pause_s, took_s in pauses:
        now_s += pause_s + took_s
        lag = step(lag, batch(now_s, took_s))
        if took_s >= 1.0:
            slow_from_s = now_s - took_s if slow_from_s is None else slow_from_s
            quick_from_s = None
        else:
            quick_from_s = now_s - took_s if quick_from_s is None else quick_from_s
        if quick_from_s is not None and now_s - quick_from_s >= 60.0:
            assert not lag.is_late
        if slow_from_s is None:
            assert not lag.is_late


class Played(SteppedClock):
    """A clock whose durations are the instants' own."""

    def monotonic_s(self) -> float:
        return self.now_ms() / 1000.0


def test_log_says_it_once_again_when_it_has_doubled_and_when_it_is_over() -> None:
    """Not once a batch: nobody reads that."""
    clock, said = Played(NOW_MS), list[str]()
    broker = SessionHealth(
        connected=True,
        listening=True,
        silent_s=0.0,
        waiting=7,
        is_full=False,
        protocol="5",
        problem="",
    )
    lateness = Lateness(clock, said.append)

    def write(took_ms: int, arrived_ago_ms: int) -> None:
        began_s = clock.monotonic_s()
        clock.move_to(clock.now_ms() + took_ms)
        at_ms = clock.now_ms() - arrived_ago_ms
        item = Arrived("shop/case-1/air", b"2.1", at_ms, retained=False, mid=1, qos=1, generation=1)
        lateness.wrote([item], began_s=began_s, disk_s=took_ms / 1000.0, broker=broker)

    for _ in range(40):
        write(3000, 5000)
    for _ in range(10):
        write(3000, 11_000)
    for _ in range(70):
        write(20, 20)
        clock.move_to(clock.now_ms() + 1000)

    why = "a batch takes 3.0 s, 3.0 s of it the disk; 7 messages wait here"
    cure = "See to the disk: alarms are late by as much."
    assert said == [
        f"Recording is 5 s behind: {why}. {cure}",
        f"Recording is 11 s behind: {why}. {cure}",
        "Recording keeps up again.",
    ]
