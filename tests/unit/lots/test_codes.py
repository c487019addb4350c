"""What each code takes as proof, and for which fish none of its freezing is."""

import pytest

from rimewatch.lots.catalogue import Ambiguous, Species, find
from rimewatch.lots.codes import law_of
from rimewatch.vocabulary import Code, Option


def _may_be(name: str) -> tuple[Species, ...]:
    found = find(name)
    assert found is not None, name
    return found.choices if isinstance(found, Ambiguous) else (found,)


@pytest.mark.parametrize("name", ["koi", "ayu", "shirauo", "sawagani", "carp", "trout"])
def test_fish_of_fresh_water_is_proven_by_no_freezing_of_the_eu(name: str) -> None:
    """Regulation (EC) 853/2004, Annex III, VIII, III, D(2): "for parasites other than trematodes".

    As replaced by Regulation (EU) 1276/2011; the wording is from memory.
    """
    law = law_of(Code.EU_853_2004)

    for option in law.options:
        assert not law.counts(option, _may_be(name))
    assert any("trematodes" in why for why in law.why_none(_may_be(name)))


@pytest.mark.parametrize("name", ["koi", "dojo", "unagi", "hotaru ika", "ika"])
def test_japans_freezing_for_anisakis_proves_nothing_of_other_worms(name: str) -> None:
    """MHLW, from memory: flukes, Gnathostoma, and the larvae in firefly squid."""
    assert not law_of(Code.JP_MHLW).counts(Option.F20C_24H, _may_be(name))


@pytest.mark.parametrize("name", ["salmon", "madai", "hirame", "saba", "surume ika"])
@pytest.mark.parametrize("code", [Code.EU_853_2004, Code.JP_MHLW])
def test_fish_of_the_sea_is_proven_by_them(name: str, code: Code) -> None:
    """Nematodes are what that freezing is for."""
    assert law_of(code).counts(Option.F20C_24H, _may_be(name))


@pytest.mark.parametrize("name", ["koi", "hotaru ika", "madai"])
def test_the_food_code_names_no_fish_that_its_freezing_is_not_for(name: str) -> None:
    """FDA Food Code 2022, 3-402.11(A): "raw, raw-marinated, partially cooked … fish", all of it."""
    assert law_of(Code.US_FOOD_CODE_2022).counts(Option.F20C_168H, _may_be(name))
