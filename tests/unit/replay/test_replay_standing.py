"""A green sign is earned: what each hole in the evidence, and each word against it, costs a lot.

[1] FDA Food Code 2022, 3-202.11, 3-402.11, 3-402.12, 3-501.16, 3-501.19, 4-203.11.
[2] FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed., chapters 6 and 7 (from
    memory) and Appendix 4 (read).
[3] Regulation (EC) 853/2004, Annex III, Section VIII, Chapter III, D (numbers read).
"""

from typing import Any

import pytest

from handmade import Paper, probe, shop, unit
from rimewatch.report.summary import build_summary
from rimewatch.shop import Shop

H = 3600.0
EVERY_S = 600.0
START = "2026-02-02T15:00:00Z"
SKIPJACK = {"species": "Katsuwonus pelamis"}
YELLOWFIN = {"species": "Thunnus albacares"}
FARMED = {"species": "Salmo salar", "origin": "farmed-pellet", "statement": "F-1"}
PACKED = "packed-above-38f"
KEYS: dict[str, Any] = {"every_s": EVERY_S, "stale_s": 1200, "uncertainty_c": 0.3}


def place(*more: str, freezer: str = "air", code: str = "us-food-code-2022") -> Shop:
    """Return a shop with a freezer, a walk-in and a case, a probe each, without lag."""
    return shop(
        unit("freezer-1", "ultra-low-freezer", limit_c=-18.0),
        unit("walk-in", "walk-in"),
        unit("case-1"),
        probe("one", "freezer-1", freezer, **KEYS),
        probe("walk", "walk-in", **KEYS),
        probe("case", "case-1", **KEYS),
        *more,
        code=code,
    )


def moving(paper: Paper, celsius: float, from_h: float, to_h: float, topic: str = "one") -> Paper:
    """Have a unit stay at or just below a temperature: a probe that measures moves."""
    count = round((to_h - from_h) * H / EVERY_S)
    for n in range(count + 1):
        paper.say(from_h * H + n * EVERY_S, f"{celsius - 0.1 * (n % 2):.2f}", topic)
    return paper


def lot(paper: Paper, in_shop: Shop | None = None, name: str = "L1") -> dict[str, Any]:
    """Return a lot of the ledger."""
    (found,) = [
        item
        for item in paper.figures(place() if in_shop is None else in_shop)["lots"]
        if item["lot"] == name
    ]
    assert isinstance(found, dict)
    return found


def frozen(
    option: str = "20C-168h", hours: float = 172, celsius: float = -22.0, **keys: Any
) -> Paper:
    """Return a lot that was put into the freezer as it came in, by an option."""
    paper = Paper(START).receive(0, **keys).freeze(0, option)
    return moving(paper, celsius, 0, hours)


def in_case(hours: float, celsius: float = 1.0, **keys: Any) -> Paper:
    """Return a lot that went into the case as it came in."""
    paper = Paper(START).receive(0, **keys).do(0, "move-lot", lot="L1", unit="case-1")
    return moving(paper, celsius, 0, hours, "case")


def packed_fish() -> Paper:
    """Return tuna that came in a vacuum pack."""
    return Paper(START).receive(0, rop=True, **YELLOWFIN)


def test_lot_with_whole_evidence_is_proven() -> None:
    """The sign is there to be earned."""
    found = lot(frozen())

    assert (found["standing"], found["doubts"], found["against"]) == ("proven", [], [])
    assert found["raw_ready"] is True


# --- 1: freezing erases nothing, selling changes nothing ------------------------------------


@pytest.mark.parametrize("sold", [False, True])
def test_histamine_overrun_before_freezing_stands_for_ever(*, sold: bool) -> None:
    """20 h at 8 °C are 250 % of the 8 h for fresh fish [2], whatever comes after."""
    paper = Paper(START).receive(0, **SKIPJACK).do(0, "move-lot", lot="L1", unit="walk-in")
    moving(paper, 8.0, 0, 20, "walk")
    moving(paper.freeze(20 * H, "20C-168h"), -22.0, 19, 192)
    if sold:
        paper.do(191 * H, "withdraw-lot", lot="L1", reason="sold out")

    found = lot(paper)

    assert found["standing"] == "against"
    assert "scombrotoxin-before-freezing" in found["against"]
    assert found["exposure"]["scombrotoxin"]["share"] == pytest.approx(2.5, abs=0.03)


def test_time_after_freezing_is_judged_as_previously_frozen() -> None:
    """10 h at 4.8 °C after a week in the freezer: 24 h are allowed, not 8 [2]."""
    paper = frozen(hours=170, **SKIPJACK)
    paper.do(170 * H, "start-thawing", lot="L1", unit="walk-in")
    moving(paper, 4.8, 169, 180, "walk")

    assert lot(paper)["standing"] == "proven"
    assert lot(moving(paper, 4.8, 180, 196, "walk"))["against"] == ["scombrotoxin-after-freezing"]


# --- 2: the rule for raw ready-to-eat fish, and chilled fish that is only old ----------------


