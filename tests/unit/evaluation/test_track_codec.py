"""A running channel: late readings, checkpoints, and its state as text."""

import json
import random
from collections.abc import Sequence
from math import sin
from typing import Any

import pytest

from handmade import probe, shop, unit
from rimewatch.evaluation import track_codec
from rimewatch.evaluation.channels import history_of
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.evaluation.track import Track
from rimewatch.readings import Reading
from rimewatch.shop import Shop

MINUTE = 60_000
HOUR = 60 * MINUTE
SHOP = shop(unit(lag_s=600, on_delay_s=300), probe())


class Running:
    """A track with the store it reads from."""

    def __init__(self, in_shop: Shop = SHOP) -> None:
        self.shop = in_shop
        self.store = MemoryStore()
        self.track = self.fresh()

    def fresh(self) -> Track:
        """Return a track that has seen nothing yet, on the same store."""
        return Track(self.shop.seats[0], self.store)

    def take(self, at_ms: int, value: float) -> bool:
        """Take a reading; return whether the channel moved on."""
        reading = Reading(
            probe=self.shop.probes[0].id,
            observed_ms=at_ms,
            arrived_ms=at_ms,
            raw=value,
            value=value,
        )
        assert self.store.add(reading)
        return self.track.take(at_ms, value)

    def folded(self) -> Any:
        """Return the channel folded once over the store, in order."""
        return history_of(self.shop, self.shop.probes[0], self.store, 10**15)


def wave(count: int) -> list[tuple[int, float]]:
    """Return readings of some hours, in waves that the fish follows over every line."""
    rng = random.Random(5)
    return [
        (n * MINUTE, round(5.0 + 5.0 * sin(n / 20) + rng.uniform(-0.5, 0.5), 3))
        for n in range(count)
    ]


def running(points: Sequence[tuple[int, float]]) -> Running:
    """Return a track that has taken some readings in order."""
    found = Running()
    for at_ms, value in points:
        assert found.take(at_ms, value)
    return found


def test_track_in_order_is_the_fold_over_its_store() -> None:
    """Reading by reading, or all at once."""
    found = running(wave(400))

    assert found.track.history() == found.folded()
    assert found.track.ended


@pytest.mark.parametrize("late_minute", [-30, 1, 59, 60, 61, 200, 398])
def test_track_folds_a_late_reading_in_where_it_belongs(late_minute: int) -> None:
    """Before the first, at a checkpoint, or just now: as if it had come in time."""
    found = running([point for point in wave(400) if point[0] != late_minute * MINUTE])

    assert not found.take(late_minute * MINUTE, 11.0)
    found.track.catch_up()

    assert found.track.late_from_ms is None
    assert found.track.history() == found.folded()


def test_track_that_waits_for_late_readings_takes_the_newest_with_them() -> None:
    """Until it has caught up, it stands where it stood."""
    found = running(wave(100))
    before = found.track.state

    for at_ms in (50 * MINUTE + 1, 100 * MINUTE):
        assert not found.take(at_ms, 9.0)
    assert found.track.state == before
    found.track.catch_up()

    assert found.track.state.last_ms == 100 * MINUTE
    assert found.track.history() == found.folded()


def test_track_hears_of_a_warmer_value_at_a_time_it_has() -> None:
    """Of two readings at one time the warmer stands, whichever came first."""
    found = running(wave(100))

    assert not found.take(70 * MINUTE, 30.0)
    found.track.catch_up()

    assert found.track.history() == found.folded()


def test_track_survives_the_text_of_a_checkpoint_to_the_bit() -> None:
    """Restored, it goes on as if nothing had been."""
    points = wave(400)
    found = running(points[:250])
    text = track_codec.to_text(found.track)
    found.track = found.fresh()

    assert track_codec.restore(found.track, text)
    assert track_codec.to_text(found.track) == text
    for at_ms, value in points[250:]:
        found.take(at_ms, value)

    assert found.track.history() == found.folded()


def test_track_restored_folds_readings_older_than_its_checkpoint() -> None:
    """A backlog from before the restart: everything is folded again."""
    found = running(wave(300))
    text = track_codec.to_text(found.track)
    found.track = found.fresh()
    track_codec.restore(found.track, text)

    found.take(100 * MINUTE + 1, 12.0)
    found.track.catch_up()

    assert found.track.history() == found.folded()


@pytest.mark.parametrize(
    "changed",
    [
        shop(unit(lag_s=601, on_delay_s=300), probe()),
        shop(unit(lag_s=600, on_delay_s=301), probe()),
        shop(unit(lag_s=600, on_delay_s=300, limit_c=4.0), probe()),
        shop(unit(lag_s=600, on_delay_s=300, deadband_c=0.4), probe()),
        shop(unit(lag_s=600, on_delay_s=300, operating_limit_c=3.0), probe()),
        shop(unit(lag_s=600, on_delay_s=300), probe(stale_s=200)),
        shop(unit(lag_s=600, on_delay_s=300), probe(uncertainty_c=0.2)),
    ],
)
def test_checkpoint_made_under_other_settings_is_refused(changed: Shop) -> None:
    """A state folded under another limit is of no use."""
    text = track_codec.to_text(running(wave(100)).track)
    other = Running(changed).track

    assert not track_codec.restore(other, text)
    assert other.state.last_ms is None


@pytest.mark.parametrize("text", ["", "null", "[]", "{}", "5", '{"format": 1}', '"x"'])
def test_checkpoint_that_is_none_is_refused_and_changes_nothing(text: str) -> None:
    """A torn page, another format: fold from the start."""
    found = running(wave(10))
    before = found.track.history()

    assert not track_codec.restore(found.track, text)
    assert found.track.history() == before


@pytest.mark.parametrize("key", ["format", "settings", "state", "ended", "first_ms"])
def test_checkpoint_with_a_part_missing_is_refused(key: str) -> None:
    """Every part is needed."""
    plain = json.loads(track_codec.to_text(running(wave(100)).track))
    del plain[key]

    assert not track_codec.restore(running([]).track, json.dumps(plain))


def test_track_keeps_no_more_checkpoints_than_late_readings_can_need() -> None:
    """Thirty days and a little: a year of hours does not fill the memory."""
    found = Running()
    for hour in range(24 * 60):
        found.take(hour * HOUR, 2.0)

    assert len(found.track._checkpoints) <= 24 * 31 + 2
