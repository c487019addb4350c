"""The one thread that draws: what is urgent waits for one piece at most."""

import threading

from rimewatch.service.pen import Pen


def test_urgent_piece_comes_before_all_that_is_patient() -> None:
    """An alarm's picture waits for the chart in hand, and not for a morning's fifty."""
    pen, begun, go_on = Pen(), threading.Event(), threading.Event()
    order: list[str] = []

    def first() -> None:
        begun.set()
        assert go_on.wait(60.0)
        order.append("morning, 1")

    def piece(name: str) -> None:
        order.append(name)

    pen.do(first, urgent=False)
    assert begun.wait(60.0)
    for number in (2, 3):
        pen.do(lambda number=number: piece(f"morning, {number}"), urgent=False)  # type: ignore[misc]
    alarm = pen.do(lambda: piece("alarm"), urgent=True)
    go_on.set()

    assert alarm.wait(60.0)
    pen.stop(grace_s=60.0)
    assert order == ["morning, 1", "alarm", "morning, 2", "morning, 3"]


def test_pen_that_stops_finishes_what_it_was_handed() -> None:
    """A stop soon after half past six still has its summary."""
    pen, order = Pen(), []
    for number in range(5):
        pen.do(lambda number=number: order.append(number), urgent=False)  # type: ignore[misc]

    pen.stop(grace_s=60.0)

    assert order == [0, 1, 2, 3, 4]
