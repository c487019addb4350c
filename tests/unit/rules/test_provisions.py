"""Each published limit against the text it comes from.

Expected figures are written here a second time on purpose. A figure changes in both
places, with its edition, or not at all.
"""

import ast
import importlib
import math
from dataclasses import FrozenInstanceError
from itertools import pairwise
from pathlib import Path
from types import ModuleType

import pint
import pytest

from rimewatch.rules import provisions
from rimewatch.rules.hazard_limits import (
    RAW_READY_TO_EAT,
    SCOMBROTOXIN_FRESH,
    SCOMBROTOXIN_FROZEN,
    TABLE_A2,
    TIME_CONTROL_4H,
    TIME_CONTROL_6H,
)
from rimewatch.rules.provision import Provision, registry
from rimewatch.rules.provisions import PROVISIONS
from rimewatch.science.exposure import TwoLineLimits
from rimewatch.science.scales import celsius_of_fahrenheit
from rimewatch.science.time_control import TimeControlLimits

# FDA Food Code 2022; read in states' mirrors of the sections unless marked.
FOOD_CODE = [
    ("receiving-cold", 5.0, "°C", "3-202.11(A)", "read"),
    ("freeze-storage-temperature", -20.0, "°C", "3-402.11(A)(1)", "read"),
    ("freeze-storage-time", 168.0, "h", "3-402.11(A)(1)", "read"),
    ("freeze-solid-temperature", -35.0, "°C", "3-402.11(A)(2),(3)", "read"),
    ("freeze-solid-time", 15.0, "h", "3-402.11(A)(2)", "read"),
    ("freeze-solid-then-storage-temperature", -20.0, "°C", "3-402.11(A)(3)", "read"),
    ("freeze-solid-then-storage-time", 24.0, "h", "3-402.11(A)(3)", "read"),
    ("freezing-record-retention", 90.0, "d", "3-402.12(A)", "read"),
    ("feed-statement-retention", 90.0, "d", "3-402.12(C)", "from memory"),
    ("thawing", 5.0, "°C", "3-501.13(A)", "read"),
    ("cooling-start", 57.0, "°C", "3-501.14(A)", "read"),
    ("cooling-first-temperature", 21.0, "°C", "3-501.14(A)(1)", "read"),
    ("cooling-first-time", 2.0, "h", "3-501.14(A)(1)", "read"),
    ("cooling-final-temperature", 5.0, "°C", "3-501.14(A)(2)", "read"),
    ("cooling-total-time", 6.0, "h", "3-501.14(A)(2)", "read"),
    ("cooling-ambient-time", 4.0, "h", "3-501.14(B)", "read"),
    ("cooling-received-warm-time", 4.0, "h", "3-501.14(C)", "read"),
    ("cold-holding", 5.0, "°C", "3-501.16(A)(2)", "read"),
    ("time-control-start", 5.0, "°C", "3-501.19(B),(C)", "read"),
    ("time-control-4h", 4.0, "h", "3-501.19(B)", "read"),
    ("time-control-6h", 6.0, "h", "3-501.19(C)", "read"),
    ("time-control-6h-ceiling", 21.0, "°C", "3-501.19(C)", "read"),
    ("rop-fish-out-of-package", 48.0, "h", "3-502.12(F)", "read"),
    ("food-thermometer-accuracy", 1.0, "°C", "4-203.11(A)", "read"),
    ("air-thermometer-accuracy", 1.5, "°C", "4-203.12(A)", "from memory"),
]

# FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed.; lines in °F.
GUIDANCE_F = [
    ("rop-chilled", 38.0, "from memory"),
    ("scombrotoxin-line", 40.0, "from memory"),
    ("scombrotoxin-warm-line", 70.0, "from memory"),
    ("raw-rte-line", 50.0, "read"),
    ("raw-rte-warm-line", 70.0, "read"),
    ("raw-rte-hot-line", 135.0, "read"),
]
GUIDANCE = [
    ("parasite-thick-fish", 152.4, "mm", "from memory"),
    ("scombrotoxin-fresh-warm", 4.0, "h", "from memory"),
    ("scombrotoxin-fresh-cool", 8.0, "h", "from memory"),
    ("scombrotoxin-frozen-warm", 12.0, "h", "from memory"),
    ("scombrotoxin-frozen-cool", 24.0, "h", "from memory"),
    ("raw-rte-warm", 2.0, "h", "read"),
    ("raw-rte-mixed-total", 4.0, "h", "read"),
    ("raw-rte-mixed-warm", 2.0, "h", "read"),
    ("raw-rte-cool", 5.0, "h", "from memory"),
    # 21 CFR 123.9(b)(1).
    ("cfr-123-records-refrigerated", 1.0, "a", "read"),
    ("cfr-123-records-frozen", 2.0, "a", "read"),
]

