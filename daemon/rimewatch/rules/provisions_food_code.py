"""The FDA Food Code's limits that the shop's cold depends on, 2022 edition.

Pure values. The state's or the city's own code and the inspector come first; several
adopt an older edition or add rows of their own. Where only a state's mirror of the
text could be read, the number still counts as read.

References:
    [1] FDA Food Code 2022, with the Supplement of 4 November 2024, whose highlights
        list no change to a number below.
"""

from typing import Final

from rimewatch.rules.provision import FOOD_CODE, FOOD_CODE_EDITION, Source
from rimewatch.science.scales import celsius_of_fahrenheit

# 3-202.11 and 3-501.16: receiving and holding.
RECEIVING_LIMIT_C: Final = 5.0
RECEIVING_SHELLFISH_LIMIT_C: Final = celsius_of_fahrenheit(50.0)
COLD_HOLDING_LIMIT_C: Final = 5.0

# 3-402.11(A): parasite destruction. The temperatures are the freezer's.
FREEZE_STORAGE_C: Final = -20.0
FREEZE_STORAGE_H: Final = 168.0
FREEZE_SOLID_C: Final = -35.0
FREEZE_SOLID_H: Final = 15.0
FREEZE_SOLID_THEN_STORAGE_C: Final = -20.0
FREEZE_SOLID_THEN_STORAGE_H: Final = 24.0

EXEMPT_TUNA_SPECIES: Final = (
    "Thunnus alalunga",
    "Thunnus albacares",
    "Thunnus atlanticus",
    "Thunnus maccoyii",
    "Thunnus obesus",
    "Thunnus thynnus",
)
"""3-402.11(B)(3), by name. Not on it, so not exempt: T. orientalis (Pacific bluefin),
T. tonggol, Katsuwonus pelamis (skipjack), Euthynnus."""

# 3-402.12: records.
FREEZING_RECORD_DAYS: Final = 90

# 3-501.12 and .13: slacking and thawing.
THAWING_LIMIT_C: Final = 5.0

# 3-501.14: cooling.
COOLING_START_C: Final = 57.0
COOLING_FIRST_C: Final = 21.0
COOLING_FIRST_H: Final = 2.0
COOLING_FINAL_C: Final = 5.0
COOLING_TOTAL_H: Final = 6.0
COOLING_AMBIENT_H: Final = 4.0
COOLING_RECEIVED_WARM_H: Final = 4.0

# 3-501.19: time as a public health control.
TIME_CONTROL_START_C: Final = 5.0
TIME_CONTROL_4H_H: Final = 4.0
TIME_CONTROL_6H_H: Final = 6.0
TIME_CONTROL_6H_CEILING_C: Final = 21.0

# 3-502.12: reduced oxygen packaging.
ROP_FISH_HOURS_H: Final = 48.0

# 4-203.11 and .12: accuracy of thermometers.
FOOD_THERMOMETER_ACCURACY_C: Final = 1.0
AIR_THERMOMETER_ACCURACY_C: Final = 1.5


_FOOD_CODE: Final = Source(document=FOOD_CODE, edition=FOOD_CODE_EDITION)

_SHELLFISH: Final = Source(
    document="25-B DCMR, after the National Shellfish Sanitation Program", edition="2017"
)

