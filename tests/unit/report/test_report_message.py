"""What a phone shows at night."""

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_nights import TO_MS, shop

from rimewatch.report.message import (
    LONGEST_BODY,
    LONGEST_NAME,
    LONGEST_TITLE,
    Message,
    alarm_message,
)
from rimewatch.report.texts import LANGUAGES, shipped_texts
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.shop import MessageTexts, Shop
from rimewatch.vocabulary import About, Cause, LotId, Rule, Scale, UnitId

SENT = tuple(about for about in About if about is not About.SUMMARY)
MINUTE_MS = 60_000


def _condition(rule: Rule = Rule.HOLDING, **more: object) -> Condition:
    facts: dict[str, object] = {
        "fish_c": 7.8,
        "air_c": 9.9,
        "limit_c": 5.0,
        "peak_c": 8.1,
        "rate_c_per_h": 2.0,
        "time_left_s": 2400.0,
        "cause": Cause.COOLING_FAILURE,
        "explanation": "the air rose steadily with the door shut",
        "lots": (LotId("L1"), LotId("L2")),
        "detail": "Probe case-1-air, battery 11",
    }
    key = AlarmKey(unit=UnitId("case-1"), rule=rule)
    return Condition(key=key, since_ms=TO_MS - 75 * MINUTE_MS, **{**facts, **more})  # type: ignore[arg-type]


def _message(
    condition: Condition, about: About, *, of: Shop | None = None, above_s: float | None = 3540.0
) -> Message:
    return alarm_message(
        of or shop(),
        condition,
        about,
        raised_ms=TO_MS - 45 * MINUTE_MS,
        now_ms=TO_MS,
        above_s=above_s,
    )


def _renamed(name: str) -> Shop:
    """Return the shop with its first unit called something else."""
    plain = shop()
    return replace(plain, units=(replace(plain.units[0], name=name), *plain.units[1:]))


def _in_language(of: Shop, language: str) -> Shop:
    return replace(of, messages=MessageTexts(language=language))


def test_holding_raised_first_hundred_characters_suffice() -> None:
    """Half asleep: which unit, how bad, how long, what to do."""
    body = _message(_condition(), About.RAISED).body

    assert body[:100].startswith(
        "Front display case: fish 46.0 °F, over 41.0 °F for 1 h 15 min. Move the fish now."
    )


def test_holding_returned_says_peak_time_above_and_what_of_the_fish() -> None:
    """It is over: what happened, and the fish is for a person to decide about."""
    body = _message(_condition(), About.RETURNED).body

    assert "peaked at 46.6 °F, 59 min over 41.0 °F" in body
    assert "measure it with a thermometer" in body
    assert "the person in charge to decide" in body


def test_escalated_says_how_long_nobody_answered() -> None:
    """The second person learns that the first did not answer."""
    message = _message(_condition(), About.ESCALATED)

    assert message.body.startswith("No answer in 45 min. Front display case")
    assert "no answer" in message.title


def test_message_in_celsius_shop_reads_celsius_throughout() -> None:
    """No °F slips into a °C shop, nor a rate with 32 in it."""
    body = _message(_condition(), About.RAISED, of=shop(display=Scale.CELSIUS)).body

    assert "fish 7.8 °C, over 5.0 °C" in body
    assert "Rising 2.0 °C an hour" in body
    assert "°F" not in body


def test_power_loss_over_several_units_counts_and_names_them() -> None:
    """One cause, one message: all units in it."""
    condition = replace(
        _condition(Rule.POWER_LOSS),
        key=AlarmKey(unit=None, rule=Rule.POWER_LOSS),
        units=(UnitId("case-1"), UnitId("walk-in"), UnitId("freezer-1")),
    )
    message = _message(condition, About.RAISED)

    assert message.title == "Power lost: 3 units"
    assert "Front display case, Walk-in cooler and Chest freezer" in message.body


@pytest.mark.parametrize(
    ("minutes_old", "said"), [(0, "in about 40 min"), (5, "in about 35 min"), (41, None)]
)
def test_power_loss_counts_on_from_when_the_time_left_was_estimated(
    minutes_old: int, said: str | None
) -> None:
    """A repeat names what is left by now, and nothing once that is over."""
    condition = replace(
        _condition(Rule.POWER_LOSS, time_left_s=2400.0, first_unit=UnitId("walk-in")),
        key=AlarmKey(unit=None, rule=Rule.POWER_LOSS),
        units=(UnitId("case-1"), UnitId("walk-in")),
        estimated_ms=TO_MS - minutes_old * MINUTE_MS,
    )
    body = _message(condition, About.REPEAT).body

    if said is None:
        assert "First to" not in body
    else:
        assert f"First to get too warm: Walk-in cooler, past 41.0 °F {said}." in body


