"""What is wrong with the watch itself, and when somebody outside may be told that all is well."""

from dataclasses import replace
from datetime import time
from typing import Any

import pytest

from plain_shop import plain_shop
from rimewatch.journal.outbox import Backlog
from rimewatch.service.clock_sync import is_synchronised
from rimewatch.service.lateness import Lag
from rimewatch.service.signs import TEST_EVERY_MS, Signs, findings, is_well
from rimewatch.shop import Broker, Contact, Probe
from rimewatch.vocabulary import ContactId, Measures, ProbeId, Scale, UnitId

NOW_MS = 1_772_506_800_000
CALM = Backlog(waiting=0, urgent=0, oldest_ms=None, failing=0, given_up=0)
WELL = Signs(
    now_ms=NOW_MS,
    free_bytes=10**10,
    journal_bytes=10**8,
    clock_synchronised=True,
    listening=True,
    broker_silent_s=5.0,
    waiting_arrivals=0,
    is_full=False,
    taken_over=0,
    lag=Lag(delay_s=0.3, batch_s=0.02, disk_s=0.01),
    quiet_s=20.0,
    backlog=CALM,
    senders_alive=True,
    pages_trouble="",
    heartbeat_trouble="",
    unreadable="",
    look_failure="",
    taken_up_ms=None,
    watching_since_ms=NOW_MS - 30 * TEST_EVERY_MS,
    last_test_ms=NOW_MS - 1000,
)
SHOP = plain_shop(
    name="Saltmarsh Row Fish",
    timezone="America/Chicago",
    display=Scale.FAHRENHEIT,
    summary_at=time(6, 30),
    broker=Broker(url="mqtt://127.0.0.1:1883", client_id="rimewatch"),
    units=(),
    probes=(
        Probe(
            id=ProbeId("air"),
            unit=UnitId("case-1"),
            measures=Measures.AIR,
            topic="air",
            format="number",
            fields={},
            scale=Scale.CELSIUS,
            every_s=200.0,
            stale_s=600.0,
            uncertainty_c=0.3,
            offset_c=0.0,
            slope=1.0,
            check_every_days=180.0,
            plausible_c=(-90.0, 60.0),
        ),
    ),
    contacts=(Contact(id=ContactId("first"), name="On-call phone", urls=("json://127.0.0.1/",)),),
)
LATE = Lag(delay_s=6.0, batch_s=3.2, disk_s=3.0, waiting=40, is_late=True)
STUCK = replace(CALM, waiting=2, urgent=1, oldest_ms=NOW_MS - 16 * 60_000)


def test_watch_that_is_well_has_nothing_to_say() -> None:
    """No line in the morning's message, and the heartbeat beats."""
    assert findings(WELL, SHOP) == {}
    assert is_well(WELL, SHOP)


@pytest.mark.parametrize(
    ("changes", "name", "words", "beats"),
    [
        ({"free_bytes": 499 * 10**6}, "disk", "499 MB are free", True),
        ({"free_bytes": 0}, "disk", "0 MB are free", False),
        ({"journal_bytes": 3 * 10**10}, "journal", "30 GB", True),
        ({"clock_synchronised": False}, "clock", "not synchronised", True),
        ({"listening": False, "broker_silent_s": 301.0}, "broker", "not reached", True),
        ({"quiet_s": 601.0}, "readings", "Nothing arrives", False),
        ({"waiting_arrivals": 20_001, "is_full": True}, "queue", "20001 messages", True),
        ({"lag": LATE}, "late", "6 s behind: a batch takes 3.2 s, 3.0 s of it the disk", True),
        ({"lag": replace(LATE, delay_s=301.0)}, "late", "5 min behind", False),
        ({"lag": replace(LATE, held_back_s=301.0)}, "late", "held back more for 5 min", False),
        ({"senders_alive": False}, "messages", "test alarm", False),
        ({"backlog": STUCK}, "messages", "2 messages wait", False),
        ({"backlog": replace(CALM, given_up=3)}, "given up", "3 messages", True),
        ({"pages_trouble": "the port is taken"}, "pages", "the port is taken", True),
        ({"heartbeat_trouble": "it answered 503"}, "heartbeat", "it answered 503", True),
        ({"unreadable": "rimewatch.db: a packed day"}, "record", "a packed day", False),
        ({"taken_up_ms": NOW_MS - 1000}, "restored", "since that copy was made is missing", True),
        ({"look_failure": "no memory"}, "look", "no memory. Look at it with rimewatch", True),
        ({"last_test_ms": None}, "test", "rimewatch test-alarm", True),
    ],
)
def test_each_fault_of_the_watch_is_told_with_its_cure(
    changes: dict[str, Any], name: str, words: str, beats: bool
) -> None:
    """And the heartbeat ends where alarms could no longer be relied upon."""
    signs = replace(WELL, **changes)
    found = findings(signs, SHOP)

    assert list(found) == [name]
    assert words in found[name]
    assert is_well(signs, SHOP) is beats


@pytest.mark.parametrize(
    "changes",
    [
        {"free_bytes": None},
        {"clock_synchronised": None},
        {"listening": False},  # it is connecting again
        {"quiet_s": 599.0},
        {"lag": replace(LATE, delay_s=400.0, is_late=False)},  # one slow moment
        {"backlog": replace(STUCK, oldest_ms=NOW_MS - 14 * 60_000)},
        {"backlog": replace(STUCK, urgent=0)},  # the summary can wait
        {"last_test_ms": None, "watching_since_ms": NOW_MS - TEST_EVERY_MS + 1},
    ],
)
def test_what_cannot_be_known_or_is_not_yet_so_is_not_told(changes: dict[str, Any]) -> None:
    """The watch's own section must not cry wolf either."""
    signs = replace(WELL, **changes)

    assert findings(signs, SHOP) == {}
    assert is_well(signs, SHOP)


def test_shop_without_contacts_is_not_asked_for_test_alarms() -> None:
    """There is nobody to ring."""
    assert findings(replace(WELL, last_test_ms=None), replace(SHOP, contacts=())) == {}


def test_kernel_tells_whether_the_clock_is_kept() -> None:
    """It is asked, and nothing is changed: the answer is yes, no, or not to be had."""
    assert is_synchronised() in (True, False, None)


@pytest.mark.parametrize(("times", "words"), [(1, "once"), (7, "7 times")])
def test_session_that_was_taken_over_is_told_with_its_cure(times: int, words: str) -> None:
    """Once may be a restart; again and again is no watch that anybody should be told is well."""
    signs = replace(WELL, taken_over=times)

    (said,) = findings(signs, SHOP).values()
    assert f"took our session with the broker over, {words} within a day" in said
    assert "bind client ids to users" in said
    assert is_well(signs, SHOP) == (times == 1)
