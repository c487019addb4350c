"""What a lot needs before it may be served raw, by FDA Food Code 2022, 3-402.11."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rimewatch.entries import ReceiveLot
from rimewatch.lots.catalogue import SPECIES, Group, Species, key_of
from rimewatch.lots.needs import Need, needs_of
from rimewatch.vocabulary import LotId, Origin

EXEMPT_NAMES = sorted(name for s in SPECIES if s.is_exempt for name in s.names)
EXEMPT_KEYS = {key_of(name) for name in EXEMPT_NAMES} | {
    key_of(s.scientific[0] + s.scientific.partition(" ")[2]) for s in SPECIES if s.is_exempt
}
"""Every way to write an exempt fish: its names, and its genus shortened."""


def received(
    species: str,
    origin: Origin = Origin.WILD,
    *,
    serve_raw: bool = True,
    celsius: float | None = None,
    statement: str = "",
) -> ReceiveLot:
    return ReceiveLot(
        at_ms=1_772_438_400_000,
        lot=LotId("L1"),
        species=species,
        origin=origin,
        serve_raw=serve_raw,
        celsius=celsius,
        statement=statement,
    )


def assert_one_sentence_with_its_source(need: Need) -> None:
    assert need.why.endswith(f": {need.provision}.")
    assert need.provision.startswith("FDA Food Code 2022, 3-40")


@pytest.mark.parametrize(
    ("species", "paragraph"),
    [
        # FDA Food Code 2022, 3-402.11(B)(1): molluscan shellfish.
        ("oyster", "(B)(1)"),
        ("Crassostrea gigas", "(B)(1)"),
        ("clam", "(B)(1)"),
        ("mussels", "(B)(1)"),
        # (B)(2): scallop product of shucked adductor muscle only.
        ("scallop adductor", "(B)(2)"),
        # (B)(3): the six tuna named.
        ("Thunnus alalunga", "(B)(3)"),
        ("Thunnus albacares", "(B)(3)"),
        ("Thunnus atlanticus", "(B)(3)"),
        ("Thunnus maccoyii", "(B)(3)"),
        ("Thunnus obesus", "(B)(3)"),
        ("Thunnus thynnus", "(B)(3)"),
        ("yellowfin tuna", "(B)(3)"),
        ("southern bluefin tuna", "(B)(3)"),
        ("bigeye tuna", "(B)(3)"),
        ("northern bluefin tuna", "(B)(3)"),
        # (B)(5): fish eggs removed from the skein and rinsed.
        ("ikura", "(B)(5)"),
        ("fish eggs removed from the skein and rinsed", "(B)(5)"),
    ],
)
@pytest.mark.parametrize("origin", list(Origin))
def test_exempt_food_of_any_origin_needs_no_destruction(
    species: str, paragraph: str, origin: Origin
) -> None:
    """What the section exempts by name is exempt, wild or farmed."""
    need = needs_of(received(species, origin))

    assert need.needs_destruction is False
    assert need.provision == f"FDA Food Code 2022, 3-402.11{paragraph}"
    assert need.statement_missing is False
    assert_one_sentence_with_its_source(need)


@pytest.mark.parametrize(
    "species",
    [
        # Tuna that 3-402.11(B)(3) does not name.
        "Thunnus orientalis", "T. orientalis", "Pacific bluefin tuna", "Thunnus tonggol",
        "Katsuwonus pelamis", "skipjack", "Euthynnus affinis", "Euthynnus alletteratus",
        "Sarda sarda", "tuna", "bluefin tuna", "maguro", "Thunnus",
        # Wild salmon and everything else with fins.
        "salmon", "Oncorhynchus nerka", "Salmo salar", "trout", "Salvelinus alpinus", "hamachi",
        "kampachi", "red sea bream", "sea bass", "hirame", "halibut", "saba", "iwashi", "herring",
        "aji", "kohada", "anago", "escolar",
        # Scallop that is more than its adductor muscle, or does not say; roe in the skein.
        "scallop with roe", "scallop", "sujiko", "kazunoko", "salmon roe",
        # Not in 1-201.10(B)'s "molluscan shellfish"; crustaceans; sea urchin.
        "Todarodes pacificus", "octopus", "abalone", "amaebi", "snow crab", "uni",
        # Nobody knows.
        "Fictus lunaris", "catch of the day", "?",
    ],
)  # fmt: skip
@pytest.mark.parametrize("origin", [Origin.WILD, Origin.FARMED_OTHER])
def test_food_not_exempt_by_name_needs_destruction(species: str, origin: Origin) -> None:
    """FDA Food Code 2022, 3-402.11(A): all that (B) does not name is to be frozen."""
    need = needs_of(received(species, origin))

    assert need.needs_destruction is True
    assert need.provision == "FDA Food Code 2022, 3-402.11(A)"
    assert need.statement_missing is False
    assert_one_sentence_with_its_source(need)


def test_why_for_an_exempt_tuna_names_it_and_the_paragraph() -> None:
    """The inspector reads one plain sentence."""
    need = needs_of(received("t. albacares"))

    assert need.why == (
        "Yellowfin tuna (Thunnus albacares) is exempt: FDA Food Code 2022, 3-402.11(B)(3)."
    )
    assert need.species is not None
    assert need.species.scientific == "Thunnus albacares"


def test_why_for_pacific_bluefin_says_it_is_not_among_the_tuna_named() -> None:
    """The commonest mistake about bluefin is answered before it is made."""
    assert needs_of(received("Thunnus orientalis")).why == (
        "Pacific bluefin tuna (Thunnus orientalis) is not among the tuna exempted by name in "
        "3-402.11(B)(3), so it needs parasite destruction: FDA Food Code 2022, 3-402.11(A)."
    )


def test_why_for_a_bare_tuna_asks_for_the_exact_species() -> None:
    """Plain "tuna" needs destruction until somebody writes which tuna."""
    need = needs_of(received("Tuna"))

    assert need.species is None
    assert need.why.startswith("“Tuna” does not say exactly which species")
    assert "record which, such as Albacore (Thunnus alalunga) or " in need.why


def test_why_for_a_vague_name_of_fish_never_exempt_asks_for_nothing() -> None:
    """Whichever salmon it is, wild salmon is frozen: no need to trouble anybody."""
    why = needs_of(received("salmon")).why

    assert "none of them exempt" in why
    assert "record" not in why


def test_why_for_an_unknown_species_says_so() -> None:
    """Doubt counts against the fish, and the record says it was doubt."""
    why = needs_of(received("  catch of the day ")).why

    assert why.startswith("“catch of the day” is not a name in the catalogue")
    assert "unknown species is treated as needing parasite destruction" in why


def test_why_for_scallop_with_roe_leaves_the_question_to_the_authority() -> None:
    """1-201.10(B) may count it as molluscan shellfish; it is judged on the careful side."""
    need = needs_of(received("scallop with roe"))

    assert "more than shucked adductor muscle" in need.why
    assert need.species is not None
    assert "ask the licensed authority" in need.species.notes


@pytest.mark.parametrize(
    "species", ["Salmo salar", "salmon", "hamachi", "Thunnus orientalis", "catch of the day"]
)
def test_fish_farmed_on_pellets_is_exempt_by_the_statement_on_file(species: str) -> None:
    """FDA Food Code 2022, 3-402.11(B)(4); the origin asserts the statement."""
    need = needs_of(received(species, Origin.FARMED_PELLET, statement="ST-2026-014"))

    assert need.needs_destruction is False
    assert need.provision == "FDA Food Code 2022, 3-402.11(B)(4)"
    assert need.statement_missing is False
    assert "no reference" not in need.why
    assert_one_sentence_with_its_source(need)


@pytest.mark.parametrize("statement", ["", "  "])
def test_fish_farmed_on_pellets_without_a_reference_is_listed_for_follow_up(
    statement: str,
) -> None:
    """The verdict stands; the missing paper is found before the inspector asks for it."""
    need = needs_of(received("Salmo salar", Origin.FARMED_PELLET, statement=statement))

    assert need.needs_destruction is False
    assert need.statement_missing is True
    assert "no reference to it is recorded yet" in need.why


def test_farmed_salmon_without_a_feed_statement_needs_destruction() -> None:
    """Whoever has no statement records farmed-other, and freezes."""
    need = needs_of(received("Salmo salar", Origin.FARMED_OTHER))

    assert need.needs_destruction is True
    assert "farmed without a statement" in need.why


@pytest.mark.parametrize("species", ["Oncorhynchus nerka", "tuna", "Thunnus obesus", "mystery"])
@pytest.mark.parametrize("origin", list(Origin))
def test_fish_not_served_raw_needs_cooking_and_no_destruction(species: str, origin: Origin) -> None:
    """3-402.11(A) speaks of fish served raw; the rest is to be cooked (3-401.11)."""
    need = needs_of(received(species, origin, serve_raw=False))

    assert need.needs_destruction is False
    assert "not served raw" in need.why
    assert "must be cooked" in need.why
    assert need.statement_missing is False
    assert_one_sentence_with_its_source(need)


@pytest.mark.parametrize("species", ["Thunnus albacares", "skipjack", "saba", "hamachi", "tuna"])
def test_fish_that_forms_scombrotoxin_still_depends_on_the_cold(species: str) -> None:
    """FDA Hazards and Controls Guidance, 4th ed., chapter 7: 40 °F (4.4 °C), from memory."""
    hazards = " ".join(needs_of(received(species)).remaining_hazards)

    assert "Scombrotoxin" in hazards
    assert "4.4 °C (40 °F)" in hazards


def test_exempt_tuna_is_said_not_to_be_exempt_from_cold() -> None:
    """No parasites to kill is no leave to stand warm."""
    exempt, frozen = needs_of(received("bigeye tuna")), needs_of(received("skipjack"))

    assert "not exempt from cold" in exempt.remaining_hazards[0]
    assert "not exempt from cold" not in frozen.remaining_hazards[0]


def test_unknown_species_may_form_scombrotoxin() -> None:
    """What nobody knows cannot be ruled out."""
    hazards = needs_of(received("catch of the day")).remaining_hazards

    assert any("cannot be ruled out" in hazard for hazard in hazards)


def test_oyster_keeps_the_hazards_of_its_water() -> None:
    """An exemption from freezing says nothing of Vibrio (guidance, chapter 4, from memory)."""
    hazards = needs_of(received("oyster")).remaining_hazards

    assert len(hazards) == 1
    assert "Vibrio" in hazards[0]


def test_fish_with_no_such_hazard_lists_none() -> None:
    """A hazard named for every fish would be read for none."""
    assert needs_of(received("scallop adductor")).remaining_hazards == ()


@pytest.mark.parametrize(
    ("celsius", "expected"),
    [(None, None), (-18.0, False), (4.9, False), (5.0, False), (5.01, True), (12.0, True)],
)
def test_receipt_above_five_degrees_is_too_warm(
    celsius: float | None, expected: bool | None
) -> None:
    """FDA Food Code 2022, 3-202.11(A): received at 5 °C (41 °F) or below."""
    assert needs_of(received("hamachi", celsius=celsius)).receipt_too_warm is expected


def test_oyster_received_warm_is_said_to_have_a_law_of_its_own() -> None:
    """FDA Food Code 2022, 3-202.11(B): the law for molluscan shellfish may differ."""
    warm = needs_of(received("oyster", celsius=10.1))
    lawful = needs_of(received("oyster", celsius=9.0))
    cold = needs_of(received("oyster", celsius=4.0))

    # 25-B DCMR 2600.1(b), after the National Shellfish Sanitation Program: 50 °F inside.
    assert (warm.receipt_too_warm, lawful.receipt_too_warm) == (True, False)
    for need in (warm, lawful):
        assert any("3-202.11(B)" in hazard for hazard in need.remaining_hazards)
    assert not any("3-202.11(B)" in hazard for hazard in cold.remaining_hazards)


def test_shop_own_species_is_judged_by_its_group() -> None:
    """A shop that adds a clam of its coast has it exempted as molluscan shellfish."""
    clam = Species(
        common="saltmarsh clam",
        scientific="Fictus paludis",
        group=Group.MOLLUSCAN_SHELLFISH,
        forms_scombrotoxin=False,
    )

    assert needs_of(received("saltmarsh clam"), extra_species=[clam]).needs_destruction is False
    assert needs_of(received("saltmarsh clam")).needs_destruction is True


@st.composite
def almost_exempt(draw: st.DrawFn) -> str:
    """Draw an exempt fish's name with something put in, left out or replaced."""
    name = draw(st.sampled_from(EXEMPT_NAMES))
    at = draw(st.integers(min_value=0, max_value=len(name)))
    left_out = draw(st.integers(min_value=0, max_value=2))
    put_in = draw(st.sampled_from(["", "a", "x", "?", "~", " or ", "not ", "/", " (", ")", "é"]))
    return name[:at] + put_in + name[at + left_out :]


