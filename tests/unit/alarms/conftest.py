"""A desk at which a test plays a shop's day: an engine, its state, and what it asked for."""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, time
from typing import Any

import pytest

from plain_shop import plain_shop
from rimewatch.alarms import Alarm, AlarmChanged, AlarmState, Engine, Logged, Outcome, Send
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.shop import Broker, EscalationStep, Night, Shop
from rimewatch.vocabulary import ContactId, Priority, Rule, Scale, UnitId


def instant_ms(text: str) -> int:
    """Return an ISO 8601 instant as milliseconds UTC."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def key_of(unit: str | None, rule: Rule) -> AlarmKey:
    """Return an alarm's key."""
    return AlarmKey(unit=None if unit is None else UnitId(unit), rule=rule)


def make_step(after_s: float, contacts: str, repeat_s: float | None = None) -> EscalationStep:
    """Return an escalation step; contacts are separated by blanks."""
    return EscalationStep(
        after_s=after_s,
        contacts=tuple(ContactId(contact) for contact in contacts.split()),
        repeat_s=repeat_s,
    )


def make_night(begins: str = "21:00", ends: str = "06:00", wake_for: str = "high") -> Night:
    """Return a night; priorities are separated by blanks."""
    return Night(
        begins=time.fromisoformat(begins),
        ends=time.fromisoformat(ends),
        wake_for=frozenset(Priority(word) for word in wake_for.split()),
    )


def make_shop(
    *escalation: EscalationStep,
    night: Night | None = None,
    priorities: Mapping[Rule, Priority] | None = None,
    timezone: str = "America/Chicago",
) -> Shop:
    """Return a shop with only what alarms need."""
    return plain_shop(
        name="Saltmarsh Row Fish",
        timezone=timezone,
        display=Scale.FAHRENHEIT,
        summary_at=time(6, 30),
        broker=Broker(url="mqtt://127.0.0.1:1883", client_id="rimewatch"),
        units=(),
        probes=(),
        night=night,
        escalation=escalation,
        priorities=priorities or {},
    )


class Desk:
    """Plays events by clock time and keeps everything the engine asked for."""

    def __init__(self, shop: Shop, day: str = "2026-03-02", **options: Any) -> None:
        self.engine = Engine(shop, **options)
        self.state = AlarmState()
        self.day = day
        self.sent: list[Send] = []
        self.changes: list[AlarmChanged] = []
        self.logged: list[Logged] = []

    def at(self, clock: str) -> int:
        """Return an instant: a UTC clock time of the desk's day, or a full ISO instant."""
        return instant_ms(clock if "T" in clock else f"{self.day}T{clock}Z")

    def _do(self, outcome: Outcome) -> None:
        self.state, effects = outcome
        for effect in effects:
            match effect:
                case Send():
                    self.sent.append(effect)
                case AlarmChanged():
                    self.changes.append(effect)
                case Logged():
                    self.logged.append(effect)

    def wrong(
        self, clock: str, unit: str | None = "case-1", rule: Rule = Rule.HOLDING, **facts: Any
    ) -> None:
        """A rule says that something is wrong."""
        facts.setdefault("since_ms", self.at(clock))
        condition = Condition(key=key_of(unit, rule), **facts)
        self._do(self.engine.set_condition(self.state, condition, self.at(clock)))

    def right(self, clock: str, unit: str | None = "case-1", rule: Rule = Rule.HOLDING) -> None:
        """A rule says that it is right again."""
        key = key_of(unit, rule)
        self._do(self.engine.clear_condition(self.state, key, self.at(clock)))

    def acknowledge(
        self,
        clock: str,
        unit: str | None = "case-1",
        rule: Rule = Rule.HOLDING,
        who: str = "Mia",
        back_within_s: float | None = None,
    ) -> None:
        """Somebody acknowledges."""
        self._do(
            self.engine.acknowledge(
                self.state,
                key_of(unit, rule),
                self.at(clock),
                who,
                back_within_s=back_within_s,
            )
        )

    def shelve(
        self,
        clock: str,
        until: str,
        unit: str | None = "case-1",
        rule: Rule = Rule.HOLDING,
        who: str = "Mia",
    ) -> None:
        """Somebody shelves."""
        key = key_of(unit, rule)
        self._do(self.engine.shelve(self.state, key, self.at(clock), self.at(until), who))

    def unshelve(self, clock: str, unit: str | None = "case-1", rule: Rule = Rule.HOLDING) -> None:
        """Somebody ends a shelf early."""
        self._do(self.engine.unshelve(self.state, key_of(unit, rule), self.at(clock), "Mia"))

    def out_of_service(self, clock: str, unit: str = "case-1") -> None:
        """A unit is taken out of service."""
        self._do(self.engine.out_of_service(self.state, UnitId(unit), self.at(clock), "Mia"))

    def in_service(self, clock: str, unit: str = "case-1") -> None:
        """A unit is put back in service."""
        self._do(self.engine.in_service(self.state, UnitId(unit), self.at(clock), "Mia"))

    def suppress(self, clock: str, key: AlarmKey, by: AlarmKey) -> None:
        """A cause silences an alarm by design."""
        self._do(self.engine.suppress(self.state, key, by, self.at(clock)))

    def unsuppress(self, clock: str, key: AlarmKey, by: AlarmKey) -> None:
        """A cause no longer silences an alarm."""
        self._do(self.engine.unsuppress(self.state, key, by, self.at(clock)))

    def until(self, clock: str) -> None:
        """Time passes."""
        self._do(self.engine.advance(self.state, self.at(clock)))

    def alarm(self, unit: str | None = "case-1", rule: Rule = Rule.HOLDING) -> Alarm:
        """Return the present alarm of a key."""
        return self.state.alarms[key_of(unit, rule)]

    @property
    def record(self) -> dict[str, Alarm]:
        """The record of alarms, each as it last was."""
        return {change.alarm.id: change.alarm for change in self.changes}

    @property
    def messages(self) -> list[str]:
        """Everything sent: UTC time of day, contact, what about."""
        return [f"{self._clock(send.at_ms)} {send.contact} {send.about}" for send in self.sent]

    def _clock(self, at_ms: int) -> str:
        at = datetime.fromtimestamp(at_ms / 1000, tz=UTC)
        return at.strftime("%H:%M:%S" if at.strftime("%Y-%m-%d") == self.day else "%d %H:%M:%S")


@pytest.fixture
def open_desk() -> Callable[..., Desk]:
    """Return a maker of desks."""
    return Desk


@pytest.fixture
def shop_of() -> Callable[..., Shop]:
    """Return a maker of shops."""
    return make_shop


@pytest.fixture
def step() -> Callable[..., EscalationStep]:
    """Return a maker of escalation steps."""
    return make_step


@pytest.fixture
def night_of() -> Callable[..., Night]:
    """Return a maker of nights."""
    return make_night


@pytest.fixture
def key() -> Callable[[str | None, Rule], AlarmKey]:
    """Return a maker of alarm keys."""
    return key_of


@pytest.fixture
def instant() -> Callable[[str], int]:
    """Return a reader of instants."""
    return instant_ms
