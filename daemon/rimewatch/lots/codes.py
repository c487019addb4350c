"""What counts as proof that parasites are destroyed, by the code that a shop is under.

A code says which freezing options count, which fish needs none, and so which supplier's
statement replaces a record. Everything else is information. Pure values.

References:
    [1] FDA Food Code 2022, 3-402.11(A), (B); 3-402.12(B) (from memory).
    [2] Regulation (EC) 853/2004, Annex III, Section VIII, Chapter III, D, as replaced by
        Regulation (EU) 1276/2011: the numbers were read, the wording is from memory. It asks
        for all parts of the product, has no option of seven days, names fin fish and
        cephalopods, so molluscan shellfish is outside it, and gives its temperatures for
        parasites other than trematodes.
    [3] Ministry of Health, Labour and Welfare of Japan, guidance on Anisakis: −20 °C to the
        centre for 24 h. It exempts no fish; shellfish carries no Anisakis. For firefly squid
        it asks for −30 °C for four days, or that it is gutted.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

from rimewatch.lots.species import EXEMPTIONS, Group, Parasite, Species
from rimewatch.rules.provision import FOOD_CODE, FOOD_CODE_EDITION
from rimewatch.rules.provisions_elsewhere import (
    EU_FREEZE_20C_C,
    EU_FREEZE_20C_H,
    EU_FREEZE_35C_C,
    EU_FREEZE_35C_H,
    EU_HEAT_CORE_C,
    EU_HEAT_CORE_MIN,
    JAPAN_FIREFLY_SQUID_C,
    JAPAN_FIREFLY_SQUID_H,
    JAPAN_FREEZE_C,
    JAPAN_FREEZE_H,
    JAPAN_HEAT_C,
    JAPAN_HEAT_LOW_C,
    JAPAN_HEAT_LOW_MIN,
)
from rimewatch.vocabulary import Code, Option

_US: Final = f"{FOOD_CODE} {FOOD_CODE_EDITION}"
_EU: Final = "Regulation (EC) 853/2004, Annex III, Section VIII, Chapter III, D"
_JP: Final = "MHLW of Japan, guidance on Anisakis"


@dataclass(frozen=True, slots=True, kw_only=True)
class Law:
    """What a code takes as proof. A reading of it: the licensed authority comes first."""

    code: Code
    name: str
    """How people call it, as the object of a sentence: 'the FDA Food Code 2022'."""
    options: Mapping[Option, str]
    """The freezing options that count, and the paragraph of each."""
    exempt: Mapping[Group, str]
    """The groups that need no freezing, and the paragraph of each."""
    farmed: str | None
    """The paragraph that exempts farmed fish by a statement on its feed; None: none does."""
    destruction: str
    """Where it asks for freezing."""
    cooking: str
    """Where it speaks of fish that is not eaten raw."""
    statement: str
    """Where a supplier's statement on freezing replaces the shop's own record."""
    no_option_for: Mapping[str, str] = field(default_factory=dict)
    """Species, by scientific name, for which none of the options is enough, and why."""
    not_made_for: Mapping[Parasite, str] = field(default_factory=dict)
    """Parasites for which its freezing is not made, and why: of fish that may carry them none of
    the options is a proof."""

    def counts(self, option: Option | None, may_be: Sequence[Species] = ()) -> bool:
        """Return whether freezing by an option is a proof for a fish.

        Args:
            option: The option; None: a statement that names none proves nothing.
            may_be: The species that its name may mean: each must be one it is enough for.
        """
        if option is None or option not in self.options:
            return False
        return not self.why_none(may_be)

    def why_none(self, may_be: Sequence[Species]) -> tuple[str, ...]:
        """Return why none of the options is a proof for a fish; empty: they are."""
        reasons = [
            reason
            for species in may_be
            for reason in (
                self.no_option_for.get(species.scientific),
                *(self.not_made_for.get(parasite) for parasite in species.parasites),
            )
            if reason is not None
        ]
        return tuple(dict.fromkeys(reasons))


US_FOOD_CODE: Final = Law(
    code=Code.US_FOOD_CODE_2022,
    name=f"the {_US}",
    options=MappingProxyType(
        {
            Option.F20C_168H: f"{_US}, 3-402.11(A)(1)",
            Option.F35C_15H: f"{_US}, 3-402.11(A)(2)",
            Option.F35C_THEN_20C_24H: f"{_US}, 3-402.11(A)(3)",
        }
    ),
    exempt=MappingProxyType({group: f"{_US}, {where}" for group, where in EXEMPTIONS.items()}),
    farmed=f"{_US}, 3-402.11(B)(4)",
    destruction=f"{_US}, 3-402.11(A)",
    cooking=f"{_US}, 3-401.11",
    statement=f"{_US}, 3-402.12(B)",
)
EU: Final = Law(
    code=Code.EU_853_2004,
    name="Regulation (EC) 853/2004",
    options=MappingProxyType(
        {
            Option.F20C_24H: (
                f"{_EU}(2), all parts at −{-EU_FREEZE_20C_C:g} °C for {EU_FREEZE_20C_H:g} h"
            ),
            Option.F35C_15H: (
                f"{_EU}(2), all parts at −{-EU_FREEZE_35C_C:g} °C for {EU_FREEZE_35C_H:g} h"
            ),
        },
    ),
    exempt=MappingProxyType(
        {
            Group.MOLLUSCAN_SHELLFISH: f"{_EU}(1), of fin fish and cephalopods alone",
            Group.SCALLOP_ADDUCTOR: f"{_EU}(1), of fin fish and cephalopods alone",
            Group.SCALLOP_WITH_ROE: f"{_EU}(1), of fin fish and cephalopods alone",
        }
    ),
    farmed=f"{_EU}(3)(d)",
    destruction=f"{_EU}(1)",
    cooking=f"{_EU}(3)(a), {EU_HEAT_CORE_C:g} °C in the core for {EU_HEAT_CORE_MIN:g} min",
    statement=f"{_EU}(4)",
    not_made_for=MappingProxyType(
        dict.fromkeys(
            (Parasite.FLUKE, Parasite.LUNG_FLUKE),
            "fish that lived in fresh water may carry flukes (trematodes), and its temperatures "
            "and times are for parasites other than those",
        )
    ),
)
JAPAN: Final = Law(
    code=Code.JP_MHLW,
    name="Japan’s guidance on Anisakis",
    options=MappingProxyType(
        {
            Option.F20C_24H: (
                f"{_JP}, −{-JAPAN_FREEZE_C:g} °C to the centre for {JAPAN_FREEZE_H:g} h"
            )
        }
    ),
    exempt=MappingProxyType(
        {
            Group.MOLLUSCAN_SHELLFISH: f"{_JP}, of fish and squid",
            Group.SCALLOP_ADDUCTOR: f"{_JP}, of fish and squid",
            Group.SCALLOP_WITH_ROE: f"{_JP}, of fish and squid",
        }
    ),
    farmed=None,
    destruction=f"{_JP}, prevention",
    cooking=(
        f"{_JP}, {JAPAN_HEAT_C:g} °C, or {JAPAN_HEAT_LOW_C:g} °C for {JAPAN_HEAT_LOW_MIN:g} min"
    ),
    statement=f"{_JP}, prevention",
    no_option_for=MappingProxyType(
        {
            "Watasenia scintillans": f"firefly squid is to be frozen at "
            f"−{-JAPAN_FIREFLY_SQUID_C:g} °C or below for {JAPAN_FIREFLY_SQUID_H:g} h, or gutted"
        }
    ),
    not_made_for=MappingProxyType(
        dict.fromkeys(
            (Parasite.FLUKE, Parasite.LUNG_FLUKE, Parasite.GNATHOSTOMA),
            "fish that lived in fresh water may carry flukes or Gnathostoma, and its freezing is "
            "for Anisakis",
        )
    ),
)

_LAWS: Final = {law.code: law for law in (US_FOOD_CODE, EU, JAPAN)}


def law_of(code: Code) -> Law:
    """Return what a code takes as proof.

    >>> law_of(Code.EU_853_2004).counts(Option.F20C_168H)
    False
    """
    return _LAWS[code]
