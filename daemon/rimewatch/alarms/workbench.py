"""One call of the engine at work: the state taken apart, changed, and put together again.

Private to the engine. Every change of an alarm's state goes through the table in
``lifecycle``; every message goes through :meth:`Workbench._send`, which knows the night.
Nothing outlives the call, so the engine stays pure from the outside.
"""

from collections.abc import Collection, Iterable, Mapping, MutableMapping
from dataclasses import dataclass, replace
from typing import Any

from rimewatch.alarms.alarm import Alarm, AlarmState, Repeat
from rimewatch.alarms.effects import AlarmChanged, Effect, Logged, Send
from rimewatch.alarms.lifecycle import ENTERING, LEAVING, Event, State, next_state
from rimewatch.alarms.night import NightPolicy
from rimewatch.alarms.priority import more_urgent, priority_of
from rimewatch.alarms.rota import RotaPolicy
from rimewatch.alarms.timetable import Due, Kind, Step, dues_of, earliest, key_order
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.shop import Shop
from rimewatch.vocabulary import About, ContactId, Priority, Rule, UnitId


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """What the engine follows: the shop's settings, ready for use."""

    shop: Shop
    steps: tuple[Step, ...]
    night: NightPolicy
    rota: RotaPolicy
    chatter_windows_ms: Mapping[Rule, int]
    """Of the rules whose alarms chatter; of the others each occurrence is an alarm."""
    recovery_ms: int
    acknowledged_ms: int
    """How long an acknowledgement without a promise holds for an alarm of the highest priority."""

    def priority(self, condition: Condition) -> Priority:
        """Return how urgent a condition is in this shop."""
        return priority_of(condition.key.rule, self.shop.priorities, condition.priority)

    def chatter_ms(self, rule: Rule) -> int:
        """Return how soon after its return an alarm that comes back is the same one."""
        return self.chatter_windows_ms.get(rule, 0)