# Guidance, Appendix 4, Table A-2 (from memory): start in °F, then upper edge and hours.
INF = math.inf
TABLE_A2_EXPECTED: dict[str, tuple[float, list[tuple[float, float]]]] = {
    "Bacillus cereus": (39.2, [(43, 120), (59, 24), (70, 6), (INF, 3)]),
    "Campylobacter jejuni": (86, [(93, 48), (INF, 12)]),
    "Clostridium botulinum A, proteolytic B and F": (50, [(70, 11), (INF, 2)]),
    "Clostridium botulinum E, nonproteolytic B and F": (
        37.9,
        [(41, 168), (50, 48), (70, 11), (INF, 6)],
    ),
    "Clostridium perfringens": (50, [(54, 504), (57, 24), (70, 6), (INF, 2)]),
    "Escherichia coli, pathogenic": (43.7, [(50, 48), (70, 5), (INF, 2)]),
    "Listeria monocytogenes": (31.3, [(41, 168), (50, 24), (70, 7), (86, 3), (INF, 1)]),
    "Salmonella": (41.4, [(50, 48), (70, 5), (INF, 2)]),
    "Shigella": (43, [(50, 48), (70, 5), (INF, 2)]),
    "Staphylococcus aureus": (50, [(50, 336), (70, 12), (INF, 3)]),
    "Vibrio cholerae": (50, [(50, 504), (70, 6), (80, 2), (INF, 1)]),
    "Vibrio parahaemolyticus": (41, [(50, 504), (70, 6), (80, 2), (INF, 1)]),
    "Vibrio vulnificus": (46.4, [(50, 504), (70, 6), (80, 2), (INF, 1)]),
    "Yersinia enterocolitica": (29.7, [(50, 24), (70, 6), (INF, 2.5)]),
}

ELSEWHERE = [
    # 25-B DCMR 2600.1(b) (2017): live shellfish at 50 °F inside, after the National Shellfish
    # Sanitation Program; what the Food Code leaves to such a law, 3-202.11(B).
    ("receiving-shellfish", 10.0, "°C", "read"),
    # Regulation (EC) 853/2004, Annex III, Section VIII, as amended by (EU) 1276/2011.
    ("eu-freeze-20c-temperature", -20.0, "°C", "read"),
    ("eu-freeze-20c-time", 24.0, "h", "read"),
    ("eu-freeze-35c-temperature", -35.0, "°C", "read"),
    ("eu-freeze-35c-time", 15.0, "h", "read"),
    ("eu-heat-core-temperature", 60.0, "°C", "from memory"),
    ("eu-heat-core-time", 1.0, "min", "from memory"),
    ("eu-frozen-storage", -18.0, "°C", "read"),
    # Council Directive 89/108/EEC, Article 5(2): up to 6 °C above −18 °C on display.
    ("frozen-display", -12.0, "°C", "read"),
    # Codex CAC/RCP 8-1976: the zone of maximum crystallisation, −1 to −5 °C.
    ("maximum-crystallisation", -5.0, "°C", "from memory"),
    ("ice-melts", 0.0, "°C", "from memory"),
    # Japan's Ministry of Health, Labour and Welfare, Anisakis.
    ("japan-freeze-temperature", -20.0, "°C", "read"),
    ("japan-freeze-time", 24.0, "h", "read"),
    ("japan-heat-temperature", 70.0, "°C", "read"),
    ("japan-heat-low-temperature", 60.0, "°C", "read"),
    ("japan-heat-low-time", 1.0, "min", "read"),
    ("japan-firefly-squid-temperature", -30.0, "°C", "read"),
    ("japan-firefly-squid-time", 96.0, "h", "read"),
]

