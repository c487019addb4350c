"""Messages that arrive and give no reading: one alarm, one task, and what to mend."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from handmade import ONE_CONTACT, Paper, probe, shop, timed_probe, unit
from rimewatch.report.message import alarm_message
from rimewatch.report.summary import build_summary
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.shop import MessageTexts, Shop
from rimewatch.vocabulary import About, ProbeId, Rule, UnitId, Unread

NUMBERS = shop(unit(), probe(), ONE_CONTACT)
JSON = shop(unit(), timed_probe(), ONE_CONTACT)


def sent(payload: Callable[[int], Any], minutes: int = 75) -> Paper:
    """Return a trace of a message a minute."""
    paper = Paper()
    for n in range(minutes):
        paper.say(60 * n, payload(n))
    return paper


def todos(where: Shop, paper: Paper) -> list[str]:
    """Return what a summary at the trace's end asks for."""
    return [todo.text for todo in build_summary(where, paper.replay(where).ledger, {}).todos]


def test_wrong_format_is_one_alarm_that_names_it() -> None:
    """Heard 75 times: it is not silent for want of a battery, and no value was doubtful."""
    ledger = sent(lambda n: {"t": 2.0 + n / 100}).ledger(NUMBERS)

    (alarm,) = ledger["alarms"]
    assert (alarm["unit"], alarm["rule"]) == ("case-1", "stale")
    assert alarm["detail"] == 'air: messages arrive, but cannot be read as format "number"'
    assert alarm["unread"] == {"air": "format"}
    assert ledger["quarantined"] == 75


@pytest.mark.parametrize(
    ("where", "payload", "task"),
    [
        (
            NUMBERS,
            {"t": 2.0},
            (
                "case-1: not one reading; measure by hand. Probe air: its messages cannot be "
                "read as format “number”; `rimewatch quarantine list` shows what was sent."
            ),
        ),
        (
            JSON,
            {"temp": 2.0},
            (
                "case-1: not one reading; measure by hand. Probe air: messages arrive without its "
                "value; look at its plug and at its fields."
            ),
        ),
    ],
)
def test_one_cause_is_one_task(where: Shop, payload: object, task: str) -> None:
    """Whoever reads the list in the morning mends one thing, and measures meanwhile."""
    assert todos(where, sent(lambda _: payload)) == [task]


def test_probe_that_could_be_read_and_then_not_is_told_likewise() -> None:
    """A device's new firmware sends something else from one minute to the next."""
    paper = sent(lambda n: "2.0" if n < 30 else "2.0 bar")
    ledger = paper.ledger(NUMBERS)

    (alarm,) = ledger["alarms"]
    assert (alarm["rule"], alarm["raised"]) == ("stale", paper.iso(29 * 60 + 180))
    assert alarm["unread"] == {"air": "format"}
    (task,) = todos(NUMBERS, paper)
    assert task.startswith("case-1: unmonitored for 45 min (")
    assert "format “number”" in task


def test_values_not_believed_are_not_told_as_an_empty_battery() -> None:
    """A broken wire sends −127 every minute."""
    paper = sent(lambda n: "2.0" if n < 30 else "-127")
    stale = [alarm for alarm in paper.ledger(NUMBERS)["alarms"] if alarm["rule"] == "stale"]

    assert [alarm["unread"] for alarm in stale] == [{"air": "disbelieved"}]
    assert not any("battery" in task for task in todos(NUMBERS, paper))


def test_probe_that_stops_sending_altogether_is_silent_again() -> None:
    """Once its nonsense has stopped as well, battery and range are the matter after all."""
    paper = sent(lambda n: "2.0" if n < 30 else "2.0 bar", minutes=40).say(4440, "1.0", "other")
    where = shop(unit(), probe(), unit("b"), probe("other", "b"), ONE_CONTACT)
    alarms = [a for a in paper.ledger(where)["alarms"] if a["unit"] == "case-1"]

    assert [(a["rule"], a["detail"], "unread" in a) for a in alarms] == [
        ("stale", "air is silent", False)
    ]


def test_probe_that_is_read_again_returns() -> None:
    """The format mended, its readings end the alarm."""
    ledger = sent(lambda n: "2.0" if n < 30 or n > 50 else "2.0 bar").ledger(NUMBERS)

    (alarm,) = ledger["alarms"]
    assert (alarm["rule"], alarm["returned"] is None) == ("stale", False)


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("why", Unread)
def test_phone_says_what_to_mend_and_not_the_battery(why: Unread, language: str) -> None:
    """The words of a silent probe, but for its cure."""
    where = replace(shop(unit(), probe()), messages=MessageTexts(language=language))
    condition = Condition(
        key=AlarmKey(unit=UnitId("case-1"), rule=Rule.STALE),
        since_ms=0,
        units=(UnitId("case-1"),),
        detail="air: messages arrive",
        unread=((ProbeId("air"), why),),
    )

    def body(condition: Condition) -> str:
        at_ms = 180_000
        return alarm_message(where, condition, About.RAISED, raised_ms=at_ms, now_ms=at_ms).body

    told = body(condition)
    # What a node sends without a birth is no message that was not understood.
    assert ("rimewatch quarantine list" in told) is (why is not Unread.BIRTH)
    assert not any(word in told for word in ("battery", "pila"))
    assert any(word in body(_silent(condition)) for word in ("battery", "pila"))


def _silent(condition: Condition) -> Condition:
    return Condition(key=condition.key, since_ms=0, units=condition.units, detail="air is silent")
