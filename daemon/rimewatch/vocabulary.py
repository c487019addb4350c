"""The closed sets of words that the whole service shares.

Every word is the trade's or a standard's: HACCP, the FDA Food Code, IEC 62682.
Pure: values only.
"""

from enum import StrEnum
from typing import Final, NewType

ProbeId = NewType("ProbeId", str)
UnitId = NewType("UnitId", str)
LotId = NewType("LotId", str)
ContactId = NewType("ContactId", str)


MS_PER_S: Final = 1000
MS_PER_MINUTE: Final = 60_000
MS_PER_H: Final = 3_600_000
MS_PER_DAY: Final = 86_400_000


class Kind(StrEnum):
    """What a unit is."""

    DISPLAY_CASE = "display-case"
    WALK_IN = "walk-in"
    FREEZER = "freezer"
    ULTRA_LOW_FREEZER = "ultra-low-freezer"

    @property
    def is_freezer(self) -> bool:
        """Whether the unit keeps things frozen (rule ``freezer`` instead of ``holding``)."""
        return self in (Kind.FREEZER, Kind.ULTRA_LOW_FREEZER)


class Measures(StrEnum):
    """What a probe measures."""

    AIR = "air"
    PRODUCT = "product"
    DOOR = "door"
    HUMIDITY = "humidity"
    WATER = "water"

    @property
    def is_temperature(self) -> bool:
        """Whether its readings are degrees Celsius."""
        return self in (Measures.AIR, Measures.PRODUCT)

    @property
    def is_contact(self) -> bool:
        """Whether its readings are 1 (open, wet) or 0 (shut, dry)."""
        return self in (Measures.DOOR, Measures.WATER)


class Rule(StrEnum):
    """What can be found wrong, by the contract's names."""

    HOLDING = "holding"
    OPERATING_LIMIT = "operating-limit"
    FREEZER = "freezer"
    HOLD_AT_RISK = "hold-at-risk"
    DOOR = "door"
    STALE = "stale"
    BATTERY = "battery"
    STUCK = "stuck"
    IMPLAUSIBLE = "implausible"
    WATER = "water"
    COOLING = "cooling"
    PROJECTION = "projection"
    POWER_LOSS = "power-loss"
    HUMIDITY = "humidity"


class Priority(StrEnum):
    """How urgent an alarm is (IEC 62682 calls for few priorities; three serve)."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class Cause(StrEnum):
    """Why a temperature went beyond its limit, as far as the evidence tells."""

    DOOR = "door"
    DEFROST = "defrost"
    LOADING = "loading"
    COOLING_FAILURE = "cooling-failure"
    POWER_LOSS = "power-loss"
    PROBE_FAULT = "probe-fault"
    UNKNOWN = "unknown"


class Option(StrEnum):
    """A freezing option for parasite destruction."""

    F20C_168H = "20C-168h"
    F35C_15H = "35C-15h"
    F35C_THEN_20C_24H = "35C-then-20C-24h"
    F20C_24H = "20C-24h"


class Code(StrEnum):
    """The law or guidance by which a shop proves that parasites are destroyed."""

    US_FOOD_CODE_2022 = "us-food-code-2022"
    """FDA Food Code 2022, 3-402.11."""
    EU_853_2004 = "eu-853-2004"
    """Regulation (EC) 853/2004, Annex III, Section VIII, Chapter III, D."""
    JP_MHLW = "jp-mhlw"
    """The guidance of Japan's Ministry of Health, Labour and Welfare on Anisakis."""


class Origin(StrEnum):
    """Where a fish comes from, as far as parasites are concerned."""

    WILD = "wild"
    FARMED_PELLET = "farmed-pellet"
    FARMED_OTHER = "farmed-other"


class States(StrEnum):
    """What a supplier's written statement states."""

    FREEZING = "freezing"
    """The fish was frozen to a temperature and for a time of the code (Food Code 3-402.12(B))."""
    FEED = "feed"
    """How farmed fish was raised and fed (Food Code 3-402.12(C))."""


class Disposition(StrEnum):
    """What became of the fish that a corrective action was about (HACCP's word)."""

    KEPT = "kept"
    USED_COOKED = "used-cooked"
    DISCARDED = "discarded"
    OTHER = "other"


class Paper(StrEnum):
    """The paper that records are printed on (ASME Y14.1, ISO 216)."""

    LETTER = "letter"
    A4 = "a4"


class CoolingFood(StrEnum):
    """What is cooled down, by the paragraph whose times hold for it."""

    COOKED = "cooked"
    """Cooked food: FDA Food Code 2022, 3-501.14(A)."""
    AMBIENT = "ambient"
    """Made from ingredients at room temperature: 3-501.14(B)."""


class About(StrEnum):
    """What a message to a contact is about."""

    RAISED = "raised"
    REPEAT = "repeat"
    ESCALATED = "escalated"
    RETURNED = "returned"
    SUMMARY = "summary"


class Unread(StrEnum):
    """Why messages that arrive on a silent probe's topic give no reading of it."""

    FORMAT = "format"
    """They cannot be read in its format."""
    ABSENT = "absent"
    """They have no value of it."""
    DISBELIEVED = "disbelieved"
    """They have one that is not believed."""
    BIRTH = "birth"
    """They name their values by numbers, and the birth that tells the names did not come."""


class TrueMeans(StrEnum):
    """What a contact's 1, ``true`` and ``on`` stand for."""

    OPEN = "open"
    SHUT = "shut"
    WET = "wet"
    DRY = "dry"

    @property
    def is_one(self) -> bool:
        """Whether it is kept as 1: open, wet."""
        return self in (TrueMeans.OPEN, TrueMeans.WET)


class Standing(StrEnum):
    """What may be said of a lot, by the contract's words, the best first."""

    PROVEN = "proven"
    DOUBT = "doubt"
    UNPROVEN = "unproven"
    AGAINST = "against"


class Scale(StrEnum):
    """A temperature scale, for what a probe sends and for what people read."""

    CELSIUS = "C"
    FAHRENHEIT = "F"
    KELVIN = "K"
    """Sent by probes; people read one of the two above."""
    OHM = "ohm"
    """The resistance of a Pt100 (IEC 60751); likewise."""