INSTRUMENTS = [
    # IEC 60751.
    ("rtd-a", 3.9083e-3, "read"),
    ("rtd-b", -5.775e-7, "read"),
    ("rtd-c", -4.183e-12, "read"),
    ("rtd-class-aa-constant", 0.10, "from memory"),
    ("rtd-class-aa-slope", 0.0017, "from memory"),
    ("rtd-class-a-constant", 0.15, "read"),
    ("rtd-class-a-slope", 0.002, "read"),
    ("rtd-class-b-constant", 0.30, "read"),
    ("rtd-class-b-slope", 0.005, "read"),
    ("rtd-class-c-constant", 0.60, "from memory"),
    ("rtd-class-c-slope", 0.01, "from memory"),
    # USP <1160>.
    ("mkt-activation", 83.144, "read"),
    ("mkt-activation-kelvin", 10_000.0, "read"),
    # IEC 62682 / ANSI/ISA-18.2.
    ("alarm-chattering", 3.0, "read"),
    ("alarm-stale", 24.0, "read"),
    ("alarm-flood", 10.0, "read"),
    ("alarm-flood-over", 5.0, "from memory"),
    ("alarms-per-day-manageable", 150.0, "read"),
    ("alarms-per-day-too-many", 300.0, "read"),
    ("alarm-share-low", 0.80, "read"),
    ("alarm-share-medium", 0.15, "read"),
    ("alarm-share-high", 0.05, "read"),
]

NAMES = {"exempt-tuna", "exempt-other", "supplier-freezing-statement"}


@pytest.mark.parametrize(("ident", "value", "unit", "section", "confidence"), FOOD_CODE)
def test_food_code_limit_is_the_printed_one(
    ident: str, value: float, unit: str, section: str, confidence: str
) -> None:
    """A cook who opens the Food Code at the section finds the same number."""
    found = PROVISIONS[ident]

    assert (found.value, found.unit, found.section) == (value, unit, section)
    assert found.confidence == confidence
    assert found.citation == f"FDA Food Code 2022, {section}"


@pytest.mark.parametrize(("ident", "fahrenheit", "confidence"), GUIDANCE_F)
def test_guidance_line_is_the_fahrenheit_line_exactly(
    ident: str, fahrenheit: float, confidence: str
) -> None:
    """The guidance draws lines in °F; 21.05 °C is not above 70 °F, whatever is printed."""
    exact = pint.UnitRegistry().Quantity(fahrenheit, "degF").to("degC").magnitude

    assert PROVISIONS[ident].value == pytest.approx(exact, abs=1e-12)
    assert PROVISIONS[ident].confidence == confidence


@pytest.mark.parametrize(("ident", "value", "unit", "confidence"), [*GUIDANCE, *ELSEWHERE])
def test_guidance_and_foreign_limits_are_the_printed_ones(
    ident: str, value: float, unit: str, confidence: str
) -> None:
    """Each row agrees with the guidance, the regulation or the ministry."""
    found = PROVISIONS[ident]

    assert (found.value, found.unit, found.confidence) == (value, unit, confidence)


@pytest.mark.parametrize(("ident", "value", "confidence"), INSTRUMENTS)
def test_instrument_figure_is_the_standards(ident: str, value: float, confidence: str) -> None:
    """Each row agrees with the standard for thermometers or for alarms."""
    assert PROVISIONS[ident].value == pytest.approx(value, rel=1e-12)
    assert PROVISIONS[ident].confidence == confidence


@pytest.mark.parametrize("hazard", sorted(TABLE_A2_EXPECTED))
def test_table_a2_rows_are_the_printed_ones(hazard: str) -> None:
    """Every band of every hazard has its edge and its hours, and a provision of its own."""
    start_f, bands = TABLE_A2_EXPECTED[hazard]

    limits = next(row for row in TABLE_A2 if row.hazard == hazard)

    assert limits.from_c == pytest.approx(celsius_of_fahrenheit(start_f))
    assert [(band.up_to_c, band.allowed_s / 3600.0) for band in limits.bands] == [
        (pytest.approx(celsius_of_fahrenheit(edge)) if edge < INF else INF, hours)
        for edge, hours in bands
    ]
    slug = hazard.lower().replace(",", "").replace(" ", "-")
    rows = [PROVISIONS[f"a2-{slug}-{number}"] for number in range(1, len(bands) + 1)]
    assert [row.value for row in rows] == [hours for _, hours in bands]
    assert {row.confidence for row in rows} == {"from memory"}


