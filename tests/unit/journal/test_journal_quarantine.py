"""Whatever nonsense a broker sends, the quarantine stays small and the counts true."""

from collections.abc import Callable

import pytest

from rimewatch.journal import Journal
from rimewatch.journal.quarantine import OTHER_TOPICS, ROWS_KEPT, TOPICS_KEPT, add
from rimewatch.readings import Quarantined, Reason
from rimewatch.vocabulary import MS_PER_H, ProbeId

T0 = 1_772_438_400_000  # on the hour


def item(
    n: int = 0,
    *,
    topic: str = "shop/lost",
    reason: Reason = Reason.UNKNOWN_TOPIC,
    detail: str = "",
    payload: bytes = b"?",
) -> Quarantined:
    """Build something that was not believed."""
    return Quarantined(
        arrived_ms=T0 + n,
        topic=topic,
        probe=None,
        reason=reason,
        detail=detail,
        payload_start=payload,
    )


def count(journal: Journal, table: str) -> int:
    """Return the number of rows."""
    number: int = journal._connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
    return number


def test_what_was_not_believed_is_kept_as_it_came(journal: Journal) -> None:
    """Somebody can look at the payload later."""
    one = Quarantined(
        arrived_ms=T0,
        topic="shop/case-1/air",
        probe=ProbeId("case-1-air"),
        reason=Reason.FAULT_CODE,
        detail="85.0 after a jump of 83 °C",
        payload_start=b'{"t": 85.0}\xff',
    )
    two = item(5)
    journal.add_quarantined([one, two])
    journal.add_quarantined([])

    assert journal.quarantine_latest() == [two, one]
    assert journal.quarantine_latest(limit=1) == [two]


def test_the_newest_rows_stay_and_all_are_counted(journal: Journal) -> None:
    """A probe gone mad for a month does not fill the disk."""
    for start in range(0, ROWS_KEPT + 3000, 2500):
        journal.add_quarantined([item(start + n) for n in range(2500)])

    assert count(journal, "quarantine") == ROWS_KEPT
    assert journal.quarantine_latest(limit=1)[0].arrived_ms == T0 + 14_999
    assert journal.quarantine_counts().total == 15_000


def test_one_batch_larger_than_the_bound_keeps_its_newest(journal: Journal) -> None:
    """The bound holds within a batch as well."""
    with journal.batch():
        add(journal._connection, [item(n) for n in range(30)], rows_kept=7)

    assert [q.arrived_ms for q in journal.quarantine_latest()] == [
        T0 + n for n in range(29, 22, -1)
    ]
    assert journal.quarantine_counts().total == 30


def test_topics_without_end_do_not_grow_the_table_and_lose_no_count(journal: Journal) -> None:
    """A flood of topics used once leaves a mistyped probe in sight."""
    mistyped = "shop/case-l/air"
    total = 0
    for start in range(0, 20_000, 500):
        flood = [item(n, topic=f"junk/{n}") for n in range(start, start + 500)]
        journal.add_quarantined([*flood, item(start, topic=mistyped)])
        total += 501

    topics = journal.quarantine_topics(limit=10**6)

    assert len(topics) == TOPICS_KEPT + 1
    assert sum(times for _, times, _ in topics) == total
    assert topics[0][0] == OTHER_TOPICS
    assert topics[1][:2] == (mistyped, 40)


def test_counts_by_reason_can_be_asked_for_a_night(journal: Journal) -> None:
    """Whole hours that hold the two instants."""
    journal.add_quarantined([item(0), item(MS_PER_H, reason=Reason.NOT_FINITE)])
    journal.add_quarantined([item(MS_PER_H + 1, reason=Reason.NOT_FINITE)])

    assert journal.quarantine_counts().by_reason == {
        Reason.UNKNOWN_TOPIC: 1,
        Reason.NOT_FINITE: 2,
    }
    assert journal.quarantine_counts(T0 + MS_PER_H + 5).by_reason == {Reason.NOT_FINITE: 2}
    assert journal.quarantine_counts(None, T0 + 5).total == 1


@pytest.mark.parametrize(
    ("make", "kept"),
    [
        (lambda: item(topic="t" * 70_000), lambda q: len(q.topic) == 256),
        (lambda: item(detail="d" * 70_000), lambda q: len(q.detail) == 500),
        (lambda: item(payload=b"\x00" * 70_000), lambda q: q.payload_start == b"\x00" * 256),
        (lambda: item(topic="shop/\ud800"), lambda q: q.topic == "shop/?"),
        (lambda: item(detail="\udfff"), lambda q: q.detail == "?"),
        (lambda: item(topic="nul\x00in it"), lambda q: q.topic == "nul\x00in it"),
    ],
)
def test_no_topic_detail_or_payload_is_too_strange_to_be_kept(
    journal: Journal, make: Callable[[], Quarantined], kept: Callable[[Quarantined], bool]
) -> None:
    """A message that could not be quarantined would come again for ever."""
    journal.add_quarantined([make()])

    assert kept(journal.quarantine_latest()[0])