def test_chilled_fish_is_not_too_warm_because_it_is_older_than_a_day() -> None:
    """Table A-2's bands are information: 26 h and five days at 3 °C beside −1 °C."""
    paper = Paper(START).receive(0, **YELLOWFIN).do(0, "move-lot", lot="L1", unit="case-1")
    paper.curve([(0, -1.0), (26 * H, 4.0), (120 * H, 3.0)], "case", EVERY_S)

    found = lot(paper)

    assert found["standing"] == "proven"
    assert found["exposure"]["table_a2"][0]["share_with_gaps"] > 1.0


def test_raw_fish_above_50_f_and_70_f_is_judged_by_appendix_4() -> None:
    """4.15 h above 50 °F, some of it above 70 °F: 2 h are allowed, or 4 h with 2 h above 70 °F."""
    paper = Paper(START).receive(0, **FARMED)
    paper.do(0, "move-lot", lot="L1", unit="case-1")
    points = [
        (0, 1.0),
        (5.0, 1.0),
        (5.02, 10.1),
        (7.0, 10.1),
        (7.1, 21.5),
        (7.18, 10.1),
        (9.15, 10.1),
    ]
    paper.curve([(h * H, c) for h, c in [*points, (9.17, 1.0), (12.0, 1.0)]], "case", 60)

    found = lot(paper)

    assert found["standing"] == "against"
    assert "raw-ready-to-eat-above-50f" in found["against"]


def test_four_hours_in_all_above_five_degrees_are_the_most() -> None:
    """Three times 82 min [1] 3-501.16, 3-501.19(B); three times 78 min are less."""

    def standing(minutes: float) -> str:
        paper = Paper(START).receive(
            0, species="Salmo salar", origin="farmed-pellet", statement="F"
        )
        paper.do(0, "move-lot", lot="L1", unit="case-1")
        curve: list[tuple[float, float]] = [(0.0, 1.0)]
        for day in range(3):
            at_s = (day * 10 + 5) * H
            curve += [(at_s - 60, 1.0), (at_s, 6.0), (at_s + minutes * 60, 6.0)]
            curve += [(at_s + minutes * 60 + 60, 1.0)]
        paper.curve([*curve, (40 * H, 1.0)], "case", 60)
        return str(lot(paper)["standing"])

    assert (standing(78), standing(82)) == ("proven", "against")


# --- 3: a failed check ----------------------------------------------------------------------


def test_failed_check_puts_a_hold_in_doubt_and_leaves_its_figures() -> None:
    """−20.5 °C by a probe that is 1.5 °C off was −19 °C ([1] 4-203.11 allows 1 °C)."""
    paper = frozen(celsius=-20.5).do(171 * H, "calibration-check", probe="one", found_c=-1.5)

    found = lot(paper)

    assert (found["credited_h"], found["state"]) == (168.0, "complete")
    assert (found["standing"], found["doubts"]) == ("doubt", ["failed-check"])


def test_check_that_failed_after_a_later_good_one_says_nothing_of_what_was_before() -> None:
    """Good after the hold, so the hold stands; off a day later."""
    paper = frozen(hours=220)
    paper.do(180 * H, "move-lot", lot="L1", unit="case-1")
    moving(paper, 1.0, 179, 220, "case")
    paper.do(185 * H, "calibration-check", probe="one", found_c=0.1)
    paper.do(210 * H, "calibration-check", probe="one", found_c=-1.5)

    assert lot(paper)["standing"] == "proven"


def test_failed_check_stays_in_question_after_the_probe_was_put_right() -> None:
    """The offset holds from then on; what it showed before was wrong."""
    paper = frozen().do(100 * H, "calibration-check", probe="one", found_c=-1.5, offset_c=1.5)
    paper.do(101 * H, "calibration-check", probe="one", found_c=0.0)

    assert "failed-check" in lot(paper)["doubts"]


@pytest.mark.parametrize(
    ("found_c", "offset_c"),
    [
        pytest.param(-1.5, -1.5, id="the wrong sign"),
        pytest.param(0.1, -8.0, id="a probe that was good"),
        pytest.param(-1.5, 15.0, id="ten times too much"),
    ],
)
def test_offset_that_leaves_a_probe_off_is_no_correction(found_c: float, offset_c: float) -> None:
    """What was off before is off by more now: its readings prove nothing from then on."""
    paper = Paper(START).do(0, "calibration-check", probe="one", found_c=found_c, offset_c=offset_c)
    paper.receive(2 * H).freeze(2 * H, "20C-168h")
    moving(paper, -22.0 - 2 * abs(offset_c), 0, 175)

    assert "failed-check" in lot(paper)["doubts"]


def test_offset_that_undoes_what_was_found_is_a_correction() -> None:
    """One after the other: each is held against the offset that was there before."""
    paper = Paper(START)
    paper.do(0, "calibration-check", probe="one", found_c=-1.5, offset_c=1.5)
    paper.do(1 * H, "calibration-check", probe="one", found_c=1.2, offset_c=0.3)
    paper.receive(2 * H).freeze(2 * H, "20C-168h")
    moving(paper, -24.0, 0, 175)

    assert lot(paper)["doubts"] == []


