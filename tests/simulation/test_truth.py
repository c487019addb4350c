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
from simulation.planted import PLANTED, Planted, planted_copy
from simulation.promises import judged
from simulation.shop_week import Post
from simulation.truth import played

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
    run = played(SEED, post)
    found = judged(run)

    assert found.broken == [], "\n".join(run.world.history)
    assert found.warm_times > 0


def test_same_seed_gives_the_same_week(post: Post) -> None:
    """Otherwise a broken promise could not be looked at again."""
    first, second = (played(SEED, post) for _ in range(2))

    def heard(run: Any) -> list[tuple[int, str]]:
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
    "mistake",
    [says_power_is_back_at_once, forgets_alarms_at_a_reload, tells_newcomers_nothing],
    ids=lambda mistake: mistake.__name__,
)
def test_days_find_a_mistake_that_is_put_into_the_service(mistake: Mistake, post: Post) -> None:
    """A check that finds nothing may be blind."""
    with mistake():
        assert judged(played(SEED, post)).broken != []


@pytest.mark.parametrize("mistake", PLANTED, ids=lambda mistake: mistake.name)
def test_planted_mistake_has_its_place(mistake: Planted, tmp_path: Path) -> None:
    """What it replaces stands there once, or it plants nothing."""
    planted_copy(mistake, tmp_path)

    assert mistake.wrong in (tmp_path / "rimewatch" / mistake.module).read_text()
