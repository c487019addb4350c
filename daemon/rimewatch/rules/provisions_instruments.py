"""Figures of the standards for thermometers, for mean kinetic temperature, for alarms.

Pure values. The equations' constants stand with the equations (``science.rtd``,
``science.kinetic``); here they get their source for the records.

References:
    [1] IEC 60751, Industrial platinum resistance thermometers; tolerances.
    [2] USP general chapter <1160>, mean kinetic temperature.
    [3] IEC 62682 / ANSI/ISA-18.2, Management of alarm systems.
"""

from typing import Final

from rimewatch.rules.provision import Source
from rimewatch.science.kinetic import ACTIVATION_KELVIN, ACTIVATION_KJ_PER_MOL
from rimewatch.science.rtd import CVD_A, CVD_B, CVD_C, TOLERANCE, RtdClass

CHATTERING_TIMES_PER_MIN: Final = 3
STALE_ALARM_H: Final = 24.0
FLOOD_ALARMS_PER_10_MIN: Final = 10
"""A flood starts with more than this many in 10 min (ISA's own text counts from 10)."""
FLOOD_OVER_ALARMS_PER_10_MIN: Final = 5
ALARMS_PER_DAY_MANAGEABLE: Final = 150
ALARMS_PER_DAY_TOO_MANY: Final = 300
PRIORITY_SHARE_LOW: Final = 0.80
PRIORITY_SHARE_MEDIUM: Final = 0.15
PRIORITY_SHARE_HIGH: Final = 0.05


_IEC_60751: Final = Source(document="IEC 60751", edition="2008 (2022 not read)")
_USP_1160: Final = Source(document="USP <1160>", edition="USP 29")
_IEC_62682: Final = Source(
    document="IEC 62682 / ANSI/ISA-18.2", edition="as quoted in trade articles"
)

INSTRUMENT_PROVISIONS: Final = (
    _IEC_60751.row("rtd-a", CVD_A, "1/°C", "resistance of platinum", "Coefficient A.", "RTD"),
    _IEC_60751.row("rtd-b", CVD_B, "1/°C²", "resistance of platinum", "Coefficient B.", "RTD"),
    _IEC_60751.row(
        "rtd-c",
        CVD_C,
        "1/°C⁴",
        "resistance of platinum",
        "Coefficient C, below 0 °C.",
        "RTD",
    ),
    *(
        _IEC_60751.row(
            f"rtd-class-{rtd_class.lower()}-{which}",
            value,
            unit,
            "tolerance classes",
            f"Class {rtd_class}: tolerance ±(a + b·|t|), {what}.",
            "RTD",
            "uncertainty",
            confidence="from memory" if rtd_class in (RtdClass.AA, RtdClass.C) else "read",
        )
        for rtd_class, (constant, per_c) in TOLERANCE.items()
        for which, what, value, unit in (
            ("constant", "a", constant, "°C"),
            ("slope", "b", per_c, "°C/°C"),
        )
    ),
    _USP_1160.row(
        "mkt-activation",
        ACTIVATION_KJ_PER_MOL,
        "kJ/mol",
        "mean kinetic temperature",
        "ΔH = 83.144 kJ/mol unless measured; defined for medicines, no fish rule uses it.",
        "statistics",
    ),
    _USP_1160.row(
        "mkt-activation-kelvin",
        ACTIVATION_KELVIN,
        "K",
        "mean kinetic temperature",
        "ΔH/R with R = 8.3144e-3 kJ/(K·mol).",
        "statistics",
    ),
    _IEC_62682.row(
        "alarm-chattering",
        float(CHATTERING_TIMES_PER_MIN),
        "1/min",
        "performance",
        "Chattering: occurs and clears three times or more within 1 min.",
        "alarm performance",
    ),
    _IEC_62682.row(
        "alarm-stale",
        STALE_ALARM_H,
        "h",
        "performance",
        "Stale: in alarm without a break for more than 24 h.",
        "alarm performance",
    ),
    _IEC_62682.row(
        "alarm-flood",
        float(FLOOD_ALARMS_PER_10_MIN),
        "1/(10 min)",
        "performance",
        "Flood: more than 10 alarms in 10 min for one operator.",
        "alarm performance",
    ),
    _IEC_62682.row(
        "alarm-flood-over",
        float(FLOOD_OVER_ALARMS_PER_10_MIN),
        "1/(10 min)",
        "performance",
        "A flood is over below 5 alarms in 10 min.",
        "alarm performance",
        confidence="from memory",
    ),
    _IEC_62682.row(
        "alarms-per-day-manageable",
        float(ALARMS_PER_DAY_MANAGEABLE),
        "1/d",
        "performance",
        "About 150 alarms a day are manageable for one operator.",
        "alarm performance",
    ),
    _IEC_62682.row(
        "alarms-per-day-too-many",
        float(ALARMS_PER_DAY_TOO_MANY),
        "1/d",
        "performance",
        "300 alarms a day or more need cutting.",
        "alarm performance",
    ),
    _IEC_62682.row(
        "alarm-share-low",
        PRIORITY_SHARE_LOW,
        "1",
        "priorities",
        "About 80 % of alarms are of low priority.",
        "alarm performance",
    ),
    _IEC_62682.row(
        "alarm-share-medium",
        PRIORITY_SHARE_MEDIUM,
        "1",
        "priorities",
        "About 15 % of alarms are of medium priority.",
        "alarm performance",
    ),
    _IEC_62682.row(
        "alarm-share-high",
        PRIORITY_SHARE_HIGH,
        "1",
        "priorities",
        "About 5 % of alarms are of high priority.",
        "alarm performance",
    ),
)
