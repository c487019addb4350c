"""The names of fish: which one a name means, and which names say too little."""

import pytest

from rimewatch.lots.catalogue import (
    CATALOGUE,
    SPECIES,
    Ambiguous,
    Group,
    Species,
    catalogue_with,
    find,
    key_of,
)
from rimewatch.lots.needs import NOT_EXEMPT
from rimewatch.lots.species import EXEMPTIONS, Toxin
from rimewatch.lots.species_vague import VAGUE_NAMES
from rimewatch.rules.provisions_food_code import EXEMPT_TUNA_SPECIES

# FDA Food Code 2022, 3-402.11(B)(3), written out again here, apart from the service's own copy.
EXEMPT_TUNA = {
    "Thunnus alalunga",
    "Thunnus albacares",
    "Thunnus atlanticus",
    "Thunnus maccoyii",
    "Thunnus obesus",
    "Thunnus thynnus",
}


def _house_fish(**changes: object) -> Species:
    values: dict[str, object] = {
        "common": "moon lanternfish",
        "scientific": "Fictus lunaris",
        "other_names": ("house special",),
        "group": Group.FINFISH,
        "forms_scombrotoxin": False,
    }
    return Species(**(values | changes))  # type: ignore[arg-type]


VAGUE = [(name, meant) for names, meant in VAGUE_NAMES for name in names]


def _meant(name: str) -> tuple[Species, ...]:
    found = find(name)
    if found is None:
        return ()
    return found.choices if isinstance(found, Ambiguous) else (found,)


@pytest.mark.parametrize("species", SPECIES, ids=lambda s: s.common)
def test_species_by_any_of_its_names_is_found(species: Species) -> None:
    """Whichever of a fish's names is written on the label, that fish is found by it.

    Where other fish have the name too, they are found as well and nothing is settled.
    """
    for name in species.names:
        assert species in _meant(name), name
    assert find(species.scientific) is species


@pytest.mark.parametrize("species", SPECIES, ids=lambda s: s.common)
def test_species_name_written_carelessly_is_found(species: Species) -> None:
    """Capitals, doubled and missing spaces, hyphens and accents are no hindrance."""
    for name in species.names:
        accented = name.replace("a", "á").replace("o", "ō")
        for written in (
            f"  {name.upper()} ",
            name.replace(" ", "   "),
            name.replace(" ", "-"),
            name.replace(" ", ""),
            accented,
        ):
            assert _meant(written) == _meant(name), written


@pytest.mark.parametrize("species", SPECIES, ids=lambda s: s.common)
def test_species_label_read_back_is_the_same_species(species: Species) -> None:
    """What the record shows, "Common (Scientific)", may be written at the next receipt."""
    assert find(species.label) is species


def test_no_two_fish_have_one_scientific_name_or_one_first_name() -> None:
    """What records show of a fish is its own."""
    for names in ([s.common for s in SPECIES], [s.scientific for s in SPECIES]):
        assert len({key_of(name) for name in names}) == len(SPECIES)


def test_name_that_several_fish_share_settles_nothing() -> None:
    """A "hagatsuo" is one of three bonitos, a "halibut" of three flatfish: it is asked about."""
    for name in ("hagatsuo", "halibut", "albacora", "rockfish", "moonfish", "atún blanco"):
        assert isinstance(find(name), Ambiguous), name


