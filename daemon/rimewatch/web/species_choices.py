"""The fish to choose from where a species is typed: by any of its names, in a list of the browser.

A browser that knows lists offers what is like the letters typed, by the label or by any other
name; one that does not takes what is typed.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

from rimewatch.lots.catalogue import Species, catalogue_with
from rimewatch.lots.own_species import own_species
from rimewatch.shop import Shop

_NAMES_MOST: Final = 6
"""Other names beside a label: more are cut off on a phone."""


def species_choices(shop: Shop) -> Sequence[tuple[str, str]]:
    """Return every fish a shop may receive: what is written down, and its other names."""
    return _choices(own_species(shop.species))


@lru_cache(maxsize=8)
def _choices(own: tuple[Species, ...]) -> tuple[tuple[str, str], ...]:
    fish = catalogue_with(own).species
    return tuple(sorted((one.label, ", ".join(one.names[2:][:_NAMES_MOST])) for one in fish))
