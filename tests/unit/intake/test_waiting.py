"""The queue before the writer: in order, never waiting for more than there is, with a bound."""

import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimewatch.intake.arrivals import Arrived, Happening, SessionEvent
from rimewatch.intake.waiting import Waiting


def message(number: int, payload_bytes: int = 10) -> Arrived:
    return Arrived(
        f"shop/{number}", bytes(payload_bytes), 0, retained=False, mid=number, qos=1, generation=1
    )


@given(st.lists(st.one_of(st.integers(1, 8), st.integers(-8, -1)), max_size=60))
def test_all_that_is_put_in_comes_out_once_and_in_order(steps: list[int]) -> None:
    """However puts (above 0) and takes (below) are mixed."""
    waiting = Waiting(most_items=10, most_bytes=90)
    put: list[Arrived] = []
    taken: list[object] = []
    for step in steps:
        if step > 0:
            new = [message(len(put) + n) for n in range(step)]
            put += new
            waiting.put(new)
        else:
            out = waiting.take(-step, 0)
            assert len(out) <= -step
            taken += out
        assert len(waiting) == len(put) - len(taken)
    taken += waiting.take(len(put) + 1, 0)
    assert taken == put
    assert not waiting.is_full


def test_nothing_there_is_nothing_taken() -> None:
    assert Waiting().take(10, 0.0) == []


def test_taking_waits_for_the_first_and_not_for_a_batch() -> None:
    """A lone reading at night is on its way at once."""
    waiting = Waiting()
    late = threading.Timer(0.05, lambda: waiting.put([message(1)]))
    late.start()

    assert waiting.take(2000, 60.0) == [message(1)]
    late.join()


def test_full_by_number_has_no_room_until_half_of_it_is_gone() -> None:
    waiting = Waiting(most_items=4)
    waiting.put([message(n) for n in range(4)])
    assert waiting.is_full
    assert not waiting.wait_for_room(0.0)

    waiting.take(2, 0)
    assert waiting.is_full, "room for one more, and no more than that, would be read piece by piece"
    waiting.take(1, 0)
    assert not waiting.is_full
    assert waiting.wait_for_room(0.0)


def test_full_by_bytes_though_few_wait() -> None:
    """A stranger's large messages do not take the memory either."""
    waiting = Waiting(most_bytes=1000)
    waiting.put([message(1, 500), message(2, 500)])
    assert waiting.is_full

    waiting.take(2, 0)
    assert not waiting.is_full


def test_event_of_the_session_is_let_in_when_full() -> None:
    """That the broker is gone must be known, however much waits."""
    waiting = Waiting(most_items=1)
    waiting.put([message(1)])
    gone = SessionEvent(what=Happening.DISCONNECTED, at_ms=0, text="Gone.")
    waiting.put([gone])

    assert waiting.take(9, 0) == [message(1), gone]


@pytest.mark.parametrize("most", [1, 7])
def test_reader_that_waits_for_room_goes_on_once_there_is_some(most: int) -> None:
    waiting = Waiting(most_items=most)
    waiting.put([message(n) for n in range(most)])
    had_room: list[bool] = []
    reader = threading.Thread(target=lambda: had_room.append(waiting.wait_for_room(60.0)))
    reader.start()

    waiting.take(most, 0)
    reader.join(60.0)
    assert had_room == [True]