@given(
    species=st.text() | almost_exempt(), origin=st.sampled_from([Origin.WILD, Origin.FARMED_OTHER])
)
@example(species="Thunnus albacares?", origin=Origin.WILD)
@example(species="Thunnus albacores", origin=Origin.WILD)
@example(species="yellowfin tuna (Thunnus orientalis)", origin=Origin.WILD)
def test_raw_fish_under_no_exempt_name_always_needs_destruction(
    species: str, origin: Origin
) -> None:
    """No slip of the pen and no unknown name ever exempts a fish."""
    need = needs_of(received(species, origin))

    if not need.needs_destruction:
        written = {key_of(part) for part in species.rstrip().removesuffix(")").split("(")}
        assert (written | {key_of(species)}) & EXEMPT_KEYS
    assert_one_sentence_with_its_source(need)


@given(
    species=st.text() | st.sampled_from([name for s in SPECIES for name in s.names]),
    origin=st.sampled_from(Origin),
    serve_raw=st.booleans(),
    celsius=st.none() | st.floats(min_value=-80, max_value=40),
)
def test_answer_for_any_receipt_is_one_of_the_reasons_of_the_section(
    species: str, origin: Origin, serve_raw: bool, celsius: float | None
) -> None:
    """Whatever is written at receipt, there is an answer, and it names its paragraph."""
    need = needs_of(received(species, origin, serve_raw=serve_raw, celsius=celsius))

    exempt_by_name = need.species is not None and need.species.is_exempt
    expected = serve_raw and not exempt_by_name and origin is not Origin.FARMED_PELLET
    assert need.needs_destruction is expected
    assert (need.receipt_too_warm is None) is (celsius is None)