@pytest.mark.parametrize(
    ("name", "scientific"),
    [
        # Usage of the trade, from memory; written apart from the catalogue, in four languages.
        ("torafugu", "Takifugu rubripes"), ("ma fugu", "Takifugu porphyreus"),
        ("hamo", "Muraenesox cinereus"), ("daggertooth eel", "Muraenesox cinereus"),
        ("baramutsu", "Ruvettus pretiosus"), ("bluefish", "Pomatomus saltatrix"),
        ("kurokajiki", "Makaira nigricans"), ("blue marlin", "Makaira nigricans"),
        ("opelu", "Decapterus macarellus"), ("maru aji", "Decapterus maruadsi"),
        ("urume iwashi", "Etrumeus micropus"), ("tobiuo", "Exocoetidae"),
        ("shirauo", "Salangichthys microdon"), ("koi", "Cyprinus carpio"),
        ("hokke", "Pleurogrammus monopterygius"), ("mandai", "Lampris guttatus"),
        ("onaga", "Etelis coruscans"), ("opakapaka", "Pristipomoides filamentosus"),
        ("tairagi", "Atrina pectinata"), ("iwana", "Salvelinus leucomaenis"),
        ("isaki", "Parapristipoma trilineatum"), ("amadai", "Branchiostegus japonicus"),
        ("kue", "Epinephelus"), ("ishidai", "Oplegnathus fasciatus"),
        ("mebaru", "Sebastes"), ("kinki", "Sebastolobus macrochir"),
        ("ainame", "Hexagrammos otakii"),
        ("okoze", "Inimicus japonicus"), ("tachiuo", "Trichiurus lepturus"),
        ("kibinago", "Spratelloides gracilis"), ("ayu", "Plecoglossus altivelis"),
        ("aoyagi", "Mactra chinensis"), ("sazae", "Turbo cornutus"),
        ("shako", "Oratosquilla oratoria"),
        ("hotaru ika", "Watasenia scintillans"), ("sawagani", "Geothelphusa dehaani"),
        ("lubina", "Dicentrarchus labrax"), ("rodaballo", "Scophthalmus maximus"),
        ("boquerón", "Engraulis encrasicolus"), ("jurel", "Trachurus trachurus"),
        ("bonito del norte", "Thunnus alalunga"), ("pez limón", "Seriola dumerili"),
        ("besugo", "Pagellus bogaraveo"), ("cigala", "Nephrops norvegicus"),
        ("bar", "Dicentrarchus labrax"), ("daurade royale", "Sparus aurata"),
        ("cabillaud", "Gadus morhua"), ("lieu noir", "Pollachius virens"),
        ("saint-pierre", "Zeus faber"), ("espadon", "Xiphias gladius"), ("bulot", "Buccinidae"),
        ("oursin", "Echinoidea"), ("encornet", "Loligo vulgaris"), ("lotte", "Lophius litulon"),
    ],
)  # fmt: skip
def test_names_of_the_trade_mean_their_fish(name: str, scientific: str) -> None:
    """In English, romanised Japanese, Spanish and French."""
    found = find(name)

    assert isinstance(found, Species)
    assert found.scientific == scientific


@pytest.mark.parametrize(
    ("name", "toxin"),
    [
        ("fugu", Toxin.TETRODOTOXIN), ("blowfish", Toxin.TETRODOTOXIN),
        ("shosai fugu", Toxin.TETRODOTOXIN), ("harisenbon", Toxin.TETRODOTOXIN),
        ("hamo", Toxin.BLOOD), ("utsubo", Toxin.BLOOD), ("anago", Toxin.BLOOD),
        ("oilfish", Toxin.GEMPYLOTOXIN), ("escolar", Toxin.GEMPYLOTOXIN),
    ],
)  # fmt: skip
def test_fish_that_is_toxic_raw_is_known_by_its_names(name: str, toxin: Toxin) -> None:
    """FDA Hazards and Controls Guidance, 4th ed., chapter 6 (from memory)."""
    assert {one.toxin for one in _meant(name)} == {toxin}
    assert toxin.never_raw


def test_catalogue_has_the_fish_of_a_sushi_shop() -> None:
    """There are two hundred and more, every group of the section among them."""
    assert len(SPECIES) >= 200
    assert {species.group for species in SPECIES} == set(Group)


def test_exempt_tuna_are_the_six_of_the_section_and_no_others() -> None:
    """FDA Food Code 2022, 3-402.11(B)(3)."""
    in_catalogue = {s.scientific for s in SPECIES if s.group is Group.TUNA_EXEMPT}

    assert in_catalogue == EXEMPT_TUNA
    assert set(EXEMPT_TUNA_SPECIES) == EXEMPT_TUNA


def test_groups_are_each_exempt_or_have_a_reason_why_not() -> None:
    """No group of fish is left without an answer, and none has two."""
    assert set(EXEMPTIONS) | set(NOT_EXEMPT) == set(Group)
    assert not set(EXEMPTIONS) & set(NOT_EXEMPT)


