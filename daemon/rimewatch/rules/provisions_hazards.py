"""The FDA seafood guidance's limits, and the seafood HACCP regulation's.

Pure values. The guidance draws its lines in °F; the °C printed beside them are
rounded, so each line is converted exactly here. It binds processors, not retail
shops (21 CFR 123.3(k)(2), from memory); a shop may still measure itself by it.

Table A-2 prints bands with gaps (41 °F, then 42 °F). A temperature inside a gap is
read as belonging to the warmer band, the one with less time.

References:
    [1] FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed. (2011,
        revised 2019-2022), chapters 5 and 7, Appendix 4.
    [2] 21 CFR 123, Fish and Fishery Products.
"""

import math
from typing import Final

from rimewatch.rules.provision import (
    HAZARDS,
    HAZARDS_EDITION,
    Provision,
    Source,
)
from rimewatch.science.scales import celsius_of_fahrenheit

# Chapter 5: parasites. Ambient temperatures, as in the Food Code.
PARASITE_THICK_FISH_MM: Final = 152.4
"""6 inches: beyond it the freezing times may not suit (from memory)."""

# Chapter 13: fish packed in reduced oxygen.
ROP_CHILLED_LIMIT_C: Final = celsius_of_fahrenheit(38.0)

# Chapter 7: scombrotoxin. Time above the 40 °F line; the 70 °F line picks the cap.
SCOMBROTOXIN_LINE_C: Final = celsius_of_fahrenheit(40.0)
SCOMBROTOXIN_WARM_LINE_C: Final = celsius_of_fahrenheit(70.0)
SCOMBROTOXIN_FRESH_WARM_H: Final = 4.0
SCOMBROTOXIN_FRESH_COOL_H: Final = 8.0
SCOMBROTOXIN_FROZEN_WARM_H: Final = 12.0
SCOMBROTOXIN_FROZEN_COOL_H: Final = 24.0

# Appendix 4: raw ready-to-eat products, internal temperature.
RAW_RTE_LINE_C: Final = celsius_of_fahrenheit(50.0)
RAW_RTE_WARM_LINE_C: Final = celsius_of_fahrenheit(70.0)
RAW_RTE_HOT_LINE_C: Final = celsius_of_fahrenheit(135.0)
RAW_RTE_WARM_H: Final = 2.0
RAW_RTE_MIXED_TOTAL_H: Final = 4.0
RAW_RTE_MIXED_WARM_H: Final = 2.0
RAW_RTE_COOL_H: Final = 5.0

# 21 CFR 123.9(b)(1).
RECORD_YEARS_REFRIGERATED: Final = 1
RECORD_YEARS_FROZEN: Final = 2

_ABOVE: Final = math.inf
_D: Final = 24.0

TABLE_A2_ROWS: Final[tuple[tuple[str, float, tuple[tuple[float, float], ...]], ...]] = (
    ("Bacillus cereus", 39.2, ((43, 5 * _D), (59, _D), (70, 6.0), (_ABOVE, 3.0))),
    ("Campylobacter jejuni", 86.0, ((93, 48.0), (_ABOVE, 12.0))),
    ("Clostridium botulinum A, proteolytic B and F", 50.0, ((70, 11.0), (_ABOVE, 2.0))),
    (
        "Clostridium botulinum E, nonproteolytic B and F",
        37.9,
        ((41, 7 * _D), (50, 2 * _D), (70, 11.0), (_ABOVE, 6.0)),
    ),
    ("Clostridium perfringens", 50.0, ((54, 21 * _D), (57, _D), (70, 6.0), (_ABOVE, 2.0))),
    ("Escherichia coli, pathogenic", 43.7, ((50, 2 * _D), (70, 5.0), (_ABOVE, 2.0))),
    (
        "Listeria monocytogenes",
        31.3,
        ((41, 7 * _D), (50, _D), (70, 7.0), (86, 3.0), (_ABOVE, 1.0)),
    ),
    ("Salmonella", 41.4, ((50, 2 * _D), (70, 5.0), (_ABOVE, 2.0))),
    ("Shigella", 43.0, ((50, 2 * _D), (70, 5.0), (_ABOVE, 2.0))),
    ("Staphylococcus aureus", 50.0, ((50, 14 * _D), (70, 12.0), (_ABOVE, 3.0))),
    ("Vibrio cholerae", 50.0, ((50, 21 * _D), (70, 6.0), (80, 2.0), (_ABOVE, 1.0))),
    ("Vibrio parahaemolyticus", 41.0, ((50, 21 * _D), (70, 6.0), (80, 2.0), (_ABOVE, 1.0))),
    ("Vibrio vulnificus", 46.4, ((50, 21 * _D), (70, 6.0), (80, 2.0), (_ABOVE, 1.0))),
    ("Yersinia enterocolitica", 29.7, ((50, _D), (70, 6.0), (_ABOVE, 2.5))),
)
"""Appendix 4, Table A-2: the hazard, where its first band starts (°F), and for each band
its upper edge (°F, included) with the longest cumulative time (h). From memory, all."""


_HAZARDS: Final = Source(document=HAZARDS, edition=HAZARDS_EDITION, confidence="from memory")


