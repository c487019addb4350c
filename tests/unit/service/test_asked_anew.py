"""Asking the writer to read the configuration again, and hearing how it went."""

import threading

import pytest

from rimewatch.service import asked_anew
from rimewatch.service.asked_anew import AskedAnew


def asking(asked: AskedAnew, who: str, answers: list[str | None]) -> threading.Thread:
    """Have somebody ask from a thread of their own."""
    thread = threading.Thread(target=lambda: answers.append(asked.ask_and_wait(who)))
    thread.start()
    return thread


def taken(asked: AskedAnew) -> None:
    """Wait, as the writer's loop does, until somebody asks."""
    tries = threading.Event()
    while not asked.take():
        tries.wait(0.01)


@pytest.mark.parametrize("why_not", ["", "the port is taken"])
def test_whoever_asks_hears_how_it_went(why_not: str) -> None:
    """And for whom it is read is known meanwhile, and no longer."""
    asked, answers = AskedAnew(), list[str | None]()
    thread = asking(asked, "Ana", answers)
    taken(asked)
    assert asked.who == "Ana"
    asked.answer(why_not)
    thread.join(60)

    assert answers == [why_not]
    assert asked.who == ""
    assert not asked.take(), "asked once, read once"


def test_signal_waits_for_nobody_and_names_nobody() -> None:
    """The file was edited by hand."""
    asked = AskedAnew()
    asked.ask()

    assert asked.take()
    assert asked.who == ""


def test_asking_is_given_up_after_a_while(monkeypatch: pytest.MonkeyPatch) -> None:
    """The page is answered; the writer takes the change when it can."""
    monkeypatch.setattr(asked_anew, "WITHIN_S", 0.05)
    asked = AskedAnew()

    assert asked.ask_and_wait("Ana") is None
    assert asked.take()
    assert asked.who == "Ana"