# --- 4: the warmest corner ------------------------------------------------------------------


@pytest.mark.parametrize("order", [("cold", "warm"), ("warm", "cold")])
def test_warmest_probe_of_a_unit_counts_in_whatever_order(order: tuple[str, str]) -> None:
    """2 and 12 °C for 9 h: 112 % of the 8 h [2]."""
    walk_in = shop(unit("walk-in", "walk-in"), *(probe(name, "walk-in", **KEYS) for name in order))
    paper = Paper(START).receive(0, **SKIPJACK).do(0, "move-lot", lot="L1", unit="walk-in")
    moving(paper, 2.0, 0, 9, "cold")
    moving(paper, 12.0, 0, 9, "warm")

    found = lot(paper, walk_in)

    assert "scombrotoxin-before-freezing" in found["against"]
    assert found["exposure"]["scombrotoxin"]["share"] == pytest.approx(9 / 8)


# --- 5, 17: the inside ----------------------------------------------------------------------


def test_saying_less_of_the_thickness_never_proves_more() -> None:
    """By 20C-24h all parts are to be at −20 °C [3]; without a thickness 152 mm are taken."""
    there = place(code="eu-853-2004")
    said = lot(frozen("20C-24h", 40, -30.0, thickness_mm=20.0), there)
    unsaid = lot(frozen("20C-24h", 40, -30.0), there)

    assert (unsaid["credited_h"], unsaid["standing"]) == (24.0, "doubt")
    assert (unsaid["doubts"], said["standing"]) == (["inside"], "proven")
    assert said["sure_h"] == 24.0


@pytest.mark.parametrize("option", ["35C-15h", "35C-then-20C-24h"])
def test_hold_beside_a_product_probe_in_other_fish_is_in_doubt(option: str) -> None:
    """Not sure is not proven: 150 mm of fish, and the probe lies elsewhere."""
    found = lot(frozen(option, 40, -60.0, thickness_mm=150.0), place(freezer="product"))

    assert (found["state"], found["sure_h"], found["raw_ready"]) == ("complete", 0.0, False)
    assert (found["standing"], found["doubts"]) == ("doubt", ["inside"])


def test_hold_of_known_thickness_in_measured_air_is_proven() -> None:
    """30 mm at −60 °C."""
    assert lot(frozen("35C-15h", 40, -60.0, thickness_mm=30.0))["standing"] == "proven"


# --- 6: silence after solid -----------------------------------------------------------------


def test_solid_does_not_survive_silence_without_a_doubt() -> None:
    """−45 °C for 20 h, 72 h unseen, −22 °C for 26 h."""
    paper = Paper(START).receive(0, thickness_mm=25.0).freeze(0, "35C-then-20C-24h")
    moving(paper, -45.0, 0, 20)
    moving(paper, -22.0, 92, 118)

    found = lot(paper)

    assert (found["state"], found["standing"]) == ("complete", "doubt")
    assert "silence-after-solid" in found["doubts"]


# --- 7: the code ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "option", "standing"),
    [
        ("us-food-code-2022", "20C-24h", "unproven"),
        ("eu-853-2004", "20C-24h", "proven"),
        ("jp-mhlw", "20C-24h", "proven"),
        ("eu-853-2004", "20C-168h", "unproven"),
        ("jp-mhlw", "35C-15h", "unproven"),
    ],
)
def test_code_of_the_shop_says_which_freezing_is_a_proof(
    code: str, option: str, standing: str
) -> None:
    """Its hours are counted all the same."""
    found = lot(frozen(option, 172, -62.0, thickness_mm=30.0), place(code=code))

    assert (found["state"], found["standing"]) == ("complete", standing)
    assert (found["proof"] is None) == (standing == "unproven")


@pytest.mark.parametrize(
    ("option", "standing"), [("20C-24h", "unproven"), (None, "unproven"), ("35C-15h", "proven")]
)
def test_statement_proves_only_what_the_code_takes(option: str | None, standing: str) -> None:
    """[1] 3-402.12(B): to a temperature and for a time of 3-402.11."""
    keys = {} if option is None else {"option": option}
    paper = in_case(10).do(
        0, "attach-statement", lot="L1", reference="S-1", states="freezing", **keys
    )

    assert lot(paper)["standing"] == standing


def test_tuna_that_is_exempt_by_name_in_one_country_is_not_in_another() -> None:
    """3-402.11(B)(3) names it, Chapter III, D does not."""
    paper = in_case(10, **YELLOWFIN)

    assert lot(paper)["standing"] == "proven"
    assert lot(paper, place(code="eu-853-2004"))["standing"] == "unproven"


# --- 8: unmonitored time --------------------------------------------------------------------


