"""Pictures of alarms: one each while few come, none where they would make alarms late."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from handmade import ms, probe, shop, unit
from rimewatch.alarms.effects import Send
from rimewatch.journal.journal import Journal
from rimewatch.journal.outbox import OutboxRow
from rimewatch.readings import Reading
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.service.charts import MOST_WAITING, Charts, chart_path
from rimewatch.vocabulary import About, ContactId, Priority, ProbeId, Rule, UnitId

AT_MS = ms("2026-03-02T12:00:00Z")
CASES = [f"case-{n}" for n in range(6)]
SHOP = shop(*(unit(case) + probe(f"{case}-air", case) for case in CASES))


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "rimewatch.db") as opened:
        opened.add_readings(
            [
                Reading(
                    probe=ProbeId(f"{case}-air"),
                    observed_ms=AT_MS - minute * 60_000,
                    arrived_ms=AT_MS - minute * 60_000,
                    raw=9.0,
                    value=9.0,
                )
                for case in CASES
                for minute in range(30)
            ]
        )
        yield opened


def send(case: str, about: About = About.RAISED, *, contact: str = "first") -> Send:
    key = AlarmKey(unit=UnitId(case), rule=Rule.HOLDING)
    return Send(
        at_ms=AT_MS,
        contact=ContactId(contact),
        key=key,
        about=about,
        alarm_id=f"{case}:holding:1",
        priority=Priority.HIGH,
        night=False,
        condition=Condition(key=key, since_ms=AT_MS, limit_c=5.0),
        raised_ms=AT_MS,
        round=0,
        step=None if about is About.RETURNED else 0,
        nth=0,
    )


def row(sent: Send, number: int = 1) -> OutboxRow:
    return OutboxRow(
        id=number,
        at_ms=sent.at_ms,
        contact=sent.contact,
        alarm_id=sent.alarm_id,
        about=sent.about,
        title="too warm",
        body="fish 9.0 °C",
        idempotency_key=sent.token,
        urgent=True,
        attempts=0,
        error="",
    )


def drawn(folder: Path, sends: list[Send], journal: Journal, asked: list[Send]) -> list[bool]:
    """Order pictures, ask for some of them in turn; tell for which there is one."""
    charts = Charts(folder)
    for one in sends:
        charts.order(SHOP, journal.path, one)
    for one in asked:
        charts.finish(row(one))
    charts.stop(grace_s=20.0)
    return [chart_path(folder, one.token).exists() for one in asked]


def test_in_a_flood_words_go_alone_until_few_wait(journal: Journal, tmp_path: Path) -> None:
    """Nobody waits for five pictures to read of the sixth case."""
    sends = [send(case) for case in CASES]

    found = drawn(tmp_path / "charts", sends, journal, sends)

    with_picture = MOST_WAITING + 1
    assert found == [False] * (len(CASES) - with_picture) + [True] * with_picture


def test_others_who_are_told_as_well_are_no_flood(journal: Journal, tmp_path: Path) -> None:
    """Six people hear of one case: each sees it."""
    sends = [send("case-1", contact=f"person-{n}") for n in range(6)]

    assert drawn(tmp_path / "charts", sends, journal, sends) == [True] * 6


def test_message_that_a_newer_one_replaced_is_not_waited_for(
    journal: Journal, tmp_path: Path
) -> None:
    """The case was cold again before the phone could be reached."""
    over = [send(case, about) for case in CASES for about in (About.RAISED, About.RETURNED)]
    last = send("case-1")

    assert drawn(tmp_path / "charts", [*over, last], journal, [last]) == [True]


def test_message_on_its_way_keeps_its_picture_when_a_newer_word_comes(
    journal: Journal, tmp_path: Path
) -> None:
    """The phone was slow: the repetition was due before the first word had gone out."""
    first, repeat = send("case-1"), replace(send("case-1", About.REPEAT), nth=1)

    assert drawn(tmp_path / "charts", [first, repeat], journal, [first, repeat]) == [True, False]
