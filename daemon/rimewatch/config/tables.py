"""The configuration file's tables, key by key: type, bounds, default, meaning, unit.

Only what one key alone can tell is checked here; what two keys say together is in
``rimewatch.config.checks``. These models never leave this package: the service
works with the plain values of ``rimewatch.shop``.
"""

from collections.abc import Mapping
from datetime import time
from math import ceil
from typing import Annotated, Final, Literal, get_args
from zoneinfo import available_timezones

from pydantic import ConfigDict, Field

from rimewatch.config.keys import (
    CLOCK,
    ID,
    NAME,
    PRIORITY,
    Celsius,
    Defrost,
    Duration,
    Expect,
    Format,
    Holiday,
    Id,
    Interval,
    LocalTime,
    Name,
    PeoplesScale,
    RulePriority,
    Topic,
    Word,
    Zone,
    word_of,
)
from rimewatch.config.table import Table
from rimewatch.lots.species import Group
from rimewatch.rules.provisions import (
    COLD_HOLDING_LIMIT_C,
    EU_FROZEN_STORAGE_C,
    FREEZING_RECORD_DAYS,
    RECORD_YEARS_FROZEN,
    RECORD_YEARS_REFRIGERATED,
    TIME_CONTROL_4H_H,
)
from rimewatch.vocabulary import Code, Kind, Measures, Paper, Priority, Scale, TrueMeans

DEFAULT_LIMIT_C: Final[Mapping[Kind, float]] = {
    Kind.DISPLAY_CASE: COLD_HOLDING_LIMIT_C,  # FDA Food Code 2022, 3-501.16(A)(2)
    Kind.WALK_IN: COLD_HOLDING_LIMIT_C,  # likewise
    Kind.FREEZER: EU_FROZEN_STORAGE_C,  # −18 °C; the Food Code names no number for storage
    Kind.ULTRA_LOW_FREEZER: -60.0,  # common practice for fish served raw, no source
}
DEFAULT_PLAUSIBLE: Final[Mapping[Measures, tuple[float, float]]] = {
    Measures.AIR: (-90.0, 60.0),
    Measures.PRODUCT: (-90.0, 60.0),
    Measures.HUMIDITY: (0.0, 100.0),
    Measures.DOOR: (0.0, 1.0),
    Measures.WATER: (0.0, 1.0),
}
DAYS_ON_ICE: Final = Expect("days, more than 0 and at most 100", 10.0)
DEFAULT_EVERY_S: Final = 60.0
STALE_INTERVALS: Final = 3
"""Missed intervals after which a probe is stale, unless it says otherwise."""
DEFAULT_CLIENT_ID: Final = "rimewatch"
"""The same after every restart and every change of name: the broker keeps the backlog by it."""


class ShopTable(Table):
    """The shop itself."""

    name: Annotated[Name, Expect("the shop's name", "Saltmarsh Row Fish")]
    """The shop's name, as it stands on summaries and records."""
    timezone: Annotated[
        Zone,
        word_of,
        Expect("a zone of the IANA time zone database", "America/Chicago", available_timezones),
    ]
    """Time zone of the shop (IANA name). Night, defrosts and the summary follow its clock."""
    display: Annotated[PeoplesScale, word_of(("C", "F"), "F")] = Scale.CELSIUS
    """Scale that people read, "C" or "F". Limits in this file stay in °C. Default {}."""
    summary_at: Annotated[LocalTime, CLOCK] = time(6, 30)
    """Local time of the morning summary, HH:MM. Default {}."""
    holidays: Annotated[
        list[Annotated[Holiday, Expect("a local date", "2026-12-25")]],
        Expect("a list of local dates", ["2026-12-25"]),
    ] = []
    """Local dates on which the holiday shifts of a rota hold. Default: none."""
    use_by_ice_days: Annotated[float, Field(gt=0, le=100), DAYS_ON_ICE] | None = None
    """The shop's own limit of days on ice, d; a matter of quality, not safety. Default: none."""
    acknowledged_for_h: Annotated[
        float, Field(ge=0.25, le=24), Expect("hours, at least 0.25 and at most 24", 4.0)
    ] = TIME_CONTROL_4H_H
    """How long an acknowledgement of a high alarm lasts where nobody promised a time, h: it rings
    again then if it is still so. Default {}, as long as fish may be out of control by time."""
    code: Annotated[Code, Word, word_of(Code, "us-food-code-2022")] = Code.US_FOOD_CODE_2022
    """Which freezing options, exemptions and statements prove a lot. Default: the Food Code."""


