"""Which settings a page asks for, in the shop's words; and which it does not, and why.

What a key may hold is declared once, in ``rimewatch.config.tables``; here stands how people read
and type it. A test holds the two together: a key that is in neither list fails it. Pure.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final
from zoneinfo import available_timezones

from rimewatch.alarms.priority import USUAL_PRIORITY
from rimewatch.config.tables import DAYS
from rimewatch.lots.species import Group
from rimewatch.vocabulary import Code, Measures, Rule
from rimewatch.web.setting_kinds import (
    Choice,
    Clock,
    Day,
    Degrees,
    Difference,
    Kind,
    Lines,
    Number,
    One,
    Secret,
    Some,
    Text,
    Window,
    YesNo,
)

Tables = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One setting on a page."""

    key: str
    """Its key within its table; ``fields.value`` for one in a table within."""
    label: str
    kind: Kind
    help: str = ""
    usual: str = ""
    """What an empty field means; empty: it has to be filled in. ``{}``: ``usual_value``."""
    usual_value: float | None = None
    """As the file has it; shown in the shop's scale."""
    is_more: bool = False
    """Whether it is for those who look for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What one page is about: a table of the file, or one of several."""

    table: str
    title: str
    """Of the page of one table; of the list, where there are several."""
    one: str
    """What one of several is called, such as ``unit``."""
    what: str
    """What it is for, a sentence."""
    fields: tuple[Field, ...]
    is_many: bool = False
    named_by: str = ""
    """The key that names one of several; empty: they go by their place."""
    is_rare: bool = False
    """Whether it is changed once, if ever."""
    gone: str = ""
    """What taking one away means, a sentence."""

    def field(self, key: str) -> Field | None:
        """Return the field of a key; None: the page has none."""
        return next((field for field in self.fields if field.key == key), None)


def fixed(*choices: Choice) -> Callable[[Tables], Sequence[Choice]]:
    """Return options that are always the same."""
    return lambda _: choices


def _units(tables: Tables) -> list[Choice]:
    return [(u["id"], u.get("name", u["id"])) for u in tables.get("unit", ()) if "id" in u]


def _contacts(tables: Tables) -> list[Choice]:
    return [(c["id"], c.get("name", c["id"])) for c in tables.get("contact", ()) if "id" in c]


def _told(tables: Tables) -> list[Choice]:
    rotas = dict.fromkeys(r["id"] for r in tables.get("rota", ()) if "id" in r)
    return [*_contacts(tables), *((rota, f"whoever is on call ({rota})") for rota in rotas)]


def _zones(_: Tables) -> list[Choice]:
    return [
        (zone, zone.replace("_", " "))
        for zone in sorted(available_timezones())
        if "/" in zone and not zone.startswith(("Etc/", "posix/", "right/", "SystemV/"))
    ] + [("UTC", "UTC")]


_PRIORITIES: Final = fixed(
    ("high", "high: may ring at night"), ("medium", "medium"), ("low", "low: in the morning")
)
_DAY_NAMES: Final = {
    "mon": "Monday",
    "tue": "Tuesday",
    "wed": "Wednesday",
    "thu": "Thursday",
    "fri": "Friday",
    "sat": "Saturday",
    "sun": "Sunday",
    "holiday": "Holidays",
}
_MEASURES: Final = {
    Measures.AIR: "the air",
    Measures.PRODUCT: "the fish itself (a probe in it)",
    Measures.DOOR: "whether a door is open",
    Measures.HUMIDITY: "humidity",
    Measures.WATER: "water where none should be",
}
_CODES: Final = {
    Code.US_FOOD_CODE_2022: "United States: FDA Food Code 2022",
    Code.EU_853_2004: "European Union: Regulation 853/2004",
    Code.JP_MHLW: "Japan: guidance of the ministry of health",
}
_RULES: Final = {
    Rule.HOLDING: "Fish above its limit",
    Rule.OPERATING_LIMIT: "Fish above its early line",
    Rule.FREEZER: "A freezer above its limit",
    Rule.HOLD_AT_RISK: "A freezing hold interrupted",
    Rule.DOOR: "A door left open",
    Rule.STALE: "A silent probe",
    Rule.BATTERY: "A low battery",
    Rule.STUCK: "A probe whose value never moves",
    Rule.IMPLAUSIBLE: "Values nobody can believe",
    Rule.WATER: "Water where none should be",
    Rule.COOLING: "Fish cooling too slowly",
    Rule.PROJECTION: "A limit that will soon be passed",
    Rule.POWER_LOSS: "Power lost on several units",
    Rule.HUMIDITY: "Air that stays too damp",
}
_MINUTES: Final = 60.0
_MORE: Final = True

