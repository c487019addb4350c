"""The shop's own fish, its use-by, how long it keeps records, and entries over the broker."""

from collections.abc import Callable

import pytest

from rimewatch.config import Problem, load_shop
from rimewatch.lots.catalogue import find
from rimewatch.lots.own_species import own_species, use_by_ice_days
from rimewatch.lots.species import Group, Species

Configuration = Callable[..., str]
Refused = Callable[..., tuple[Problem, ...]]

WHITEFISH = """
[[species]]
common = "ocean whitefish"
scientific = "Caulolatilus princeps"
other_names = ["pez blanco"]
group = "finfish"
forms_scombrotoxin = true
use_by_ice_days = 9.0
"""


def test_own_species_is_found_by_each_of_its_names(configuration: Configuration) -> None:
    """What the shop wrote is what its lots are."""
    shop = load_shop(configuration(WHITEFISH))
    extra = own_species(shop.species)

    for name in ("ocean whitefish", "C. princeps", "Pez Blanco"):
        found = find(name, extra)
        assert isinstance(found, Species)
        assert (found.scientific, found.group) == ("Caulolatilus princeps", Group.FINFISH)
    assert find("ocean whitefish") is None, "the catalogue itself does not have it"


def test_own_species_has_a_use_by_of_its_own_before_the_shops(
    configuration: Configuration,
) -> None:
    """Nine days for it, ten for the rest, none where nobody set one."""
    shop = load_shop(configuration(WHITEFISH, shop={"use_by_ice_days": "10"}))
    (own,) = own_species(shop.species)
    other = find("yellowfin tuna")
    assert isinstance(other, Species)

    assert use_by_ice_days(shop.species, own, shop.use_by_ice_days) == 9.0
    assert use_by_ice_days(shop.species, other, shop.use_by_ice_days) == 10.0
    assert use_by_ice_days(shop.species, None, shop.use_by_ice_days) == 10.0
    assert use_by_ice_days((), other, None) is None


@pytest.mark.parametrize(
    ("change", "path", "value", "cure"),
    [
        (('"finfish"', '"finfsh"'), "species[0].group", '"finfsh"', 'did you mean "finfish"?'),
        (('"finfish"', '"tuna-exempt"'), "species[0].group", '"tuna-exempt"', "3-402.11(B)(3)"),
        (
            ('"ocean whitefish"', '"tuna"'),
            "species[0].common",
            '"tuna"',
            "expected a name of its own",
        ),
        (
            ('["pez blanco"]', '["pez blanco", "Kihada"]'),
            "species[0].other_names[1]",
            '"Kihada"',
            "expected a name of its own",
        ),
        (("= true", '= "yes"'), "species[0].forms_scombrotoxin", '"yes"', "true or false"),
        (("= 9.0", "= 0"), "species[0].use_by_ice_days", "0", "more than 0"),
        (('common = "ocean whitefish"\n', ""), "species[0].common", "missing", "a name of its own"),
    ],
)
def test_own_species_with_a_flaw_is_refused(
    configuration: Configuration,
    refused: Refused,
    change: tuple[str, str],
    path: str,
    value: str,
    cure: str,
) -> None:
    """No fish is exempted by a slip, and no name means two fish."""
    (problem,) = refused(configuration(WHITEFISH.replace(*change)))

    assert (problem.path, problem.value) == (path, value)
    assert cure in problem.expected


def test_second_species_of_one_name_is_refused(
    configuration: Configuration, refused: Refused
) -> None:
    """The later of two is at fault, by its name."""
    again = WHITEFISH.replace("Caulolatilus princeps", "Caulolatilus affinis")

    problems = refused(configuration(WHITEFISH + again))

    assert [p.path for p in problems] == ["species[1].common", "species[1].other_names[0]"]


def test_lot_records_are_kept_90_days_or_longer(
    configuration: Configuration, refused: Refused
) -> None:
    """FDA Food Code 2022, 3-402.12(A): 90 calendar days beyond the last sale."""
    assert load_shop(configuration()).keep_days == 90
    assert load_shop(configuration("[records]\nkeep_days = 365")).keep_days == 365
    (problem,) = refused(configuration("[records]\nkeep_days = 89"))
    assert (problem.path, problem.value) == ("records.keep_days", "89")


def test_entries_over_the_broker_are_off_unless_asked_for(configuration: Configuration) -> None:
    """Whoever may publish there is believed, so nobody may by default."""
    assert load_shop(configuration()).broker.entries is False
    broker = load_shop(configuration(broker={"entries": "true"})).broker
    assert broker.entries is True
    assert broker.entry_topic == "rimewatch/rimewatch/entry"
