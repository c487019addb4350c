"""Two configurations over the same past: what it saves, and what it would miss."""

from typing import Any

import pytest
from report_nights import a_unit

from handmade import ONE_CONTACT, ms, probe, shop, unit
from ledger_values import ledger_of
from rimewatch.report.what_if import (
    Comparison,
    compare,
    published_limit_c,
    seen_in,
    what_if_document,
    what_if_text,
)
from rimewatch.vocabulary import Kind, Rule, UnitId

SHOP = shop(unit(name="Front display case"), probe(), ONE_CONTACT, timezone="UTC")
FROM_MS, TO_MS = ms("2026-02-01T00:00:00Z"), ms("2026-02-08T00:00:00Z")


def spell(start: str, end: str | None, peak_c: float = 7.0, **more: Any) -> dict[str, Any]:
    plain = {"rule": "holding", "above_s": 1800.0, "alarmed": True, "cause": "unknown"}
    return {"start": start, "end": end, "peak_c": peak_c, **plain, **more}


def alarm(raised: str, *, woke: bool = True, rule: str = "holding") -> dict[str, Any]:
    return {
        "unit": "case-1",
        "rule": rule,
        "priority": "high",
        "raised": raised,
        "acknowledged": None,
        "returned": None,
        "woke": woke,
    }


def ledger(
    spells: list[dict[str, Any]], alarms: list[dict[str, Any]], **more: Any
) -> dict[str, Any]:
    return {
        "units": {"case-1": a_unit(1440, 1.0, 7.0, 2.0, 2.0, excursions=spells)},
        "alarms": alarms,
        "messages": [],
        "lots": [],
        "quarantined": 0,
        "from": "2026-02-01T00:00:00Z",
        "to": "2026-02-08T00:00:00Z",
        **more,
    }


WARM = spell("2026-02-03T01:00:00Z", "2026-02-03T02:00:00Z")
NOW = ledger(
    [WARM, spell("2026-02-05T01:00:00Z", "2026-02-05T03:00:00Z")],
    [alarm("2026-02-03T01:10:00Z"), alarm("2026-02-05T01:10:00Z")],
    messages=[
        {
            "at": "2026-02-03T01:10:00Z",
            "contact": "first",
            "unit": "case-1",
            "rule": "holding",
            "about": "raised",
        }
    ],
    lots=[
        {
            "lot": "L-1",
            "needs_destruction": True,
            "why": "Wild coho salmon, to be served raw.",
            "option": "20C-24h",
            "required_h": 24.0,
            "credited_h": 24.0,
            "state": "complete",
            "started": "2026-02-03T00:00:00Z",
            "completed": "2026-02-04T00:00:00Z",
            "interruptions": [],
            "ice_days": 0.0,
        }
    ],
)


def against(changed: dict[str, Any], now: dict[str, Any] = NOW) -> Comparison:
    return compare(SHOP, *(seen_in(ledger_of(one, SHOP)) for one in (now, changed)), FROM_MS, TO_MS)


def test_comparison_of_the_same_ledger_twice_finds_no_difference() -> None:
    """A configuration that changes nothing is said to change nothing."""
    found = against(NOW)

    assert found.is_same
    assert found.sentence == (
        "The changed configuration makes no difference here: 2 wake-ups as before."
    )


def test_comparison_that_only_spares_sleep_says_that_nothing_was_missed() -> None:
    """The operating limit woke somebody for nothing; without it, the limit is still told."""
    now = ledger([WARM], [alarm("2026-02-02T03:00:00Z", rule="door"), *NOW["alarms"][:1]])
    found = against(ledger([WARM], NOW["alarms"][:1]), now)

    assert found.missed == ()
    assert found.sentence == (
        "With the changed configuration: 1 wake-up in place of 2; "
        "no excursion of a critical limit was missed."
    )


