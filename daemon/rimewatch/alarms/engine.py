"""The alarm engine: conditions come in, messages and a record of alarms go out.

A rule says what is so; the engine decides who hears of it and when. It holds the shop's
settings and nothing else: every method takes a state and gives back the next one with
the effects it asks for. It never reads a clock, sends, logs or stores; the caller says
what time it is, and carries the effects out.

How it behaves, where the words could be read in more than one way:

* **Order.** Each method first does what fell due *before* its instant; what is due *at*
  that instant is left to the next :meth:`Engine.advance`. So a message due in the very
  moment of an acknowledgement is not sent, provided the acknowledgement is handed in
  first. Hand in everything that happened at an instant, then advance to it.
* **Night.** What may not sound is not sent, then or later: the morning summary has it.
  A step whose time falls into the night does not repeat by day either: nobody was told
  what would be repeated. Repeats of an alarm that was told by day keep to their grid, and
  go on after the night.
* **Returned** goes once to everybody whose last word was that the alarm is active, also
  if it was silenced meanwhile: whoever was told of an alarm is told that it is over.
* **Silence** (shelved, suppressed by design, out of service) stops steps and repeats.
  When it ends and the condition is still there, an alarm that had been raised before goes
  back to unacknowledged and its escalation starts again; it stays the same alarm. One
  that had not been raised is raised then, at the end of the silence.
* **A unit out of service** silences alarms of that unit; an alarm over several units is
  silenced only if every one of them is out of service.
* **A cause that returns** stops suppressing after ``recovery_s``, in which units may
  become cold again; what is then still so is raised.
"""

from collections.abc import Collection, Mapping

from rimewatch.alarms.alarm import AlarmState
from rimewatch.alarms.effects import Effect
from rimewatch.alarms.night import NightPolicy
from rimewatch.alarms.rota import RotaPolicy
from rimewatch.alarms.set_back import set_back
from rimewatch.alarms.timetable import earliest, key_order, milliseconds, steps_of
from rimewatch.alarms.workbench import Policy, Workbench
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.shop import Shop
from rimewatch.vocabulary import ContactId, Rule, UnitId

Outcome = tuple[AlarmState, tuple[Effect, ...]]
"""The state after an event, and what is to be done, in order of time."""


