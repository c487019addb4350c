"""The mirror against a real database, killed and restarted; and against every bad answer."""

import random
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from influx_answers import Answer, InfluxAnswers
from mirrored import (
    EVERY_MS,
    QUICK,
    START_MS,
    TOKEN,
    a_reading,
    fill,
    following,
    held,
    mirrored_shop,
    new_journal,
)
from rimewatch.journal.journal import Journal
from rimewatch.mirror.comparing import compare
from rimewatch.mirror.other_side import other_side
from rimewatch.mirror.state import MIRROR_STATE, from_text
from rimewatch.shop import Shop
from rimewatch.vocabulary import ProbeId
from victoria import Victoria

pytestmark = pytest.mark.integration

AIR = ProbeId("air-0")

READINGS = 50_000
"""Over two probes. ``benchmarks/mirror_chaos.py`` does the same with 200,000 and more."""


@pytest.fixture
def victoria(tmp_path: Path) -> Iterator[Victoria]:
    """Give a running database."""
    database = Victoria(tmp_path / "victoria")
    database.start()
    yield database
    database.stop()


@pytest.fixture
def influx() -> Iterator[InfluxAnswers]:
    """Give a server that answers as InfluxDB 2 documents it."""
    server = InfluxAnswers()
    yield server
    server.close()


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Give an empty journal."""
    with new_journal(tmp_path) as opened:
        yield opened


def assert_both_sides_equal(shop: Shop, journal: Journal, readings: int) -> None:
    assert shop.mirror is not None
    end_ms = START_MS + (readings + 1) * EVERY_MS
    compared = list(compare(shop, journal, other_side(shop.mirror), START_MS, end_ms))
    assert [one.probe for one in compared if not one.equal] == []
    counts = {one.probe: one.there.count for one in compared}
    assert counts["air-0"] == counts["air-1"] == readings


def test_database_stopped_and_started_at_random_ends_with_the_same_readings(
    victoria: Victoria, journal: Journal
) -> None:
    """Whatever the database does, in the end both sides agree to the millisecond and digit."""
    shop = mirrored_shop(victoria.url)
    chance = random.Random(20260303)
    done = threading.Event()

    def trouble() -> None:
        for _ in range(4):
            done.wait(chance.uniform(0.2, 1.0))
            victoria.stop()
            done.wait(chance.uniform(0.0, 0.6))
            victoria.start()

    troublemaker = threading.Thread(target=trouble)
    with following(shop, journal, pace=replace(QUICK, batch=500)) as mirror:
        troublemaker.start()
        each = READINGS // 2
        for first in range(0, each, 1000):
            fill(journal, shop, first, first + 1000)
            mirror.look()
        troublemaker.join()
        state = mirror.wait_until_even()

    assert state.refused_total == 0
    victoria.show_everything()
    assert_both_sides_equal(shop, journal, each)


def test_database_that_lost_what_it_acknowledged_is_made_whole_by_sending_again(
    victoria: Victoria, journal: Journal
) -> None:
    """A power cut takes the last seconds from it; comparing shows that, sending again cures it."""
    shop = mirrored_shop(victoria.url)
    fill(journal, shop, 0, 3000)
    with following(shop, journal) as mirror:
        mirror.wait_until_even()
        victoria.kill()
        victoria.start()
        fill(journal, shop, 3000, 3500)
        mirror.wait_until_even()
        journal.mark_changed(START_MS, START_MS + 3500 * EVERY_MS)
        mirror.wait_until_even()

    victoria.show_everything()
    assert_both_sides_equal(shop, journal, 3500)


def test_database_that_merges_nothing_is_compared_by_what_it_holds(
    tmp_path: Path, journal: Journal
) -> None:
    """What is sent again stands there twice: the readings are the same, and the person is told."""
    database = Victoria(tmp_path / "twice", merges=False)
    database.start()
    shop = mirrored_shop(database.url)
    fill(journal, shop, 0, 300)
    with following(shop, journal) as mirror:
        mirror.wait_until_even()
        journal.mark_changed(START_MS, START_MS + 300 * EVERY_MS)
        mirror.wait_until_even()
    database.show_everything()
    assert shop.mirror is not None

    compared = {
        one.probe: one
        for one in compare(
            shop, journal, other_side(shop.mirror), START_MS, START_MS + 300 * EVERY_MS
        )
    }
    database.stop()

    assert all(one.equal for one in compared.values())
    assert (compared[AIR].there.count, compared[AIR].repeated) == (300, 300)
    assert compared[ProbeId("door")].repeated == 0


def test_comparison_finds_a_single_digit_and_a_single_missing_reading(
    victoria: Victoria, journal: Journal
) -> None:
    """A comparison that cannot fail would be worth nothing."""
    shop = mirrored_shop(victoria.url)
    fill(journal, shop, 0, 500)
    with following(shop, journal) as mirror:
        mirror.wait_until_even()
    journal.add_readings([a_reading("air-0", 700)])
    same_time = a_reading("air-1", 200)
    journal.add_readings([same_time._replace(value=same_time.value + 0.001)])

    victoria.show_everything()
    assert shop.mirror is not None
    compared = compare(shop, journal, other_side(shop.mirror), START_MS, START_MS + 800 * EVERY_MS)
    assert {one.probe: (one.equal, one.there.count) for one in compared} == {
        "air-0": (False, 500),
        "air-1": (False, 500),
        "door": (True, 0),
    }


def test_points_bear_their_tags_and_fields_and_are_packed(
    influx: InfluxAnswers, journal: Journal
) -> None:
    """Names with commas and blanks come through; nothing is sent in the clear but the token."""
    shop = mirrored_shop(influx.url)
    journal.add_readings([a_reading("air-0", 0, 4.0), a_reading("door", 1, 1.0)])
    with following(shop, journal) as mirror:
        state = mirror.wait_until_even()

    tags = r"shop=Saltmarsh\ Row\,\ Fish\ \=\ cold,unit=case-1"
    assert influx.points == {
        (f"reading,measures=air,probe=air-0,{tags}", START_MS): {"value_c": "4", "raw": "4"},
        (f"reading,measures=door,probe=door,{tags}", START_MS + EVERY_MS + 1): {
            "open": "1",
            "raw": "1",
        },
        (f"governing,probe=air-0,{tags}", START_MS): {"value_c": "4"},
    }
    assert influx.tokens == {f"Token {TOKEN}"}
    assert influx.encodings == {"gzip"}
    assert state.sent == 3


def test_reading_that_comes_late_or_warmer_replaces_its_point(
    influx: InfluxAnswers, journal: Journal
) -> None:
    """A backlog reaches the other side, and of two values for one time the one that stands."""
    shop = mirrored_shop(influx.url)
    journal.add_readings([a_reading("air-0", n, 2.0) for n in range(100, 200)])
    with following(shop, journal) as mirror:
        mirror.wait_until_even()
        journal.add_readings([a_reading("air-0", 3, 1.0), a_reading("air-0", 150, 7.5)])
        mirror.wait_until_even()

    found = {at: fields["value_c"] for (_, at), fields in influx.points.items()}
    assert len(found) == 101
    assert found[a_reading("air-0", 3).observed_ms] == "1"
    assert found[a_reading("air-0", 150).observed_ms] == "7.5"


@pytest.mark.parametrize(
    "trouble", [Answer.UNAUTHORIZED, Answer.UNAVAILABLE, Answer.LOSE, Answer.RESET]
)
def test_trouble_that_passes_loses_nothing_and_is_told(
    influx: InfluxAnswers, journal: Journal, trouble: Answer
) -> None:
    """It is tried again for ever; the token is in no message about it."""
    shop = mirrored_shop(influx.url)
    influx.answer = trouble
    fill(journal, shop, 0, 300)
    with following(shop, journal) as mirror:
        influx.wait_for(lambda one: len(one.batches) >= 3, "it was not tried again")
        told = mirror.wait_for(lambda state: bool(state.error), "the trouble was not told")
        influx.answer = Answer.TAKE
        even = mirror.wait_until_even()

    assert (told.cursor, told.refused_total) == (0, 0)
    assert told.error_since_ms is not None
    assert TOKEN not in told.error
    assert (even.error, even.error_since_ms) == ("", None)
    assert influx.readings == 600


def test_server_that_is_not_there_yet_is_waited_for(journal: Journal, tmp_path: Path) -> None:
    """The service starts before its database, or without it."""
    database = Victoria(tmp_path / "later")
    shop = mirrored_shop(database.url)
    fill(journal, shop, 0, 100)
    with following(shop, journal) as mirror:
        mirror.wait_for(lambda state: "refused" in state.error, "a refused connection was not told")
        database.start()
        mirror.wait_until_even()
    database.show_everything()
    assert_both_sides_equal(shop, journal, 100)
    database.stop()


def test_request_that_hangs_does_not_hold_up_the_end(
    influx: InfluxAnswers, journal: Journal
) -> None:
    """The service ends when it is told to, whatever the database does; nothing is lost by it."""
    shop = mirrored_shop(influx.url)
    influx.answer = Answer.HANG
    fill(journal, shop, 0, 10)
    with following(shop, journal) as mirror:
        influx.wait_for(lambda one: bool(one.batches), "nothing was sent")
        assert not mirror.mirror.stop(0.05), "the request in hand was to hang"
        assert mirror.look().cursor == 0
        influx.let_go()


def test_retry_after_is_waited_for(influx: InfluxAnswers, journal: Journal) -> None:
    """A server that asks for a pause is given it: no request comes before its time."""
    shop = mirrored_shop(influx.url)
    influx.answer = Answer.TOO_MANY
    influx.retry_after = "3600"
    fill(journal, shop, 0, 10)
    with following(shop, journal) as mirror:
        mirror.wait_for(lambda state: "429" in state.error, "the pause was not told")
        influx.answer = Answer.TAKE
        pause = threading.Event()
        pause.wait(0.5)  # 25 times the usual wait: it would have come back long since

        assert len(influx.batches) == 1


def test_retry_after_that_has_passed_is_followed_by_the_rest(
    influx: InfluxAnswers, journal: Journal
) -> None:
    """A pause in seconds and one up to a date both end."""
    shop = mirrored_shop(influx.url)
    influx.answer = Answer.TOO_MANY
    influx.retry_after = "Tue, 03 Mar 2026 00:00:00 GMT"
    fill(journal, shop, 0, 10)
    with following(shop, journal) as mirror:
        influx.wait_for(lambda one: len(one.batches) >= 2, "it did not come back")
        influx.answer = Answer.TAKE
        mirror.wait_until_even()

    assert influx.readings == 20


def test_batch_that_is_too_large_is_halved_until_it_passes(
    influx: InfluxAnswers, journal: Journal
) -> None:
    """413 is no reason to lose a point."""
    shop = mirrored_shop(influx.url)
    influx.most_points = 100
    fill(journal, shop, 0, 1000)
    with following(shop, journal) as mirror:
        state = mirror.wait_until_even()

    assert influx.readings == 2000
    assert state.refused_total == 0
    assert max(influx.batches) > 100


def test_single_bad_points_are_parked_with_the_servers_words(
    influx: InfluxAnswers, journal: Journal
) -> None:
    """One point that the database will not have stops nothing, and can be looked at."""
    shop = mirrored_shop(influx.url)
    bad = {str(a_reading("air-0", n).observed_ms) for n in (17, 40, 444)}
    influx.refuses = lambda line: (
        line.startswith("reading") and "air-0" in line and line.rsplit(" ", 1)[1] in bad
    )
    fill(journal, shop, 0, 500)
    with following(shop, journal) as mirror:
        state = mirror.wait_until_even()

    assert influx.readings == 997
    assert state.refused_total == 3
    assert sorted(one.line.rsplit(" ", 1)[1] for one in state.refused) == sorted(bad)
    assert all("400: partial write: field type conflict" in one.said for one in state.refused)
    assert from_text(journal.load_state(MIRROR_STATE)).refused == state.refused


def test_points_beyond_the_buckets_retention_are_parked_together(
    influx: InfluxAnswers, journal: Journal
) -> None:
    """A year of old readings must not become a million single requests."""
    shop = mirrored_shop(influx.url)
    limit_ms = START_MS + 400 * EVERY_MS
    influx.refuses = lambda line: (
        line.startswith("reading") and int(line.rsplit(" ", 1)[1]) < limit_ms
    )
    influx.says = "partial write: points beyond retention policy dropped={dropped}"
    fill(journal, shop, 0, 1000)
    with following(shop, journal) as mirror:
        state = mirror.wait_until_even()

    assert state.refused_total == 800
    assert influx.readings == 1200
    assert len(influx.batches) < 60


def test_restart_goes_on_from_the_cursor(influx: InfluxAnswers, journal: Journal) -> None:
    """After days of outage the rest is sent, not all of it once more."""
    shop = mirrored_shop(influx.url)
    fill(journal, shop, 0, 1500)
    with following(shop, journal) as mirror:
        mirror.wait_until_even()
    sent_before = sum(influx.batches)
    fill(journal, shop, 1500, 1600)
    with following(shop, journal) as mirror:
        mirror.wait_until_even()

    assert influx.readings == 3200
    assert sum(influx.batches) - sent_before <= 4 * 720, "two hours of each probe at the most"


def test_probe_that_is_no_longer_configured_is_passed_over_and_counted(
    influx: InfluxAnswers, journal: Journal
) -> None:
    """Its unit and what it measured are not known any more; the rest goes on."""
    shop = mirrored_shop(influx.url)
    journal.add_readings([a_reading("gone", n) for n in range(100)])
    fill(journal, shop, 0, 50)
    with following(shop, journal) as mirror:
        state = mirror.wait_until_even()

    assert state.passed_over == 1
    assert influx.readings == 100


def test_comparison_asks_influxdb_in_flux(influx: InfluxAnswers, journal: Journal) -> None:
    """The query names shop and probe as they are, and both ends of the period."""
    shop = mirrored_shop(influx.url)
    fill(journal, shop, 0, 2000)
    with following(shop, journal) as mirror:
        mirror.wait_until_even()

    assert shop.mirror is not None
    assert other_side(shop.mirror).name == "InfluxDB 2"
    assert_both_sides_equal(shop, journal, 2000)
    (key, _) = next((k, v) for k, v in influx.points.items() if "measures=air,probe=air-1" in k[0])
    del influx.points[key]
    with pytest.raises(AssertionError):
        assert_both_sides_equal(shop, journal, 2000)


def test_packed_days_are_mirrored_as_they_were(influx: InfluxAnswers, journal: Journal) -> None:
    """Compaction moves readings on the disk; the other side sees nothing of it."""
    shop = mirrored_shop(influx.url)
    fill(journal, shop, 0, 10_000)
    assert journal.compact(START_MS + 3 * 86_400_000) == 4
    with following(shop, journal) as mirror:
        mirror.wait_until_even()

    found = sorted(
        (at, round(float(fields["value_c"]) * 1000))
        for (series, at), fields in influx.points.items()
        if series.startswith("reading") and "probe=air-0" in series
    )
    assert found == held(journal, "air-0")