FOOD_CODE_PROVISIONS: Final = (
    _FOOD_CODE.row(
        "receiving-cold",
        RECEIVING_LIMIT_C,
        "°C",
        "3-202.11(A)",
        "Refrigerated food is received at 5 °C (41 °F) or below.",
        "receiving",
    ),
    _SHELLFISH.row(
        "receiving-shellfish",
        RECEIVING_SHELLFISH_LIMIT_C,
        "°C",
        "2600.1(b)",
        "Live molluscan shellfish is received at 10 °C (50 °F) inside or below: such a law is what "
        "the Food Code allows for it, 3-202.11(B). Another state may draw another line.",
        "receiving",
    ),
    _FOOD_CODE.row(
        "freeze-storage-temperature",
        FREEZE_STORAGE_C,
        "°C",
        "3-402.11(A)(1)",
        "Frozen and stored at −20 °C (−4 °F) or below.",
        "parasite destruction",
        "hold-at-risk",
    ),
    _FOOD_CODE.row(
        "freeze-storage-time",
        FREEZE_STORAGE_H,
        "h",
        "3-402.11(A)(1)",
        "For at least 168 h (7 days) in a freezer.",
        "parasite destruction",
    ),
    _FOOD_CODE.row(
        "freeze-solid-temperature",
        FREEZE_SOLID_C,
        "°C",
        "3-402.11(A)(2),(3)",
        "Frozen at −35 °C (−31 °F) or below until solid.",
        "parasite destruction",
        "hold-at-risk",
    ),
    _FOOD_CODE.row(
        "freeze-solid-time",
        FREEZE_SOLID_H,
        "h",
        "3-402.11(A)(2)",
        "Then stored at −35 °C (−31 °F) or below for at least 15 h; the count starts when solid.",
        "parasite destruction",
    ),
    _FOOD_CODE.row(
        "freeze-solid-then-storage-temperature",
        FREEZE_SOLID_THEN_STORAGE_C,
        "°C",
        "3-402.11(A)(3)",
        "Frozen solid at −35 °C, then stored at −20 °C (−4 °F) or below.",
        "parasite destruction",
        "hold-at-risk",
    ),
    _FOOD_CODE.row(
        "freeze-solid-then-storage-time",
        FREEZE_SOLID_THEN_STORAGE_H,
        "h",
        "3-402.11(A)(3)",
        "For at least 24 h; the count starts when solid.",
        "parasite destruction",
    ),
    _FOOD_CODE.row(
        "exempt-tuna",
        EXEMPT_TUNA_SPECIES,
        "names",
        "3-402.11(B)(3)",
        "Tuna of these species need no freezing; a species not listed is not exempt.",
        "parasite destruction",
    ),
    _FOOD_CODE.row(
        "exempt-other",
        (
            "molluscan shellfish",
            "scallop, shucked adductor muscle only",
            "aquacultured fish on formulated feed without live parasites",
            "fish eggs removed from the skein and rinsed",
        ),
        "names",
        "3-402.11(B)(1),(2),(4),(5)",
        "Other food that needs no freezing; farmed fish only with the feed statement on file.",
        "parasite destruction",
    ),
    _FOOD_CODE.row(
        "freezing-record-retention",
        float(FREEZING_RECORD_DAYS),
        "d",
        "3-402.12(A)",
        "Freezing temperature and time are recorded and kept 90 calendar days beyond the "
        "time of service or sale, so from the last sale of the lot.",
        "records",
    ),
    _FOOD_CODE.row(
        "supplier-freezing-statement",
        ("written agreement or statement of the supplier",),
        "names",
        "3-402.12(B)",
        "Fish frozen by the supplier: a written agreement or statement that temperature and "
        "time met 3-402.11 may replace the shop's own record.",
        "records",
        confidence="from memory",
    ),
    _FOOD_CODE.row(
        "feed-statement-retention",
        float(FREEZING_RECORD_DAYS),
        "d",
        "3-402.12(C)",
        "The written statement on raising and feed of farmed fish is kept 90 calendar days "
        "beyond service or sale.",
        "records",
        confidence="from memory",
    ),
    _FOOD_CODE.row(
        "thawing",
        THAWING_LIMIT_C,
        "°C",
        "3-501.13(A)",
        "Thawing under refrigeration keeps food at 5 °C (41 °F) or below.",
        "thawing",
    ),
    _FOOD_CODE.row(
        "cooling-start",
        COOLING_START_C,
        "°C",
        "3-501.14(A)",
        "Cooling of cooked food counts from 57 °C (135 °F).",
        "cooling",
    ),
    _FOOD_CODE.row(
        "cooling-first-temperature",
        COOLING_FIRST_C,
        "°C",
        "3-501.14(A)(1)",
        "To 21 °C (70 °F).",
        "cooling",
    ),
    _FOOD_CODE.row(
        "cooling-first-time", COOLING_FIRST_H, "h", "3-501.14(A)(1)", "Within 2 h.", "cooling"
    ),
    _FOOD_CODE.row(
        "cooling-final-temperature",
        COOLING_FINAL_C,
        "°C",
        "3-501.14(A)(2)",
        "To 5 °C (41 °F).",
        "cooling",
    ),
    _FOOD_CODE.row(
        "cooling-total-time",
        COOLING_TOTAL_H,
        "h",
        "3-501.14(A)(2)",
        "Within a total of 6 h from 57 °C.",
        "cooling",
    ),
    _FOOD_CODE.row(
        "cooling-ambient-time",
        COOLING_AMBIENT_H,
        "h",
        "3-501.14(B)",
        "Food made from ingredients at ambient temperature: 5 °C or below within 4 h.",
        "cooling",
    ),
    _FOOD_CODE.row(
        "cooling-received-warm-time",
        COOLING_RECEIVED_WARM_H,
        "h",
        "3-501.14(C)",
        "Food lawfully received above 5 °C: 5 °C or below within 4 h.",
        "cooling",
    ),
    _FOOD_CODE.row(
        "cold-holding",
        COLD_HOLDING_LIMIT_C,
        "°C",
        "3-501.16(A)(2)",
        "Food is held cold at 5 °C (41 °F) or below.",
        "holding",
    ),
    _FOOD_CODE.row(
        "time-control-start",
        TIME_CONTROL_START_C,
        "°C",
        "3-501.19(B),(C)",
        "Time as a public health control starts from food at 5 °C (41 °F) or below.",
        "time as a public health control",
    ),
    _FOOD_CODE.row(
        "time-control-4h",
        TIME_CONTROL_4H_H,
        "h",
        "3-501.19(B)",
        "Served, cooked or discarded within 4 h of leaving temperature control.",
        "time as a public health control",
    ),
    _FOOD_CODE.row(
        "time-control-6h",
        TIME_CONTROL_6H_H,
        "h",
        "3-501.19(C)",
        "Or within 6 h, the warmest portion monitored.",
        "time as a public health control",
    ),
    _FOOD_CODE.row(
        "time-control-6h-ceiling",
        TIME_CONTROL_6H_CEILING_C,
        "°C",
        "3-501.19(C)",
        "The warmest portion does not exceed 21 °C (70 °F) within the 6 h.",
        "time as a public health control",
    ),
    _FOOD_CODE.row(
        "rop-fish-out-of-package",
        ROP_FISH_HOURS_H,
        "h",
        "3-502.12(F)",
        "Without a HACCP plan: labelled, at 5 °C or below, out of the package within 48 h.",
        "thawing",
    ),
    _FOOD_CODE.row(
        "food-thermometer-accuracy",
        FOOD_THERMOMETER_ACCURACY_C,
        "°C",
        "4-203.11(A)",
        "A food thermometer in °C, or in both scales, is accurate to ±1 °C in its range.",
        "ice point",
        "uncertainty",
    ),
    _FOOD_CODE.row(
        "air-thermometer-accuracy",
        AIR_THERMOMETER_ACCURACY_C,
        "°C",
        "4-203.12(A)",
        "An air or water thermometer in °C, or in both scales, is accurate to ±1.5 °C.",
        "uncertainty",
        confidence="from memory",
    ),
)
"""In the order of the text's chapters."""
