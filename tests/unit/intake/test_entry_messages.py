"""Operators' entries that come over the broker: taken, stamped, refused, and told from doubles."""

import json
from dataclasses import replace
from typing import Any

import pytest

from handmade import probe, shop, unit
from rimewatch.config import load_shop
from rimewatch.entries import AnyEntry, MoveLot
from rimewatch.evaluation.door import is_known
from rimewatch.instants import iso
from rimewatch.intake.entries import EntryError
from rimewatch.intake.entry_messages import entry_of_message
from rimewatch.intake.receiver import Receiver
from rimewatch.readings import Reason
from rimewatch.shop import Shop
from rimewatch.vocabulary import LotId, UnitId

NOW_MS = 1_772_438_400_000  # 2026-03-02T08:00:00Z
TOPIC = "rimewatch/counter/entry"


def open_to_entries() -> Shop:
    """Return a shop that takes entries from its broker, and has a probe that hears everything."""
    return load_shop(
        '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\n'
        '[broker]\nurl = "mqtt://127.0.0.1"\nclient_id = "counter"\nentries = true\n'
        + unit()
        + probe(topic="#")
    )


def payload(**keys: Any) -> bytes:
    """Return a move of a lot into the case, with further keys."""
    return json.dumps({"do": "move-lot", "lot": "L-1", "unit": "case-1", **keys}).encode()


def taken(**keys: Any) -> AnyEntry:
    """Return the entry made of such a message that arrived just now."""
    return entry_of_message(payload(**keys), NOW_MS)


def test_entry_without_a_time_is_made_when_it_arrives() -> None:
    """Who and when are on every entry."""
    assert taken(who="Ines") == MoveLot(
        at_ms=NOW_MS, who="Ines", lot=LotId("L-1"), unit=UnitId("case-1")
    )


@pytest.mark.parametrize(
    ("made_s_ago", "entered_afterwards"), [(0, False), (300, False), (301, True), (86_400, True)]
)
def test_entry_made_longer_ago_says_that_it_was_entered_afterwards(
    made_s_ago: int, entered_afterwards: bool
) -> None:
    """An inspector sees which entries were made from memory."""
    at_ms = NOW_MS - made_s_ago * 1000

    entry = taken(at=iso(at_ms), entered="2020-01-01T00:00:00Z")

    assert (entry.at_ms, entry.entered_ms) == (at_ms, NOW_MS if entered_afterwards else None)


def test_entry_from_a_clock_ahead_is_made_when_it_arrives() -> None:
    """Nothing is done in the future."""
    assert taken(at=iso(NOW_MS + 120_000)).at_ms == NOW_MS


@pytest.mark.parametrize(
    ("message", "sentence"),
    [
        (b"move L-1", "not a JSON object"),
        (b"[1]", "not a JSON object"),
        (payload(do="sell-lot"), '"do" is "sell-lot"; expected one of'),
        (payload(untit="case-1"), 'did you mean "unit"?'),
        (payload(at="this morning"), '"at" is no time'),
        (payload(at=NOW_MS), '"at" is no time'),
        (payload(at=iso(NOW_MS + 301_000)), '"at" is +301 s from its arrival'),
        (payload(at=iso(NOW_MS - 31 * 86_400_000)), "30 days before it"),
    ],
)
def test_message_that_is_no_entry_is_refused_in_one_sentence(message: bytes, sentence: str) -> None:
    """What, and what would be right."""
    with pytest.raises(EntryError) as refused:
        entry_of_message(message, NOW_MS)
    assert sentence in str(refused.value)


def test_message_kept_by_the_broker_is_no_entry() -> None:
    """It would come again with each connection."""
    with pytest.raises(EntryError, match="without retain"):
        entry_of_message(payload(), NOW_MS, retained=True)


def test_receiver_takes_entries_only_where_the_shop_does() -> None:
    """Without the key in the configuration it is a message like any other."""
    closed = shop(unit(), probe())

    found = Receiver(closed).receive("rimewatch/rimewatch/entry", payload(), NOW_MS)

    assert found.entry is None
    assert [q.reason for q in found.quarantined] == [Reason.UNKNOWN_TOPIC]


def test_receiver_gives_entries_to_no_probe() -> None:
    """Not even to one that hears everything."""
    receiver = Receiver(open_to_entries())

    assert receiver.receive(TOPIC, payload(), NOW_MS).entry == taken()
    refused = receiver.receive(TOPIC, b"3.5", NOW_MS)
    assert (refused.entry, refused.readings) == (None, ())
    assert [(q.probe, q.reason) for q in refused.quarantined] == [(None, Reason.UNDECODABLE)]
    assert receiver.receive(TOPIC, b"{" * 70_000, NOW_MS).quarantined[0].reason is Reason.TOO_LARGE


def test_entry_delivered_twice_is_known() -> None:
    """The broker delivers at least once; the second arrives later."""
    first = taken(at=iso(NOW_MS - 200_000))
    again = entry_of_message(payload(at=iso(NOW_MS - 200_000)), NOW_MS + 600_000)

    assert is_known(again, [replace(first, entry_number=4)])
    assert not is_known(again, [replace(first, at_ms=NOW_MS)])
    assert not is_known(again, [])
