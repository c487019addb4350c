"""The service keeps its promises whatever fails, and the simulation notices where it does not.

A longer run: ``make simulate N=1000``. One seed and its story: ``make simulate NIGHT=17``.
"""

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest

from rimewatch.alarms.alarm import AlarmState
from rimewatch.intake.arrivals import Item
from rimewatch.notify.results import Result
from rimewatch.service import resume
from rimewatch.service import writer as writer_module
from rimewatch.service.service import Service
from rimewatch.service.writer import Writer
from simulation.one import play_plan, play_seed, shrunk
from simulation.plan import ENTRY_TOPIC, PUSH, Fault, Kind, Plan, plan
from simulation.run import AT_PROBES

SEED = 8

NIGHT = plan(71)
"""A short night in which a case is too warm for an hour."""
ENTRY_MINUTE = next(m.made_ms for m in NIGHT.messages if m.topic == ENTRY_TOPIC) / 60_000


def fault(kind: Kind, minute: float, *, number: int = 0, for_s: int = 60, place: str = "") -> Fault:
    at_ms, for_ms = round(minute * 60_000), for_s * 1000
    return Fault(kind=kind, at_ms=at_ms, for_ms=for_ms, number=number, place=place)


# --- the service -----------------------------------------------------------------------------


def test_service_keeps_its_promises_in_nights_in_which_everything_fails(tmp_path: Path) -> None:
    """Nothing is lost, nothing counted twice, everybody told: see ``simulation.checks``."""
    kinds = [kind for kind in Kind if kind not in (Kind.CLOCK_JUMP, Kind.RELOAD_ZONE)]
    places = dict.fromkeys(AT_PROBES, "shop/case-1/air") | dict.fromkeys(PUSH, "all")
    one_after_the_other = [
        fault(kind, 5 + 2.5 * n, number=n, for_s=120, place=places.get(kind, ""))
        for n, kind in enumerate(kinds)
    ]

    outcome = play_plan(NIGHT.with_faults(one_after_the_other), tmp_path)

    assert outcome.broken == [], "\n".join(outcome.history)
    assert sum(map(bool, outcome.touched.values())) >= 20


def test_service_keeps_its_promises_in_a_night_of_chance(tmp_path: Path) -> None:
    """One of those that ``make simulate`` plays by the thousand."""
    outcome = play_seed(SEED, tmp_path)

    assert outcome.broken == [], "\n".join(outcome.history)


# --- the simulation --------------------------------------------------------------------------


def test_same_seed_gives_the_same_night(tmp_path: Path) -> None:
    """Otherwise a failure could not be looked at again."""
    first, second = (play_seed(SEED, tmp_path).history for _ in range(2))

    def without_folder(history: list[str]) -> list[str]:
        return [line for line in history if str(tmp_path) not in line]

    assert without_folder(first) == without_folder(second)


def acknowledges_before_commit() -> AbstractContextManager[Any]:
    """What a hurried change would do: the broker is free sooner."""

    def hurried(
        self: Service, writer: Writer, items: Sequence[Item], results: list[Result]
    ) -> None:
        self._session.ack(items)
        entries = self._write(writer, items, results)
        if entries is not None:
            self._progress.count(items, entries)

    return patch.object(Service, "_write_and_ack", hurried)


def marks_messages_sent_before_sending() -> AbstractContextManager[Any]:
    """The outbox is told before the phone."""
    honest = Service._post

    def hasty(self: Service, writer: Writer) -> None:
        for row in writer.journal.outbox_due(self._clock.now_ms()):
            writer.journal.outbox_sent(row.id, self._clock.now_ms())
            self._dispatcher.submit(row)
        honest(self, writer)

    return patch.object(Service, "_post", hasty)


def takes_entries_sent_again_for_new() -> AbstractContextManager[Any]:
    """An operator's entry that the broker delivers twice is put down twice."""
    return patch.object(writer_module, "is_known", lambda *_: False)


def forgets_alarms_over_a_restart() -> AbstractContextManager[Any]:
    """Whoever was told would be told of a new alarm."""
    return patch.object(resume.codec, "from_json", lambda _: AlarmState())


ERRORS: dict[Callable[[], AbstractContextManager[Any]], list[Fault]] = {
    acknowledges_before_commit: [
        fault(Kind.KILL_BEFORE_COMMIT, minute, number=minute) for minute in range(10, 80, 7)
    ],
    marks_messages_sent_before_sending: [
        fault(Kind.PUSH_DOWN, 5, for_s=5400, place="all"),
    ],
    takes_entries_sent_again_for_new: [fault(Kind.KILL_BEFORE_ACK, ENTRY_MINUTE - 0.001)],
    forgets_alarms_over_a_restart: [
        fault(Kind.RESTART, minute, for_s=5) for minute in range(20, 90, 10)
    ],
}


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: error.__name__)
def test_simulation_finds_an_error_that_is_put_into_the_service(
    error: Callable[[], AbstractContextManager[Any]], tmp_path: Path
) -> None:
    """A simulation that finds nothing may be blind: with the error it must find something."""
    night: Plan = NIGHT.with_faults(ERRORS[error])

    with error():
        found = play_plan(night, tmp_path)
    assert found.broken != [], "\n".join(found.history)

    assert play_plan(night, tmp_path).broken == []


def test_failing_night_is_told_with_the_faults_that_it_takes(tmp_path: Path) -> None:
    """Whoever looks for the cause is spared what has nothing to do with it."""
    needed = fault(Kind.PUSH_DOWN, 5, for_s=5400, place="all")
    others = [fault(Kind.LINK_DROP, 30)]

    with marks_messages_sent_before_sending():
        smaller = shrunk(NIGHT.with_faults([needed, *others]), tmp_path)

    assert smaller.faults == [needed]