SHOP: Final = Subject(
    table="shop",
    title="The shop",
    one="shop",
    what="Its name, its clock, the scale people read, and whose rules prove a freezing.",
    fields=(
        Field(key="name", label="Name", kind=Text(), help="Stands on summaries and records."),
        Field(
            key="display",
            label="Scale that people read",
            kind=One(fixed(("F", "°F, Fahrenheit"), ("C", "°C, Celsius"))),
            usual="°C",
            help="Pages, messages and records show it, and limits are typed in it.",
        ),
        Field(
            key="summary_at",
            label="Morning summary at",
            kind=Clock(),
            usual="06:30",
            help="It comes every morning, good night or bad. If it does not, look.",
        ),
        Field(
            key="timezone",
            label="Time zone",
            kind=One(_zones),
            help="Night, defrosts and the summary follow its clock.",
        ),
        Field(
            key="holidays",
            label="Holidays",
            kind=Lines(Day()),
            usual="none",
            help="A date a line, such as 2026-12-25. Then the holiday shifts are on call.",
        ),
        Field(
            key="code",
            label="Food code",
            kind=One(fixed(*((str(code), words) for code, words in _CODES.items()))),
            usual="United States: FDA Food Code 2022",
            help="Which freezing counts as proof that parasites are destroyed. Another code may "
            "leave lots unproven. Local codes and the licensed authority come first.",
        ),
        Field(
            key="acknowledged_for_h",
            label="An alarm that was seen rings again after",
            kind=Number("hours", 4),
            usual="4",
            help="If it is still so then, and nobody promised a time.",
            is_more=_MORE,
        ),
        Field(
            key="use_by_ice_days",
            label="The shop’s own limit on ice",
            kind=Number("days", 10),
            usual="none",
            help="A matter of quality, not of safety.",
            is_more=_MORE,
        ),
    ),
)
NIGHT: Final = Subject(
    table="night",
    title="Night",
    one="night",
    what="The hours in which a phone rings only for what cannot wait until the morning.",
    gone="Without a night every alarm may ring at any hour.",
    fields=(
        Field(key="from", label="Begins", kind=Clock(), help="By the shop’s clock, such as 21:00."),
        Field(key="to", label="Ends", kind=Clock(), help="May be on the next day, such as 06:00."),
        Field(
            key="wake_for",
            label="May ring in it",
            kind=Some(_PRIORITIES),
            usual="high",
            help="The rest waits for the morning’s summary.",
        ),
    ),
)
MESSAGES: Final = Subject(
    table="messages",
    title="Language",
    one="language",
    what="In which language alarms are told.",
    fields=(
        Field(
            key="language",
            label="Language of messages",
            kind=One(fixed(("en", "English"), ("es", "español"))),
            usual="English",
        ),
    ),
)
UNIT: Final = Subject(
    table="unit",
    title="Units and limits",
    one="unit",
    what="Display cases, coolers and freezers, and how cold each has to be.",
    is_many=True,
    named_by="id",
    gone="It is watched no longer. What was recorded stays. Its probes have to go or move first.",
    fields=(
        Field(key="name", label="Name", kind=Text(), help="What people call it."),
        Field(
            key="kind",
            label="What it is",
            kind=One(
                fixed(
                    ("display-case", "display case"),
                    ("walk-in", "walk-in cooler"),
                    ("freezer", "freezer"),
                    ("ultra-low-freezer", "ultra-low freezer"),
                )
            ),
            help="Decides the usual limit, and whether it keeps things frozen.",
        ),
        Field(
            key="limit_c",
            label="Limit",
            kind=Degrees(5.0),
            usual="the usual one of its kind",
            help="Fish above it is at risk. A looser limit than the code’s needs a reason.",
        ),
        Field(
            key="laxer_because",
            label="Reason for a looser limit",
            kind=Text(),
            usual="none; the code’s limit holds",
            help="Who granted it and when, such as: variance 12-345 of the county, 2026-01-15. "
            "It stands beside the limit on the pages and on records from then on.",
        ),
        Field(
            key="operating_limit_c",
            label="Early line",
            kind=Degrees(3.3),
            usual="none",
            help="Below the limit: above this line somebody is told while there is time.",
        ),
        Field(
            key="on_delay_s",
            label="Told after",
            kind=Number("minutes over the limit", 15, each=_MINUTES),
            usual="15",
        ),
        Field(
            key="lag_s",
            label="Fish follows the air within",
            kind=Number("minutes", 20, each=_MINUTES),
            usual="20",
            help="How slowly fish warms behind an air probe; 0: judge the air itself. A longer "
            "time hides more: it changes what is judged from now on, never what was.",
        ),
        Field(
            key="defrost",
            label="Defrosts",
            kind=Lines(Window()),
            usual="none known",
            help="A line each, by the shop’s clock, such as 02:00 for 25m.",
        ),
        Field(
            key="deadband_c",
            label="Good again below the limit by",
            kind=Difference(0.5),
            usual="{}",
            usual_value=0.5,
            help="So that an alarm does not come and go at the line.",
            is_more=_MORE,
        ),
        Field(
            key="door_open_s",
            label="Its door may stand open for",
            kind=Number("minutes", 5, each=_MINUTES),
            usual="5",
            is_more=_MORE,
        ),
    ),
)
PROBE: Final = Subject(
    table="probe",
    title="Probes",
    one="probe",
    what="What measures, where it hangs, and how its messages are read.",
    is_many=True,
    named_by="id",
    gone="It is heard no longer, and its unit may be without a thermometer. What it measured "
    "stays on the record.",
    fields=(
        Field(
            key="unit",
            label="Hangs in",
            kind=One(_units),
            help="From now on. What it measured before stays where it was.",
        ),
        Field(
            key="measures",
            label="Measures",
            kind=One(fixed(*((str(m), words) for m, words in _MEASURES.items()))),
            help="A probe in the fish speaks for the fish, where there is one.",
        ),
        Field(
            key="offset_c",
            label="Correction",
            kind=Difference(-0.3),
            usual="0",
            help="Added to what it sends. The ice check finds it: better made there.",
        ),
        Field(
            key="uncertainty_c",
            label="Uncertainty",
            kind=Difference(0.3),
            usual="{}",
            usual_value=0.3,
            help="From its certificate. It counts against the fish in a freezing hold.",
        ),
        Field(
            key="every_s",
            label="Sends every",
            kind=Number("seconds", 60),
            usual="60; a door or water contact: whenever it moves",
        ),
        Field(
            key="stale_s",
            label="Counts as silent after",
            kind=Number("seconds", 180),
            usual="three times that",
            help="Time in which nothing is heard is never credited to a hold.",
        ),
        Field(
            key="check_every_days",
            label="To be checked in ice every",
            kind=Number("days", 180),
            usual="180",
        ),
        Field(key="topic", label="Topic", kind=Text(), help="Where it publishes.", is_more=_MORE),
        Field(
            key="format",
            label="Its messages are",
            kind=One(
                fixed(
                    ("number", "a number alone"),
                    ("json", "JSON"),
                    ("senml", "SenML"),
                    ("sparkplug", "Sparkplug"),
                )
            ),
            usual="JSON where a place for the value is given, else a number",
            is_more=_MORE,
        ),
        Field(
            key="fields.value",
            label="Where the value stands",
            kind=Text(),
            usual="value",
            is_more=_MORE,
        ),
        Field(
            key="fields.time",
            label="Where the time stands",
            kind=Text(),
            usual="nowhere; the time it arrives counts",
            is_more=_MORE,
        ),
        Field(
            key="fields.battery",
            label="Where the battery stands",
            kind=Text(),
            usual="nowhere",
            is_more=_MORE,
        ),
        Field(
            key="fields.unit",
            label="Where the degrees’ name stands",
            kind=Text(),
            usual="nowhere",
            is_more=_MORE,
        ),
        Field(
            key="scale",
            label="Sends",
            kind=One(
                fixed(("C", "°C"), ("F", "°F"), ("K", "kelvin"), ("ohm", "the ohms of a Pt100"))
            ),
            usual="°C",
            is_more=_MORE,
        ),
        Field(
            key="true_means",
            label="Its 1 or true means",
            kind=One(fixed(("open", "open"), ("shut", "shut"), ("wet", "wet"), ("dry", "dry"))),
            usual="open, or wet",
            is_more=_MORE,
        ),
        Field(
            key="time_zone",
            label="Zone of its times, if they name none",
            kind=One(_zones),
            usual="such a time is not used",
            is_more=_MORE,
        ),
        Field(
            key="slope",
            label="Factor",
            kind=Number("", 1.0),
            usual="1",
            help="For what it sends, once in °C.",
            is_more=_MORE,
        ),
        Field(
            key="plausible_c",
            label="Believed from and to",
            kind=Lines(Degrees(-40.0)),
            usual="all that could be in a shop",
            help="Lowest and highest, a line each.",
            is_more=_MORE,
        ),
        Field(
            key="battery_low",
            label="Battery is low at",
            kind=Number("as it sends it", 2.6),
            usual="15 %, 2.4 V or 2400 mV",
            is_more=_MORE,
        ),
        Field(
            key="humidity_high_percent",
            label="Too damp above",
            kind=Number("percent", 85),
            usual="nobody asks",
            is_more=_MORE,
        ),
    ),
)
CONTACT: Final = Subject(
    table="contact",
    title="Contacts",
    one="contact",
    what="Whose phone rings, and by which way.",
    is_many=True,
    named_by="id",
    gone="Nobody is told by it any more. Whoever is to be told and the shifts must not name it.",
    fields=(
        Field(key="name", label="Name", kind=Text(), help="Who or what it is."),
        Field(
            key="urls",
            label="Addresses",
            kind=Secret(is_list=True),
            help="A line each; written, and never shown again. Empty: they stay as they are. "
            "What the address of a service looks like stands in its own instructions.",
        ),
    ),
)
ESCALATION: Final = Subject(
    table="escalation",
    title="Whom to tell, and when",
    one="step",
    what="Who is told at once, and who after that, as long as nobody has acknowledged.",
    is_many=True,
    gone="Those in it are told at this time no longer.",
    fields=(
        Field(
            key="after_s",
            label="After the alarm began",
            kind=Number("minutes", 0, each=_MINUTES),
            help="0: at once. Each step is later than the one before.",
        ),
        Field(key="contacts", label="Tell", kind=Some(_told)),
        Field(
            key="repeat_s",
            label="Again every",
            kind=Number("minutes", 15, each=_MINUTES),
            usual="only once",
            help="Until somebody acknowledges.",
        ),
    ),
)
ROTA: Final = Subject(
    table="rota",
    title="On call",
    one="shift",
    what="Who is on call on which days, from when to when, and on holidays. Begin with one shift "
    "for every day; then add others, and shorten it.",
    is_many=True,
    gone="Somebody has to be on call at every hour: what is left is checked.",
    fields=(
        Field(
            key="id",
            label="Rota",
            kind=Text(),
            help="One name for all its shifts, such as on-call; a step tells it as it tells "
            "a person.",
        ),
        Field(
            key="days",
            label="Days on which it begins",
            kind=Some(fixed(*((day, _DAY_NAMES[day]) for day in DAYS))),
            usual="every weekday",
        ),
        Field(key="from", label="From", kind=Clock(), usual="00:00"),
        Field(
            key="to",
            label="To",
            kind=Clock(),
            usual="00:00",
            help="Not after the beginning: on the next day.",
        ),
        Field(key="contacts", label="On call then", kind=Some(_contacts)),
    ),
)
PRIORITIES: Final = Subject(
    table="priorities",
    is_rare=True,
    title="How urgent each alarm is",
    one="priority",
    what="Where the shop wants it otherwise than usual.",
    fields=tuple(
        Field(
            key=str(rule),
            label=_RULES[rule],
            kind=One(_PRIORITIES),
            usual=f"{USUAL_PRIORITY[rule]}",
        )
        for rule in Rule
    ),
)
AT_STAKE: Final = Subject(
    table="at_stake",
    is_rare=True,
    title="When much is at stake",
    one="at stake",
    what="From when on what a unit holds makes a lesser alarm more urgent.",
    fields=(
        Field(key="kilograms", label="Fish in it", kind=Number("kg", 50), usual="never"),
        Field(key="hold_h", label="A hold that has run", kind=Number("hours", 120), usual="never"),
    ),
)
RECORDS: Final = Subject(
    table="records",
    is_rare=True,
    title="Records",
    one="record",
    what="Their paper, and how long they are kept.",
    fields=(
        Field(
            key="paper",
            label="Paper",
            kind=One(fixed(("letter", "letter"), ("a4", "A4"))),
            usual="letter",
        ),
        Field(
            key="keep_chilled_days",
            label="Keep readings of cases and coolers",
            kind=Number("days", 731, is_whole=True),
            usual="731",
            help="A year at least (21 CFR 123.9(b)).",
        ),
        Field(
            key="keep_frozen_days",
            label="Keep readings of freezers",
            kind=Number("days", 731, is_whole=True),
            usual="731",
            help="Two years at least (21 CFR 123.9(b)).",
        ),
        Field(
            key="keep_days",
            label="Keep a lot’s record beyond its last sale",
            kind=Number("days", 90, is_whole=True),
            usual="90",
            help="90 at least (FDA Food Code 2022, 3-402.12).",
        ),
    ),
)
SPECIES: Final = Subject(
    table="species",
    is_rare=True,
    title="Fish of your own",
    one="fish",
    what="Fish you buy that the catalogue does not have.",
    is_many=True,
    named_by="common",
    gone="Lots of it count as of an unknown species, which needs destruction.",
    fields=(
        Field(key="common", label="Name", kind=Text(), help="What it is called at receipt."),
        Field(key="scientific", label="Scientific name", kind=Text()),
        Field(
            key="other_names",
            label="Other names",
            kind=Lines(),
            usual="none",
            help="A line each.",
        ),
        Field(
            key="group",
            label="Counts as",
            kind=One(fixed(*((str(group), str(group).replace("-", " ")) for group in Group))),
            help="Under the section on parasite destruction.",
        ),
        Field(
            key="forms_scombrotoxin",
            label="Forms scombrotoxin (histamine)",
            kind=YesNo(),
            help="Not known: yes.",
        ),
        Field(
            key="use_by_ice_days",
            label="Limit on ice",
            kind=Number("days", 10),
            usual="the shop’s",
            help="A matter of quality, not of safety.",
        ),
    ),
)
WATCH: Final = Subject(
    table="watch",
    is_rare=True,
    title="The watch itself",
    one="watch",
    what="How somebody outside learns that the watch has died.",
    fields=(
        Field(
            key="heartbeat_url",
            label="Address called while all is well",
            kind=Secret(),
            usual="none",
            help="Written, and never shown again. Empty: it stays as it is.",
        ),
        Field(key="heartbeat_s", label="Called every", kind=Number("seconds", 60), usual="60"),
        Field(
            key="least_free_mb",
            label="Told when the disk has less room than",
            kind=Number("MB", 500),
            usual="500",
        ),
    ),
)