class BrokerTable(Table):
    """Where the probes publish."""

    url: Annotated[str, Expect("an address of a broker", "mqtt://127.0.0.1:1883")] = (
        "mqtt://127.0.0.1:1883"
    )
    """Address of the MQTT broker: mqtt:// (port 1883) or mqtts:// for TLS (port 8883); by WebSocket
    ws:// (port 80) or wss:// for TLS (port 443), with its path, /mqtt unless it is given."""
    client_id: Annotated[Id, Expect(ID.what, "rimewatch")] = DEFAULT_CLIENT_ID
    """Name of this service at the broker; the backlog of an outage is kept under it."""
    username: Annotated[str, Field(min_length=1), Expect("a user's name", "rimewatch")] | None = (
        None
    )
    """User at the broker, where it asks for one."""
    password: (
        Annotated[
            str, Expect('a reference "env:NAME" or "file:PATH"', "env:RIMEWATCH_BROKER_PASSWORD")
        ]
        | None
    ) = None
    """Where the password is kept: "env:NAME" or "file:PATH". Never the password itself."""
    ca_file: Annotated[str, Field(min_length=1), Expect("a file's path", "ca.pem")] | None = None
    """Certificate authority that signed the broker's certificate (PEM), for mqtts:// and wss://."""
    cert_file: Annotated[str, Field(min_length=1), Expect("a file's path", "us.pem")] | None = None
    """Our own certificate (PEM), where the broker asks for one; with key_file."""
    key_file: Annotated[str, Field(min_length=1), Expect("a file's path", "us.key")] | None = None
    """Key of our own certificate (PEM); with cert_file."""
    entries: Annotated[bool, Expect("true or false", example=True)] = False
    """Whether operators' entries are taken from the topic rimewatch/CLIENT_ID/entry. Whoever may
    publish there is believed: leave it to the broker's access control. Default {}."""
    sparkplug_host: Annotated[Id, Expect(ID.what, "rimewatch")] | None = None
    """Name under which Sparkplug nodes may wait for this service (their primary host): its state
    is kept on spBv1.0/STATE/NAME. Default: none, no node is to wait for it."""


class UnitTable(Table):
    """A display case, walk-in cooler, freezer or ultra-low freezer."""

    id: Annotated[Id, ID]
    """Short id, used by probes, records and commands."""
    name: Annotated[Name, NAME]
    """What people call it."""
    kind: Annotated[
        Kind,
        Word,
        word_of(Kind, "display-case"),
    ]
    """What it is; decides the default limit and whether it keeps things frozen."""
    limit_c: Annotated[Celsius, Expect("a number in °C", 5.0)] | None = None
    """Critical limit, °C. Default by kind: 5.0, 5.0, −18.0, −60.0."""
    laxer_because: Annotated[
        str, Expect("the written reason", "variance 12-345 of the county, 2026-01-15")
    ] = ""
    """Written reason for a limit above the published 5.0 °C, in a case or walk-in."""
    operating_limit_c: Annotated[Celsius, Expect("a number in °C below limit_c", 3.3)] | None = None
    """Operating limit inside the critical limit, °C. Default: none."""
    deadband_c: Annotated[float, Field(ge=0, le=20), Expect("a difference in °C, 0 to 20", 0.5)] = (
        0.5
    )
    """How far below its limit a unit must come back before an excursion is over, °C."""
    on_delay_s: Annotated[Duration, Expect("seconds, 0 or more", 900)] = 900.0
    """How long an excursion must last before it becomes an alarm, s."""
    lag_s: Annotated[Duration, Expect("seconds, 0 or more (0: none)", 1200)] = 1200.0
    """Time constant of fish behind an air probe, s; 0 = none."""
    defrost: Annotated[
        list[Annotated[Defrost, Expect("local start and length (up to 12h)", "02:00/30m")]],
        Expect("a list of local starts and lengths", ["02:00/30m"]),
    ] = []
    """Scheduled defrosts: local start and length, such as "02:00/30m", "14:00/1h", "20:00/90s"."""
    door_open_s: Annotated[Interval, Expect("seconds, more than 0", 300)] = 300.0
    """How long its door may stand open before the door alarm, s."""