@pytest.mark.parametrize("where", ["unmeasured", "start", "middle", "end", "nowhere"])
def test_time_that_nobody_measured_counts_from_receipt_on(where: str) -> None:
    """Over half an hour at a stretch."""
    paper = Paper(START).receive(0, **YELLOWFIN)
    if where != "nowhere":
        paper.do(0, "move-lot", lot="L1", unit="shelf" if where == "unmeasured" else "case-1")
    if where == "unmeasured":
        paper.do(2 * H, "move-lot", lot="L1", unit="case-1")
    moving(paper, 1.0, 1 if where == "start" else 0, 20, "case")
    moving(paper, 1.0, 21 if where == "middle" else 20, 48, "case")
    if where == "end":
        moving(paper, 1.0, 0, 50, "walk")

    found = lot(paper, place(unit("shelf")))

    assert (found["standing"], found["doubts"]) == ("doubt", ["unmonitored"])


def test_short_gaps_count_by_their_share() -> None:
    """Three of 25 min in 48 h are 2.6 %; two are 1.7 %."""

    def doubts(gaps: int) -> list[str]:
        paper = Paper(START).receive(0, **YELLOWFIN).do(0, "move-lot", lot="L1", unit="case-1")
        for n in range(round(48 * H / 300) + 1):
            at_s = n * 300
            if not any(g * 10 * H < at_s < g * 10 * H + 25 * 60 for g in range(1, gaps + 1)):
                paper.say(at_s, f"{1.0 - 0.1 * (n % 2):.1f}", "case")
        found = lot(paper)["doubts"]
        assert isinstance(found, list)
        return found

    assert (doubts(2), doubts(3)) == ([], ["unmonitored"])


# --- 9: toxins ------------------------------------------------------------------------------


@pytest.mark.parametrize("species", ["Anguilla japonica", "escolar", "fugu", "butterfish"])
def test_species_that_is_never_served_raw_is_refused_whatever_was_proven(species: str) -> None:
    """Blood of eels; oil of escolar; pufferfish; a name that may mean escolar [2]."""
    found = lot(frozen(species=species))

    assert (found["proof"], found["standing"]) == ("own-freezing", "against")
    assert found["against"] == ["toxic-raw"]


def test_ciguatera_is_said_and_depends_on_the_reef() -> None:
    """Not every fish of the species has it."""
    found = lot(frozen(species="greater amberjack"))

    assert found["standing"] == "proven"
    assert any("ciguatera" in hazard for hazard in found["remaining_hazards"])


# --- 10: what a person decided --------------------------------------------------------------


@pytest.mark.parametrize("disposition", ["discarded", "used-cooked"])
def test_what_became_of_it_outranks_every_proof(disposition: str) -> None:
    """By corrective action, while it is still on the books."""
    paper = frozen().do(
        171 * H, "corrective-action", unit="freezer-1", text="smelt", disposition=disposition,
        lots=["L1"],
    )  # fmt: skip

    found = lot(paper)

    assert (found["standing"], found["against"], found["state"]) == (
        "against",
        [disposition],
        "complete",
    )


@pytest.mark.parametrize(
    ("reason", "standing"),
    [
        ("sold out", "proven"),
        ("sold raw; parasites destroyed by freezing", "proven"),
        ("sold, nothing discarded", "proven"),
        ("discarded", "against"),
        ("went in the bin", "against"),
        ("used cooked in the soup", "against"),
    ],
)
def test_reason_of_a_withdrawal_is_read(reason: str, standing: str) -> None:
    """The word that the pages and the command line offer, or the person's own."""
    paper = frozen().do(171 * H, "withdraw-lot", lot="L1", reason=reason)

    found = lot(paper)

    assert (found["state"], found["standing"]) == ("withdrawn", standing)


@pytest.mark.parametrize(
    ("text", "given", "standing"),
    [
        ("threw L1 out", {}, "doubt"),
        ("it went in the bin", {"disposition": "other"}, "doubt"),
        ("threw the ice out", {"disposition": "kept"}, "proven"),
        ("moved to the back, nothing thrown away", {}, "proven"),
        ("probed it, 1.2 C", {"disposition": "other"}, "proven"),
    ],
)
def test_words_about_a_lot_alone_leave_a_doubt(
    text: str, given: dict[str, str], standing: str
) -> None:
    """Somebody named the lot, and chose nothing of what became of it."""
    paper = in_case(10, **YELLOWFIN)
    paper.do(5 * H, "corrective-action", unit="case-1", text=text, lots=["L1"], **given)

    assert lot(paper)["standing"] == standing


def test_fish_of_its_unit_that_was_discarded_without_a_lot_named_is_a_doubt() -> None:
    """It may be this one."""
    paper = in_case(10, **YELLOWFIN).do(
        5 * H, "corrective-action", unit="case-1", text="front tray", disposition="discarded"
    )

    assert lot(paper)["doubts"] == ["perhaps-disposed"]


# --- 13: packs ------------------------------------------------------------------------------


def test_vacuum_pack_says_what_follows_from_it() -> None:
    """38 °F, 3-502.12 [1] and chapter 13 of [2] (from memory)."""
    (said,) = lot(in_case(2, rop=True, **YELLOWFIN))["remaining_hazards"][-1:]

    assert "3.3 °C (38 °F)" in said
    assert "3-502.12(C)" in said