SUBJECTS: Final = (
    UNIT,
    PROBE,
    CONTACT,
    ESCALATION,
    ROTA,
    NIGHT,
    SHOP,
    MESSAGES,
    PRIORITIES,
    AT_STAKE,
    RECORDS,
    SPECIES,
    WATCH,
)
"""In the order of the menu: what is changed most, first."""

_A_CERTIFICATE: Final = "a file on the machine, put there by whoever keeps the machine"
_A_BROKER: Final = (
    "a wrong one makes every probe silent at once, and needs what stands in the broker's own file"
)
_AN_ADDRESS: Final = "a wrong one takes away the page it would be put right on"
NOT_ON_A_PAGE: Final[Mapping[str, str]] = {
    "unit.id": "records go by it: made of the name once, and kept",
    "probe.id": "records go by it: made once, and kept",
    "contact.id": "steps and shifts go by it: made of the name once, and kept",
    "probe.match": "which of several probes on one topic it is: taken over from what is heard",
    "messages.folder": _A_CERTIFICATE,
    **{
        f"broker.{key}": _A_BROKER
        for key in ("url", "client_id", "username", "password", "entries", "sparkplug_host")
    },
    **{f"broker.{key}": _A_CERTIFICATE for key in ("ca_file", "cert_file", "key_file")},
    **{f"web.{key}": _AN_ADDRESS for key in ("url", "listen", "path")},
    **{
        f"mirror.{key}": "belongs to a database that whoever keeps the machine runs"
        for key in ("url", "org", "bucket", "token", "shop", "ca_file")
    },
}
"""Keys that no page asks for, and why."""


def subject_of(table: str) -> Subject | None:
    """Return what the page of a table is about; None: there is no such page."""
    return next((subject for subject in SUBJECTS if subject.table == table), None)