class FieldsTable(Table):
    """Where in a payload a reading's parts stand: JMESPath, a name (senml, sparkplug), a column."""

    value: Annotated[
        str, Field(min_length=1, max_length=200), Expect("a path into the payload", "t")
    ] = "value"
    """Path of the value; for csv its column, such as "2 of 3"."""
    time: (
        Annotated[str, Field(min_length=1, max_length=200), Expect("a path into the payload", "ts")]
        | None
    ) = None
    """Path of the reading's own time (ISO 8601, or epoch seconds or milliseconds)."""
    battery: (
        Annotated[
            str, Field(min_length=1, max_length=200), Expect("a path into the payload", "bat")
        ]
        | None
    ) = None
    """Path of the battery's level."""
    unit: (
        Annotated[
            str, Field(min_length=1, max_length=200), Expect("a path into the payload", "unit")
        ]
        | None
    ) = None
    """Path of the unit, for json: "C", "°F", ... It outranks scale, message by message."""


class MatchTable(Table):
    """What tells a probe's messages from others on the same topic."""

    field: (
        Annotated[str, Field(min_length=1, max_length=200), Expect("a path into the payload", "id")]
        | None
    ) = None
    """Path into the payload (JMESPath), for json; or else level."""
    level: Annotated[int, Field(ge=1, le=100), Expect("a whole number from 1", 2)] | None = None
    """Which level of the topic, counted from 1: a "+" there, or one that "#" stands for."""
    equals: Annotated[str | int | float | bool, Expect("a text, a number, true or false", "a1")]
    """What stands there in this probe's messages, and in no other's."""


class ProbeTable(Table):
    """One sensor, and how its messages are read."""

    id: Annotated[Id, Expect(ID.what, "case-1-air")]
    """Short id of the probe."""
    unit: Annotated[str, Expect("the id of a [[unit]]", "case-1")]
    """Id of the unit it sits in."""
    measures: Annotated[Measures, Word, word_of(Measures, "air")]
    """What it measures. A product probe, where there is one, speaks for the fish."""
    topic: Annotated[
        Topic,
        Expect('an MQTT topic, where "+" and "#" fill a level alone', "shop/case-1/air"),
    ]
    """MQTT topic it publishes to; "+" and "#" are allowed."""
    format: Annotated[Format, word_of(get_args(Format), "json")] | None = None
    """How the payload is written. Default: "json" if fields are given, else "number"."""
    fields: (
        Annotated[FieldsTable, Expect("a table of paths", {"value": "t", "time": "ts"})] | None
    ) = None
    """Where value, time and battery stand in the payload. Default { value = "value" }."""
    match: Annotated[MatchTable, Expect("a table", {"field": "id", "equals": "a1"})] | None = None
    """Several probes on one topic: what tells this one's messages apart. Default: none."""
    time_zone: (
        Annotated[
            Zone,
            Expect("a zone of the IANA time zone database", "UTC", available_timezones),
        ]
        | None
    ) = None
    """Zone of payload times that name none (IANA name). Default: such a time is not used."""
    check_every_days: Annotated[float, Field(gt=0, le=3660), Expect("days, more than 0", 180)] = (
        180.0
    )
    """How often the probe is to be checked in melting ice, d. Default {}."""
    scale: Annotated[Scale, Word, word_of(Scale, "C")] = Scale.CELSIUS
    """What the probe sends: "C", "F", "K", or "ohm" (a Pt100's resistance). Default {}."""
    true_means: Annotated[TrueMeans, Word, word_of(TrueMeans, "shut")] | None = None
    """What a contact's 1 or true stands for. Default "open" for a door, "wet" for water."""
    every_s: Annotated[Interval, Expect("seconds, more than 0", 60)] | None = None
    """Expected interval, s. Default 60; a door or water contact without it is never stale."""
    stale_s: Annotated[Interval, Expect("seconds, not less than every_s", 180)] | None = None
    """Silence longer than this is missing time, s. Default three times every_s."""
    uncertainty_c: Annotated[
        float, Field(ge=0, le=50), Expect("a difference in °C, 0 or more", 0.3)
    ] = 0.3
    """Uncertainty of the probe, °C; counts against the fish in a freezing hold."""
    offset_c: Annotated[float, Field(ge=-100, le=100), Expect("a difference in °C", 0.0)] = 0.0
    """Added to what the probe sends, °C (after scale and slope); see the last calibration."""
    slope: Annotated[float, Field(ge=-10, le=10), Expect("a factor above 0", 1.0)] = 1.0
    """Factor for what the probe sends, once in °C (no unit); for temperatures. Default {}."""
    plausible_c: (
        Annotated[
            list[float],
            Field(min_length=2, max_length=2),
            Expect("two numbers, lowest and highest", [-90, 60]),
        ]
        | None
    ) = None
    """Lowest and highest temperature believed, °C, after correction. Default [-90, 60]."""
    battery_low: Annotated[float, Expect("a number as the probe sends it", 2.6)] | None = None
    """Battery level at or below which it is low, as sent. Default by kind: 15 %, 2.4 V, 2400 mV."""
    humidity_high_percent: (
        Annotated[
            float, Field(gt=0, lt=100), Expect("percent relative humidity, between 0 and 100", 85)
        ]
        | None
    ) = None
    """Relative humidity above which air is too damp, %; for a humidity probe. Default: none."""


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


