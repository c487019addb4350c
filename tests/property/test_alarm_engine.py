"""What must hold of the alarm engine whatever happens, in whatever order."""

from collections.abc import Callable
from dataclasses import dataclass, fields
from datetime import UTC, datetime, time
from itertools import pairwise
from typing import get_type_hints

from hypothesis import given, settings
from hypothesis import strategies as st

from plain_shop import plain_shop
from rimewatch.alarms import (
    Alarm,
    AlarmChanged,
    AlarmState,
    Effect,
    Engine,
    Event,
    Outcome,
    Send,
    State,
    from_json,
    to_json,
)
from rimewatch.alarms.lifecycle import LEAVING, SILENT, TRANSITIONS, next_state
from rimewatch.alarms.night import is_night
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.shop import Broker, EscalationStep, Night, Shop
from rimewatch.vocabulary import About, ContactId, Priority, Rule, Scale, UnitId

CASE, WALK_IN = UnitId("case-1"), UnitId("walk-in")
POWER = AlarmKey(unit=None, rule=Rule.POWER_LOSS)
# How long an example takes depends on what else the machine does; what it finds does not.
unhurried = settings(deadline=None)
KEYS = [
    AlarmKey(unit=CASE, rule=Rule.HOLDING),
    AlarmKey(unit=CASE, rule=Rule.STALE),
    AlarmKey(unit=WALK_IN, rule=Rule.HOLDING),
    AlarmKey(unit=WALK_IN, rule=Rule.DOOR),
    POWER,
]
STARTS_MS = [
    # An evening; and the evenings before the clocks of America/Chicago change.
    round(datetime(2026, 1, 16, 2, tzinfo=UTC).timestamp() * 1000),
    round(datetime(2026, 3, 8, 2, tzinfo=UTC).timestamp() * 1000),
    round(datetime(2026, 11, 1, 1, tzinfo=UTC).timestamp() * 1000),
]
NIGHT = Night(begins=time(21), ends=time(6), wake_for=frozenset({Priority.HIGH}))


@dataclass(frozen=True)
class Happening:
    """Something that happens so many milliseconds after what happened before."""

    after_ms: int
    what: str
    key: AlarmKey
    severity: int = 0
    priority: Priority | None = None
    seconds: int = 600


# Mostly one alarm, so that much happens to it; the others get in its way.
keys = st.sampled_from([*[KEYS[0]] * 4, *KEYS])
happenings = st.builds(
    Happening,
    after_ms=st.one_of(
        st.just(0),
        st.integers(1, 5_000),
        st.integers(1, 80).map(lambda n: n * 60_000),
        st.integers(60_000, 30_000_000),
    ),
    what=st.sampled_from(
        [
            *["wrong"] * 4,
            *["right"] * 2,
            *["acknowledge", "promise"],
            *["shelve", "unshelve", "out", "in", "suppress", "unsuppress"],
        ]
    ),
    key=keys,
    severity=st.integers(0, 2),
    priority=st.sampled_from([None, None, *Priority]),
    seconds=st.sampled_from([60, 600, 900, 3600, 30_000]),
)
stories = st.lists(happenings, max_size=8) | st.lists(happenings, min_size=12, max_size=40)
steps = st.lists(
    st.builds(
        EscalationStep,
        after_s=st.sampled_from([0.0, 0.0, 300.0, 900.0, 3600.0, 20_000.0]),
        contacts=st.lists(
            st.sampled_from([ContactId("first"), ContactId("owner")]), max_size=3
        ).map(tuple),
        repeat_s=st.sampled_from([None, 300.0, 900.0, 7200.0]),
    ),
    max_size=3,
).map(tuple)


def shop_with(
    escalation: tuple[EscalationStep, ...],
    night: Night | None = None,
    priorities: dict[Rule, Priority] | None = None,
) -> Shop:
    """Return a shop with only what alarms need."""
    return plain_shop(
        name="Saltmarsh Row Fish",
        timezone="America/Chicago",
        display=Scale.FAHRENHEIT,
        summary_at=time(6, 30),
        broker=Broker(url="mqtt://127.0.0.1:1883", client_id="rimewatch"),
        units=(),
        probes=(),
        escalation=escalation,
        night=night,
        priorities=priorities or {},
    )


