"""After days without the service, a phone hears once how things are."""

from rimewatch.alarms.effects import Send
from rimewatch.evaluation.outcome import Noted
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.service.missed import MISSED_AFTER_MS, without_missed_repeats
from rimewatch.vocabulary import About, ContactId, Priority, Rule, UnitId

KEY = AlarmKey(unit=UnitId("case-1"), rule=Rule.HOLDING)
DAY_MS = 86_400_000


def due(at_ms: int, about: About = About.REPEAT, contact: str = "first") -> Send:
    """Return a message as the evaluator asks for it."""
    return Send(
        at_ms=at_ms,
        contact=ContactId(contact),
        key=KEY,
        about=about,
        alarm_id="a",
        priority=Priority.HIGH,
        night=True,
        condition=Condition(key=KEY, since_ms=0),
        round=0,
        step=0,
        nth=0,
        raised_ms=0,
    )


def test_days_of_missed_repeats_come_to_the_latest_one() -> None:
    """Four days of repeats every 15 minutes; the last of them tells it all."""
    repeats = [due(at_ms) for at_ms in range(0, 4 * DAY_MS, 900_000)]

    assert without_missed_repeats(repeats, 4 * DAY_MS) == repeats[-1:]


def test_missed_repeats_before_a_return_are_left_out_altogether() -> None:
    """It is over; how often it would have rung is nobody's news."""
    raised, returned = due(0, About.RAISED), due(DAY_MS, About.RETURNED)
    outcomes = [raised, due(900_000), due(1_800_000), returned]

    assert without_missed_repeats(outcomes, DAY_MS + 1) == [raised, returned]


def test_steps_of_the_escalation_are_kept() -> None:
    """Each tells somebody else, late as it is."""
    steps = [due(0, About.RAISED), due(1, About.ESCALATED, "second")]

    assert without_missed_repeats(steps, DAY_MS) == steps


def test_each_contact_keeps_its_own_latest() -> None:
    """Two phones, one message each; what is no message stays in its place."""
    note = Noted(at_ms=1, text="the shelf has ended")
    outcomes = [due(0), due(0, contact="second"), note, due(900_000)]

    assert without_missed_repeats(outcomes, DAY_MS) == outcomes[1:]


def test_repeats_of_a_running_service_are_all_kept() -> None:
    """What is due now was not missed."""
    repeats = [due(0), due(1)]

    assert without_missed_repeats(repeats, MISSED_AFTER_MS) == repeats