def test_table_a2_has_every_hazard_and_no_other() -> None:
    """Fourteen hazards, as in the table."""
    assert {row.hazard for row in TABLE_A2} == set(TABLE_A2_EXPECTED)


def test_every_provision_is_checked_here() -> None:
    """A limit that nobody compared with its text cannot slip in."""
    listed = {row[0] for rows in (FOOD_CODE, GUIDANCE_F, GUIDANCE, ELSEWHERE) for row in rows}
    listed |= {row[0] for row in INSTRUMENTS} | NAMES
    tables = {ident for ident in PROVISIONS if ident.startswith("a2-")}

    assert set(PROVISIONS) - tables == listed
    assert len(tables) == sum(len(bands) for _, bands in TABLE_A2_EXPECTED.values())


def test_exempt_tuna_is_the_codes_six_and_no_bluefin_of_the_pacific() -> None:
    """3-402.11(B)(3) names six species; Pacific bluefin and skipjack are not among them."""
    names = PROVISIONS["exempt-tuna"].value

    assert names == (
        "Thunnus alalunga",
        "Thunnus albacares",
        "Thunnus atlanticus",
        "Thunnus maccoyii",
        "Thunnus obesus",
        "Thunnus thynnus",
    )
    assert isinstance(names, tuple)
    for not_exempt in ("Thunnus orientalis", "Thunnus tonggol", "Katsuwonus pelamis"):
        assert not_exempt not in names


def test_other_exemptions_are_the_four_of_the_code() -> None:
    """Shellfish, shucked scallop muscle, farmed fish on clean feed, rinsed eggs; no more."""
    names = PROVISIONS["exempt-other"].value

    assert isinstance(names, tuple)
    assert len(names) == 4
    assert "adductor muscle only" in names[1]
    assert not any("halibut" in name for name in names), "a state's sixth row is not FDA text"


def test_every_provision_says_where_it_is_from_and_what_stands_on_it() -> None:
    """An inspector can follow each number to a document, and to the rule that uses it."""
    for ident, provision in PROVISIONS.items():
        assert ident == provision.id
        assert provision.text.endswith(".")
        assert provision.document
        assert provision.edition
        assert provision.section
        assert provision.used_by
        assert all(len(user) > 0 for user in provision.used_by)
        assert provision.unit


def test_constants_are_the_registrys_values() -> None:
    """Code and records cannot disagree on a number."""
    assert PROVISIONS["cold-holding"].value == provisions.COLD_HOLDING_LIMIT_C == 5.0
    assert PROVISIONS["freeze-storage-time"].value == provisions.FREEZE_STORAGE_H == 168.0
    assert PROVISIONS["eu-frozen-storage"].value == provisions.EU_FROZEN_STORAGE_C == -18.0


def test_food_code_and_guidance_lines_are_kept_apart() -> None:
    """41 °F is 5 °C, 40 °F is 4.4 °C: one is the Code's, the other the guidance's."""
    assert celsius_of_fahrenheit(41.0) == 5.0
    assert provisions.COLD_HOLDING_LIMIT_C == 5.0
    assert pytest.approx(4.444, abs=1e-3) == provisions.SCOMBROTOXIN_LINE_C
    # The Code prints 21 °C, the guidance 70 °F: 21.05 °C breaks one and not the other.
    assert provisions.TIME_CONTROL_6H_CEILING_C < 21.05 < provisions.RAW_RTE_WARM_LINE_C


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [
        (-31, -35.0),
        (-4, -20.0),
        (0, -17.778),
        (32, 0.0),
        (38, 3.333),
        (40, 4.444),
        (41, 5.0),
        (50, 10.0),
        (70, 21.111),
        (80, 26.667),
        (135, 57.222),
    ],
)
def test_fahrenheit_edges_convert_exactly(fahrenheit: float, celsius: float) -> None:
    """−18 °C and 0 °F are two different lines."""
    assert celsius_of_fahrenheit(fahrenheit) == pytest.approx(celsius, abs=5e-4)


