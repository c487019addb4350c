"""What was learned of the air once serves every excursion, and changes none of them."""

from functools import cache

import numpy as np
import pytest

from handmade import probe, shop, unit
from rimewatch.evaluation.channels import history_of
from rimewatch.evaluation.excursions import Excursion, excursions_of
from rimewatch.evaluation.learned_air import STRETCH_MS, LearnedAir
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.evaluation.store import Span
from rimewatch.readings import Reading
from rimewatch.rules import usual
from rimewatch.vocabulary import MS_PER_DAY, Cause, ProbeId, UnitId

MINUTE = 60_000
BEGIN_MS = 1_767_225_600_000 // STRETCH_MS * STRETCH_MS
DAYS = 8
NAMES = ("case-1", "case-2", "walk-in")
POWER_LOST_MINUTES = (1 * 1440 + 300, 3 * 1440 + 30, 6 * 1440 + 700)
DOOR_MINUTES = (2 * 1440 + 200, 5 * 1440 + 900)

SHOP = shop(
    *(unit(name, "walk-in" if name == "walk-in" else "display-case") for name in NAMES),
    *(probe(f"{name}-air", name) for name in NAMES),
)


class Counting(MemoryStore):
    """A store that counts what it is asked for."""

    asked = 0

    def span(self, probe: ProbeId, from_ms: int | None = None, to_ms: int | None = None) -> Span:
        """Return readings, and count the asking for a stretch of days."""
        if from_ms is not None and to_ms is not None and to_ms - from_ms > MS_PER_DAY:
            self.asked += 1
        return super().span(probe, from_ms, to_ms)


@cache
def store() -> Counting:
    """Eight days of three units: the power lost three times, one door left open twice."""
    made = Counting()
    random = np.random.default_rng(11)
    minutes = np.arange(DAYS * 1440)
    for number, name in enumerate(NAMES):
        air = 2.0 + 0.6 * np.sin(minutes / 3.3 + number) + random.normal(0.0, 0.05, len(minutes))
        for at in POWER_LOST_MINUTES:
            air[at : at + 120] += np.arange(120) / 12
        if number == 0:
            for at in DOOR_MINUTES:
                air[at : at + 20] += 7.0
        for minute, value in enumerate(np.round(air, 2).tolist()):
            at_ms = BEGIN_MS + minute * MINUTE
            made.add(
                Reading(
                    probe=ProbeId(f"{name}-air"),
                    observed_ms=at_ms,
                    arrived_ms=at_ms,
                    raw=value,
                    value=value,
                )
            )
    return made


def excursions(air: LearnedAir | None, name: str = "case-1") -> list[Excursion]:
    """Return a unit's excursions."""
    to_ms = BEGIN_MS + DAYS * MS_PER_DAY
    own = SHOP.unit[UnitId(name)]
    histories = [history_of(SHOP, one, store(), to_ms) for one in SHOP.governing_probes(own.id)]
    return excursions_of(SHOP, store(), histories, [], from_ms=BEGIN_MS, to_ms=to_ms, air=air)


def test_verdicts_are_the_same_with_what_was_learned_before() -> None:
    """Sharing saves time, and nothing else; the losses of power are found, the doors are not."""
    shared = LearnedAir(SHOP, store())
    together = [one for name in NAMES for one in excursions(shared, name)]
    alone = [one for name in NAMES for one in excursions(None, name)]

    assert together == alone
    lost = [one for one in together if one.cause is Cause.POWER_LOSS]
    minutes = {round((one.start_ms - BEGIN_MS) / MINUTE) for one in lost}
    for at in POWER_LOST_MINUTES:
        assert sum(at <= minute <= at + 120 for minute in minutes) >= 1
    for at in DOOR_MINUTES:
        assert not any(at - 1 <= minute <= at + 20 for minute in minutes)


def test_each_stretch_is_learned_once() -> None:
    """However many excursions ask."""
    shared = LearnedAir(SHOP, store())
    for name in NAMES:
        excursions(shared, name)
    store().asked = 0
    for name in NAMES:
        excursions(shared, name)

    assert store().asked == 0


@pytest.mark.parametrize("after_min", [-1, 5, 30, 60, 119, 121, 600])
def test_departure_looked_at_while_it_lasts_is_what_was_known_then(after_min: int) -> None:
    """Nothing of what came later: the very band, peak and end of following it up to then."""
    about_ms = BEGIN_MS + POWER_LOST_MINUTES[1] * MINUTE
    until_ms = about_ms + after_min * MINUTE
    span = store().span(ProbeId("walk-in-air"), BEGIN_MS - MS_PER_DAY, until_ms)
    state, ended = usual.fold(span.times_ms.tolist(), span.values.tolist())
    known = ended if state.out is None else [*ended, state.out]

    found = LearnedAir(SHOP, store()).departures(UnitId("walk-in"), about_ms, until_ms)

    day_before_ms = about_ms - MS_PER_DAY
    assert [one for one in found if one.left_ms >= day_before_ms] == [
        one for one in known if one.left_ms >= day_before_ms
    ]
