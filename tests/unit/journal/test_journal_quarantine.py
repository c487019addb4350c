"""Whatever nonsense a broker sends, the quarantine stays small and the counts true."""

from collections.abc import Callable

import pytest

from rimewatch.journal import Journal
from rimewatch.journal.quarantine import OTHER_TOPICS, PAYLOAD_KEPT, ROWS_KEPT, TOPICS_KEPT, add
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
    whole: bytes | None = None,
) -> Quarantined:
    """Build something that was not believed."""
    if whole is not None:
        payload = whole[:256]
    return Quarantined(
        arrived_ms=T0 + n,
        topic=topic,
        probe=None,
        reason=reason,
        detail=detail,
        payload_start=payload,
        whole=whole,
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


def pack(n: int, size: int = 1000) -> bytes:
    """Make a payload that is longer than its start."""
    return f"{n:09}".encode().ljust(size, b".")


def kept_whole(journal: Journal) -> list[bytes | None]:
    """Return the payloads kept whole, of every row, the oldest first."""
    return [journal.quarantine_payload(no) for no, _ in reversed(journal.quarantine_rows(10**6))]


class TestPayloadsKeptWhole:
    def test_long_payload_is_kept_to_its_last_byte(self, journal: Journal) -> None:
        """It can be read again; what is shown of it is its start."""
        for size in (256, 257, PAYLOAD_KEPT):
            journal.add_quarantined([item(size, whole=pack(size, size))])

        assert kept_whole(journal) == [pack(256, 256), pack(257, 257), pack(65536, 65536)]
        assert len(journal.quarantine_latest(1)[0].payload_start) == 256
        assert journal.quarantine_room().payload_bytes == 256 + 257 + 65536

    def test_values_of_one_message_share_its_payload(self, journal: Journal) -> None:
        """A pack of two thousand strange values takes the room of one."""
        big = pack(1, 60_000)
        journal.add_quarantined([item(whole=big, detail=f"{n}") for n in range(2000)])

        assert journal.quarantine_room().payload_bytes == 60_000
        assert count(journal, "quarantine_payload") == 1
        numbers = [number for number, _ in journal.quarantine_rows(2000)]
        journal.drop_quarantined(numbers[:1999])
        assert kept_whole(journal) == [big]
        journal.drop_quarantined(numbers[1999:])
        assert journal.quarantine_room().payload_bytes == 0

    @pytest.mark.parametrize("batch", [1, 3, 40])
    def test_room_is_bounded_the_oldest_go_and_are_counted(
        self, journal: Journal, batch: int
    ) -> None:
        """Within a batch and over many; the rows stay, with their starts."""
        items = [item(n, whole=pack(n)) for n in range(40)]
        for start in range(0, 40, batch):
            with journal.batch():
                add(journal._connection, items[start : start + batch], payloads_kept=10_500)

        room = journal.quarantine_room()
        assert kept_whole(journal) == [None] * 30 + [pack(n) for n in range(30, 40)]
        assert (room.payload_bytes, room.payloads_dropped, room.cut_off) == (10_000, 30, 30)
        assert (room.messages, room.messages_dropped) == (40, 0)

    def test_payload_goes_with_its_row(self, journal: Journal) -> None:
        """What is no longer kept takes no room, and is counted."""
        for n in range(20):
            with journal.batch():
                add(journal._connection, [item(n, whole=pack(n))], rows_kept=5)

        room = journal.quarantine_room()
        assert kept_whole(journal) == [pack(n) for n in range(15, 20)]
        assert (room.messages, room.messages_dropped, room.payload_bytes) == (5, 15, 5000)


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
        (lambda: item(whole=b"\x00" * 70_000), lambda q: q.payload is None),
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
