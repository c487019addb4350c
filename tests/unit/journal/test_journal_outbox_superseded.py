"""Of one alarm a contact waits for the newest word alone."""

from pathlib import Path

from rimewatch.journal.journal import Journal
from rimewatch.vocabulary import About, ContactId

FIRST, SECOND = ContactId("first"), ContactId("second")
ALARM = "case-1:holding:1000"


def add(
    journal: Journal,
    key: str,
    about: About = About.RAISED,
    contact: ContactId = FIRST,
    alarm: str = ALARM,
    at_ms: int = 1000,
) -> int:
    """Put a message into the outbox as the writer does."""
    journal.outbox_supersede(contact, alarm, key, at_ms)
    number = journal.outbox_add(
        at_ms=at_ms,
        contact=contact,
        alarm_id=alarm,
        about=about,
        title=key,
        body=key,
        idempotency_key=key,
        not_before_ms=at_ms,
        urgent=True,
    )
    assert number is not None
    return number


def waiting(journal: Journal) -> list[str]:
    """Return what would be sent."""
    return [row.title for row in journal.outbox_due(10_000)]


def test_return_replaces_the_calls_that_never_left(tmp_path: Path) -> None:
    """Nobody is woken for fish that is cold again, and then told that it is."""
    with Journal.open(tmp_path / "j.db") as journal:
        add(journal, "raised")
        add(journal, "repeat", About.REPEAT)
        add(journal, "returned", About.RETURNED)

        assert waiting(journal) == ["returned"]


def test_other_contacts_and_other_alarms_keep_theirs(tmp_path: Path) -> None:
    """One person's news is not another's."""
    with Journal.open(tmp_path / "j.db") as journal:
        add(journal, "first's")
        add(journal, "second's", contact=SECOND)
        add(journal, "another alarm's", alarm="case-2:holding:1000")
        add(journal, "first's newest", About.REPEAT)

        assert waiting(journal) == ["second's", "another alarm's", "first's newest"]


def test_superseded_message_that_fails_stays_given_up(tmp_path: Path) -> None:
    """It was on its way when the later one was made; trying it again would help nobody."""
    with Journal.open(tmp_path / "j.db") as journal:
        old = add(journal, "raised")
        add(journal, "returned", About.RETURNED)

        assert not journal.outbox_failed(old, 2000, 3000, "no answer")
        assert waiting(journal) == ["returned"]


def test_superseded_message_that_arrived_after_all_counts_as_sent(tmp_path: Path) -> None:
    """The record says what a phone got; nothing of it counts as given up."""
    with Journal.open(tmp_path / "j.db") as journal:
        old = add(journal, "raised")
        add(journal, "returned", About.RETURNED)

        assert journal.outbox_sent(old, 2000)
        assert not journal.outbox_sent(old, 2000)
        assert journal.outbox_backlog().given_up == 0


def test_superseded_messages_are_not_counted_as_given_up(tmp_path: Path) -> None:
    """Given up means that somebody was not told; here they are told more."""
    with Journal.open(tmp_path / "j.db") as journal:
        add(journal, "raised")
        last = add(journal, "returned", About.RETURNED)
        assert journal.outbox_backlog().given_up == 0
        journal.outbox_failed(last, 2000, None, "no such contact")

        assert journal.outbox_backlog().given_up == 1


def test_message_made_again_does_not_supersede_itself(tmp_path: Path) -> None:
    """A batch that is tried again finds its message there; it must still be sent."""
    with Journal.open(tmp_path / "j.db") as journal:
        add(journal, "raised")
        journal.outbox_supersede(FIRST, ALARM, "raised", 1000)

        assert waiting(journal) == ["raised"]
