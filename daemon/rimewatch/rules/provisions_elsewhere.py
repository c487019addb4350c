"""Limits of the European Union and of Japan, for fish served raw and for frozen fish.

Pure values. They are not the shop's law in the United States; they serve as the
option ``20C-24h`` and for comparison. Where the Food Code names the freezer's
temperature, these name the fish's, in all its parts.

References:
    [1] Regulation (EC) 853/2004, Annex III, Section VIII, as amended by Regulation
        (EU) 1276/2011 (OJ L 327, 9.12.2011, p. 39).
    [2] Council Directive 89/108/EEC on quick-frozen foodstuffs.
    [3] Codex Alimentarius, CAC/RCP 8-1976, processing and handling of quick frozen foods.
    [4] Ministry of Health, Labour and Welfare of Japan, guidance on Anisakis.
"""

from typing import Final

from rimewatch.rules.provision import Source

EU_FREEZE_20C_C: Final = -20.0
EU_FREEZE_20C_H: Final = 24.0
EU_FREEZE_35C_C: Final = -35.0
EU_FREEZE_35C_H: Final = 15.0
EU_HEAT_CORE_C: Final = 60.0
EU_HEAT_CORE_MIN: Final = 1.0
EU_FROZEN_STORAGE_C: Final = -18.0

FROZEN_DISPLAY_C: Final = -12.0
MAXIMUM_CRYSTALLISATION_C: Final = -5.0
ICE_MELTS_C: Final = 0.0

JAPAN_FREEZE_C: Final = -20.0
JAPAN_FREEZE_H: Final = 24.0
JAPAN_HEAT_C: Final = 70.0
JAPAN_HEAT_LOW_C: Final = 60.0
JAPAN_HEAT_LOW_MIN: Final = 1.0
JAPAN_FIREFLY_SQUID_C: Final = -30.0
JAPAN_FIREFLY_SQUID_H: Final = 96.0


_EU: Final = Source(
    document="Regulation (EC) 853/2004",
    edition="as amended by (EU) 1276/2011",
    within="Annex III, Section VIII, ",
)
_QUICK_FROZEN: Final = Source(document="Council Directive 89/108/EEC", edition="1989")
_CODEX: Final = Source(document="Codex Alimentarius CAC/RCP 8-1976", edition="revised 2008")
_ICE_POINT: Final = Source(document="Ice point", edition="ITS-90")
_JAPAN: Final = Source(
    document="MHLW of Japan, guidance on Anisakis", edition="as repeated by prefectures"
)

ELSEWHERE_PROVISIONS: Final = (
    _EU.row(
        "eu-freeze-20c-temperature",
        EU_FREEZE_20C_C,
        "°C",
        "Chapter III, D(2)",
        "All parts of the product at −20 °C or below.",
        "parasite destruction",
        "hold-at-risk",
    ),
    _EU.row(
        "eu-freeze-20c-time",
        EU_FREEZE_20C_H,
        "h",
        "Chapter III, D(2)",
        "For at least 24 h; parasites other than trematodes.",
        "parasite destruction",
    ),
    _EU.row(
        "eu-freeze-35c-temperature",
        EU_FREEZE_35C_C,
        "°C",
        "Chapter III, D(2)",
        "Or all parts of the product at −35 °C or below.",
        "parasite destruction",
    ),
    _EU.row(
        "eu-freeze-35c-time",
        EU_FREEZE_35C_H,
        "h",
        "Chapter III, D(2)",
        "For at least 15 h.",
        "parasite destruction",
    ),
    _EU.row(
        "eu-heat-core-temperature",
        EU_HEAT_CORE_C,
        "°C",
        "Chapter III, D(3)(a)",
        "No freezing is needed where the core is heated to 60 °C or above before eating.",
        "parasite destruction",
        confidence="from memory",
    ),
    _EU.row(
        "eu-heat-core-time",
        EU_HEAT_CORE_MIN,
        "min",
        "Chapter III, D(3)(a)",
        "For at least 1 min.",
        "parasite destruction",
        confidence="from memory",
    ),
    _EU.row(
        "eu-frozen-storage",
        EU_FROZEN_STORAGE_C,
        "°C",
        "Chapter VII(2)",
        "Frozen fish is kept at −18 °C or below in all parts.",
        "freezer",
    ),
    _QUICK_FROZEN.row(
        "frozen-display",
        FROZEN_DISPLAY_C,
        "°C",
        "Article 5(2)",
        "In retail display cabinets up to 6 °C above −18 °C, where the member state allows it.",
        "freezer",
    ),
    _CODEX.row(
        "maximum-crystallisation",
        MAXIMUM_CRYSTALLISATION_C,
        "°C",
        "section 2, quick freezing process",
        "Most foods freeze, and thaw, between −1 °C and −5 °C.",
        "freezer",
        confidence="from memory",
    ),
    _ICE_POINT.row(
        "ice-melts",
        ICE_MELTS_C,
        "°C",
        "melting of pure ice at 101.325 kPa",
        "Above it no ice is left: the fish is thawed.",
        "freezer",
        confidence="from memory",
    ),
    _JAPAN.row(
        "japan-freeze-temperature",
        JAPAN_FREEZE_C,
        "°C",
        "prevention",
        "Frozen at −20 °C to the centre.",
        "parasite destruction",
    ),
    _JAPAN.row(
        "japan-freeze-time",
        JAPAN_FREEZE_H,
        "h",
        "prevention",
        "For at least 24 h.",
        "parasite destruction",
    ),
    _JAPAN.row(
        "japan-heat-temperature",
        JAPAN_HEAT_C,
        "°C",
        "prevention",
        "Or heated to 70 °C or above.",
        "parasite destruction",
    ),
    _JAPAN.row(
        "japan-heat-low-temperature",
        JAPAN_HEAT_LOW_C,
        "°C",
        "prevention",
        "Or heated to 60 °C.",
        "parasite destruction",
    ),
    _JAPAN.row(
        "japan-heat-low-time",
        JAPAN_HEAT_LOW_MIN,
        "min",
        "prevention",
        "For 1 min at 60 °C.",
        "parasite destruction",
    ),
    _JAPAN.row(
        "japan-firefly-squid-temperature",
        JAPAN_FIREFLY_SQUID_C,
        "°C",
        "firefly squid",
        "Firefly squid that is not gutted: frozen at −30 °C or below.",
        "parasite destruction",
    ),
    _JAPAN.row(
        "japan-firefly-squid-time",
        JAPAN_FIREFLY_SQUID_H,
        "h",
        "firefly squid",
        "For at least four days.",
        "parasite destruction",
    ),
)