@pytest.mark.parametrize(
    ("celsius", "hours", "doubts"),
    [
        (3.3, 48.0, []),
        (4.2, 0.4, []),
        (4.2, 0.7, [PACKED]),
        (4.2, 48.0, [PACKED]),
    ],
)
def test_vacuum_pack_above_its_own_line_is_in_doubt(
    celsius: float, hours: float, doubts: list[str]
) -> None:
    """Chapter 13 of [2]: 38 °F or below; the same fish out of a pack is proven."""
    found = lot(in_case(hours, celsius, rop=True, **YELLOWFIN))
    plain = lot(in_case(hours, celsius, **YELLOWFIN))

    assert (found["doubts"], plain["standing"]) == (doubts, "proven")
    if hours == 48.0 and doubts:
        # Table A-2, C. botulinum type E: 7 d from 37.9 to 41 °F (from memory).
        assert found["exposure"]["packed"]["share"] == pytest.approx(48 / 168, rel=1e-3)


@pytest.mark.parametrize(("who", "doubts"), [("Ines", []), ("", [PACKED])])
def test_pack_ends_with_a_thaw_that_somebody_puts_a_name_to(who: str, doubts: list[str]) -> None:
    """3-501.13(E) [1]: out of the pack before it thaws, as the entry says."""
    paper = packed_fish().do(0, "move-lot", lot="L1", unit="case-1")
    moving(paper.do(60, "start-thawing", lot="L1", unit="case-1", who=who), 4.2, 0, 10, "case")

    assert lot(paper)["doubts"] == doubts


def test_correction_to_not_packed_needs_a_name() -> None:
    """It betters what is said."""
    paper = in_case(10, 4.2, rop=True, **YELLOWFIN)
    paper.do(9 * H, "correct-lot", lot="L1", rop=False, reason="it never was")

    assert lot(paper)["standing"] == "doubt"
    assert "unsigned-correction" in lot(paper)["doubts"]


def test_unit_with_a_vacuum_pack_tells_of_its_line_and_of_its_end() -> None:
    """Medium, after the on-delay, as an operating limit; without the pack nobody is told."""
    packed = packed_fish()
    packed.do(0, "move-lot", lot="L1", unit="walk-in")
    for paper in (packed, Paper(START)):
        moving(paper, 2.0, 0, 2, "walk")
        moving(paper, 4.2, 2.2, 5, "walk")
        moving(paper, 2.0, 5.2, 6, "walk")

    (told,) = [a for a in packed.ledger(place())["alarms"] if a["unit"] == "walk-in"]

    assert (told["rule"], told["priority"]) == ("operating-limit", "medium")
    assert packed.iso(2 * H) < told["raised"] < packed.iso(2.7 * H)
    assert packed.iso(5 * H) < told["returned"] < packed.iso(5.5 * H)


def test_morning_asks_for_the_cold_of_a_pack_that_lies_chilled_and_for_its_end() -> None:
    """Each morning, until it is thawed by somebody, frozen or gone."""
    chilled = packed_fish().do(0, "move-lot", lot="L1", unit="walk-in")
    thawed = packed_fish().do(0, "start-thawing", lot="L1", unit="walk-in", who="Ines")
    frozen_so = packed_fish().do(0, "move-lot", lot="L1", unit="freezer-1")
    asked = []
    for paper in (chilled, thawed, frozen_so):
        moving(moving(paper, 2.0, 0, 5, "walk"), -22.0, 0, 5)
        tasks = build_summary(place(), paper.replay(place()).ledger, {}).todos
        asked.append([task.text for task in tasks if "vacuum-packed" in task.text])

    assert asked[1:] == [[], []]
    (said,) = asked[0]
    assert "keep it at 3.3 °C (38 °F) or below" in said
    assert "out of it before it thaws" in said


@pytest.mark.parametrize(("own_c", "at_c", "told"), [(3.0, 3.2, 1), (4.0, 3.6, 1), (4.0, 3.2, 0)])
def test_own_operating_limit_of_a_unit_with_a_pack_tells_where_it_is_as_low(
    own_c: float, at_c: float, told: int
) -> None:
    """One alarm, by whichever line is the lower."""
    own = shop(unit("cooler", "walk-in", operating_limit_c=own_c), probe("cool", "cooler", **KEYS))
    paper = packed_fish().do(0, "move-lot", lot="L1", unit="cooler")
    moving(moving(paper, 2.0, 0, 2, "cool"), at_c, 2.2, 5, "cool")

    alarms = [a for a in paper.ledger(own)["alarms"] if a["rule"] == "operating-limit"]

    assert len(alarms) == told


def test_pack_that_is_taken_away_is_told_of_no_more() -> None:
    """Moved into the freezer."""
    paper = packed_fish().do(0, "move-lot", lot="L1", unit="walk-in")
    moving(paper.do(3 * H, "move-lot", lot="L1", unit="freezer-1"), 4.2, 0, 6, "walk")

    (told,) = [a for a in paper.ledger(place())["alarms"] if a["unit"] == "walk-in"]

    assert told["returned"] is not None
    assert told["returned"] < paper.iso(3.5 * H)


