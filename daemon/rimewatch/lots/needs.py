"""What a lot needs before it may be served raw, and why, with the provision.

Doubt counts against the fish: a name that is unknown or may be two fish needs
parasite destruction. A verdict here is evidence for a record; the person in charge
decides, and the local code and the licensed authority come first.

Pure: no clock, no I/O. Knows nothing of freezers; ``hold`` counts the cold.

References:
    [1] FDA Food Code 2022, 3-402.11 (parasite destruction), 3-402.12(C) (the supplier's
        statement on farmed fish, from memory), 3-401.11 (cooking), 3-202.11 (receiving),
        3-501.14(C) (what came in warm by other law).
    [2] FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed., chapters
        4 and 7 (from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from rimewatch.entries import ReceiveLot
from rimewatch.lots.catalogue import Ambiguous, find, nearest_names, perhaps_toxic
from rimewatch.lots.codes import US_FOOD_CODE, Law
from rimewatch.lots.species import Group, Parasite, Species
from rimewatch.rules.provision import FOOD_CODE, FOOD_CODE_EDITION, HAZARDS
from rimewatch.rules.provisions_food_code import (
    COOLING_FINAL_C,
    COOLING_RECEIVED_WARM_H,
    RECEIVING_LIMIT_C,
    RECEIVING_SHELLFISH_LIMIT_C,
    ROP_FISH_HOURS_H,
)
from rimewatch.rules.provisions_hazards import ROP_CHILLED_LIMIT_C, SCOMBROTOXIN_LINE_C
from rimewatch.vocabulary import Origin

_CHOICES_NAMED: Final = 3

NOT_EXEMPT: Final[Mapping[Group, str]] = MappingProxyType(
    {
        Group.TUNA_NOT_EXEMPT: "is not among the tuna exempted by name in 3-402.11(B)(3)",
        Group.FINFISH: "is not among the exempt fish",
        Group.SCALLOP_WITH_ROE: "is more than shucked adductor muscle, which alone is exempt "
        "by 3-402.11(B)(2), and is treated as not exempt",
        Group.ROE_IN_SKEIN: "is not exempt: only eggs removed from the skein and rinsed are, "
        "by 3-402.11(B)(5)",
        Group.CRUSTACEAN: "is a crustacean, which no exemption names",
        Group.CEPHALOPOD: "is not molluscan shellfish as the code defines it, so not exempt",
        Group.OTHER: "is an aquatic animal that no exemption names",
    }
)
"""Why a group is not exempt, as the middle of a sentence."""

_STAY_COLD: Final = (
    f"Scombrotoxin (histamine): neither freezing nor cooking removes it, only unbroken cold "
    f"prevents it, {SCOMBROTOXIN_LINE_C:.1f} °C (40 °F) or below ({HAZARDS}, chapter 7)."
)
_STILL_COLD: Final = "Exempt from parasite destruction is not exempt from cold."
_PERHAPS_HISTAMINE: Final = (
    "Scombrotoxin (histamine) cannot be ruled out while the species is not known "
    f"({HAZARDS}, chapter 7)."
)
_HARVEST_WATER: Final = (
    "Bacteria and viruses of the harvest water, such as Vibrio: neither exemption nor freezing "
    f"takes them away ({HAZARDS}, chapter 4)."
)
SHELLFISH: Final = frozenset({Group.MOLLUSCAN_SHELLFISH, Group.SCALLOP_WITH_ROE})
"""Other law allows these another temperature at receipt [1]."""

_SHELLFISH_LAW: Final = (
    f"Received above {RECEIVING_LIMIT_C:g} °C: the law for live molluscan shellfish may allow up "
    f"to {RECEIVING_SHELLFISH_LIMIT_C:g} °C inside (50 °F; shucked less), {FOOD_CODE} "
    f"{FOOD_CODE_EDITION}, 3-202.11(B); then it is to be at {COOLING_FINAL_C:g} °C or below within "
    f"{COOLING_RECEIVED_WARM_H:g} h (3-501.14(C))."
)
_PARASITES: Final[Mapping[Parasite, str]] = MappingProxyType(
    {
        Parasite.FLUKE: "of fresh water may carry flukes (Clonorchis, Opisthorchis, Metagonimus), "
        "which not every code’s freezing is made for (from memory)",
        Parasite.LUNG_FLUKE: "may carry lung flukes (Paragonimus), which not every code’s freezing "
        "is made for: the trade cooks it (from memory)",
        Parasite.GNATHOSTOMA: "may carry Gnathostoma, a roundworm of fresh water (from memory)",
        Parasite.KUDOA: "may carry Kudoa septempunctata, farmed fish too; freezing at −20 °C for "
        "4 h destroys it (health ministry of Japan, from memory)",
    }
)
"""What a fish may carry that its exemption, or a code's freezing, says nothing of."""
PACKED: Final = (
    f"Vacuum-packed (C. botulinum): chilled at {ROP_CHILLED_LIMIT_C:.1f} °C (38 °F) or below "
    f"(Hazards Guidance, ch. 13, from memory); packed here only if frozen throughout ({FOOD_CODE} "
    f"{FOOD_CODE_EDITION}, 3-502.12(C)), else out within {ROP_FISH_HOURS_H:g} h (F)."
)
"""What is to be kept of a lot packed in reduced oxygen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """What a lot needs. Evidence for the person in charge, never a promise of safety."""

    needs_destruction: bool
    why: str
    """One sentence, with the provision."""
    provision: str
    """Document, edition and paragraph, such as 'FDA Food Code 2022, 3-402.11(B)(3)'."""
    remaining_hazards: tuple[str, ...] = ()
    """What the verdict leaves open, a sentence each."""
    toxic_raw: tuple[Species, ...] = ()
    """What it is, or may be by its name, of the species that are never to be served raw."""
    statement_missing: bool = False
    """The exemption rests on the supplier's statement, and no reference to it is recorded."""
    receipt_limit_c: float = RECEIVING_LIMIT_C
    """The warmest at which it may be received (3-202.11(A), (B))."""
    receipt_too_warm: bool | None = None
    """Received warmer than that; None: not measured at receipt."""
    species: Species | None = None
    """The species the name means; None: unknown, or it may be several."""
    may_be: tuple[Species, ...] = ()
    """The species the name may mean; empty: unknown."""


