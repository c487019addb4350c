"""Figures of the standards for thermometers, for mean kinetic temperature, for alarms.

Pure values. The equations' constants stand with the equations (``science.rtd``,
``science.kinetic``); here they get their source for the records.

References:
    [1] IEC 60751, Industrial platinum resistance thermometers; tolerances.
    [2] USP general chapters <1079.2> and <1160>, mean kinetic temperature.
    [3] IEC 62682 / ANSI/ISA-18.2, Management of alarm systems; EEMUA 191.
"""

from typing import Final

from rimewatch.rules.provision import Confidence, Provision
from rimewatch.science.kinetic import ACTIVATION_KELVIN
from rimewatch.science.rtd import CVD_A, CVD_B, CVD_C, TOLERANCE, RtdClass

MKT_COLD_LIMIT_C: Final = 8.0
MKT_COLD_WINDOW_H: Final = 24.0
MKT_ROOM_LIMIT_C: Final = 25.0
MKT_ROOM_WINDOW_DAYS: Final = 30.0
MKT_ACTIVATION_KJ_PER_MOL: Final = 83.144

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
DEADBAND_TEMPERATURE_PERCENT: Final = 1.0
DELAY_TEMPERATURE_S: Final = 60.0


def _row(
    source: tuple[str, str],
    ident: str,
    value: float,
    unit: str,
    section: str,
    text: str,
    *used_by: str,
    confidence: Confidence = "read",
) -> Provision:
    document, edition = source
    return Provision(
        id=ident,
        value=value,
        unit=unit,
        text=text,
        document=document,
        edition=edition,
        section=section,
        used_by=used_by,
        confidence=confidence,
    )


_IEC_60751: Final = ("IEC 60751", "2008 (2022 not read)")
_USP_1079: Final = ("USP <1079.2>", "August 2025")
_USP_1160: Final = ("USP <1160>", "USP 29")
_IEC_62682: Final = ("IEC 62682 / ANSI/ISA-18.2", "as quoted in trade articles")
_EEMUA: Final = ("EEMUA 191", "as quoted in trade articles")

INSTRUMENT_PROVISIONS: Final = (
    _row(_IEC_60751, "rtd-a", CVD_A, "1/°C", "resistance of platinum", "Coefficient A.", "RTD"),
    _row(_IEC_60751, "rtd-b", CVD_B, "1/°C²", "resistance of platinum", "Coefficient B.", "RTD"),
    _row(
        _IEC_60751,
        "rtd-c",
        CVD_C,
        "1/°C⁴",
        "resistance of platinum",
        "Coefficient C, below 0 °C.",
        "RTD",
    ),
    *(
        _row(
            _IEC_60751,
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
    _row(
        _USP_1160,
        "mkt-activation",
        MKT_ACTIVATION_KJ_PER_MOL,
        "kJ/mol",
        "mean kinetic temperature",
        "ΔH = 83.144 kJ/mol unless measured; defined for medicines, no fish rule uses it.",
        "statistics",
    ),
    _row(
        _USP_1160,
        "mkt-activation-kelvin",
        ACTIVATION_KELVIN,
        "K",
        "mean kinetic temperature",
        "ΔH/R with R = 8.3144e-3 kJ/(K·mol).",
        "statistics",
    ),
    _row(
        _USP_1079,
        "mkt-cold",
        MKT_COLD_LIMIT_C,
        "°C",
        "excursions, cold 2-8 °C",
        "Mean kinetic temperature of at most 8 °C over 24 h (medicines; for comparison).",
        "statistics",
    ),
    _row(
        _USP_1079,
        "mkt-cold-window",
        MKT_COLD_WINDOW_H,
        "h",
        "excursions, cold 2-8 °C",
        "The window of the row above.",
        "statistics",
    ),
    _row(
        _USP_1079,
        "mkt-room",
        MKT_ROOM_LIMIT_C,
        "°C",
        "excursions, controlled room temperature",
        "Mean kinetic temperature of at most 25 °C over 30 d (medicines).",
        "statistics",
    ),
    _row(
        _USP_1079,
        "mkt-room-window",
        MKT_ROOM_WINDOW_DAYS,
        "d",
        "excursions, controlled room temperature",
        "The window of the row above.",
        "statistics",
    ),
    _row(
        _IEC_62682,
        "alarm-chattering",
        float(CHATTERING_TIMES_PER_MIN),
        "1/min",
        "performance",
        "Chattering: occurs and clears three times or more within 1 min.",
        "alarm performance",
    ),
    _row(
        _IEC_62682,
        "alarm-stale",
        STALE_ALARM_H,
        "h",
        "performance",
        "Stale: in alarm without a break for more than 24 h.",
        "alarm performance",
    ),
    _row(
        _IEC_62682,
        "alarm-flood",
        float(FLOOD_ALARMS_PER_10_MIN),
        "1/(10 min)",
        "performance",
        "Flood: more than 10 alarms in 10 min for one operator.",
        "alarm performance",
    ),
    _row(
        _IEC_62682,
        "alarm-flood-over",
        float(FLOOD_OVER_ALARMS_PER_10_MIN),
        "1/(10 min)",
        "performance",
        "A flood is over below 5 alarms in 10 min.",
        "alarm performance",
        confidence="from memory",
    ),
    _row(
        _IEC_62682,
        "alarms-per-day-manageable",
        float(ALARMS_PER_DAY_MANAGEABLE),
        "1/d",
        "performance",
        "About 150 alarms a day are manageable for one operator.",
        "alarm performance",
    ),
    _row(
        _IEC_62682,
        "alarms-per-day-too-many",
        float(ALARMS_PER_DAY_TOO_MANY),
        "1/d",
        "performance",
        "300 alarms a day or more need cutting.",
        "alarm performance",
    ),
    _row(
        _IEC_62682,
        "alarm-share-low",
        PRIORITY_SHARE_LOW,
        "1",
        "priorities",
        "About 80 % of alarms are of low priority.",
        "alarm performance",
    ),
    _row(
        _IEC_62682,
        "alarm-share-medium",
        PRIORITY_SHARE_MEDIUM,
        "1",
        "priorities",
        "About 15 % are of medium priority.",
        "alarm performance",
    ),
    _row(
        _IEC_62682,
        "alarm-share-high",
        PRIORITY_SHARE_HIGH,
        "1",
        "priorities",
        "About 5 % are of high priority.",
        "alarm performance",
    ),
    _row(
        _EEMUA,
        "alarm-deadband-temperature",
        DEADBAND_TEMPERATURE_PERCENT,
        "% of range",
        "deadbands",
        "Starting point for the deadband of a temperature.",
        "deadband",
    ),
    _row(
        _IEC_62682,
        "alarm-delay-temperature",
        DELAY_TEMPERATURE_S,
        "s",
        "delays",
        "Starting point for the on-delay and off-delay of a temperature.",
        "on-delay",
        confidence="from memory",
    ),
)