@pytest.mark.parametrize(("celsius", "standing"), [(9.9, "proven"), (10.1, "against")])
def test_shellfish_is_received_by_a_line_of_its_own(celsius: float, standing: str) -> None:
    """[1] 3-202.11(B); 25-B DCMR 2600.1(b), 50 °F."""
    paper = Paper(START).receive(0, species="oyster", celsius=celsius)
    moving(paper.do(0, "move-lot", lot="L1", unit="case-1"), 1.0, 0, 10, "case")

    assert lot(paper)["standing"] == standing


# --- 14: before it was received -------------------------------------------------------------


def test_hold_counts_only_from_the_receipt_on() -> None:
    """A start 150 h before the receipt: nobody here had the fish."""
    paper = Paper(START).do(0, "start-freezing", lot="L1", unit="freezer-1", option="20C-168h")
    moving(paper.receive(150 * H), -22.0, 0, 172)

    found = lot(paper)

    assert (found["credited_h"], found["state"]) == (pytest.approx(22.0), "freezing")
    assert found["started"] == paper.iso(150 * H)


@pytest.mark.parametrize(
    ("confirmed_by", "standing"), [(None, "doubt"), ("", "doubt"), ("Ana", "proven")]
)
def test_backdated_start_is_a_doubt_until_somebody_confirms_it(
    confirmed_by: str | None, standing: str
) -> None:
    """Entered two days after."""
    paper = Paper(START).receive(0)
    paper.do(0, "start-freezing", lot="L1", unit="freezer-1", option="20C-168h",
             entered=paper.iso(48 * H))  # fmt: skip
    moving(paper, -22.0, 0, 172)
    if confirmed_by is not None:
        paper.do(171 * H, "correct-lot", lot="L1", reason="seen on the card", who=confirmed_by,
                 confirms_start=True)  # fmt: skip

    found = lot(paper)

    assert (found["credited_h"], found["standing"]) == (168.0, standing)
    assert found["doubts"] == ([] if standing == "proven" else ["backdated"])


def test_backdated_start_that_nothing_rests_on_is_no_doubt() -> None:
    """The hold was long enough from the entry on."""
    paper = Paper(START).receive(0)
    paper.do(0, "start-freezing", lot="L1", unit="freezer-1", option="20C-168h",
             entered=paper.iso(3 * H))  # fmt: skip

    assert lot(moving(paper, -22.0, 0, 172))["standing"] == "proven"


# --- 16: a probe that does not move ---------------------------------------------------------


def test_probe_that_shows_one_value_all_along_proves_no_hold() -> None:
    """200 h of −22 °C."""
    paper = Paper(START).receive(0).freeze(0, "20C-168h")
    paper.curve([(0, -22.0), (200 * H, -22.0)], "one", EVERY_S)

    found = lot(paper)

    assert (found["credited_h"], found["standing"], found["doubts"]) == (168.0, "doubt", ["stuck"])


# --- what is learned later ------------------------------------------------------------------


def test_lot_that_is_gone_is_never_bettered() -> None:
    """A statement that comes after it was sold, and a correction."""
    paper = in_case(10).do(9 * H, "withdraw-lot", lot="L1", reason="sold out")
    paper.do(10 * H, "attach-statement", lot="L1", reference="S", states="freezing",
             option="35C-15h")  # fmt: skip

    assert lot(paper)["standing"] == "unproven"


@pytest.mark.parametrize(
    ("who", "received", "right", "standing"),
    [
        ("", {"species": "Katsuwonus pelamis"}, YELLOWFIN, "unproven"),
        ("AB", {"species": "Katsuwonus pelamis"}, YELLOWFIN, "proven"),
        ("", YELLOWFIN | {"celsius": 9.0}, {"celsius": 1.0}, "against"),
        ("AB", YELLOWFIN | {"celsius": 9.0}, {"celsius": 1.0}, "proven"),
        ("", YELLOWFIN, {"celsius": 9.0}, "against"),
        ("", YELLOWFIN, {"kilograms": 4.0}, "proven"),
    ],
)
def test_correction_betters_a_lot_only_with_a_name_to_it(
    who: str, received: dict[str, Any], right: dict[str, Any], standing: str
) -> None:
    """Whoever writes against the fish needs none."""
    paper = Paper(START).receive(0, **received).do(0, "move-lot", lot="L1", unit="case-1")
    moving(paper, 1.0, 0, 10, "case")
    paper.do(H, "correct-lot", lot="L1", reason="misread", who=who, **right)

    found = lot(paper)

    assert found["standing"] == standing
    is_bettered = not who and standing != "proven" and right != {"celsius": 9.0}
    assert ("unsigned-correction" in found["doubts"]) is is_bettered


def test_lot_that_is_gone_is_worsened_by_what_is_found() -> None:
    """The probe turns out to have been off."""
    paper = frozen().do(171 * H, "withdraw-lot", lot="L1", reason="sold out")
    assert lot(paper)["standing"] == "proven"

    paper.do(172 * H, "calibration-check", probe="one", found_c=-2.0)

    assert lot(paper)["standing"] == "doubt"


