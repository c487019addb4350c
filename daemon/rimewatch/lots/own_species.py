"""A shop's own species, from its configuration to those the catalogue works with. Pure."""

from collections.abc import Sequence
from functools import lru_cache

from rimewatch.lots.species import Group, Species
from rimewatch.shop import ShopSpecies


def species_from(own: ShopSpecies) -> Species:
    """Return one species of a shop's.

    Raises:
        ValueError: If it would exempt a fish that the Food Code does not, has an empty
            name, or is of a group that does not exist.
    """
    return Species(
        common=own.common,
        scientific=own.scientific,
        other_names=own.other_names,
        group=Group(own.group),
        forms_scombrotoxin=own.forms_scombrotoxin,
    )


@lru_cache(maxsize=8)
def own_species(own: tuple[ShopSpecies, ...]) -> tuple[Species, ...]:
    """Return all of a shop's species, for ``needs_of`` and ``find``; the same for the same.

    Raises:
        ValueError: As in :func:`species_from`.
    """
    return tuple(species_from(item) for item in own)


def use_by_ice_days(
    own: Sequence[ShopSpecies], species: Species | None, usual: float | None
) -> float | None:
    """Return the shop's own limit of days on ice for a species; None: it has set none.

    A matter of quality: it says nothing of safety.
    """
    if species is not None:
        for item in own:
            if item.scientific == species.scientific and item.use_by_ice_days is not None:
                return item.use_by_ice_days
    return usual