@pytest.mark.parametrize("scientific", sorted(EXEMPT_TUNA))
def test_scientific_name_with_the_genus_shortened_is_found(scientific: str) -> None:
    """Invoices print "T. albacares"."""
    short = f"T. {scientific.split()[1]}"

    found = find(short)

    assert isinstance(found, Species)
    assert found.scientific == scientific
    assert find(short.replace(" ", "")) is found
    assert find(short.lower().replace(".", "")) is found


def test_short_form_of_two_species_settles_nothing() -> None:
    """Once the shop also buys a Tarpon atlanticus, "T. atlanticus" is no longer one fish."""
    tarpon = _house_fish(common="tarpon", scientific="Tarpon atlanticus", other_names=())

    found = find("T. atlanticus", [tarpon])

    assert isinstance(found, Ambiguous)
    assert {s.scientific for s in found.choices} == {"Thunnus atlanticus", "Tarpon atlanticus"}
    assert find("Tarpon atlanticus", [tarpon]) is tarpon


@pytest.mark.parametrize(("name", "meant"), VAGUE)
def test_name_that_says_too_little_is_not_settled(name: str, meant: tuple[str, ...]) -> None:
    """A label that says "tuna" or "scallop" is asked about, not guessed."""
    found = find(name.upper())

    assert isinstance(found, Ambiguous)
    assert {one for some in meant for one in _meant(some)} <= set(found.choices)


def test_bare_tuna_may_be_a_skipjack_and_is_no_bonito() -> None:
    """Trade usage (common practice, no source): a bonito is sold as bonito."""
    found = find("tuna")

    assert isinstance(found, Ambiguous)
    genera = {one.scientific.partition(" ")[0] for one in found.choices}
    assert {"Thunnus", "Katsuwonus"} <= genera
    assert "Sarda" not in genera


@pytest.mark.parametrize(
    "name",
    [
        "tuna", "bluefin", "bluefin tuna", "maguro", "toro", "hon maguro", "kuro maguro", "ahi",
        "white tuna", "shiro maguro", "bigeye", "Thunnus", "Thunnus spp.", "scallop", "hotate",
        "salmon roe", "flying fish roe", "herring roe", "roe",
    ],
)  # fmt: skip
def test_bare_trade_name_never_means_one_exempt_fish(name: str) -> None:
    """Trade names used for several fish: common practice, no source."""
    assert isinstance(find(name), Ambiguous)


@pytest.mark.parametrize(
    ("name", "scientific"),
    [
        ("ahi (Thunnus albacares)", "Thunnus albacares"),
        ("Bluefin tuna (T. orientalis)", "Thunnus orientalis"),
        ("Maguro (skipjack)", "Katsuwonus pelamis"),
        ("Thunnus obesus (bigeye)", "Thunnus obesus"),
    ],
)
def test_vague_name_with_the_exact_one_in_brackets_is_found(name: str, scientific: str) -> None:
    """A broad name beside the exact one that fits it leaves no doubt."""
    found = find(name)

    assert isinstance(found, Species)
    assert found.scientific == scientific


def test_names_that_contradict_each_other_are_not_settled() -> None:
    """A label "Yellowfin tuna (Thunnus orientalis)" is one with a mistake in it."""
    found = find("Yellowfin tuna (Thunnus orientalis)")

    assert isinstance(found, Ambiguous)
    assert {s.scientific for s in found.choices} == {"Thunnus albacares", "Thunnus orientalis"}


def test_two_vague_names_that_leave_several_fish_are_not_settled() -> None:
    """A label "Tuna (bluefin)" is still three fish."""
    found = find("Tuna (bluefin)")

    assert isinstance(found, Ambiguous)
    assert len(found.choices) == 3


@pytest.mark.parametrize(
    "name",
    [
        "", "   ", "-", "()", "Thunnus albacares?", "yellowfin tuna (?)", "not yellowfin tuna",
        "Thunnus cf. albacares", "yellowfin tuna/skipjack", "yellowfin tuna (sashimi grade)",
        "Thunnus albacores", "yellowfin perch", "bigeye bream", "blackfin snapper",
        "moonshine fish",
    ],
)  # fmt: skip
def test_name_that_only_resembles_a_fish_is_unknown(name: str) -> None:
    """A doubt, a misprint or a like-sounding fish is not the fish it resembles."""
    assert find(name) is None


