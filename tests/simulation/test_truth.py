"""A week against the fish's true temperature, and that every planted mistake still has its place.

More weeks: ``make truth WEEKS=100 FIRST=1000``; the mistakes: ``make planted``.
"""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest

from rimewatch.alarms import codec
from rimewatch.alarms.alarm import AlarmState
from rimewatch.alarms.engine import Engine
from rimewatch.rules import power_loss
from simulation.nights import NIGHTS, reload_while_acknowledged, two_units_and_one_recovers
from simulation.planted import PLANTED, Planted, planted_copy
from simulation.promises import judged
from simulation.shop_week import Post, WeekRun
from simulation.truth import played
from simulation.week import Week, week

SEED = 131
"""A short one, read each five minutes."""

Mistake = Callable[[], AbstractContextManager[Any]]


@pytest.fixture
def post() -> Iterator[Post]:
    """Give the server behind everybody's phone."""
    server = Post()
    yield server
    server.close()


def test_somebody_is_told_what_is_so_in_days_of_troubles(post: Post) -> None:
    """Told in time, told again, never the opposite, and no hold complete that was not true."""
    run = played(week(SEED), post)
    found = judged(run)

    assert found.broken == [], "\n".join(run.world.history)
    assert found.warm_times > 0


@pytest.mark.parametrize("name", NIGHTS)
def test_night_that_was_written_keeps_every_promise(name: str, post: Post) -> None:
    """What chance seldom brings together."""
    run = played(NIGHTS[name](), post)

    assert judged(run).broken == [], "\n".join(run.world.history)


def test_same_night_is_heard_the_same_way(post: Post) -> None:
    """Otherwise a broken promise could not be looked at again."""
    first, second = (played(two_units_and_one_recovers(), post) for _ in range(2))

    def heard(run: WeekRun) -> list[tuple[int, str]]:
        return [(one.at_ms, one.row.title) for one in run.heard]

    assert heard(first) == heard(second)


def says_power_is_back_at_once() -> AbstractContextManager[Any]:
    """The first look after it went finds it back."""
    return patch.object(power_loss, "is_back", lambda *_: True)


def forgets_alarms_at_a_reload() -> AbstractContextManager[Any]:
    """What stood before stands no more."""
    return patch.object(codec, "from_json", lambda _: AlarmState())


def tells_newcomers_nothing() -> AbstractContextManager[Any]:
    """Whoever replaces a contact waits for the next alarm."""
    return patch.object(Engine, "catch_up", lambda _self, state, *_: (state, ()))


@pytest.mark.parametrize(
    ("mistake", "night"),
    [
        (says_power_is_back_at_once, two_units_and_one_recovers),
        (forgets_alarms_at_a_reload, reload_while_acknowledged),
        (tells_newcomers_nothing, reload_while_acknowledged),
    ],
    ids=lambda one: one.__name__,
)
def test_nights_find_a_mistake_that_is_put_into_the_service(
    mistake: Mistake, night: Callable[[], Week], post: Post
) -> None:
    """A check that finds nothing may be blind."""
    with mistake():
        assert judged(played(night(), post)).broken != []


@pytest.mark.parametrize("mistake", PLANTED, ids=lambda mistake: mistake.name)
def test_planted_mistake_has_its_place(mistake: Planted, tmp_path: Path) -> None:
    """What it replaces stands there once, or it plants nothing."""
    planted_copy(mistake, tmp_path)

    assert mistake.wrong in (tmp_path / "rimewatch" / mistake.module).read_text()