def test_hazard_limits_have_the_guidances_hours() -> None:
    """The values the exposure is computed with are the provisions'."""
    hours = 3600.0

    assert (SCOMBROTOXIN_FRESH.warm_s, SCOMBROTOXIN_FRESH.cool_s) == (4 * hours, 8 * hours)
    assert (SCOMBROTOXIN_FROZEN.warm_s, SCOMBROTOXIN_FROZEN.cool_s) == (12 * hours, 24 * hours)
    assert (RAW_READY_TO_EAT.warm_s, RAW_READY_TO_EAT.cool_s) == (2 * hours, 5 * hours)
    assert RAW_READY_TO_EAT.mixed_total_s == 4 * hours
    assert RAW_READY_TO_EAT.mixed_warm_s == 2 * hours
    assert (TIME_CONTROL_4H.allowed_s, TIME_CONTROL_4H.ceiling_c) == (4 * hours, None)
    assert (TIME_CONTROL_6H.allowed_s, TIME_CONTROL_6H.ceiling_c) == (6 * hours, 21.0)
    assert TIME_CONTROL_4H.start_c == TIME_CONTROL_6H.start_c == 5.0


def test_table_a2_allows_less_time_the_warmer_it_is() -> None:
    """No hazard gets more time in a warmer band."""
    for row in TABLE_A2:
        allowed = [band.allowed_s for band in row.bands]
        assert all(colder > warmer for colder, warmer in pairwise(allowed))


def test_registry_refuses_one_id_for_two_limits() -> None:
    """A second limit under the same id would hide the first."""
    one: Provision = PROVISIONS["cold-holding"]

    with pytest.raises(ValueError, match="'cold-holding' is there twice"):
        registry([one], [one])


def test_registry_cannot_be_changed() -> None:
    """Nothing that runs can move a limit."""
    with pytest.raises(TypeError, match="does not support item assignment"):
        PROVISIONS["cold-holding"] = PROVISIONS["thawing"]  # type: ignore[index]
    with pytest.raises(FrozenInstanceError):
        PROVISIONS["cold-holding"].value = 7.0  # type: ignore[misc]


PUBLISHED = [
    importlib.import_module(f"rimewatch.rules.{name}")
    for name in (
        "provisions_food_code",
        "provisions_hazards",
        "provisions_elsewhere",
        "provisions_instruments",
        "hazard_limits",
    )
]


def _own(module: ModuleType) -> set[str]:
    """Return the names that a module gives values of its own."""
    tree = ast.parse(Path(str(module.__file__)).read_text(encoding="utf-8"))
    return {
        node.target.id
        for node in tree.body
        if isinstance(node, ast.AnnAssign)
        and isinstance(node.target, ast.Name)
        and not node.target.id.startswith("_")
    }


def _used() -> set[str]:
    """Return the names that the service reads, but for where limits are written down."""
    home = Path(str(provisions.__file__)).parent
    found: set[str] = set()
    for path in sorted(home.parent.rglob("*.py")):
        if path.parent == home and path.name.startswith("provisions"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
                found.add(node.id)
            elif isinstance(node, ast.Attribute):
                found.add(node.attr)
    return found


USED = _used()
LIMITS = sorted(
    {
        name
        for module in PUBLISHED
        for name, value in vars(module).items()
        if name.isupper()
        and isinstance(value, (int, float, tuple, TwoLineLimits, TimeControlLimits))
        and not name.startswith("_")
        and not name.endswith("_PROVISIONS")
        and name in _own(module)
    }
)


@pytest.mark.parametrize("name", LIMITS)
def test_published_limit_is_used_by_what_it_is_for(name: str) -> None:
    """One that stands in the table alone would be taken for a rule that is kept."""
    assert name in USED, f"{name} is used nowhere; use it, or take it and its row out"


def test_each_number_of_the_table_is_a_limit_that_something_uses() -> None:
    """A row typed by hand could not be found missing: every number has a name."""
    values = {float(v) for m in PUBLISHED for v in vars(m).values() if isinstance(v, (int, float))}
    typed = [
        row.id
        for row in PROVISIONS.values()
        if isinstance(row.value, float)
        and not row.id.startswith(("a2-", "rtd-", "mkt-"))
        and row.value not in values
    ]

    assert typed == []