@pytest.mark.parametrize(("celsius", "standing"), [(5.0, "proven"), (5.1, "against")])
def test_fish_that_was_to_be_refused_at_the_door(celsius: float, standing: str) -> None:
    """[1] 3-202.11(A)."""
    paper = Paper(START).receive(0, celsius=celsius, **YELLOWFIN)
    moving(paper.do(0, "move-lot", lot="L1", unit="case-1"), 1.0, 0, 10, "case")

    assert lot(paper)["standing"] == standing


# --- 11: cumulative limits alarm ------------------------------------------------------------


def test_time_used_up_without_an_excursion_is_told_before_and_at_the_limit() -> None:
    """Yellowfin at 4.8 °C, under 41 °F and over 40 °F: 8 h are allowed [2]."""
    paper = Paper(START).receive(0, **YELLOWFIN).do(0, "move-lot", lot="L1", unit="case-1")
    alarms = moving(paper, 4.8, 0, 30, "case").ledger(place())["alarms"]

    (told,) = [alarm for alarm in alarms if alarm["unit"] == "case-1"]
    assert (told["rule"], told["priority"], told["returned"]) == ("projection", "high", None)
    assert paper.iso(6 * H) <= told["raised"] <= paper.iso(6.5 * H)


def test_time_used_up_in_the_walk_in_wakes_nobody() -> None:
    """It is not on display: medium, and medium stays."""
    paper = Paper(START).receive(0, **YELLOWFIN).do(0, "move-lot", lot="L1", unit="walk-in")
    alarms = moving(paper, 4.8, 0, 12, "walk").ledger(place())["alarms"]

    assert [(a["rule"], a["priority"]) for a in alarms if a["unit"] == "walk-in"] == [
        ("projection", "medium")
    ]


def test_sound_week_on_display_tells_nobody_of_used_up_time() -> None:
    """3 °C, and four defrosts a day of twenty minutes at 4.6 °C."""
    paper = Paper(START).receive(0, **YELLOWFIN).do(0, "move-lot", lot="L1", unit="case-1")
    for n in range(round(96 * H / 300)):
        minute = n * 5 % 360
        paper.say(n * 300, "4.6" if minute < 20 else f"{3.0 - 0.1 * (n % 2):.1f}", "case")

    assert [a for a in paper.ledger(place())["alarms"] if a["unit"] == "case-1"] == []


def test_lot_that_used_up_its_time_and_is_gone_alarms_no_more() -> None:
    """Taken off the counter."""
    paper = Paper(START).receive(0, **YELLOWFIN).do(0, "move-lot", lot="L1", unit="case-1")
    moving(paper, 4.8, 0, 12, "case").do(10 * H, "withdraw-lot", lot="L1", reason="discarded")

    (told,) = [a for a in paper.ledger(place())["alarms"] if a["unit"] == "case-1"]

    assert told["returned"] is not None


# --- corrections that nobody puts a name to -------------------------------------------------


def numbered(paper: Paper, do: str) -> int:
    """Return the number of the first entry of a kind, as it comes."""
    done = [line["do"] for line in sorted(paper.lines, key=lambda line: line["at"]) if "do" in line]
    return done.index(do) + 1


@pytest.mark.parametrize(("who", "standing"), [("Ines", "proven"), ("", "against")])
def test_crossing_an_entry_out_betters_a_lot_only_with_a_name_to_it(
    who: str, standing: str
) -> None:
    """A correction that said it is not tuna but an eel, crossed out."""
    paper = in_case(10, **YELLOWFIN)
    paper.do(2 * H, "correct-lot", lot="L1", species="Anguilla japonica", reason="label", who="Ana")
    number = numbered(paper, "correct-lot")
    paper.do(3 * H, "cancel-entry", number=number, reason="wrong lot", who=who)

    found = lot(paper)

    assert found["standing"] == standing
    assert ("unsigned-correction" in found["doubts"]) is (not who)


def test_receipt_that_says_something_else_betters_a_lot_only_with_a_name_to_it() -> None:
    """A second receipt is a correction, over the broker and in a trace."""
    for who, standing in (("Ines", "proven"), ("", "unproven")):
        paper = in_case(10)
        paper.do(
            2 * H, "receive-lot", lot="L1", origin="wild", serve_raw=True, who=who, **YELLOWFIN
        )

        assert lot(paper, place())["standing"] == standing, who


@pytest.mark.parametrize("who", ["Ines", ""])
@pytest.mark.parametrize("what", ["move-lot", "withdraw-lot"])
def test_move_that_is_entered_long_after_betters_a_lot_only_with_a_name_to_it(
    what: str, who: str
) -> None:
    """That it had been taken out of the case before that got warm: 12 h at 12 °C."""
    paper = Paper(START).receive(0, **YELLOWFIN).do(0, "move-lot", lot="L1", unit="case-1")
    moving(moving(paper, 2.0, 0, 5, "case"), 12.0, 5.2, 17, "case")
    moving(paper, 2.0, 0, 20, "walk")
    keys = {"unit": "walk-in"} if what == "move-lot" else {"reason": "sold out"}
    paper.do(4 * H, what, lot="L1", entered=paper.iso(18 * H), who=who, **keys)

    assert lot(paper)["standing"] == ("proven" if who else "against")