@pytest.mark.parametrize(
    ("name", "scientific"),
    [
        ("false albacore", "Euthynnus alletteratus"),
        ("Thunnus thynnus orientalis", "Thunnus orientalis"),
        ("super white tuna", "Lepidocybium flavobrunneum"),
        ("northern bluefin tuna", "Thunnus thynnus"),  # the section's own name for it
        ("Bluefin tuna, Southern", "Thunnus maccoyii"),  # likewise
    ],
)
def test_name_close_to_another_fish_means_its_own(name: str, scientific: str) -> None:
    """Names that trap: each means a fish other than the word in it suggests."""
    found = find(name)

    assert isinstance(found, Species)
    assert found.scientific == scientific


def test_shop_own_species_is_found_beside_the_catalogue() -> None:
    """A shop may add its own fish and still finds all others."""
    fish = _house_fish()

    assert find("House Special", [fish]) is fish
    assert find("F. lunaris", [fish]) is fish
    assert find("house special") is None
    assert find("hamachi", [fish]) is find("hamachi")


def test_shop_own_name_for_another_fish_settles_nothing() -> None:
    """A catalogue that grows must not refuse a shop's configuration; nor settle for its fish."""
    fish = _house_fish(other_names=("amadai",))

    found = find("amadai", [fish])

    assert isinstance(found, Ambiguous)
    assert fish in found.choices
    assert find("moon lanternfish", [fish]) is fish


def test_shop_own_species_that_the_catalogue_has_adds_its_names_and_its_caution() -> None:
    """The shop wrote it down when the catalogue did not have it, and is right still."""
    fish = _house_fish(common="king of the dory", scientific="Zeus faber", forms_scombrotoxin=True)

    found = find("king of the dory", [fish])

    assert isinstance(found, Species)
    assert (found.common, found.forms_scombrotoxin) == ("John Dory", True)
    assert find("house special", [fish]) is found


def test_shop_own_species_exempts_nothing_that_the_catalogue_does_not() -> None:
    """A pen shell is no clam because a shop says so; an oyster may be held back by one."""
    pen = _house_fish(scientific="Atrina pectinata", group=Group.MOLLUSCAN_SHELLFISH)
    oyster = _house_fish(scientific="Ostreidae", group=Group.OTHER)

    for fish in (pen, oyster):
        found = find("house special", [fish])
        assert isinstance(found, Species)
        assert not found.is_exempt


@pytest.mark.parametrize("taken", ["tuna", "Yellow-Fin Tuna", "thunnus albacares", "hotate"])
def test_shop_own_species_with_a_name_that_is_taken_is_refused(taken: str) -> None:
    """Nobody can make "tuna" mean one fish by adding a species."""
    with pytest.raises(ValueError, match=r"is taken already .* give the species a name"):
        catalogue_with([_house_fish(other_names=(taken,))])


def test_shop_own_species_twice_under_one_name_is_refused() -> None:
    """Two of the shop's own fish cannot share a name either."""
    other = _house_fish(common="sun lanternfish", scientific="Fictus solaris")

    with pytest.raises(ValueError, match="'house special' is taken already"):
        catalogue_with([_house_fish(), other])


@pytest.mark.parametrize("scientific", ["Fictus lunaris", "Thunnus orientalis"])
def test_species_called_exempt_tuna_but_not_listed_is_refused(scientific: str) -> None:
    """A shop cannot add a seventh exempt tuna (3-402.11(B)(3))."""
    with pytest.raises(ValueError, match="for these alone"):
        _house_fish(scientific=scientific, group=Group.TUNA_EXEMPT)


def test_listed_tuna_called_something_else_is_refused() -> None:
    """The six tuna are exempt by name; no entry may say otherwise."""
    with pytest.raises(ValueError, match="for these alone"):
        _house_fish(scientific="Thunnus obesus", group=Group.FINFISH)


@pytest.mark.parametrize("change", [{"common": ""}, {"other_names": (" ",)}])
def test_species_with_an_empty_name_is_refused(change: dict[str, object]) -> None:
    """A fish without a name cannot be found again."""
    with pytest.raises(ValueError, match="empty name"):
        _house_fish(**change)


def test_index_cannot_be_changed() -> None:
    """The catalogue is built once; nothing adds to it afterwards."""
    with pytest.raises(TypeError):
        CATALOGUE.index["tuna"] = SPECIES[0]  # type: ignore[index]
