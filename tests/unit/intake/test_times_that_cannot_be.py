"""Clocks of probes that stop, or jump far back: the arrival dates what is sent from then on."""

from collections.abc import Callable, Iterable

import pytest
from intake_shop import ARRIVED_MS, TOPIC, receiver

from rimewatch.evaluation.clock_note import ClockNote, offset_s_of
from rimewatch.vocabulary import ProbeId

AIR = ProbeId("case-1-air")
MINUTE = 60_000
Clock = Callable[[int], int]
"""What a probe's clock shows at an instant of the true time."""


def right(at_ms: int) -> int:
    """A clock that shows the time."""
    return at_ms


def slow(by_ms: int) -> Clock:
    """A clock that shows an earlier time."""
    return lambda at_ms: at_ms - by_ms


def stopped(at_ms: int) -> Clock:
    """A clock that shows the same time always."""
    return lambda _: at_ms


class Sent:
    """A probe, and by which times its readings are known."""

    def __init__(self) -> None:
        self.receiver = receiver()

    def send(self, arrived_ms: int, own_ms: int, value: float = 2.1) -> int:
        """Have a message arrive; return the time of its reading."""
        payload = b'{"t": %.2f, "ts": %d}' % (value, own_ms)
        (reading,) = self.receiver.receive(TOPIC, payload, arrived_ms).readings
        return reading.observed_ms

    def minutely(self, minutes: Iterable[int], clock: Clock) -> list[int]:
        """Have a message arrive each minute; return by how much each reading is late."""
        found = []
        for minute in minutes:
            at_ms = ARRIVED_MS + minute * MINUTE
            found.append(at_ms - self.send(at_ms, clock(at_ms)))
        return found


@pytest.mark.parametrize(
    "clock",
    [
        pytest.param(slow(12 * 60 * MINUTE), id="12 h slow"),
        pytest.param(slow(20 * 24 * 60 * MINUTE), id="20 days slow"),
        pytest.param(slow(11 * MINUTE), id="11 min slow"),
        pytest.param(stopped(ARRIVED_MS + 9 * MINUTE), id="stopped"),
    ],
)
def test_clock_that_fails_while_messages_come_as_ever_is_not_believed(clock: Clock) -> None:
    """After a few messages, and not before it has been silent for its stale time."""
    sent = Sent()
    assert sent.minutely(range(10), right) == [0] * 10
    late = sent.minutely(range(10, 30), clock)

    assert late[5:] == [0] * 15
    believed = [n for n, late_ms in enumerate(late) if late_ms]
    assert len(believed) <= 3
    assert sent.receiver.clock_note(AIR).dating.by_arrival
    assert sent.receiver.clock_note(AIR).times_not_used == 20 - len(believed)


def test_first_arrival_that_dates_lies_a_stale_time_after_the_last_time_believed() -> None:
    """So that no cold is credited over what nobody knows."""
    sent = Sent()
    sent.minutely(range(10), right)
    late = sent.minutely(range(10, 20), slow(12 * 60 * MINUTE))
    first = 10 + late.index(0)

    assert first - 9 > 3


@pytest.mark.parametrize(
    "clock",
    [
        pytest.param(slow(42_000), id="a little slow"),
        pytest.param(slow(9 * MINUTE), id="9 min slow"),
    ],
)
def test_clock_that_is_a_little_slow_is_believed(clock: Clock) -> None:
    """It is reported, and corrects nothing."""
    sent = Sent()
    sent.minutely(range(10), right)
    late = sent.minutely(range(10, 40), clock)

    assert set(late) == {ARRIVED_MS - clock(ARRIVED_MS)}


def test_clock_that_was_never_right_is_believed_and_reported() -> None:
    """Its lag is no new one: it may be a way that takes so long."""
    sent = Sent()
    late = sent.minutely(range(40), slow(12 * 60 * MINUTE))

    assert set(late) == {12 * 60 * MINUTE}
    assert offset_s_of(sent.receiver.clock_note(AIR).late_ms) == 12 * 3600


def test_clock_that_is_put_right_is_believed_at_once() -> None:
    """What it says then is true again."""
    sent = Sent()
    sent.minutely(range(10), right)
    sent.minutely(range(10, 30), slow(12 * 60 * MINUTE))
    at_ms = ARRIVED_MS + 30 * MINUTE

    assert sent.send(at_ms, at_ms - 3000) == at_ms - 3000
    assert not sent.receiver.clock_note(AIR).dating.by_arrival


def test_backlog_in_a_burst_keeps_its_own_times() -> None:
    """Two hours of readings within some seconds, oldest first, and then the present."""
    sent = Sent()
    sent.minutely(range(10), right)
    back_ms = ARRIVED_MS + 130 * MINUTE
    for n in range(120):
        own_ms = ARRIVED_MS + (10 + n) * MINUTE
        assert sent.send(back_ms + n * 50, own_ms) == own_ms

    assert sent.minutely(range(131, 140), right) == [0] * 9


def test_backlog_that_is_sent_between_the_present_readings_keeps_its_own_times() -> None:
    """A probe that catches up a little at a time is late by something else each time."""
    sent = Sent()
    sent.minutely(range(10), right)
    for n in range(60):
        at_ms = ARRIVED_MS + (100 + n) * MINUTE
        assert sent.send(at_ms, at_ms) == at_ms
        own_ms = ARRIVED_MS + (10 + n * 3 // 2) * MINUTE
        assert sent.send(at_ms + 30_000, own_ms) == own_ms


def test_burst_from_a_clock_that_is_not_believed_keeps_its_own_times() -> None:
    """Nobody can tell how old it is: not now, for one."""
    sent = Sent()
    sent.minutely(range(10), right)
    sent.minutely(range(10, 30), slow(60 * MINUTE))
    at_ms = ARRIVED_MS + 30 * MINUTE
    sent.send(at_ms, at_ms - 60 * MINUTE)

    assert sent.send(at_ms + 200, at_ms - 90 * MINUTE) == at_ms - 90 * MINUTE


def test_reading_that_is_sent_many_times_at_once_is_one_reading() -> None:
    """A broker that delivers again is no clock that stands."""
    sent = Sent()
    sent.minutely(range(10), right)
    at_ms = ARRIVED_MS + 10 * MINUTE

    assert {sent.send(at_ms + n * 1000, at_ms) for n in range(12)} == {at_ms}


def test_hourly_uploads_of_many_readings_keep_their_own_times() -> None:
    """Each is late by what it waited, and they arrive together."""
    sent = Sent()
    for hour in range(1, 6):
        for minute in range(60):
            own_ms = ARRIVED_MS + ((hour - 1) * 60 + minute) * MINUTE
            arrived_ms = ARRIVED_MS + hour * 60 * MINUTE + minute * 20
            assert sent.send(arrived_ms, own_ms) == own_ms


def test_what_is_known_of_the_times_lasts_over_a_restart() -> None:
    """Else three readings would lie in the past after each."""
    sent = Sent()
    sent.minutely(range(10), right)
    sent.minutely(range(10, 30), slow(12 * 60 * MINUTE))
    note = ClockNote.from_text(sent.receiver.clock_note(AIR).to_text())
    assert note == sent.receiver.clock_note(AIR)

    sent.receiver = receiver()
    sent.receiver.remember_clock(AIR, note)
    assert sent.minutely(range(30, 40), slow(12 * 60 * MINUTE)) == [0] * 10