def needs_of(
    entry: ReceiveLot, *, extra_species: Sequence[Species] = (), law: Law = US_FOOD_CODE
) -> Need:
    """Return what a lot needs, from what was recorded when it came in.

    ``farmed-pellet`` asserts that the supplier's written statement is on file, so the lot
    is exempt whatever the species; a reference that is missing is reported for follow-up.

    Args:
        entry: The receipt. ``celsius`` in degrees Celsius.
        extra_species: The shop's own species beside the catalogue's.
        law: What counts as proof where the shop is.

    Raises:
        ValueError: If a name in ``extra_species`` is taken by another species already.
    """
    found = find(entry.species, extra_species)
    needs, why, paragraph = _verdict(entry, found, law)
    limit_c = receipt_limit_c(found)
    too_warm = None if entry.celsius is None else entry.celsius > limit_c
    warm = entry.celsius is not None and entry.celsius > RECEIVING_LIMIT_C
    return Need(
        needs_destruction=needs,
        why=why,
        provision=paragraph,
        remaining_hazards=(
            *_hazards(found, exempt=entry.serve_raw and not needs, warm=warm),
            *((PACKED,) if entry.rop else ()),
        ),
        toxic_raw=_toxic_raw(entry, found),
        statement_missing=paragraph == law.farmed and not entry.statement.strip(),
        receipt_limit_c=limit_c,
        receipt_too_warm=too_warm,
        species=found if isinstance(found, Species) else None,
        may_be=_choices(found),
    )


def receipt_limit_c(found: Species | Ambiguous | None) -> float:
    """Return the warmest at which fish may be received, °C: for shellfish other law may hold."""
    choices = _choices(found)
    if choices and all(choice.group in SHELLFISH for choice in choices):
        return RECEIVING_SHELLFISH_LIMIT_C
    return RECEIVING_LIMIT_C


