"""What the signs of the watch itself say: a sentence for each thing that is wrong with it.

The rules' names are the contract's, so the watch has no alarms of its own: what is found
here goes onto the record, to the morning's message, and by its silence to whoever waits for
the heartbeat. Pure.
"""

from dataclasses import dataclass
from typing import Final

from rimewatch.journal.outbox import Backlog
from rimewatch.service.lateness import Lag
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY

SILENT_AFTER_S: Final = 300.0
"""A broker that was not heard for so long is gone (our choice)."""
URGENT_WAITS_MS: Final = 15 * 60_000
"""An urgent message that waits for so long has a dead way to its phone (our choice)."""
TEST_EVERY_MS: Final = 7 * MS_PER_DAY
"""How often the way to the phones is tried with a test alarm (our choice)."""
LARGE_JOURNAL_BYTES: Final = 20_000_000_000
"""Some thousand probe-years; such a file is a mistake somewhere (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """What was measured of the watch itself."""

    now_ms: int
    free_bytes: int | None
    """Room on the journal's disk; None: it can't be found out."""
    journal_bytes: int
    clock_synchronised: bool | None
    listening: bool
    """Whether the broker has confirmed our subscriptions."""
    broker_silent_s: float
    waiting_arrivals: int
    is_full: bool
    taken_over: int
    """How often within the last day another client took our session with the broker over."""
    """Whether so many wait that no more is read from the broker."""
    lag: Lag
    quiet_s: float
    """Seconds since anything last arrived and was taken in, or since the start."""
    backlog: Backlog
    senders_alive: bool
    pages_trouble: str
    heartbeat_trouble: str
    unreadable: str
    """What of the record cannot be read or is not as it was sealed; empty: nothing that was met."""
    look_failure: str
    """Why the journal's file could not be looked over; empty: it could."""
    taken_up_ms: int | None
    """When a file was taken up after damage, within the last day; None: none was."""
    watching_since_ms: int
    last_test_ms: int | None
    """When a test alarm was last made; None: never."""


MANY_TAKE_OVERS: Final = 5
"""So many within a day are no slip at a restart: nobody outside is told that all is well."""


def findings(signs: Signs, shop: Shop) -> dict[str, str]:
    """Return what is wrong with the watch: a short name, and a sentence with its cure."""
    found: dict[str, str] = {}
    least_mb = shop.self_watch.least_free_mb
    if signs.free_bytes is not None and signs.free_bytes < least_mb * 1e6:
        found["disk"] = (
            f"Only {signs.free_bytes / 1e6:.0f} MB are free for the journal; make room, or "
            "nothing more can be recorded."
        )
    if signs.journal_bytes > LARGE_JOURNAL_BYTES:
        found["journal"] = f"The journal has grown to {signs.journal_bytes / 1e9:.0f} GB; look why."
    if signs.unreadable:
        found["record"] = f"A part of the record is lost or changed: {signs.unreadable}."
    if signs.taken_up_ms is not None:
        found["restored"] = (
            "The journal's file was damaged or replaced, and taken up again within the last day: "
            "what was recorded since that copy was made is missing. Note what you know of it."
        )
    if signs.look_failure:
        found["look"] = (
            f"The journal's file could not be looked over for damage: {signs.look_failure}. "
            "Look at it with rimewatch verify."
        )
    if signs.clock_synchronised is False:
        found["clock"] = "The machine's clock is not synchronised; set up time synchronisation."
    if not signs.listening and signs.broker_silent_s > SILENT_AFTER_S:
        found["broker"] = "The broker is not reached; nothing arrives from any probe."
    elif signs.quiet_s > longest_quiet_s(shop):
        found["readings"] = "Nothing arrives from any probe; look at the broker and the network."
    if signs.lag.is_late:
        found["late"] = (
            f"Recording is {signs.lag.words()}; see to the disk, since alarms are late by as much."
        )
    return found | _taken_over(signs) | _ways_out(signs) | _untried(signs, shop)


def _taken_over(signs: Signs) -> dict[str, str]:
    """Return that another client uses our name with the broker."""
    if not signs.taken_over:
        return {}
    times = "once" if signs.taken_over == 1 else f"{signs.taken_over} times"
    return {
        "taken over": (
            f"Another client took our session with the broker over, {times} within a day, or the "
            "broker dropped it: readings may be lost. Look for a second instance, or a device that "
            "does so, and bind client ids to users as config/mosquitto.conf says."
        )
    }


def _ways_out(signs: Signs) -> dict[str, str]:
    """Return what is wrong with the ways to people."""
    found: dict[str, str] = {}
    if signs.is_full:
        found["queue"] = (
            f"{signs.waiting_arrivals} messages wait here to be taken in, and more at the broker; "
            "what they tell is told late."
        )
    if not signs.senders_alive or _stands_still(signs):
        found["messages"] = (
            f"{signs.backlog.waiting} messages wait, some for long; check the contacts' services "
            "with a test alarm."
        )
    if signs.backlog.given_up:
        found["given up"] = (
            f"{signs.backlog.given_up} messages could not be sent at all in the last weeks."
        )
    if signs.pages_trouble:
        found["pages"] = signs.pages_trouble
    if signs.heartbeat_trouble:
        found["heartbeat"] = (
            f"The heartbeat's address was called in vain: {signs.heartbeat_trouble}."
        )
    return found


def _untried(signs: Signs, shop: Shop) -> dict[str, str]:
    """Return that the way to the phones was not tried for a week."""
    tried_ms = signs.watching_since_ms if signs.last_test_ms is None else signs.last_test_ms
    if not shop.contacts or signs.now_ms - tried_ms < TEST_EVERY_MS:
        return {}
    return {
        "test": "No test alarm was made for a week; make one with rimewatch test-alarm and see "
        "that it rings."
    }


def is_well(signs: Signs, shop: Shop) -> bool:
    """Return whether a heartbeat may say so: readings are recorded in time, messages go out."""
    return (
        signs.quiet_s <= longest_quiet_s(shop)
        and not signs.unreadable
        and signs.taken_over < MANY_TAKE_OVERS
        and signs.senders_alive
        and not _stands_still(signs)
        and not signs.lag.is_grave
        and (signs.free_bytes is None or signs.free_bytes > 0)
    )


def longest_quiet_s(shop: Shop) -> float:
    """Return how long nothing at all may arrive in a shop, in seconds."""
    silences_s = [probe.stale_s for probe in shop.probes if probe.stale_s is not None]
    return max(SILENT_AFTER_S, *silences_s) if silences_s else float("inf")


def _stands_still(signs: Signs) -> bool:
    backlog = signs.backlog
    if backlog.oldest_ms is None or not backlog.urgent:
        return False
    return signs.now_ms - backlog.oldest_ms > URGENT_WAITS_MS
