"""The mirror's parts that need no network: waits, what is remembered, points, the query."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handmade import probe as a_probe
from handmade import shop, unit
from ledger_values import ledger_of
from mirrored import TOKEN, mirrored_shop
from rimewatch.evaluation.unit_now import UnitNow, UnitState
from rimewatch.journal.readings import ChangedHour, FullSpan
from rimewatch.mirror.comparing import Sums
from rimewatch.mirror.governing_spans import governing_spans
from rimewatch.mirror.other_side import flux_for
from rimewatch.mirror.pace import Pace
from rimewatch.mirror.points import (
    LOT_CODES,
    STATE_CODES,
    book_points,
    lot_points,
    reading_points,
    unit_point,
)
from rimewatch.mirror.state import (
    Asked,
    MirrorState,
    Refused,
    asked_from_text,
    from_text,
    to_text,
)
from rimewatch.vocabulary import ProbeId, Standing, UnitId

QUIET: dict[str, Any] = {
    "readings": 0,
    "missing_s": 0.0,
    **dict.fromkeys(("min_c", "max_c", "mean_c", "kinetic_c")),
    "above_limit_s": 0.0,
    "governing_above_limit_s": 0.0,
    "excursions": [],
}
SHOP = mirrored_shop("http://127.0.0.1:8086")


@given(failures=st.integers(1, 10_000), key=st.text(max_size=20))
def test_wait_grows_to_its_longest_and_never_ends(failures: int, key: str) -> None:
    """However long the database is away, it is asked again within a minute."""
    pace = Pace()
    wait_s = pace.wait_s(failures, key)

    assert 0.8 * pace.first_wait_s <= wait_s <= pace.longest_wait_s
    if failures > 10:
        assert wait_s >= 0.8 * pace.longest_wait_s


def test_shops_of_one_street_do_not_come_back_together() -> None:
    """A database that restarts is not hit by all in one second."""
    assert len({Pace().wait_s(8, f"shop-{n}") for n in range(50)}) > 40


def test_state_comes_back_as_it_was_kept() -> None:
    """A restart goes on where the mirror came to."""
    state = MirrorState(
        cursor=7,
        sent=41,
        refused_total=1,
        refused=(Refused(at_ms=5, points=1, line="reading x=1 5", said="400: no"),),
        error="503: later",
        error_since_ms=4,
    )

    assert from_text(to_text(state)) == state
    assert from_text(None) == MirrorState()
    assert asked_from_text(to_text(Asked(number=2, from_ms=9))) == Asked(number=2, from_ms=9)


def test_every_field_of_a_reading_is_a_float() -> None:
    """The first write fixes a field's type: a door's 1 and a case's 4 are numbers like others."""
    values = np.array([4.0, 1.0])
    span = FullSpan(np.array([1000, 2000]), values, values, np.array([1000, 2000]))
    for probe in SHOP.probes:
        points = list(reading_points("s", probe, span))
        assert [point["time"] for point in points] == [1000, 2000]
        assert all(type(v) is float for point in points for v in point["fields"].values())
    (door,) = (p for p in SHOP.probes if p.id == "door")
    assert next(reading_points("s", door, span))["fields"] == {"open": 4.0, "raw": 4.0}


def test_books_tell_excursions_alarms_and_lots_by_what_does_not_change() -> None:
    """What may change later is a field, so that the later state overwrites the earlier one."""
    excursion = {
        "rule": "holding",
        "probe": "air-0",
        "start": "2026-03-03T00:00:00Z",
        "end": None,
        "peak_c": 7.5,
        "above_s": 600.0,
        "cause": "door",
        "alarmed": True,
    }
    place = shop(unit("case-1"), unit("case-2", "walk-in"), a_probe("air-0"))
    alarm = {
        "unit": None,
        "units": ["case-1", "case-2"],
        "rule": "power-loss",
        "priority": "high",
        "raised": "2026-03-03T00:10:00Z",
        "returned": "2026-03-03T01:10:00Z",
        "acknowledged": None,
        "woke": True,
        "detail": "",
    }
    lot = {
        "lot": "L-1",
        "credited_h": 3.5,
        "required_h": 15.0,
        "ice_days": 0.1,
        "interruptions": [],
        "needs_destruction": True,
        "state": "freezing",
        "option": "35C-15h",
        "species": "Oncorhynchus nerka",
        "why": "Wild sockeye, to be served raw.",
        "started": "2026-03-02T20:30:00Z",
        "completed": None,
    }
    document = {
        "from": "2026-03-03T00:00:00Z",
        "to": "2026-03-03T02:00:00Z",
        "quarantined": 0,
        "units": {"case-1": QUIET | {"excursions": [excursion]}, "case-2": QUIET},
        "alarms": [alarm],
        "messages": [],
        "lots": [lot],
    }
    ledger = ledger_of(document, place)

    first, *rest = book_points("s", ledger)
    (third,) = lot_points("s", ledger, 1234)

    assert first["tags"] == {"shop": "s", "unit": "case-1", "rule": "holding", "probe": "air-0"}
    assert first["time"] == 1_772_496_000_000
    assert first["fields"] == {
        "peak_c": 7.5,
        "above_s": 600.0,
        "open": 1.0,
        "alarmed": 1.0,
        "cause": "door",
    }
    assert [point["tags"] for point in rest] == [
        {"shop": "s", "unit": unit, "rule": "power-loss"}
        for unit in ("case-1", "case-1", "case-2", "case-2")
    ]
    assert rest[0]["fields"]["returned_after_s"] == 3600.0
    assert rest[0]["fields"]["units"] == 2.0
    assert "acknowledged_after_s" not in rest[0]["fields"]
    assert (third["time"], third["fields"]["credited_h"]) == (1234, 3.5)
    assert third["fields"]["standing_code"] == 2.0