def _toxic_raw(entry: ReceiveLot, found: Species | Ambiguous | None) -> tuple[Species, ...]:
    """Return what a lot is, or may be by its name, of the fish never to be served raw."""
    if found is None:
        return perhaps_toxic(entry.species)
    return tuple(one for one in _choices(found) if one.toxin is not None and one.toxin.never_raw)


def _verdict(
    entry: ReceiveLot, found: Species | Ambiguous | None, law: Law
) -> tuple[bool, str, str]:
    """Return whether destruction is needed, why, and the paragraph it rests on."""
    who = found.label if isinstance(found, Species) else f"“{entry.species.strip()}”"
    if not entry.serve_raw:
        why = f"{who} is not served raw, so it needs no parasite destruction but must be cooked"
        return False, f"{why}: {law.cooking}.", law.cooking
    if isinstance(found, Species) and found.group in law.exempt:
        paragraph = law.exempt[found.group]
        return False, f"{who} is exempt: {paragraph}.", paragraph
    if entry.origin is Origin.FARMED_PELLET and law.farmed is not None:
        reference = "" if entry.statement.strip() else ", though no reference to it is recorded yet"
        why = (
            f"{who} is exempt as farmed on pellets without live parasites, of which the "
            f"supplier’s written statement is to be on file{reference}"
        )
        return False, f"{why}: {law.farmed}.", law.farmed
    return True, f"{_not_exempt(entry, found, law)}: {law.destruction}.", law.destruction


def _not_exempt(entry: ReceiveLot, found: Species | Ambiguous | None, law: Law) -> str:
    """Say why a lot is not exempt, and what to write where the name says too little."""
    written = entry.species.strip()
    if found is None:
        near = nearest_names(written)
        meant = f", perhaps {' or '.join(near)}" if near else ""
        return (
            f"“{written}” is not a name in the catalogue, and an unknown species is treated as "
            f"needing parasite destruction; record the scientific name{meant}"
        )
    if isinstance(found, Ambiguous):
        named = " or ".join(choice.label for choice in found.choices[:_CHOICES_NAMED])
        if any(choice.group in law.exempt for choice in found.choices):
            return (
                f"“{written}” does not say exactly which species or form it is, so it is treated "
                f"as needing parasite destruction; record which, such as {named}"
            )
        more = " or another" if len(found.choices) > _CHOICES_NAMED else ""
        return (
            f"“{written}” may be {named}{more}, none of them exempt, so it needs parasite "
            "destruction"
        )
    farmed = (
        ", and was farmed without a statement that its feed is pellets free of live parasites"
        if entry.origin is Origin.FARMED_OTHER
        else ""
    )
    because = NOT_EXEMPT[found.group] if law is US_FOOD_CODE else f"is not exempt by {law.name}"
    return f"{found.label} {because}{farmed}, so it needs parasite destruction"


def _hazards(found: Species | Ambiguous | None, *, exempt: bool, warm: bool) -> tuple[str, ...]:
    """Return what the verdict on parasites leaves open."""
    if found is None:
        return (_PERHAPS_HISTAMINE,)
    choices = _choices(found)
    hazards: list[str] = [
        f"{choice.label}: {choice.notes}"
        for choice in choices
        if choice.notes and (choice.toxin is not None or choice is found)
    ]
    carried = dict.fromkeys(one for choice in choices for one in choice.parasites)
    for parasite in carried:
        if parasite in _PARASITES and (exempt or parasite is not Parasite.KUDOA):
            of = next(choice for choice in choices if parasite in choice.parasites)
            hazards.append(f"{of.label} {_PARASITES[parasite]}.")
    if any(choice.forms_scombrotoxin for choice in choices):
        hazards.append(f"{_STAY_COLD} {_STILL_COLD}" if exempt else _STAY_COLD)
    if any(choice.group in SHELLFISH for choice in choices):
        hazards.append(_HARVEST_WATER)
        if warm and all(choice.group in SHELLFISH for choice in choices):
            hazards.append(_SHELLFISH_LAW)
    return tuple(hazards)


def _choices(found: Species | Ambiguous | None) -> tuple[Species, ...]:
    if found is None:
        return ()
    return found.choices if isinstance(found, Ambiguous) else (found,)