class WebTable(Table):
    """The service's own pages, such as the one behind the link in a message."""

    url: (
        Annotated[
            str, Field(min_length=1), Expect("an address https://HOST", "https://rime.example.com")
        ]
        | None
    ) = None
    """Address under which a phone reaches the pages; without it messages hold no link."""
    listen: Annotated[str, Field(min_length=1), Expect("an address and port", "127.0.0.1:8080")] = (
        "127.0.0.1:8080"
    )
    """Address and port the pages are served on. Default {}: this machine alone."""
    path: (
        Annotated[str, Field(min_length=1), Expect("a path below a proxy's root", "/rimewatch")]
        | None
    ) = None
    """Path below which a proxy serves the pages. Default: that of url; without one, the root."""


class WatchTable(Table):
    """How somebody outside learns that the watch itself is well."""

    heartbeat_url: (
        Annotated[str, Field(min_length=1), Expect("an address or reference", "env:RIMEWATCH_BEAT")]
        | None
    ) = None
    """Address called while all is well, or "env:NAME", "file:PATH". Secret. Default: none."""
    heartbeat_s: Annotated[Interval, Expect("seconds, more than 0", 60)] = 60.0
    """How often it is called, s. Default {}."""
    least_free_mb: Annotated[float, Field(ge=0, le=1e9), Expect("megabytes, 0 or more", 500)] = (
        500.0
    )
    """Free room on the journal's disk, MB, below which the summary tells of it. Default {}."""


class MirrorTable(Table):
    """A time series database that follows the journal, for charts of one's own."""

    url: Annotated[str, Expect("the address of a database", "http://127.0.0.1:8086")]
    """Address that takes InfluxDB 2 writes: http:// or https://, without user and password."""
    org: Annotated[Name, Expect("the organisation's name or id", "saltmarsh-row")]
    """Organisation in the database, its name or id."""
    bucket: Annotated[Name, Expect("the bucket's name", "rimewatch")]
    """Bucket that the points go to."""
    token: (
        Annotated[
            str, Expect('a reference "env:NAME" or "file:PATH"', "env:RIMEWATCH_MIRROR_TOKEN")
        ]
        | None
    ) = None
    """Where the token is kept: "env:NAME" or "file:PATH". Never the token itself."""
    shop: Annotated[Name, Expect("a short name of the shop", "saltmarsh-row")] | None = None
    """What the tag "shop" says of every point. Default: the shop's name. Keep it."""
    ca_file: Annotated[str, Field(min_length=1), Expect("a file's path", "ca.pem")] | None = None
    """Certificate authority that signed the database's certificate (PEM), for https://."""