engines = st.builds(
    Engine,
    st.builds(
        shop_with,
        steps,
        st.sampled_from([None, NIGHT, NIGHT]),
        st.sampled_from([{}, {Rule.DOOR: Priority.HIGH}]),
    ),
    chatter_windows_s=st.sampled_from(
        [{}, {}, dict.fromkeys(Rule, 120.0), dict.fromkeys(Rule, 5000.0)]
    ),
    recovery_s=st.sampled_from([0.0, 1800.0]),
)
starts = st.sampled_from(STARTS_MS)


def happen(engine: Engine, state: AlarmState, it: Happening, at_ms: int) -> Outcome:
    """Hand one happening to the engine."""
    unit = it.key.unit or CASE
    condition = Condition(
        key=it.key,
        since_ms=at_ms,
        severity=it.severity,
        priority=it.priority,
        units=(CASE, WALK_IN)[: 1 + it.severity % 2] if it.key == POWER else (),
    )
    until_ms = at_ms + it.seconds * 1000
    calls: dict[str, Callable[[], Outcome]] = {
        "wrong": lambda: engine.set_condition(state, condition, at_ms),
        "right": lambda: engine.clear_condition(state, it.key, at_ms),
        "acknowledge": lambda: engine.acknowledge(state, it.key, at_ms, "Mia"),
        "promise": lambda: engine.acknowledge(
            state, it.key, at_ms, "Mia", back_within_s=it.seconds
        ),
        "shelve": lambda: engine.shelve(state, it.key, at_ms, until_ms, "Mia"),
        "unshelve": lambda: engine.unshelve(state, it.key, at_ms),
        "out": lambda: engine.out_of_service(state, unit, at_ms),
        "in": lambda: engine.in_service(state, unit, at_ms),
        "suppress": lambda: engine.suppress(state, it.key, POWER, at_ms),
        "unsuppress": lambda: engine.unsuppress(state, it.key, POWER, at_ms),
        "nothing": lambda: (state, ()),
    }
    by_itself = it.what == "suppress" and it.key == POWER
    return calls["nothing" if by_itself else it.what]()


def play(
    engine: Engine, story: list[Happening], start_ms: int, pauses: list[float] | None = None
) -> tuple[list[Effect], AlarmState]:
    """Play a story and the day after it.

    Before each happening the engine is advanced to ``pauses``, fractions of the time in
    between, so that it moves in many small steps; without them it moves by itself.
    """
    state, effects, at_ms = AlarmState(), list[Effect](), start_ms
    ends = [*story, Happening(after_ms=86_400_000, what="nothing", key=POWER)]
    for it in ends:
        for pause in sorted(pauses or []):
            until_ms = at_ms + int(pause * (it.after_ms - 1))
            if it.after_ms > 0:
                state, asked = engine.advance(state, until_ms)
                effects.extend(asked)
                due_ms = engine.next_due_ms(state)
                assert due_ms is None or due_ms > until_ms
        at_ms += it.after_ms
        state, asked = happen(engine, state, it, at_ms)
        effects.extend(asked)
        check_consistent(state)
    state, asked = engine.advance(state, at_ms)
    return [*effects, *asked], state


def check_consistent(state: AlarmState) -> None:
    """Assert what is true of every state between two events."""
    power = state.conditions.get(POWER)
    power_out = power is not None and power.units and state.out_of_service.issuperset(power.units)
    power_is_heard = POWER not in state.shelves and not power_out
    for key, condition in state.conditions.items():
        units = (key.unit,) if key.unit else condition.units
        silenced = (
            (bool(state.suppressed.get(key)) and power_is_heard)
            or key in state.shelves
            or state.out_of_service.issuperset(units)
        )
        alarm = state.alarms.get(key)
        if silenced:
            assert alarm is None or alarm.silent
        else:
            assert alarm is not None, f"{key} is so, nothing silences it, and there is no alarm"
            assert alarm.active
            assert alarm.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)
    for key, alarm in state.alarms.items():
        assert alarm.key == key
        assert alarm.state is not State.NORMAL
        assert not alarm.active or key in state.conditions
    for alarm in state.closed.values():
        assert alarm.state is State.NORMAL
        assert not alarm.active
    assert not set(state.closed) & set(state.alarms)


