"""One line of the catalogue: a fish, its names by language, and what is to be known of it.

Pure. The names of a language are written as one string, commas between them, so that a fish
takes a line or two and a reader finds it.

References:
    [1] Names: usage of the trade, from memory. Scientific names as in general use.
"""

from typing import Final

from rimewatch.lots.species import Group, Parasite, Species, Toxin

WORM: Final = (Parasite.NEMATODE,)
WORM_AND_TAPE: Final = (Parasite.NEMATODE, Parasite.TAPEWORM)
FRESH: Final = (Parasite.FLUKE,)
FRESH_AND_TAPE: Final = (Parasite.FLUKE, Parasite.TAPEWORM)
FRESH_AND_GNATHOSTOMA: Final = (Parasite.FLUKE, Parasite.GNATHOSTOMA)

TOXIC_BLOOD: Final = "Its blood is toxic raw: cook it."
PUFFER: Final = (
    "It carries tetrodotoxin, which neither freezing nor cooking destroys: only fish from a "
    "supplier whom the authority allows to cut it, and never raw from this record."
)
CIGUATERA: Final = (
    "From warm reefs large ones can carry ciguatera, which neither cold nor cooking removes."
)
PURGES: Final = "Its oil purges (gempylotoxin), and freezing does not change that."


def row(
    common: str,
    scientific: str,
    *english: str,
    ja: str = "",
    es: str = "",
    fr: str = "",
    group: Group = Group.FINFISH,
    histamine: bool = False,
    parasites: tuple[Parasite, ...] = (),
    toxin: Toxin | None = None,
    notes: str = "",
) -> Species:
    """Return a species from its line.

    Args:
        common: Its first English name.
        scientific: The species, or the taxon and the form in which it is sold.
        english: Further English names, and older scientific ones.
        ja: Japanese names in Latin letters, commas between them.
        es: Spanish names, likewise.
        fr: French names, likewise.
        group: What it counts as under the section on parasite destruction.
        histamine: Whether it forms scombrotoxin.
        parasites: What the wild fish may carry.
        toxin: What neither cold nor freezing takes away.
        notes: What else a buyer must know.

    Raises:
        ValueError: As :class:`Species` does.
    """
    return Species(
        common=common,
        scientific=scientific,
        other_names=english,
        japanese=_listed(ja),
        spanish=_listed(es),
        french=_listed(fr),
        group=group,
        forms_scombrotoxin=histamine,
        parasites=parasites,
        toxin=toxin,
        notes=notes or _usual_note(toxin),
    )


def _listed(names: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in names.split(",")) if names else ()


def _usual_note(toxin: Toxin | None) -> str:
    return "" if toxin is None else _NOTES[toxin]


_NOTES: Final = {
    Toxin.BLOOD: TOXIC_BLOOD,
    Toxin.TETRODOTOXIN: PUFFER,
    Toxin.GEMPYLOTOXIN: PURGES,
    Toxin.CIGUATERA: CIGUATERA,
    Toxin.TETRAMINE: "Its salivary glands hold tetramine, which neither freezing nor cooking "
    "destroys: they are cut out whole before it is served.",
    Toxin.LIVER: "Its liver holds so much vitamin A that it is not eaten; the flesh is.",
    Toxin.PALYTOXIN: "Large ones have carried a toxin like palytoxin, which neither cold nor "
    "cooking removes.",
}