class SpeciesTable(Table):
    """A fish the shop buys that the catalogue does not have."""

    common: Annotated[Name, Expect("a name of its own", "tilefish")]
    """What it is called when it is received."""
    scientific: Annotated[Name, Expect("its scientific name", "Caulolatilus chrysops")]
    """Its scientific name; for a form of a fish, the taxon and the form."""
    other_names: Annotated[
        list[Annotated[Name, Expect("a name", "amadai")]], Expect("a list of names", ["amadai"])
    ] = []
    """Other names it is sold under."""
    group: Annotated[Group, Word, word_of(Group, "finfish")]
    """What it counts as under FDA Food Code 2022, 3-402.11(B)."""
    forms_scombrotoxin: Annotated[bool, Expect("true or false", example=False)]
    """Whether it forms scombrotoxin (histamine); where that is not known: true."""
    use_by_ice_days: Annotated[float, Field(gt=0, le=100), DAYS_ON_ICE] | None = None
    """The shop's own limit of days on ice for it, d (quality). Default: the shop's."""


_A_YEAR: Final = ceil(365.25 * RECORD_YEARS_REFRIGERATED)
_TWO_YEARS: Final = ceil(365.25 * RECORD_YEARS_FROZEN)


class RecordsTable(Table):
    """How records are printed, and how long they and readings are kept."""

    paper: Annotated[Paper, Word, word_of(Paper, "letter")] = Paper.LETTER
    """Paper of summaries and records as PDF, "letter" or "a4". Default {}."""
    keep_chilled_days: Annotated[
        int, Field(ge=_A_YEAR, le=36_600), Expect(f"whole days, {_A_YEAR} or more", 731)
    ] = 731
    """Days that readings of cases and walk-ins are kept whole; 21 CFR 123.9(b) asks for a year."""
    keep_frozen_days: Annotated[
        int, Field(ge=_TWO_YEARS, le=36_600), Expect(f"whole days, {_TWO_YEARS} or more", 731)
    ] = _TWO_YEARS
    """Days that readings of freezers are kept whole; 21 CFR 123.9(b) asks for two years."""
    keep_days: Annotated[
        int,
        Field(ge=FREEZING_RECORD_DAYS, le=36_600),
        Expect(f"whole days, {FREEZING_RECORD_DAYS} or more", 90),
    ] = FREEZING_RECORD_DAYS
    """Days a lot's record is kept beyond its last sale, d; FDA Food Code 2022, 3-402.12: 90."""


class File(Table):
    """The whole file. Only for editors: reading goes table by table, to find every problem."""

    model_config = ConfigDict(title="rimewatch shop configuration")

    shop: ShopTable
    """The shop itself."""
    broker: BrokerTable = BrokerTable()
    """Where the probes publish."""
    unit: Annotated[list[UnitTable], Field(min_length=1)]
    """Display cases, walk-in coolers and freezers; one [[unit]] each."""
    probe: list[ProbeTable] = []
    """Sensors; one [[probe]] each."""
    contact: list[ContactTable] = []
    """People and devices that can be told; one [[contact]] each."""
    night: NightTable | None = None
    """The hours in which only some priorities may sound. Default: no night."""
    escalation: list[EscalationTable] = []
    """Whom to tell when. Default: every contact at once, again every 900 s."""
    priorities: PrioritiesTable = PrioritiesTable()
    """The shop's own priorities, rule by rule."""
    records: RecordsTable = RecordsTable()
    """How records are printed, and how long they and readings are kept."""
    species: list[SpeciesTable] = []
    """The shop's own fish, beside the catalogue's; one [[species]] each."""
    rota: list[RotaTable] = []
    """Who is on call when; one [[rota]] for each shift."""
    at_stake: AtStakeTable = AtStakeTable()
    """From when on what a unit holds makes a lesser alarm more urgent. Default: never."""
    messages: MessagesTable = MessagesTable()
    """In which words alarms are told."""
    web: WebTable | None = None
    """The service's own pages. Default: none."""
    watch: WatchTable = WatchTable()
    """How somebody outside learns that the watch itself is well."""
    mirror: MirrorTable | None = None
    """A time series database that follows the journal. Default: none."""