def test_move_that_is_entered_within_minutes_needs_no_name() -> None:
    """Whoever carries fish enters it when the hands are free."""
    paper = Paper(START).receive(0, **YELLOWFIN).do(0, "move-lot", lot="L1", unit="case-1")
    moving(moving(paper, 2.0, 0, 5, "case"), 12.0, 5.2, 17, "case")
    moving(paper, 2.0, 0, 20, "walk")
    paper.do(4 * H, "move-lot", lot="L1", unit="walk-in", entered=paper.iso(4 * H + 540))

    assert lot(paper)["standing"] == "proven"


@pytest.mark.parametrize("disposition", ["discarded", "used-cooked"])
@pytest.mark.parametrize("named", [True, False])
def test_what_was_written_down_of_the_wrong_lot_is_taken_back(
    disposition: str, *, named: bool
) -> None:
    """By somebody with a name; both stay on record."""
    lots = {"lots": ["L1"]} if named else {}
    paper = in_case(10, **YELLOWFIN).do(
        2 * H,
        "corrective-action",
        unit="case-1",
        text="thrown out",
        disposition=disposition,
        **lots,
    )
    assert lot(paper)["standing"] == ("against" if named else "doubt")
    number = numbered(paper, "corrective-action")
    paper.do(3 * H, "cancel-entry", number=number, reason="it was L2", who="Ines")

    assert lot(paper)["standing"] == "proven"


def test_taking_back_what_was_done_needs_a_name() -> None:
    """Refused at the door, and in an old journal it betters nothing."""
    paper = in_case(10, **YELLOWFIN).do(
        2 * H, "corrective-action", unit="case-1", text="out", disposition="discarded", lots=["L1"]
    )
    number = numbered(paper, "corrective-action")
    paper.do(3 * H, "cancel-entry", number=number, reason="it was L2")

    (refused,) = paper.ledger(place())["refused"]
    assert "name yourself" in refused["why"]
    assert lot(paper)["standing"] == "against"


def test_taking_back_after_a_lot_is_gone_betters_nothing() -> None:
    """It may worsen by what is learned later, never improve."""
    paper = in_case(10, **YELLOWFIN).do(
        2 * H, "corrective-action", unit="case-1", text="out", disposition="discarded", lots=["L1"]
    )
    number = numbered(paper, "corrective-action")
    paper.do(9 * H, "withdraw-lot", lot="L1", reason="sold out")
    paper.do(10 * H, "cancel-entry", number=number, reason="it was L2", who="Ines")

    assert lot(paper)["standing"] == "against"


# --- put to freeze once more ----------------------------------------------------------------


def frozen_again(option: str = "20C-168h", *, thawed: bool = False, **keys: Any) -> Paper:
    """Return a lot that was put to freeze once more two days after its hold was complete."""
    paper = frozen(option, 250, **keys)
    if thawed:
        paper.do(190 * H, "start-thawing", lot="L1", unit="walk-in", who="Ines")
    return paper.freeze(200 * H, "20C-168h")


def test_complete_hold_stands_if_the_fish_frozen_still_is_put_to_freeze_again() -> None:
    """A fact of the past; the hours are those of the latest."""
    found = lot(frozen_again())

    assert (found["standing"], found["proof"]) == ("proven", "own-freezing")
    assert (found["state"], found["completed"]) == ("freezing", None)
    assert found["credited_h"] == pytest.approx(50.0)


def test_hold_of_fish_that_was_thawed_or_moved_out_in_between_stands_no_more() -> None:
    """It is frozen again for a reason that nobody wrote down."""
    moved = frozen("20C-168h", 250).do(190 * H, "move-lot", lot="L1", unit="walk-in")

    for paper in (frozen_again(thawed=True), moved.freeze(200 * H, "20C-168h")):
        moving(paper, 1.0, 189, 201, "walk")
        assert lot(paper)["standing"] == "unproven"


def test_hold_that_is_no_proof_here_does_not_stand() -> None:
    """20C-24h under the Food Code, then seven days."""
    assert lot(frozen_again("20C-24h", thickness_mm=20))["standing"] == "unproven"


def test_doubt_about_the_hold_that_stands_is_still_a_doubt() -> None:
    """Freezing once more betters nothing."""
    paper = Paper(START).receive(0).freeze(0, "20C-168h")
    for n in range(round(250 * H / EVERY_S) + 1):
        paper.say(n * EVERY_S, "-22.0", "one")  # one value: stuck

    assert lot(paper.freeze(200 * H, "20C-168h"))["standing"] == "doubt"


def test_squid_that_may_be_firefly_squid_is_not_proven_by_japans_option() -> None:
    """Firefly squid asks for −30 °C for four days (MHLW of Japan)."""
    japan = place(code="jp-mhlw")
    for species, standing in (("ika", "unproven"), ("yari ika", "proven")):
        assert (
            lot(frozen("20C-24h", 60, -28.0, species=species, thickness_mm=20), japan)["standing"]
            == standing
        )