class Engine:
    """Makes alarms of conditions, by one shop's settings.

    Args:
        shop: The shop; only its escalation, rotas, night, time zone and priorities are used.
        chatter_windows_s: An alarm of these rules that comes back sooner than this after
            its return is joined to the one before. Of others every occurrence is an alarm
            of its own.
        recovery_s: How long a cause goes on suppressing after it has returned.

    Raises:
        ValueError: If an option is negative, or an escalation step cannot be followed.
    """

    def __init__(
        self,
        shop: Shop,
        *,
        chatter_windows_s: Mapping[Rule, float] | None = None,
        recovery_s: float = 0.0,
    ) -> None:
        windows = {} if chatter_windows_s is None else dict(chatter_windows_s)
        for name, value in (
            *((f"chatter_windows_s of {rule}", window_s) for rule, window_s in windows.items()),
            ("recovery_s", recovery_s),
        ):
            if not value >= 0:
                raise ValueError(f"{name} is {value!r}; expected 0 or more seconds")
        self._policy = Policy(
            shop=shop,
            steps=steps_of(shop.escalation),
            night=NightPolicy(shop.night, shop.timezone),
            rota=RotaPolicy(shop.shifts, shop.holidays, shop.timezone),
            chatter_windows_ms={rule: milliseconds(s) for rule, s in windows.items()},
            recovery_ms=milliseconds(recovery_s),
            acknowledged_ms=milliseconds(shop.acknowledged_for_s),
        )

    # --- conditions -----------------------------------------------------------------------

    def set_condition(self, state: AlarmState, condition: Condition, at_ms: int) -> Outcome:
        """Say that something is so, with its latest facts.

        Level-triggered: say it as often as you like. An active alarm takes over the
        facts; without one, an alarm is raised at ``at_ms`` unless something silences it.
        """
        key = condition.key
        if state.conditions.get(key) == condition:
            return self.advance(state, at_ms - 1)  # nothing new, as with most readings
        bench = self._begin(state, at_ms)
        bench.lifting.pop(key, None)
        bench.conditions[key] = condition
        alarm = bench.alarms.get(key)
        if alarm is not None and alarm.active:
            bench.update(alarm, condition, at_ms)
        bench.settle(key, at_ms)
        return bench.result()

    def record(self, state: AlarmState, condition: Condition, at_ms: int) -> Outcome:
        """Record that something was so, and was over when it became known.

        It is an alarm that returned as it was raised, and no message.
        """
        bench = self._begin(state, at_ms)
        bench.record(condition, at_ms)
        return bench.result()

    def clear_condition(self, state: AlarmState, key: AlarmKey, at_ms: int) -> Outcome:
        """Say that something is no longer so. Nothing happens if it was not."""
        if key not in state.conditions:
            return self.advance(state, at_ms - 1)
        bench = self._begin(state, at_ms)
        bench.clear(key, at_ms)
        return bench.result()

    # --- people ---------------------------------------------------------------------------

    def acknowledge(
        self,
        state: AlarmState,
        key: AlarmKey,
        at_ms: int,
        who: str = "",
        *,
        back_within_s: float | None = None,
    ) -> Outcome:
        """Record that somebody has seen an alarm; steps and repeats stop.

        Nothing happens if there is no such alarm, or it is silenced. The first
        acknowledgement stands; a later one may add or change the promise.

        Args:
            state: The state.
            key: Which alarm.
            at_ms: When.
            who: By whom.
            back_within_s: A promise to be back by then: the alarm opens again if it is
                still active. None: no promise.

        Raises:
            ValueError: If ``back_within_s`` is not above 0.
        """
        if back_within_s is not None and not back_within_s > 0:
            raise ValueError(f"back_within_s is {back_within_s!r}; expected more than 0 s, or none")
        bench = self._begin(state, at_ms)
        alarm = bench.alarms.get(key)
        if alarm is not None and not alarm.silent:
            bench.acknowledge(
                key, at_ms, who, None if back_within_s is None else milliseconds(back_within_s)
            )
        return bench.result()

    def shelve(
        self, state: AlarmState, key: AlarmKey, at_ms: int, until_ms: int, who: str = ""
    ) -> Outcome:
        """Put an alarm aside until an instant, never for ever. A later shelf replaces this one.

        Raises:
            ValueError: If ``until_ms`` is not after ``at_ms``.
        """
        if until_ms <= at_ms:
            raise ValueError(
                f"until_ms is {until_ms}, not after at_ms {at_ms}; a shelf must end later "
                "than it begins"
            )
        bench = self._begin(state, at_ms)
        bench.shelves[key] = until_ms
        minutes = (until_ms - at_ms) / 60_000
        bench.log(at_ms, key, f"shelved for {minutes:g} min{_by(who)}")
        bench.settle(key, at_ms)
        return bench.result()

    def unshelve(self, state: AlarmState, key: AlarmKey, at_ms: int, who: str = "") -> Outcome:
        """Take an alarm from its shelf before the shelf ends."""
        bench = self._begin(state, at_ms)
        if bench.shelves.pop(key, None) is not None:
            bench.log(at_ms, key, f"taken from its shelf{_by(who)}")
            bench.settle(key, at_ms)
        return bench.result()

    def out_of_service(self, state: AlarmState, unit: UnitId, at_ms: int, who: str = "") -> Outcome:
        """Silence a unit that is being cleaned, or is dead, until it is back in service."""
        bench = self._begin(state, at_ms)
        if unit not in bench.out_of_service:
            bench.out_of_service.add(unit)
            bench.log(at_ms, None, f"{unit} taken out of service{_by(who)}")
            bench.settle_all((*bench.conditions, *bench.alarms), at_ms)
        return bench.result()

    def in_service(self, state: AlarmState, unit: UnitId, at_ms: int, who: str = "") -> Outcome:
        """Let a unit be heard again; what is wrong with it now is raised."""
        bench = self._begin(state, at_ms)
        if unit in bench.out_of_service:
            bench.out_of_service.remove(unit)
            bench.log(at_ms, None, f"{unit} put back in service{_by(who)}")
            bench.settle_all((*bench.conditions, *bench.alarms), at_ms)
        return bench.result()

    # --- one cause, one wake-up -----------------------------------------------------------

    def suppress(self, state: AlarmState, key: AlarmKey, by_key: AlarmKey, at_ms: int) -> Outcome:
        """Silence an alarm by design, because another one tells of the cause of both.

        A cause common to several units silences only while it sounds itself: not on a shelf,
        and not what may wake somebody where it may not itself. It lasts until
        :meth:`unsuppress`, or until the condition of the cause is cleared and ``recovery_s``
        has passed.

        Raises:
            ValueError: If an alarm were to suppress itself.
        """
        if key == by_key:
            raise ValueError(
                f"{key.rule} of {key.unit} cannot suppress itself; name the alarm of its cause"
            )
        bench = self._begin(state, at_ms)
        causes = bench.suppressed.get(key, frozenset())
        if by_key not in causes:
            bench.suppressed[key] = causes | {by_key}
            bench.settle(key, at_ms)
        return bench.result()

    def unsuppress(self, state: AlarmState, key: AlarmKey, by_key: AlarmKey, at_ms: int) -> Outcome:
        """Let a cause no longer silence an alarm; if it is still so, it is raised."""
        bench = self._begin(state, at_ms)
        bench.unsuppress((key,), by_key, at_ms)
        return bench.result()

    # --- a changed configuration ----------------------------------------------------------

    def catch_up(self, state: AlarmState, changed: Collection[ContactId], at_ms: int) -> Outcome:
        """Tell whoever is on call now, and was not told, of the alarms that stand.

        For after a restart or a changed configuration. Who was told already is told nothing,
        nor is anybody of what was kept from the night.

        Args:
            state: The state.
            changed: Contacts that are now reached in another way than when they were told.
            at_ms: When.
        """
        bench = self._begin(state, at_ms)
        bench.catch_up(changed, at_ms)
        return bench.result()

    def retire(
        self,
        state: AlarmState,
        keys: Collection[AlarmKey],
        units: Collection[UnitId],
        at_ms: int,
    ) -> Outcome:
        """End alarms that nobody looks at any more; what is wrong with them is not known.

        They are not told as returned, and what they suppressed may be heard again.

        Args:
            state: The state.
            keys: What is watched no more.
            units: The units there are: others are left out of what concerns several.
            at_ms: When that was found.
        """
        bench = self._begin(state, at_ms)
        bench.retire(sorted(keys, key=key_order), at_ms)
        bench.leave_out(units, at_ms)
        bench.out_of_service.intersection_update(units)
        return bench.result()

    # --- time -----------------------------------------------------------------------------

    def advance(self, state: AlarmState, now_ms: int) -> Outcome:
        """Do everything due up to now, in order, each thing at its own time."""
        due_ms = self.next_due_ms(state)
        if due_ms is None or due_ms > now_ms:
            return state, ()
        bench = Workbench(self._policy, state)
        bench.fire_until(now_ms)
        return bench.result()

    def set_back(self, state: AlarmState, now_ms: int, by_ms: int) -> AlarmState:
        """Return the state as it goes on after the clock was set back by so much."""
        return set_back(state, self._policy.steps, now_ms, by_ms)

    def next_due_ms(self, state: AlarmState) -> int | None:
        """Return when something is due next; None: nothing will happen by itself."""
        due = earliest(
            self._policy.steps,
            alarms=state.alarms,
            shelves=state.shelves,
            lifting=state.lifting,
        )
        return None if due is None else due.at_ms

    def _begin(self, state: AlarmState, at_ms: int) -> Workbench:
        """Start on a state, with everything done that was due before an instant."""
        bench = Workbench(self._policy, state)
        bench.fire_until(at_ms - 1)
        return bench


def _by(who: str) -> str:
    return f" by {who}" if who else ""
