"""What a species is, to a shop that must know whether its parasites have to be destroyed.

Pure values. Knows no particular fish (``species_tuna``, ``species_salmon``, ``species_silver``,
``species_white`` and ``species_other`` list them) and decides about no lot (``needs`` does).

References:
    [1] FDA Food Code 2022, 3-402.11(B), with the definitions of 1-201.10(B).
    [2] FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed., chapter 6,
        natural toxins: ciguatera, gempylotoxin, tetrodotoxin (from memory). That the blood of
        eels is toxic raw: common knowledge of the trade, no source.
    [3] The same guidance, chapter 5; FAO Fisheries Technical Paper 444; the health ministry of
        Japan on Kudoa septempunctata, Gnathostoma and Paragonimus. All from memory.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from rimewatch.rules.provisions_food_code import EXEMPT_TUNA_SPECIES


class Group(StrEnum):
    """What a species counts as under the section on parasite destruction [1]."""

    TUNA_EXEMPT = "tuna-exempt"
    TUNA_NOT_EXEMPT = "tuna-not-exempt"
    FINFISH = "finfish"
    MOLLUSCAN_SHELLFISH = "molluscan-shellfish"
    SCALLOP_ADDUCTOR = "scallop-adductor"
    SCALLOP_WITH_ROE = "scallop-with-roe"
    ROE_RINSED = "roe-rinsed"
    ROE_IN_SKEIN = "roe-in-skein"
    CRUSTACEAN = "crustacean"
    CEPHALOPOD = "cephalopod"
    OTHER = "other"

    @property
    def exemption(self) -> str | None:
        """The paragraph that exempts the group from parasite destruction; None: none does."""
        return EXEMPTIONS.get(self)


class Toxin(StrEnum):
    """What is in a fish that neither freezing nor cold takes away."""

    BLOOD = "toxic-blood"
    """Ichthyotoxin: toxic raw, and destroyed by cooking."""
    TETRODOTOXIN = "tetrodotoxin"
    """Of pufferfish: neither freezing nor cooking destroys it."""
    GEMPYLOTOXIN = "gempylotoxin"
    """The oil of escolar and oilfish, which purges: neither freezing nor cooking removes it."""
    CIGUATERA = "ciguatera"
    """Of some reef fish, by where they were caught."""
    TETRAMINE = "tetramine"
    """In the salivary glands of whelks, which are cut out."""
    LIVER = "toxic-liver"
    """Of large groupers' kin, whose liver holds too much vitamin A."""
    PALYTOXIN = "palytoxin"
    """Of some parrotfish, by where they were caught."""

    @property
    def never_raw(self) -> bool:
        """Whether every fish of the species has it, so that none is to be served raw."""
        return self in {Toxin.BLOOD, Toxin.TETRODOTOXIN, Toxin.GEMPYLOTOXIN}


class Parasite(StrEnum):
    """What the wild fish of a species may carry [3]."""

    NEMATODE = "nematode"
    """Anisakids of the sea: what the freezing of every code is for."""
    TAPEWORM = "tapeworm"
    """Dibothriocephalus of salmon, trout and pike."""
    FLUKE = "freshwater-fluke"
    """Clonorchis, Opisthorchis, Metagonimus, of fish that lived in fresh water."""
    LUNG_FLUKE = "lung-fluke"
    """Paragonimus, of freshwater crabs and crayfish."""
    GNATHOSTOMA = "gnathostoma"
    """Of eels, loach, catfish, snakeheads and frogs."""
    KUDOA = "kudoa"
    """Kudoa septempunctata: not of the feed, so farmed fish has it too."""


EXEMPTIONS: Final[Mapping[Group, str]] = MappingProxyType(
    {
        Group.MOLLUSCAN_SHELLFISH: "3-402.11(B)(1)",
        Group.SCALLOP_ADDUCTOR: "3-402.11(B)(2)",
        Group.TUNA_EXEMPT: "3-402.11(B)(3)",
        Group.ROE_RINSED: "3-402.11(B)(5)",
    }
)
"""The exempt groups and their paragraphs [1]. (B)(4), farmed fish, is a matter of origin."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Species:
    """A fish, or a form in which fish is sold, and every name the trade gives it.

    For a form or a family, ``scientific`` is the taxon and the form ("Ostreidae",
    "Oncorhynchus, rinsed eggs").

    Raises:
        ValueError: If a name is empty, or the fish is called exempt tuna and is not on
            the section's list, or is on it and called something else.
    """

    common: str
    scientific: str
    other_names: tuple[str, ...] = ()
    """In English, and older scientific ones."""
    japanese: tuple[str, ...] = ()
    """In Latin letters."""
    spanish: tuple[str, ...] = ()
    french: tuple[str, ...] = ()
    group: Group
    forms_scombrotoxin: bool
    notes: str = ""
    toxin: Toxin | None = None
    """None: none that is known here."""
    parasites: tuple[Parasite, ...] = ()
    """Of the wild fish; empty: none that is known here, which is no proof that it has none."""

    def __post_init__(self) -> None:
        """Refuse what would exempt a fish that the section does not exempt."""
        if not all(name.strip() for name in self.names):
            raise ValueError(
                f"species {self.common or self.scientific!r} has an empty name among {self.names}; "
                "give each name at least one letter"
            )
        listed = self.scientific in EXEMPT_TUNA_SPECIES
        if listed != (self.group is Group.TUNA_EXEMPT):
            raise ValueError(
                f"species {self.scientific!r} has group {self.group.value!r}; "
                f"{Group.TUNA_EXEMPT.value!r} is for {', '.join(EXEMPT_TUNA_SPECIES)}, and for "
                "these alone (3-402.11(B)(3))"
            )

    @property
    def names(self) -> tuple[str, ...]:
        """Every name in full, the common one and the scientific one first."""
        return (
            self.common,
            self.scientific,
            *self.other_names,
            *self.japanese,
            *self.spanish,
            *self.french,
        )

    @property
    def label(self) -> str:
        """How records show it, and a way to write it: 'Yellowfin tuna (Thunnus albacares)'."""
        return f"{self.common[0].upper()}{self.common[1:]} ({self.scientific})"

    @property
    def is_exempt(self) -> bool:
        """Whether the species needs no parasite destruction, whatever its origin."""
        return self.group.exemption is not None
