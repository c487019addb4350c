"""How long a shop itself keeps a species on ice: a matter of quality, and its own to say."""

import pytest

from rimewatch.lots.own_species import own_species, species_from, use_by_ice_days
from rimewatch.shop import ShopSpecies


def whitefish(scientific: str, days: float | None) -> ShopSpecies:
    """Return a species of the shop's."""
    return ShopSpecies(
        common="Bay whitefish",
        scientific=scientific,
        other_names=(),
        group="finfish",
        forms_scombrotoxin=False,
        use_by_ice_days=days,
    )


LIMITED = whitefish("Coregonus exemplaris", 9.0)
WITHOUT = whitefish("Coregonus alius", None)


@pytest.mark.parametrize(
    ("which", "days"),
    [
        pytest.param(LIMITED, 9.0, id="its own"),
        pytest.param(WITHOUT, 12.0, id="it has none of its own"),
        pytest.param(whitefish("Coregonus tertius", None), 12.0, id="not the shop's"),
    ],
)
def test_limit_is_the_species_own_or_else_the_usual_one(which: ShopSpecies, days: float) -> None:
    """One species' limit is no other's."""
    own = (LIMITED, WITHOUT)

    assert use_by_ice_days(own, species_from(which), 12.0) == days
    assert use_by_ice_days(own, None, 12.0) == 12.0
    assert use_by_ice_days((), species_from(which), None) is None


def test_shops_species_keep_their_order_and_their_names() -> None:
    """The catalogue shows them as the shop wrote them."""
    assert [item.scientific for item in own_species((LIMITED, WITHOUT))] == [
        "Coregonus exemplaris",
        "Coregonus alius",
    ]
