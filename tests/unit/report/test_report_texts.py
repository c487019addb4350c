"""The words of messages: the same in every language, a shop's own checked in time."""

import copy
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from report_nights import TO_MS, shop

from rimewatch.report.message import alarm_message
from rimewatch.report.texts import (
    LANGUAGES,
    LONGEST_FIRST,
    names_in,
    problems_of,
    shipped_texts,
    texts_of,
)
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.shop import MessageTexts
from rimewatch.vocabulary import About, Cause, LotId, Rule, UnitId

SENT = tuple(about for about in About if about is not About.SUMMARY)
OTHERS = [language for language in LANGUAGES if language != "en"]


def walk(table: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Yield every text with its place."""
    if isinstance(table, str):
        yield path, table
        return
    pairs = table.items() if isinstance(table, dict) else enumerate(table)
    for key, value in pairs:
        yield from walk(value, f"{path}.{key}" if path else str(key))


@pytest.mark.parametrize("language", OTHERS)
def test_every_language_has_the_same_texts_and_facts(language: str) -> None:
    """What a phone can say in English it can say in each language, from the same facts."""
    english = {path: names_in(text) for path, text in walk(shipped_texts("en"))}
    other = {path: names_in(text) for path, text in walk(shipped_texts(language))}

    assert list(other) == list(english)
    # A shorter lead may leave a fact to the sentences behind it, but asks for no other.
    differing = [path for path in english if english[path] != other[path]]
    assert differing == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_shipped_texts_pass_the_check_of_a_shops_own(language: str) -> None:
    """What we ship is held to what we ask of others."""
    everything = copy.deepcopy(dict(shipped_texts(language)))

    assert problems_of(MessageTexts(language=language, overrides=everything)) == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_rule_and_about_is_covered(language: str) -> None:
    """No alarm is without words."""
    texts = shipped_texts(language)

    for rule in Rule:
        for about in SENT:
            assert texts[rule.value][about.value]["title"], (rule, about)
            assert texts[rule.value][about.value]["lead"], (rule, about)
    assert set(texts["first"]) == {cause.value for cause in Cause}
    assert all(len(first) <= LONGEST_FIRST for first in texts["first"].values())


def condition(rule: Rule = Rule.HOLDING, **more: Any) -> Condition:
    """Return a finding with everything that can be known."""
    facts: dict[str, Any] = {
        "fish_c": 11.2,
        "limit_c": 5.0,
        "cause": Cause.COOLING_FAILURE,
        "explanation": "the air rose steadily with the door shut",
        "lots": (LotId("L-1"),),
        "passed_c": 10.0,
        "kilograms": 42.5,
        "held_h": 159.97,
        "needed_h": 168.0,
    }
    key = AlarmKey(unit=UnitId("case-1"), rule=rule)
    return Condition(key=key, since_ms=TO_MS - 4_500_000, **{**facts, **more})


def body(texts: MessageTexts, of: Condition) -> str:
    """Return what is said when it is raised."""
    place = replace(shop(), messages=texts)
    return alarm_message(place, of, About.RAISED, raised_ms=TO_MS, now_ms=TO_MS).body


def test_message_tells_what_is_at_stake() -> None:
    """Kilograms, the line that was passed, and the hours that a hold had."""
    said = body(MessageTexts(language="en"), condition())
    assert "The fish has passed 50.0 °F." in said
    assert "Lots at stake: L-1, 42.5 kg." in said

    hold = body(MessageTexts(language="en"), condition(Rule.HOLD_AT_RISK))
    assert "The furthest had 159.9 of 168 h." in hold  # cut off: it was not 160


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("about", [About.RAISED, About.REPEAT, About.ESCALATED])
@pytest.mark.parametrize("cause", list(Cause))
def test_hold_that_will_be_lost_is_told_within_a_hundred_characters(
    language: str, about: About, cause: Cause
) -> None:
    """Unit, time left, what to do; the title says how many hours are at stake."""
    base = shop()
    named = tuple(replace(u, name="Wharf-side freezer, chest 4") for u in base.units)
    of = condition(Rule.PROJECTION, time_left_s=5_040.0, cause=cause)
    place = replace(base, units=named, messages=MessageTexts(language=language))
    said = alarm_message(place, of, about, raised_ms=TO_MS - 3_000_000, now_ms=TO_MS)
    texts = shipped_texts(language)

    assert said.body.index(texts["first"][cause.value]) + len(texts["first"][cause.value]) <= 100
    assert "1 h 24 min" in said.body
    assert about is About.ESCALATED or "159.9" in said.title
    assert "…" not in said.title
    assert "159.9" in said.body
    assert "168 h" in said.body


def test_spanish_message_has_no_english_reason_in_it() -> None:
    """What the rules say of their reasons exists in English alone, so it is left out."""
    said = body(MessageTexts(language="es"), condition())

    assert "Causa probable: el frío ha fallado." in said
    assert "door shut" not in said


def test_shops_own_sentence_stands_in_place_of_the_shipped_one() -> None:
    """A shop that calls its cases otherwise says so; the rest stays."""
    own = MessageTexts(
        language="en", overrides={"first": {"cooling-failure": "Fish to the ice room."}}
    )

    assert problems_of(own) == []
    assert "Fish to the ice room." in body(own, condition())
    assert texts_of(own)["first"]["door"] == shipped_texts("en")["first"]["door"]


@pytest.mark.parametrize(
    ("toml", "path", "cure"),
    [
        ("[holdng]\ntail = []", "holdng", "did you mean holding?"),
        ("[holding.raised]\ntitel = []", "holding.raised.titel", "did you mean title?"),
        ('holding = "warm"', "holding", "expected a table"),
        ('[holding.raised]\ntitle = "warm"', "holding.raised.title", "a list of texts"),
        ('[holding]\ntail = ["warm"]', "holding.tail", "a list of lists of texts"),
        ("[first]\ndoor = 3", "first.door", "a text"),
        ('[first]\ndoor = "Shut the door of it as fast as you can."', "first.door", "at most 28"),
        ('[holding.raised]\nlead = ["{fihs}", "{unit}"]', "holding.raised.lead[0]", "{fish}"),
        ('[holding.raised]\nlead = ["{unit}: {fish}"]', "holding.raised.lead[0]", "{fish}"),
        ('[holding.raised]\nlead = ["{unit!r}"]', "holding.raised.lead[0]", "not a plain name"),
        ('[holding.raised]\nlead = ["{unit"]', "holding.raised.lead[0]", "written twice"),
        ('[holding.raised]\nlead = ["{unit.__class__}"]', "holding.raised.lead[0]", "plain name"),
        ('[holding.raised]\nlead = [" "]', "holding.raised.lead[0]", "is empty"),
        ('[words]\nweekdays = ["M"]', "words.weekdays", "expected 7"),
        ('[page]\nraised = "{unit}"', "page.raised", "known: ago, at"),
    ],
)
def test_mistake_in_a_shops_own_words_is_named_with_its_path(
    toml: str, path: str, cure: str
) -> None:
    """A sentence that could not be said is found by check, not at three in the morning."""
    own = MessageTexts(language="en", overrides=tomllib.loads(toml), source="texts/messages.toml")
    problems = problems_of(own)

    assert problems
    assert problems[0].startswith(f"texts/messages.toml: {path} ")
    assert cure in problems[0]