@pytest.mark.parametrize(("written", "more"), [("mackerel", False), ("sea bass", True)])
def test_name_of_several_species_names_three_and_says_whether_there_are_more(
    written: str, more: bool
) -> None:
    """Whoever reads it must not think that the list is whole."""
    why = needs_of(received(written)).why

    assert why.count(" or ") == (3 if more else 2)
    assert (" or another, none of them exempt" in why) is more


def test_every_fish_of_a_genus_that_forms_scombrotoxin_is_known_to_form_it() -> None:
    """FDA Hazards guidance, 4th ed., table 3-2, by genus, from memory."""
    genera = {"Thunnus", "Katsuwonus", "Euthynnus", "Scomber", "Scomberomorus", "Coryphaena"}
    genera |= {"Seriola", "Trachurus", "Sardinops"}
    members = [one for one in SPECIES if one.scientific.split()[0] in genera]

    assert len(members) > len(genera)
    assert [one.scientific for one in members if not one.forms_scombrotoxin] == []


def test_shellfish_that_may_be_whole_asks_where_it_was_harvested() -> None:
    """A scallop may be its muscle alone or not: that one of the two asks is enough."""
    hazards = needs_of(received("scallops")).remaining_hazards

    assert any("harvest water" in hazard for hazard in hazards)


@pytest.mark.parametrize(
    "name",
    [
        "fresh fugu", "Takifugu rubripes?", "takifugu rubripes fillet", "Fugu, farmed",
        "tiger fugu", "fugu (tiger)", "fugu / puffer", "Takifugu spp.", "Lagocephalus lunaris",
        "フグ", "ふぐ",
        "Escolar loin", "walu", "wild hamo", "unagi fillet",
    ],
)  # fmt: skip
def test_name_with_a_toxic_fish_in_it_is_taken_for_that_fish(name: str) -> None:
    """One more word or mark makes no puffer fit to be served raw."""
    assert needs_of(received(name)).toxic_raw, name


@pytest.mark.parametrize("name", ["salmon fillet", "moon dory", "king of the sea", "Gadus sp."])
def test_unknown_name_without_one_is_an_unknown_fish_and_no_more(name: str) -> None:
    """It needs destruction; nothing says that it is toxic."""
    need = needs_of(received(name))

    assert need.needs_destruction
    assert need.toxic_raw == ()