def test_excursion_over_the_published_limit_that_is_told_no_more_is_listed_as_missed() -> None:
    """A laxer limit does not hide what it would have let go."""
    found = against(ledger([WARM], NOW["alarms"][:1]))

    (missed,) = found.missed
    assert (missed.start_ms, missed.published_c) == (ms("2026-02-05T01:00:00Z"), 5.0)
    assert "1 excursion of a critical limit was missed" in found.sentence
    text = what_if_text(SHOP, found, changed=SHOP)
    assert "Missed: Front display case, Thu 5 February 01:00 UTC to Thu 5 February 03:00" in text
    assert "44.6 °F (published limit 41.0 °F)" in text


@pytest.mark.parametrize(
    ("now", "changed", "missed"),
    [
        (spell("2026-02-05T01:00:00Z", None), [], 1),
        (spell("2026-02-05T01:00:00Z", None, alarmed=False), [], 0),
        (spell("2026-02-05T01:00:00Z", None, peak_c=5.0), [], 0),
        (spell("2026-02-05T01:00:00Z", None, rule="operating-limit"), [], 0),
        (spell("2026-01-30T01:00:00Z", "2026-01-30T02:00:00Z"), [], 0),
        (WARM, [spell("2026-02-03T01:30:00Z", None)], 0),
        (WARM, [spell("2026-02-03T01:30:00Z", None, alarmed=False)], 1),
        (WARM, [spell("2026-02-03T02:30:00Z", None)], 1),
        (WARM, [spell("2026-02-03T01:30:00Z", None, rule="operating-limit")], 1),
    ],
)
def test_excursion_counts_as_missed_only_where_it_was_told_over_the_published_limit(
    now: dict[str, Any], changed: list[dict[str, Any]], missed: int
) -> None:
    """Told before, beyond the published limit, within the time, and told no more."""
    assert len(against(ledger(changed, []), ledger([now], [])).missed) == missed


def test_alarm_of_a_critical_limit_that_comes_later_is_said_to_come_later() -> None:
    """Sleep that is bought with a later alarm is shown with its price."""
    late = ledger(NOW["units"]["case-1"]["excursions"], [alarm("2026-02-03T01:40:00Z")])
    found = against(late)

    assert found.later_s == 1800.0
    assert "an alarm of one came up to 30 min later" in found.sentence


def test_figures_stand_side_by_side_by_rule_and_unit() -> None:
    """Alarms, messages, excursions and holds, each under both."""
    found = against(ledger([WARM], [alarm("2026-02-03T01:10:00Z", woke=False)]))

    assert (found.now.alarms[Rule.HOLDING].raised, found.now.woke) == (2, 2)
    assert (found.changed.alarms[Rule.HOLDING].raised, found.changed.woke) == (1, 0)
    before = found.now.excursions[UnitId("case-1"), Rule.HOLDING]
    assert (before.count, before.longest_s, before.above_s) == (2, 7200.0, 3600.0)
    rows = {
        line[:44].strip(): line[44:].split()
        for line in what_if_text(SHOP, found, changed=SHOP).splitlines()
        if len(line) == 68
    }
    assert rows["Alarms"] == ["2", "1"]
    assert rows["that woke somebody"] == ["2", "0"]
    assert rows["Messages"] == ["1", "0"]
    assert rows["Front display case: fish too warm"] == ["2", "1"]
    assert rows["longest"] == ["2", "h", "1", "h"]
    assert rows["Freezing holds completed"] == ["1", "0"]


def test_document_for_programs_says_what_the_text_says() -> None:
    """JSON holds the sentence, the missed ones, and the cautions."""
    found = against(ledger([WARM], NOW["alarms"][:1]))
    document = what_if_document(found, ["A note."])

    assert document["sentence"] == found.sentence
    assert [item["peak_c"] for item in document["missed"]] == [7.0]
    assert document["now"]["holds_completed"] == ["L-1"]
    assert document["notes"][-1] == "A note."
    assert len(document["cautions"]) == 3


def test_published_limits_are_those_of_food_code_and_regulation() -> None:
    """FDA Food Code 2022, 3-501.16(A)(2); Regulation (EC) 853/2004, Annex III, VIII, VII(2)."""
    assert published_limit_c(Kind.WALK_IN) == 5.0
    assert published_limit_c(Kind.FREEZER) == -18.0