@unhurried
@given(engines, stories, starts)
def test_engine_no_contact_is_sent_the_same_message_twice(
    engine: Engine, story: list[Happening], start_ms: int
) -> None:
    """Alarm, round, step and repetition name a message to a contact, once and for all."""
    effects, _ = play(engine, story, start_ms)

    tokens = [effect.token for effect in effects if isinstance(effect, Send)]

    assert len(tokens) == len(set(tokens))


@unhurried
@given(engines, stories, starts, st.lists(st.floats(0, 1), min_size=1, max_size=4))
def test_engine_many_small_advances_equal_a_big_one(
    engine: Engine, story: list[Happening], start_ms: int, pauses: list[float]
) -> None:
    """Polled each second or woken after a day, it asks for exactly the same; none is past due."""
    assert play(engine, story, start_ms, pauses) == play(engine, story, start_ms)


@unhurried
@given(engines, stories, starts)
def test_engine_effects_come_in_order_of_time(
    engine: Engine, story: list[Happening], start_ms: int
) -> None:
    """Whoever writes them down one by one has a record in order."""
    effects, _ = play(engine, story, start_ms)

    assert all(one.at_ms <= other.at_ms for one, other in pairwise(effects))


@unhurried
@given(engines, stories, starts)
def test_engine_calls_nobody_once_an_alarm_is_seen_over_or_silenced(
    engine: Engine, story: list[Happening], start_ms: int
) -> None:
    """Raised, repeated, escalated only while unacknowledged; returned only if told, and once."""
    effects, _ = play(engine, story, start_ms)
    latest: dict[str, Alarm] = {}
    last_word: dict[tuple[str, ContactId], About] = {}
    for effect in effects:
        if isinstance(effect, AlarmChanged):
            latest[effect.alarm.id] = effect.alarm
        if isinstance(effect, Send):
            known = (effect.alarm_id, effect.contact)
            if effect.about is About.RETURNED:
                assert last_word[known] is not About.RETURNED
            else:
                assert latest[effect.alarm_id].state is State.UNACKNOWLEDGED
                assert latest[effect.alarm_id].active
            last_word[known] = effect.about


@unhurried
@given(engines, stories, starts)
def test_engine_changes_follow_the_table(
    engine: Engine, story: list[Happening], start_ms: int
) -> None:
    """No alarm ever takes a step that the life cycle does not have."""
    effects, _ = play(engine, story, start_ms)
    states: dict[str, State] = {}
    for change in effects:
        if not isinstance(change, AlarmChanged):
            continue
        before = states.get(change.alarm.id, State.NORMAL)
        if change.event is None:
            assert change.alarm.state is before
        else:
            left = next_state(before, LEAVING[before]) if before in SILENT else before
            allowed = {
                TRANSITIONS[before, change.event],
                TRANSITIONS[left, change.event],
                next_state(left, Event.OCCURRED) if before in SILENT else before,
            }
            if change.event is Event.OCCURRED and change.alarm.chatter:
                allowed.add(State.ACKNOWLEDGED)
            assert change.alarm.state in allowed
        states[change.alarm.id] = change.alarm.state


@unhurried
@given(steps, stories, starts)
def test_engine_at_night_only_what_may_wake_is_sent(
    escalation: tuple[EscalationStep, ...],
    story: list[Happening],
    start_ms: int,
) -> None:
    """A phone that rings at night rings for fish at risk; the record says whom it woke."""
    shop = shop_with(escalation, NIGHT)
    effects, _ = play(Engine(shop), story, start_ms)
    record = {it.alarm.id: it.alarm for it in effects if isinstance(it, AlarmChanged)}
    woken = set()
    for send in effects:
        if isinstance(send, Send):
            assert send.night == is_night(NIGHT, "America/Chicago", send.at_ms)
            assert not send.night or send.priority is Priority.HIGH
            if send.night and send.about is not About.RETURNED:
                woken.add(send.alarm_id)

    assert {alarm.id for alarm in record.values() if alarm.woke} == woken


