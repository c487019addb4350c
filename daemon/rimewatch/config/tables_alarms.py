"""The tables about alarms and whom they are told to, key by key.

As in ``rimewatch.config.tables``, only what one key alone can tell is checked here.
"""

from datetime import time
from typing import Annotated, Final, Literal, get_args

from pydantic import Field

from rimewatch.config.keys import (
    CLOCK,
    ID,
    PRIORITY,
    Duration,
    Expect,
    Id,
    Interval,
    LocalTime,
    Name,
    RulePriority,
    Word,
    word_of,
)
from rimewatch.config.table import Table
from rimewatch.vocabulary import Priority

Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun", "holiday"]
DAYS: Final[tuple[str, ...]] = get_args(Day)
HOLIDAY: Final = "holiday"
Language = Literal["en", "es"]


class ContactTable(Table):
    """Somebody who can be told."""

    id: Annotated[Id, Expect(ID.what, "first")]
    """Short id, used by escalation."""
    name: Annotated[Name, Expect("a name", "On-call phone")]
    """Who or what it is."""
    urls: Annotated[
        list[
            Annotated[
                str,
                Field(min_length=1),
                Expect("an Apprise URL or a reference", "env:RIMEWATCH_FIRST"),
            ]
        ],
        Field(min_length=1),
        Expect("a list of Apprise URLs or references", ["env:RIMEWATCH_FIRST"]),
    ]
    """Apprise URLs, or references "env:NAME" and "file:PATH" to where one is kept. Secret."""


class NightTable(Table):
    """The hours in which only some priorities may sound."""

    begins: Annotated[LocalTime, Field(alias="from"), Expect(CLOCK.what, "21:00")]
    """Local time at which night begins, HH:MM."""
    ends: Annotated[LocalTime, Field(alias="to"), Expect(CLOCK.what, "06:00")]
    """Local time at which night ends, HH:MM; may be on the next day."""
    wake_for: Annotated[
        list[Annotated[Priority, Word, PRIORITY]], Expect("a list of priorities", ["high"])
    ] = [Priority.HIGH]
    """Priorities that may sound at night; the rest waits for the morning. Default {}."""


class EscalationTable(Table):
    """Whom to tell, how long after an alarm was raised."""

    after_s: Annotated[Duration, Expect("seconds since the alarm, 0 or more", 0)]
    """Seconds after the alarm was raised, s; each step later than the one before."""
    contacts: Annotated[
        list[Annotated[str, Expect("the id of a [[contact]] or [[rota]]", "first")]],
        Field(min_length=1),
        Expect("a list of ids of contacts and rotas", ["first"]),
    ]
    """Ids of the contacts to tell, and of rotas: whoever is on call then is told."""
    repeat_s: Annotated[Interval, Expect("seconds, more than 0", 900)] | None = None
    """Seconds after which they are told again until somebody acknowledges, s. Default: never."""


class RotaTable(Table):
    """One shift of a rota: who is on call on some days, from when to when."""

    id: Annotated[Id, ID]
    """Name of the rota, used by escalation; all shifts of one rota bear it."""
    days: Annotated[
        list[Annotated[Day, word_of(DAYS, "mon")]],
        Field(min_length=1),
        Expect("a list of days", ["mon", "tue"]),
    ] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
    """Days on which the shift begins: "mon" to "sun", "holiday". Default: every weekday."""
    begins: Annotated[LocalTime, Field(alias="from"), CLOCK] = time(0, 0)
    """Local time of the hand-over to this shift, HH:MM. Default {}."""
    ends: Annotated[LocalTime, Field(alias="to"), CLOCK] = time(0, 0)
    """Local time at which it ends, HH:MM; not after from: on the next day. Default {}."""
    contacts: Annotated[
        list[Annotated[str, Expect("the id of a [[contact]]", "first")]],
        Field(min_length=1),
        Expect("a list of ids of contacts", ["first"]),
    ]
    """Ids of the contacts who are on call then."""


class PrioritiesTable(Table):
    """The shop's own priorities, rule by rule, where they differ from the usual ones."""

    holding: RulePriority = None
    """Priority of holding alarms: fish above its critical limit. Usually "high"."""
    operating_limit: Annotated[RulePriority, Field(alias="operating-limit")] = None
    """Priority of operating-limit alarms: fish above the operating limit. Usually "medium"."""
    freezer: RulePriority = None
    """Priority of freezer alarms: a freezer above its limit. Usually "high"."""
    hold_at_risk: Annotated[RulePriority, Field(alias="hold-at-risk")] = None
    """Priority of hold-at-risk alarms: a freezing hold interrupted. Usually "high"."""
    door: RulePriority = None
    """Priority of door alarms: a door left open. Usually "low"."""
    stale: RulePriority = None
    """Priority of stale alarms: a silent probe. Usually "medium"."""
    battery: RulePriority = None
    """Priority of battery alarms: a low battery. Usually "low"."""
    stuck: RulePriority = None
    """Priority of stuck alarms: a probe whose value never moves. Usually "low"."""
    implausible: RulePriority = None
    """Priority of implausible alarms: values nobody can believe. Usually "low"."""
    water: RulePriority = None
    """Priority of water alarms: water where none should be. Usually "low"."""
    cooling: RulePriority = None
    """Priority of cooling alarms: fish cooling too slowly. Usually "low"."""
    projection: RulePriority = None
    """Priority of projection alarms: a limit that will soon be passed. Usually "medium"."""
    power_loss: Annotated[RulePriority, Field(alias="power-loss")] = None
    """Priority of power-loss alarms: several units without power. Usually "high"."""
    humidity: RulePriority = None
    """Priority of humidity alarms: air that stays too damp. Usually "low"."""


class AtStakeTable(Table):
    """From when on what a unit holds makes a lesser alarm more urgent, by one priority."""

    kilograms: (
        Annotated[float, Field(gt=0, le=1e6), Expect("kilograms, more than 0", 50)] | None
    ) = None
    """Fish in the unit, kg, from which on its lesser alarms are more urgent. Default: never."""
    hold_h: Annotated[float, Field(gt=0, le=200), Expect("hours, more than 0", 120)] | None = None
    """Hours credited to a hold in the unit from which on they are. Default: never."""


class MessagesTable(Table):
    """In which words alarms are told."""

    language: Annotated[Language, word_of(get_args(Language), "en")] = "en"
    """Language of the messages about alarms, "en" or "es". Default {}."""
    folder: Annotated[str, Field(min_length=1), Expect("a folder's path", "texts")] | None = None
    """Folder with a messages.toml: the shop's own sentences, by the keys of the shipped ones."""