class Workbench:
    """A state being changed, and the effects so far, in order of time."""

    def __init__(self, policy: Policy, state: AlarmState) -> None:
        self._policy = policy
        self.alarms = dict(state.alarms)
        self.closed = dict(state.closed)
        self.conditions = dict(state.conditions)
        self.shelves = dict(state.shelves)
        self.out_of_service = set(state.out_of_service)
        self.suppressed = dict(state.suppressed)
        self.lifting = dict(state.lifting)
        self._effects: list[Effect] = []

    def result(self) -> tuple[AlarmState, tuple[Effect, ...]]:
        """Return the new state and what is to be done."""
        state = AlarmState(
            alarms=self.alarms,
            closed=self.closed,
            conditions=self.conditions,
            shelves=self.shelves,
            out_of_service=frozenset(self.out_of_service),
            suppressed=self.suppressed,
            lifting=self.lifting,
        )
        return state, tuple(self._effects)

    # --- what falls due -------------------------------------------------------------------

    def fire_until(self, until_ms: int) -> None:
        """Do everything due up to and including an instant, each at its own time."""
        while True:
            due = earliest(
                self._policy.steps,
                alarms=self.alarms,
                shelves=self.shelves,
                lifting=self.lifting,
            )
            if due is None or due.at_ms > until_ms:
                return
            self._fire(due)

    def _fire(self, due: Due) -> None:
        match due.kind:
            case Kind.LIFT:
                self.lift(due.key, due.at_ms)
            case Kind.SHELF_END:
                del self.shelves[due.key]
                self.log(due.at_ms, due.key, "the shelf has ended")
                self.settle(due.key, due.at_ms)
            case Kind.REOPEN:
                self._open(self.alarms[due.key], due.at_ms, Event.REOPENED)
            case Kind.STEP:
                self._fire_step(self.alarms[due.key], due.at_ms)
            case Kind.REPEAT:
                self._fire_repeat(self.alarms[due.key], due)

    def _fire_step(self, alarm: Alarm, at_ms: int) -> None:
        index = alarm.steps_done
        step = self._policy.steps[index]
        sounds = self._policy.night.may_sound(alarm.priority, at_ms)
        repeats = alarm.repeats
        if step.repeat_ms is not None and sounds:
            repeats = (*repeats, Repeat(step=index, nth=1, due_ms=at_ms + step.repeat_ms))
        alarm = replace(alarm, steps_done=index + 1, repeats=repeats)
        alarm = self._reaching(alarm, index, at_ms)
        self.alarms[alarm.key] = alarm
        if sounds:
            self._announce(alarm, at_ms, step.about, index, 0)

    def _fire_repeat(self, alarm: Alarm, due: Due) -> None:
        repeat_ms = self._policy.steps[due.step].repeat_ms
        assert repeat_ms is not None, "the timetable names only steps that repeat"
        (now,) = (r for r in alarm.repeats if r.step == due.step)
        # Later repeats keep to the grid of the first, whatever the night swallows.
        later = replace(now, nth=now.nth + 1, due_ms=now.due_ms + repeat_ms)
        repeats = tuple(later if r is now else r for r in alarm.repeats)
        alarm = self._reaching(replace(alarm, repeats=repeats), due.step, due.at_ms)
        self.alarms[alarm.key] = alarm
        if self._policy.night.may_sound(alarm.priority, due.at_ms):
            self._announce(alarm, due.at_ms, About.REPEAT, due.step, now.nth)

    def _fire_what_is_due(self, key: AlarmKey, at_ms: int) -> None:
        """Fire what an alarm has due at the instant it sounds from."""
        while True:
            due = min(
                (
                    due
                    for due in dues_of(self.alarms[key], self._policy.steps)
                    if due.at_ms <= at_ms and due.kind is Kind.STEP
                ),
                key=lambda due: due.order,
                default=None,
            )
            if due is None:
                return
            self._fire_step(self.alarms[key], at_ms)

    def _reaching(self, alarm: Alarm, step: int, at_ms: int) -> Alarm:
        """Note whose turn has come with a step or its repeat, whether or not it sounds."""
        contacts = self._policy.rota.resolved(self._policy.steps[step].contacts, at_ms)
        return replace(alarm, reached=tuple(dict.fromkeys((*alarm.reached, *contacts))))

    # --- messages -------------------------------------------------------------------------

    def catch_up(self, changed: Collection[ContactId], at_ms: int) -> None:
        """Tell those who are on call now, and were not told, of what stands and is told of.

        Args:
            changed: Contacts that are reached in another way than before.
            at_ms: When.
        """
        known = {contact.id for contact in self._policy.shop.contacts}
        on_call = {
            contact
            for step in self._policy.steps
            for contact in self._policy.rota.resolved(step.contacts, at_ms)
        }
        for key in sorted(self.alarms, key=key_order):
            alarm = self.alarms[key]
            # Who is gone cannot be told of its end, and who is not on call any more knows nothing
            # of what comes after: back on call, they are told.
            owes = tuple(one for one in alarm.owes if not known or one in known)
            reached = tuple(one for one in alarm.reached if one in on_call)
            if (owes, reached) != (alarm.owes, alarm.reached):
                alarm = replace(alarm, owes=owes, reached=reached)
                self._put(alarm, at_ms, None)
            if self._was_muted(alarm, at_ms):
                # What muted it is no longer set: it is as if it were raised now.
                condition = self.conditions[key]
                urgent = replace(alarm, priority=self._policy.priority(condition))
                self._open(urgent, at_ms, Event.REOPENED)
                continue
            told_of = alarm.active and not alarm.silent and alarm.told
            if not told_of or not self._policy.night.may_sound(alarm.priority, at_ms):
                continue
            came: dict[ContactId, int] = {}
            for index, step in enumerate(self._policy.steps[: alarm.steps_done]):
                for contact in self._policy.rota.resolved(step.contacts, at_ms):
                    if contact not in alarm.reached or contact in changed:
                        came.setdefault(contact, index)
            night = self._policy.night.is_night(at_ms)
            for contact, index in came.items():
                self._send(
                    alarm,
                    at_ms,
                    About.RAISED,
                    contact,
                    step=index,
                    nth=0,
                    night=night,
                    caught_up=True,
                )
            if came:
                alarm = replace(
                    alarm,
                    heard=True,
                    owes=tuple(dict.fromkeys((*alarm.owes, *came))),
                    reached=tuple(dict.fromkeys((*alarm.reached, *came))),
                    woke=alarm.woke or night,
                )
                self._put(alarm, at_ms, None)

    def _announce(self, alarm: Alarm, at_ms: int, about: About, step: int, nth: int) -> None:
        contacts = self._policy.rota.resolved(self._policy.steps[step].contacts, at_ms)
        if not contacts:
            return
        night = self._policy.night.is_night(at_ms)
        for contact in contacts:
            self._send(alarm, at_ms, about, contact, step=step, nth=nth, night=night)
        alarm = replace(
            alarm,
            heard=True,
            told=True,
            owes=tuple(dict.fromkeys((*alarm.owes, *contacts))),
            woke=alarm.woke or night,
            repeats_sent=alarm.repeats_sent + (about is About.REPEAT),
        )
        self._put(alarm, at_ms, None)

    def _send(
        self,
        alarm: Alarm,
        at_ms: int,
        about: About,
        contact: ContactId,
        *,
        step: int | None,
        nth: int,
        night: bool,
        caught_up: bool = False,
    ) -> None:
        self._effects.append(
            Send(
                at_ms=at_ms,
                contact=contact,
                key=alarm.key,
                about=about,
                alarm_id=alarm.id,
                priority=alarm.priority,
                night=night,
                condition=alarm.condition,
                raised_ms=alarm.raised_ms,
                round=alarm.round,
                step=step,
                nth=nth,
                caught_up=caught_up,
            )
        )

    # --- the life of an alarm -------------------------------------------------------------

    def settle(self, key: AlarmKey, at_ms: int) -> None:
        """Bring an alarm into line with what silences its key and whether it is so.

        And what it suppresses with it: only a cause that is heard itself does so.
        """
        self._settle(key, at_ms)
        self._settle_silenced_by(key, at_ms)

    def _settle_silenced_by(self, cause: AlarmKey, at_ms: int) -> None:
        others = [key for key, by in self.suppressed.items() if cause in by]
        for key in sorted(others, key=key_order):
            self._settle(key, at_ms)

    def _settle(self, key: AlarmKey, at_ms: int) -> None:
        silence = self._silence_of(key)
        alarm = self.alarms.get(key)
        if alarm is not None and silence is not None and alarm.state is not silence:
            self._silence(alarm, silence, at_ms)
        elif alarm is not None and silence is None and alarm.silent:
            self._release(alarm, at_ms)
        alarm = self.alarms.get(key)
        if silence is None and key in self.conditions and (alarm is None or not alarm.active):
            self._raise(self.conditions[key], at_ms)

    def settle_all(self, keys: Iterable[AlarmKey], at_ms: int) -> None:
        """Settle several alarms, in the one order of keys."""
        for key in sorted(set(keys), key=key_order):
            self.settle(key, at_ms)

    def _silence_of(self, key: AlarmKey) -> State | None:
        """Return the strongest reason for silence; None: it may sound."""
        if self._is_out_of_service(key):
            return State.OUT_OF_SERVICE
        if any(self._speaks_for(cause, key) for cause in self.suppressed.get(key, ())):
            return State.SUPPRESSED
        return State.SHELVED if key in self.shelves else None

    def _is_out_of_service(self, key: AlarmKey) -> bool:
        units: tuple[UnitId, ...] = (key.unit,) if key.unit is not None else ()
        if not units and key in self.conditions:
            units = self.conditions[key].units
        return bool(units) and self.out_of_service.issuperset(units)

    def _speaks_for(self, cause: AlarmKey, key: AlarmKey) -> bool:
        """Whether a cause is heard itself, so that nobody need hear of what follows from it.

        Whoever puts a unit's graver alarm aside means the unit, and the lesser one with it; a
        cause common to several is put aside for itself. A batch that cools is no cause: it
        exempts its unit, whether or not there is anything to tell of it.
        """
        if cause.rule is Rule.COOLING:
            return True
        if cause.unit is None and (cause in self.shelves or self._is_out_of_service(cause)):
            return False
        wakes = self._policy.night.may_wake
        return wakes(self._priority_of(cause)) or not wakes(self._priority_of(key))

    def _priority_of(self, key: AlarmKey) -> Priority:
        alarm, condition = self.alarms.get(key), self.conditions.get(key)
        if alarm is not None and alarm.active:
            return alarm.priority
        if condition is not None:
            return self._policy.priority(condition)
        return priority_of(key.rule, self._policy.shop.priorities)

    def _silence(self, alarm: Alarm, silence: State, at_ms: int) -> None:
        state = next_state(alarm.state, ENTERING[silence])
        if state is not silence:  # a stronger reason has just ended, this one is left
            state = next_state(alarm.state, LEAVING[alarm.state], ENTERING[silence])
        self._put(replace(alarm, state=state), at_ms, ENTERING[silence])

    def _release(self, alarm: Alarm, at_ms: int) -> None:
        leaving = LEAVING[alarm.state]
        alarm = replace(alarm, state=next_state(alarm.state, leaving))
        if alarm.active:
            alarm = replace(alarm, state=next_state(alarm.state, Event.OCCURRED))
            self._open(alarm, at_ms, leaving)
        else:
            self._put(alarm, at_ms, leaving)

    def _raise(self, condition: Condition, at_ms: int) -> None:
        key = condition.key
        previous = self.alarms.get(key) or self.closed.get(key)
        alarm_id = _id_of(key, at_ms)
        if previous is not None and previous.returned_ms is not None:
            since_return_ms = at_ms - previous.returned_ms
            # Raised twice at one instant it would be two alarms under one id.
            same = previous.id == alarm_id
            if same or 0 <= since_return_ms < self._policy.chatter_ms(key.rule):
                self._join(previous, condition, at_ms)
                return
        self._put(self._occurrence(alarm_id, condition, at_ms), at_ms, Event.OCCURRED)
        self._fire_what_is_due(key, at_ms)

    def record(self, condition: Condition, at_ms: int) -> None:
        """Put on record an alarm that was over when it became known: nobody is rung for it."""
        key = condition.key
        alarm_id = _id_of(key, at_ms)
        before = self.alarms.get(key) or self.closed.get(key)
        is_on = before is not None and (before.active or before.id == alarm_id)
        if is_on or self._silence_of(key) is not None:
            return
        alarm = self._occurrence(alarm_id, condition, at_ms)
        self._put(alarm, at_ms, Event.OCCURRED)
        self._return(alarm, at_ms)

    def _occurrence(self, alarm_id: str, condition: Condition, at_ms: int) -> Alarm:
        key = condition.key
        return Alarm(
            id=alarm_id,
            key=key,
            units=condition.units or ((key.unit,) if key.unit is not None else ()),
            priority=self._policy.priority(condition),
            state=next_state(State.NORMAL, Event.OCCURRED),
            since_ms=condition.since_ms,
            raised_ms=at_ms,
            opened_ms=at_ms,
            condition=condition,
            severity=condition.severity,
        )

    def _join(self, previous: Alarm, condition: Condition, at_ms: int) -> None:
        """Take an alarm up again that has only just returned: it is chattering.

        Somebody who acknowledged it need not do so again; if nobody did, its escalation
        goes on where it was.
        """
        state = next_state(State.NORMAL, Event.OCCURRED)
        if previous.acknowledged_ms is not None:
            state = next_state(state, Event.ACKNOWLEDGED)
        repeats = tuple(self._caught_up(repeat, at_ms) for repeat in previous.repeats)
        # A promise that passed in the lull is due now: nothing is ever due in the past.
        reopens_ms = None if previous.reopens_ms is None else max(previous.reopens_ms, at_ms)
        lapses_ms = None if previous.lapses_ms is None else max(previous.lapses_ms, at_ms)
        alarm = replace(
            previous,
            state=state,
            returned_ms=None,
            reopens_ms=reopens_ms,
            lapses_ms=lapses_ms,
            repeats=repeats,
            chatter=previous.chatter + 1,
        )
        self._put(alarm, at_ms, Event.OCCURRED)
        self.update(alarm, condition, at_ms)
        self._fire_what_is_due(previous.key, at_ms)

    def _caught_up(self, repeat: Repeat, at_ms: int) -> Repeat:
        """Return a repeat moved to its first time at or after an instant, on its own grid."""
        steps = self._policy.steps
        repeat_ms = steps[repeat.step].repeat_ms if repeat.step < len(steps) else None
        if repeat_ms is None or repeat.due_ms >= at_ms:
            return repeat
        missed = -((repeat.due_ms - at_ms) // repeat_ms)
        return replace(repeat, nth=repeat.nth + missed, due_ms=repeat.due_ms + missed * repeat_ms)

    def _open(self, alarm: Alarm, at_ms: int, event: Event) -> None:
        """Start an alarm's escalation again, from its first step."""
        alarm = replace(
            alarm,
            state=next_state(alarm.state, event),
            opened_ms=at_ms,
            acknowledged_ms=None,
            acknowledged_by="",
            reopens_ms=None,
            lapses_ms=None,
            round=alarm.round + 1,
            steps_done=0,
            repeats=(),
            heard=False,
        )
        self._put(alarm, at_ms, event)
        self._fire_what_is_due(alarm.key, at_ms)

    def update(self, alarm: Alarm, condition: Condition, at_ms: int) -> None:
        """Give an active alarm its latest facts; if they are worse, let people know.

        Worse is a severity above any before, once somebody has acknowledged or where nothing
        more is to come by itself; or a higher priority that may sound, where somebody has
        acknowledged the lower one or the night had swallowed it.
        """
        priority = more_urgent(alarm.priority, self._policy.priority(condition))
        fresh = replace(
            alarm,
            condition=condition,
            since_ms=condition.since_ms,
            units=condition.units or alarm.units,
            priority=priority,
            severity=max(alarm.severity, condition.severity),
        )
        self.alarms[alarm.key] = fresh
        at_an_end = alarm.sounding and alarm.heard and self._says_no_more(alarm)
        worse = (
            alarm.state is State.ACKNOWLEDGED or at_an_end
        ) and condition.severity > alarm.severity
        unheard = alarm.sounding and alarm.steps_done > 0 and not alarm.heard
        if worse or (
            (unheard or alarm.state is State.ACKNOWLEDGED)
            and priority is not alarm.priority
            and self._policy.night.may_sound(priority, at_ms)
        ):
            self._open(fresh, at_ms, Event.REOPENED)
        elif (fresh.priority, fresh.units, fresh.since_ms) != (
            alarm.priority,
            alarm.units,
            alarm.since_ms,
        ):
            self._put(fresh, at_ms, None)

    def _was_muted(self, alarm: Alarm, at_ms: int) -> bool:
        """Whether nobody heard of an alarm that today's settings give the highest priority."""
        condition = self.conditions.get(alarm.key)
        return (
            condition is not None
            and alarm.sounding
            and alarm.steps_done > 0
            and not alarm.heard
            and self._policy.priority(condition) is Priority.HIGH
            and self._policy.night.may_sound(Priority.HIGH, at_ms)
        )

    def _says_no_more(self, alarm: Alarm) -> bool:
        """Whether an alarm that nobody has acknowledged has no step and no repeat to come."""
        return next(dues_of(alarm, self._policy.steps), None) is None

    def acknowledge(self, key: AlarmKey, at_ms: int, who: str, back_within_ms: int | None) -> None:
        """Somebody has seen an alarm."""
        alarm = self.alarms[key]
        reopens_ms = alarm.reopens_ms
        if back_within_ms is not None and alarm.active:
            reopens_ms = at_ms + back_within_ms
        lapses_ms = None
        if alarm.active and alarm.priority is Priority.HIGH:
            lapses_ms = at_ms + self._policy.acknowledged_ms
        if alarm.state is State.ACKNOWLEDGED:
            # The first acknowledgement stands; only its end can be put off, or promised.
            if (reopens_ms, lapses_ms) != (alarm.reopens_ms, alarm.lapses_ms):
                later = replace(alarm, reopens_ms=reopens_ms, lapses_ms=lapses_ms)
                self._put(later, at_ms, None)
            return
        alarm = replace(
            alarm,
            state=next_state(alarm.state, Event.ACKNOWLEDGED),
            acknowledged_ms=at_ms,
            acknowledged_by=who,
            first_acknowledged_ms=alarm.first_acknowledged_ms or at_ms,
            reopens_ms=reopens_ms,
            lapses_ms=lapses_ms,
        )
        self._put(alarm, at_ms, Event.ACKNOWLEDGED)

    def clear(self, key: AlarmKey, at_ms: int) -> None:
        """A condition is no longer so: its alarm returns, and what it suppressed comes back."""
        del self.conditions[key]
        alarm = self.alarms.get(key)
        if alarm is not None and alarm.active:
            self._return(alarm, at_ms)
        self._settle_silenced_by(key, at_ms)
        if any(key in causes for causes in self.suppressed.values()):
            if self._policy.recovery_ms > 0:
                self.lifting[key] = at_ms + self._policy.recovery_ms
            else:
                self.lift(key, at_ms)

    def _return(self, alarm: Alarm, at_ms: int) -> None:
        owes = alarm.owes
        if owes and self._policy.night.may_sound(alarm.priority, at_ms):
            night = self._policy.night.is_night(at_ms)
            for contact in owes:
                self._send(
                    alarm,
                    at_ms,
                    About.RETURNED,
                    contact,
                    step=None,
                    nth=alarm.chatter,
                    night=night,
                )
            owes = ()
        alarm = replace(
            alarm, state=next_state(alarm.state, Event.RETURNED), returned_ms=at_ms, owes=owes
        )
        self._put(alarm, at_ms, Event.RETURNED)

    def retire(self, keys: Iterable[AlarmKey], at_ms: int) -> None:
        """End the alarms of what is watched no more.

        For the life cycle that is out of service for good, and over. Nobody is told that
        all is normal again: nobody knows.
        """
        keys = tuple(keys)
        for key in keys:
            memories: tuple[MutableMapping[AlarmKey, Any], ...] = (
                self.conditions,
                self.shelves,
                self.suppressed,
            )
            for memory in memories:
                memory.pop(key, None)
            alarm = self.alarms.get(key)
            if alarm is None:
                continue
            ended = replace(
                alarm,
                state=next_state(alarm.state, Event.TAKEN_OUT_OF_SERVICE, Event.RETURNED),
                returned_ms=at_ms if alarm.returned_ms is None else alarm.returned_ms,
                owes=(),
            )
            self._put(ended, at_ms, Event.RETURNED)
            where = "" if key.unit is None else f" of {key.unit}"
            text = f"alarm {key.rule.value}{where} ended: the configuration watches it no more"
            self.log(at_ms, key, text)
        for key in keys:  # when none of them can be raised by the end of another
            self.lift(key, at_ms)

    def leave_out(self, units: Collection[UnitId], at_ms: int) -> None:
        """Take units that are no more out of what concerns several; end what is left of none."""
        for key, condition in list(self.conditions.items()):
            left = tuple(unit for unit in condition.units if unit in units)
            if key.unit is not None or left == condition.units:
                continue
            if not left:
                self.retire((key,), at_ms)
                continue
            self.conditions[key] = replace(condition, units=left)
            alarm = self.alarms.get(key)
            if alarm is not None and alarm.active:
                self.update(alarm, self.conditions[key], at_ms)
            self._settle_silenced_by(key, at_ms)

    def lift(self, cause: AlarmKey, at_ms: int) -> None:
        """Let a cause suppress nothing any more."""
        self.lifting.pop(cause, None)
        self.unsuppress([key for key, by in self.suppressed.items() if cause in by], cause, at_ms)

    def unsuppress(self, keys: Iterable[AlarmKey], cause: AlarmKey, at_ms: int) -> None:
        """Let a cause no longer suppress some alarms."""
        keys = tuple(keys)
        for key in keys:
            left = self.suppressed.get(key, frozenset()) - {cause}
            if left:
                self.suppressed[key] = left
            else:
                self.suppressed.pop(key, None)
        self.settle_all(keys, at_ms)

    def _put(self, alarm: Alarm, at_ms: int, event: Event | None) -> None:
        """Keep an alarm where it belongs now, and have it recorded."""
        if alarm.state is State.NORMAL:
            self.alarms.pop(alarm.key, None)
            self.closed[alarm.key] = alarm
        else:
            self.alarms[alarm.key] = alarm
            self.closed.pop(alarm.key, None)
        self._effects.append(AlarmChanged(at_ms=at_ms, alarm=alarm, event=event))

    def log(self, at_ms: int, key: AlarmKey | None, text: str) -> None:
        """Have something written down for people."""
        self._effects.append(Logged(at_ms=at_ms, key=key, text=text))


def _id_of(key: AlarmKey, at_ms: int) -> str:
    return f"{key.unit or '-'}:{key.rule}:{at_ms}"