@unhurried
@given(engines, stories, starts, happenings)
def test_engine_condition_said_twice_is_as_good_as_once(
    engine: Engine, story: list[Happening], start_ms: int, last: Happening
) -> None:
    """Level-triggered: the second time nothing is asked for and nothing changes."""
    _, state = play(engine, story, start_ms)
    at_ms = start_ms + sum(it.after_ms for it in story) + 86_400_000
    condition = Condition(key=last.key, since_ms=at_ms, severity=last.severity)
    once, _ = engine.set_condition(state, condition, at_ms)

    twice, asked = engine.set_condition(once, condition, at_ms)

    assert (twice, asked) == (once, ())


@unhurried
@given(engines, stories, starts)
def test_engine_restarted_before_every_event_goes_on_as_if_it_had_not(
    engine: Engine, story: list[Happening], start_ms: int
) -> None:
    """Its state written as JSON and read again between any two events loses nothing."""
    state, at_ms = AlarmState(), start_ms
    for it in story:
        at_ms += it.after_ms
        restored = from_json(to_json(state))
        assert restored == state
        assert to_json(restored) == to_json(state)
        outcome = happen(engine, state, it, at_ms)
        assert happen(engine, restored, it, at_ms) == outcome
        state = outcome[0]


finite = st.floats(allow_nan=False, allow_infinity=False)
by_type = {
    float | None: st.none() | finite,
    str: st.text(st.characters(exclude_categories=["Cs"])),
    int: st.integers(-(2**53), 2**53),
}
conditions = st.builds(
    Condition,
    **{
        field.name: by_type.get(hint, st.from_type(hint))
        for field, hint in (
            (field, get_type_hints(Condition)[field.name]) for field in fields(Condition)
        )
        if field.name != "key"
    },
    key=st.builds(AlarmKey, unit=st.none() | st.text(max_size=5).map(UnitId), rule=...),
)


@unhurried
@given(st.lists(conditions, max_size=4), starts)
def test_codec_round_trip_of_any_facts_is_exact(facts: list[Condition], start_ms: int) -> None:
    """Every field of a condition, also one added later, comes back as it was."""
    engine = Engine(shop_with(()))
    state = AlarmState()
    for condition in facts:
        state, _ = engine.set_condition(state, condition, start_ms)

    assert from_json(to_json(state)) == state


@unhurried
@given(steps, st.integers(0, 30_000), st.booleans(), starts)
def test_engine_escalation_equals_its_closed_form(
    escalation: tuple[EscalationStep, ...], lasts_s: int, acknowledged: bool, start_ms: int
) -> None:
    """One alarm, acknowledged or over after a while: its messages, written down as a formula."""
    engine = Engine(shop_with(escalation))
    key = KEYS[0]
    state, raised = engine.set_condition(
        AlarmState(), Condition(key=key, since_ms=start_ms), start_ms
    )
    end_ms = start_ms + lasts_s * 1000
    ending = engine.acknowledge if acknowledged else engine.clear_condition
    _, rest = ending(state, key, end_ms)
    sent = [
        (it.at_ms, it.contact, it.about)
        for it in (*raised, *rest)
        if isinstance(it, Send) and it.about is not About.RETURNED
    ]
    told_at_end = [it.contact for it in rest if isinstance(it, Send) and it.about is About.RETURNED]

    expected = []
    for step in escalation:
        first = step.after_s == min(it.after_s for it in escalation)
        times = [step.after_s]
        if step.repeat_s is not None:
            times += [step.after_s + n * step.repeat_s for n in range(1, 200)]
        for nth, after_s in enumerate(times):
            # What is due in the very moment of the ending is not sent; of the raising, it is.
            if after_s < lasts_s or after_s == 0:
                about = About.REPEAT if nth else About.RAISED if first else About.ESCALATED
                at_ms = start_ms + round(after_s * 1000)
                expected += [(at_ms, contact, about) for contact in dict.fromkeys(step.contacts)]

    assert sorted(sent) == sorted(expected)
    told = {contact for _, contact, _ in expected}
    assert sorted(told_at_end) == ([] if acknowledged else sorted(told))