def test_what_ends_gets_a_point_of_its_own_with_the_figures_that_had_grown() -> None:
    """Some databases keep either of two values of one time: an alarm's 1 would stay 1."""
    excursion = {
        "rule": "holding",
        "probe": "air-0",
        "start": "2026-03-03T00:00:00Z",
        "end": None,
        "peak_c": 7.5,
        "above_s": 600.0,
        "cause": "door",
        "alarmed": False,
    }
    alarm = {
        "unit": "case-1",
        "rule": "holding",
        "priority": "high",
        "raised": "2026-03-03T00:10:00Z",
        "returned": None,
        "acknowledged": None,
        "woke": False,
        "detail": "",
    }
    ended = {"end": "2026-03-03T00:30:00Z", "peak_c": 8.5, "above_s": 1800.0, "alarmed": True}
    over = {"returned": "2026-03-03T00:31:00Z", "woke": True}
    place = shop(unit("case-1"), a_probe("air-0"))

    def points(*, is_over: bool) -> dict[tuple[str, int, str], float]:
        document = {
            "from": "2026-03-03T00:00:00Z",
            "to": "2026-03-03T02:00:00Z",
            "quarantined": 0,
            "units": {"case-1": QUIET | {"excursions": [excursion | (ended if is_over else {})]}},
            "alarms": [alarm | (over if is_over else {})],
            "messages": [],
            "lots": [],
        }
        return {
            (point["measurement"], point["time"], name): value
            for point in book_points("s", ledger_of(document, place))
            for name, value in point["fields"].items()
            if isinstance(value, float)
        }

    before, after = points(is_over=False), points(is_over=True)
    changed = {(key[0], key[2]) for key, value in before.items() if after[key] != value}
    finals = {(key[0], key[2]) for key in after if key[2].startswith("final_")}
    assert {(what, f"final_{name}") for what, name in changed} == finals
    for key in (("alarm", "active"), ("excursion", "open")):
        assert [v for (m, _, n), v in sorted(after.items()) if (m, n) == key] == [1.0, 0.0]


def test_unit_says_its_limits_its_state_its_door_and_its_alarms() -> None:
    """What people draw beside the curve; a number for each word, for databases without texts."""
    one = shop(unit("case-1", operating_limit_c=3.3), a_probe("air-0")).unit[UnitId("case-1")]
    silent = UnitNow(unit=one.id, fish_c=2.0, at_ms=0, stale_ms=180_000.0)

    point = unit_point("s", one, silent, 200_000, door_open=True)

    assert point["tags"] == {"shop": "s", "unit": "case-1"}
    assert point["fields"] == {
        "limit_c": 5.0,
        "operating_limit_c": 3.3,
        "state": "silent",
        "state_code": 3.0,
        "door_open": 1.0,
        "alarms": 0.0,
        "unacknowledged": 0.0,
    }
    assert unit_point("s", one, silent, 100_000)["fields"]["state"] == "held"
    assert set(STATE_CODES) == set(UnitState)
    assert set(LOT_CODES) == set(Standing)


def test_governing_temperatures_are_sent_again_as_far_as_the_lag_remembers() -> None:
    """A late reading changes what the fish felt long after it; a backlog is sent once."""
    place = shop(unit("case-1", lag_s=600.0), a_probe("air-0"), a_probe("door", measures="door"))
    hour_ms = 3_600_000

    def hour(number: int, probe: str = "air-0") -> ChangedHour:
        return ChangedHour(1, ProbeId(probe), number * hour_ms, (number + 1) * hour_ms - 1)

    spans = governing_spans(place, [hour(8), hour(0), hour(1), hour(40), hour(3, "door")])

    reach_ms = 20 * 600_000  # WARM_UP_LAGS
    assert [(probe.id, start, end) for probe, start, end in spans] == [
        ("air-0", 0, 2 * hour_ms - 1 + reach_ms),
        ("air-0", 8 * hour_ms, 9 * hour_ms - 1 + reach_ms),
        ("air-0", 40 * hour_ms, 41 * hour_ms - 1 + reach_ms),
    ]


@pytest.mark.parametrize(
    ("name", "literal"),
    [('a "b"', r'"a \"b\""'), ("a\\b", r'"a\\b"'), ("${now()}", r'"\${now()}"')],
)
def test_names_are_no_part_of_the_query_s_language(name: str, literal: str) -> None:
    """A shop may be called what it likes."""
    assert SHOP.mirror is not None
    flux = flux_for(replace(SHOP.mirror, shop=name), SHOP.probes[0], 0, 86_399_999)

    assert f"r.shop == {literal} and" in flux
    assert "range(start: 1970-01-01T00:00:00.000Z, stop: 1970-01-02T00:00:00.000Z)" in flux


def test_checksum_sees_one_millisecond_and_one_thousandth() -> None:
    """Equal counts are not enough."""
    times, millis = np.arange(100) * 60_000, np.arange(100)

    def checksum(times_ms: np.ndarray, thousandths: np.ndarray) -> str:
        sums = Sums()
        sums.add(times_ms[:40], thousandths[:40])
        sums.add(times_ms[40:], thousandths[40:])
        return sums.checksum

    whole = Sums()
    whole.add(times, millis)
    nudge = (np.arange(100) == 50).astype(int)
    assert checksum(times, millis) == whole.checksum
    assert checksum(times + nudge, millis) != whole.checksum
    assert checksum(times, millis + nudge) != whole.checksum


def test_token_is_in_nothing_that_is_printed() -> None:
    """Values end up in logs by accident."""
    assert TOKEN not in repr(SHOP)
    assert ProbeId("door") in SHOP.probe
