"""A shop's own species: what the catalogue would refuse, and the values the service takes."""

from collections.abc import Iterator, Sequence

from rimewatch.config.problems import Problem, show
from rimewatch.config.table import taken
from rimewatch.config.tables import SpeciesTable
from rimewatch.config.translate import Row
from rimewatch.lots.catalogue import catalogue_with, key_of
from rimewatch.lots.own_species import species_from
from rimewatch.lots.species import Species
from rimewatch.shop import ShopSpecies


def check_species(rows: Sequence[Row[SpeciesTable]]) -> Iterator[Problem]:
    """Yield every species that would exempt what is not exempt, or takes another's name."""
    kept: list[Species] = []
    for row in rows:
        table = row.table
        if table is None or row.wrong:
            continue
        try:
            species = species_from(species_of(table))
        except ValueError as refused:
            yield row.place.problem(
                "group", show(table.group.value), f"expected another: {refused}"
            )
            continue
        try:
            catalogue_with((*kept, species))
        except ValueError:
            yield from _taken(row, species, kept)
            continue
        kept.append(species)


def species_of(table: SpeciesTable) -> ShopSpecies:
    """Return the values of a table."""
    return taken(ShopSpecies, table, group=table.group.value)


def _taken(row: Row[SpeciesTable], species: Species, kept: Sequence[Species]) -> Iterator[Problem]:
    """Yield each name that means another fish already."""
    index = catalogue_with(kept).index
    keys = {
        "common": [species.common],
        "scientific": [species.scientific],
        "other_names": list(species.other_names),
    }
    for key, names in keys.items():
        for number, name in enumerate(names):
            if key_of(name) in index:
                yield row.place.problem(
                    f"{key}[{number}]" if key == "other_names" else key,
                    show(name),
                    "expected a name of its own: the catalogue's species need no [[species]]",
                    f"is {show(name)}, which names another fish already",
                )