def _table_a2() -> tuple[Provision, ...]:
    provisions: list[Provision] = []
    for hazard, start_f, bands in TABLE_A2_ROWS:
        slug = hazard.lower().replace(",", "").replace(" ", "-")
        low_f = start_f
        for number, (high_f, hours) in enumerate(bands, start=1):
            first = number == 1
            if math.isinf(high_f):
                where = f"above {low_f:g} °F"
            elif first:
                where = f"from {low_f:g} to {high_f:g} °F"
            else:
                where = f"above {low_f:g} to {high_f:g} °F"
            provisions.append(
                _HAZARDS.row(
                    f"a2-{slug}-{number}",
                    hours,
                    "h",
                    "Appendix 4, Table A-2",
                    f"{hazard}: internal temperature {where}, cumulative.",
                    "exposure",
                )
            )
            low_f = high_f
    return tuple(provisions)


_CH7: Final = "ch. 7, processing and holding exposure limits"
_APP4: Final = "Appendix 4, raw ready-to-eat products"

HAZARDS_PROVISIONS: Final = (
    _HAZARDS.row(
        "parasite-thick-fish",
        PARASITE_THICK_FISH_MM,
        "mm",
        "ch. 5",
        "The freezing times may not suit fish thicker than 6 inches.",
        "parasite destruction",
    ),
    _HAZARDS.row(
        "rop-chilled",
        ROP_CHILLED_LIMIT_C,
        "°C",
        "ch. 13",
        "Chilled fish in reduced oxygen packaging is kept at 38 °F or below.",
        "holding",
    ),
    _HAZARDS.row(
        "scombrotoxin-line",
        SCOMBROTOXIN_LINE_C,
        "°C",
        _CH7,
        "Time counts above 40 °F.",
        "exposure",
    ),
    _HAZARDS.row(
        "scombrotoxin-warm-line",
        SCOMBROTOXIN_WARM_LINE_C,
        "°C",
        _CH7,
        "Any part of the time above 70 °F picks the shorter cap.",
        "exposure",
    ),
    _HAZARDS.row(
        "scombrotoxin-fresh-warm",
        SCOMBROTOXIN_FRESH_WARM_H,
        "h",
        _CH7,
        "Not previously frozen, any time above 70 °F: at most 4 h in all.",
        "exposure",
    ),
    _HAZARDS.row(
        "scombrotoxin-fresh-cool",
        SCOMBROTOXIN_FRESH_COOL_H,
        "h",
        _CH7,
        "Not previously frozen, never above 70 °F: at most 8 h in all.",
        "exposure",
    ),
    _HAZARDS.row(
        "scombrotoxin-frozen-warm",
        SCOMBROTOXIN_FROZEN_WARM_H,
        "h",
        _CH7,
        "Previously frozen, any time above 70 °F: at most 12 h in all.",
        "exposure",
    ),
    _HAZARDS.row(
        "scombrotoxin-frozen-cool",
        SCOMBROTOXIN_FROZEN_COOL_H,
        "h",
        _CH7,
        "Previously frozen, never above 70 °F: at most 24 h in all.",
        "exposure",
    ),
    _HAZARDS.row(
        "raw-rte-line",
        RAW_RTE_LINE_C,
        "°C",
        _APP4,
        "Time counts above 50 °F (internal temperature).",
        "exposure",
        confidence="read",
    ),
    _HAZARDS.row(
        "raw-rte-warm-line",
        RAW_RTE_WARM_LINE_C,
        "°C",
        _APP4,
        "Above 70 °F the short limits hold.",
        "exposure",
        confidence="read",
    ),
    _HAZARDS.row(
        "raw-rte-hot-line",
        RAW_RTE_HOT_LINE_C,
        "°C",
        _APP4,
        "Time counts below 135 °F.",
        "exposure",
        confidence="read",
    ),
    _HAZARDS.row(
        "raw-rte-warm",
        RAW_RTE_WARM_H,
        "h",
        _APP4,
        "Ever above 70 °F: at most 2 h above 50 °F.",
        "exposure",
        confidence="read",
    ),
    _HAZARDS.row(
        "raw-rte-mixed-total",
        RAW_RTE_MIXED_TOTAL_H,
        "h",
        _APP4,
        "Or at most 4 h above 50 °F, as long as the next row holds too.",
        "exposure",
        confidence="read",
    ),
    _HAZARDS.row(
        "raw-rte-mixed-warm",
        RAW_RTE_MIXED_WARM_H,
        "h",
        _APP4,
        "No more than 2 h of them between 70 °F and 135 °F.",
        "exposure",
        confidence="read",
    ),
    _HAZARDS.row(
        "raw-rte-cool",
        RAW_RTE_COOL_H,
        "h",
        _APP4,
        "Above 50 °F but never above 70 °F: at most 5 h.",
        "exposure",
    ),
    *_table_a2(),
    Provision(
        id="cfr-123-records-refrigerated",
        value=float(RECORD_YEARS_REFRIGERATED),
        unit="a",
        text="Records of refrigerated products are kept at least 1 year.",
        document="21 CFR 123",
        edition="as codified",
        section="123.9(b)(1)",
        used_by=("records",),
        confidence="read",
    ),
    Provision(
        id="cfr-123-records-frozen",
        value=float(RECORD_YEARS_FROZEN),
        unit="a",
        text="Records of frozen, preserved or shelf-stable products are kept at least 2 years.",
        document="21 CFR 123",
        edition="as codified",
        section="123.9(b)(1)",
        used_by=("records",),
        confidence="read",
    ),
)
