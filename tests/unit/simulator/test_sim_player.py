"""The player: order, pace, lock-step, stopping."""

import threading
from collections.abc import Mapping
from typing import Any

import pytest

from rimewatch_sim import Player, TraceLine

LINES = [
    TraceLine(at_ms=1_000_000, topic="a", payload=b"1"),
    TraceLine(at_ms=1_060_000, entry={"do": "in-service", "unit": "case-1"}),
    TraceLine(at_ms=1_120_000, topic="b", payload=b"2"),
    TraceLine(at_ms=1_120_000, topic="c", payload=b"3"),
]


class FakeTime:
    """Seconds that pass only when waited for, or when publishing takes long."""

    def __init__(self) -> None:
        self.now_s = 50.0
        self.waits: list[float] = []

    def monotonic(self) -> float:
        return self.now_s

    def wait(self, seconds: float) -> None:
        self.waits.append(seconds)
        self.now_s += seconds


def test_player_moves_a_clock_before_each_line() -> None:
    """A test's clock can go in lock-step with what arrives."""
    said: list[Any] = []

    def enter(at_ms: int, entry: Mapping[str, Any]) -> None:
        said.append((at_ms, entry["do"]))

    played = Player(LINES).play(
        lambda topic, payload: said.append((topic, payload)),
        enter=enter,
        before=said.append,
        speed=None,
    )

    assert said == [
        1_000_000,
        ("a", b"1"),
        1_060_000,
        (1_060_000, "in-service"),
        1_120_000,
        ("b", b"2"),
        1_120_000,
        ("c", b"3"),
    ]
    assert (played.messages, played.entries, played.stopped) == (3, 1, False)


def test_player_at_sixty_takes_a_second_for_a_minute() -> None:
    """The pace is that of the trace, divided by the speed."""
    time = FakeTime()
    Player(LINES).play(lambda *_: None, speed=60.0, wait=time.wait, monotonic=time.monotonic)

    assert time.waits == [pytest.approx(1.0), pytest.approx(1.0)]


def test_player_that_was_held_up_catches_up_without_drift() -> None:
    """A slow broker delays one line, not all that follow."""
    time = FakeTime()

    def slow(_topic: str, _payload: bytes) -> None:
        time.now_s += 0.75

    Player(LINES).play(slow, speed=60.0, wait=time.wait, monotonic=time.monotonic)

    assert time.waits == [pytest.approx(0.25), pytest.approx(1.0)]


def test_player_rushes_through_the_lead_in() -> None:
    """What only sets the scene is not waited for."""
    time = FakeTime()
    Player(LINES).play(
        lambda *_: None,
        speed=1.0,
        rush_until_ms=1_060_000,
        wait=time.wait,
        monotonic=time.monotonic,
    )

    assert time.waits == [pytest.approx(60.0)]


def test_player_stops_before_its_next_line_in_the_midst_of_a_wait() -> None:
    """Ctrl-C does not have to wait for an hour of the trace."""
    stop = threading.Event()
    published: list[str] = []
    waits: list[float] = []

    def wait(seconds: float) -> None:
        waits.append(seconds)
        stop.set()

    played = Player(LINES).play(
        lambda topic, _: published.append(topic), speed=0.001, stop=stop, wait=wait
    )

    assert published == ["a"]
    assert len(waits) == 1
    assert played.stopped


def test_player_waiting_on_its_own_is_woken_by_the_stop() -> None:
    """The real wait ends when the event is set by another thread."""
    stop = threading.Event()
    began = threading.Event()
    ended: list[bool] = []

    def run() -> None:
        played = Player(LINES).play(lambda *_: began.set(), speed=0.001, stop=stop)
        ended.append(played.stopped)

    thread = threading.Thread(target=run)
    thread.start()
    assert began.wait(60.0)
    stop.set()
    thread.join(60.0)

    assert ended == [True]


def test_player_without_anybody_for_entries_counts_them() -> None:
    """Entries are not lost silently."""
    progress: list[int] = []
    played = Player(iter(LINES)).play(
        lambda *_: None, speed=None, on_progress=lambda now: progress.append(now.done)
    )

    assert played.entries_left_out == 1
    assert progress == [1, 2, 3, 4]


def test_player_with_a_limit_spaces_its_lines() -> None:
    """No broker has to drop what its subscribers are too slow for."""
    time = FakeTime()
    Player(LINES).play(
        lambda *_: None, speed=None, most_per_s=4.0, wait=time.wait, monotonic=time.monotonic
    )

    assert time.waits == [pytest.approx(0.25)] * 3


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan")])
def test_player_refuses_a_speed_that_is_none(speed: float) -> None:
    """A speed of zero would never end."""
    with pytest.raises(ValueError, match="more than zero"):
        Player(LINES).play(lambda *_: None, speed=speed)