def test_unknown_cause_claims_none() -> None:
    """Where the evidence tells nothing, nothing is claimed."""
    body = _message(_condition(cause=Cause.UNKNOWN, explanation=""), About.RAISED).body

    assert "Likely cause" not in body
    assert "Go and check it now." in body[:100]


def test_summary_is_refused_with_its_cure() -> None:
    """The summary has its own text."""
    with pytest.raises(ValueError, match="expected raised, repeat, escalated or returned"):
        _message(_condition(), About.SUMMARY)


@pytest.mark.parametrize("rule", list(Rule))
@pytest.mark.parametrize("about", SENT)
@pytest.mark.parametrize("cause", list(Cause))
@pytest.mark.parametrize("language", LANGUAGES)
def test_every_rule_and_about_leads_within_a_hundred_characters(
    rule: Rule, about: About, cause: Cause, language: str
) -> None:
    """Even a unit with a long name leaves room for what to do."""
    name = "Wharf-side sashimi case no 4"
    assert len(name) == LONGEST_NAME
    bare = _condition(rule, cause=cause, explanation="", detail="", lots=(), fish_c=-12.4)
    texts = shipped_texts(language)
    tail = texts[rule.value]["tail_returned" if about is About.RETURNED else "tail"]
    body = _message(bare, about, of=_in_language(_renamed(name), language)).body
    starts = [choice.split("{")[0] for options in tail for choice in options]
    cuts = [body.find(f". {start}") for start in starts if len(start) > 3]
    lead = body[: min([cut + 1 for cut in cuts if cut > 0], default=len(body))]

    assert name in lead
    assert len(lead) <= 100, lead


@pytest.mark.parametrize("rule", list(Rule))
@pytest.mark.parametrize("about", SENT)
@pytest.mark.parametrize("language", LANGUAGES)
def test_every_rule_and_about_speaks_without_any_optional_fact(
    rule: Rule, about: About, language: str
) -> None:
    """A rule that knows little still sends whole sentences."""
    bare = Condition(key=AlarmKey(unit=UnitId("case-1"), rule=rule), since_ms=TO_MS - 900_000)
    message = _message(bare, about, of=_in_language(shop(), language), above_s=None)

    for text in (message.title, message.body):
        assert "Front display case" in text
        assert not re.search(r"[{}]|None|nan|  ", text), text


@pytest.mark.parametrize("rule", list(Rule))
@pytest.mark.parametrize("about", SENT)
def test_no_message_calls_fish_safe(rule: Rule, about: About) -> None:
    """A probe cannot know that, so no message says it."""
    message = _message(_condition(rule), about)

    assert not re.search(r"\bsafe", f"{message.title} {message.body}", re.IGNORECASE)


@st.composite
def _any_condition(draw: st.DrawFn) -> Condition:
    """Draw a condition with whatever texts and figures a rule could ever give it."""
    celsius, words = draw(st.floats(-95.0, 95.0)), draw(st.text(max_size=600))
    lots = draw(st.lists(st.text(min_size=1, max_size=80), max_size=30))
    return replace(
        _condition(draw(st.sampled_from(Rule)), fish_c=celsius, peak_c=celsius),
        time_left_s=draw(st.none() | st.floats(-1e4, 1e6)),
        cause=draw(st.none() | st.sampled_from(Cause)),
        explanation=words,
        detail=words,
        lots=tuple(LotId(lot) for lot in lots),
        since_ms=TO_MS - draw(st.integers(-MINUTE_MS, 10**10)),
    )


@given(_any_condition(), st.sampled_from(SENT), st.text(min_size=1, max_size=200))
def test_any_facts_keep_the_lengths(condition: Condition, about: About, name: str) -> None:
    """A title of 60 and a body of 500 characters hold whatever comes; neither is empty."""
    message = _message(condition, about, of=_renamed(name))

    assert 0 < len(message.title) <= LONGEST_TITLE
    assert 0 < len(message.body) <= LONGEST_BODY
    assert len(message.body.splitlines()) == 1


def test_silence_of_several_sends_nobody_to_a_battery() -> None:
    """What they share is looked at first, and when they speak again nobody calls them silent."""
    together = "all 3 probes fell silent together: look at what they share, the hub"
    silent = Condition(
        key=AlarmKey(unit=None, rule=Rule.STALE),
        since_ms=TO_MS - 75 * MINUTE_MS,
        units=(UnitId("case-1"), UnitId("case-2")),
        detail=together,
    )

    raised = _message(silent, About.RAISED).body
    assert "battery" not in raised
    assert "All 3 probes fell silent together: look at what they share" in raised
    assert "silent" not in _message(silent, About.RETURNED).body


def test_probe_that_speaks_again_is_not_called_silent() -> None:
    """The words of its silence are not those of its end."""
    spoke = _condition(Rule.STALE, detail="case-1-air is silent")

    assert "silent" not in _message(spoke, About.RETURNED).body
