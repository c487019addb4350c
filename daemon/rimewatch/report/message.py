"""What an alarm says on a phone's lock screen at three in the morning.

The words are data (``templates/messages.*.toml``, :mod:`rimewatch.report.texts`); this
module fills in the facts and keeps the lengths. It decides nothing about the fish and never
sends anything.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from string import Formatter
from typing import Any, Final
from zoneinfo import ZoneInfo

from rimewatch.report import wording
from rimewatch.report.texts import texts_of
from rimewatch.rules.condition import LOTS_NAMED, Condition
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_S, About, Cause, Rule

LONGEST_TITLE: Final = 60
LONGEST_BODY: Final = 500
LONGEST_NAME: Final = 28
"""So that a first line with its unit, its facts and what to do fits 100 characters."""
_LONGEST_FACT: Final = 140
LONGEST_LINK: Final = 260
"""What is wrong with the broker's connection has its cure at its end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """A title and a body, ready to be sent."""

    title: str
    body: str
    lead: str = ""
    """Of an alarm, the body's beginning: which unit, what is happening, what to do."""

    @property
    def rest(self) -> str:
        """Return what the body says beyond its lead."""
        return self.body.removeprefix(self.lead).lstrip()


def alarm_message(
    shop: Shop,
    condition: Condition,
    about: About,
    *,
    raised_ms: int,
    now_ms: int,
    above_s: float | None = None,
    link: str = "",
) -> Message:
    """Return what a phone should show for an alarm.

    Args:
        shop: Names, zone and scale.
        condition: The finding, with the facts of the moment.
        about: Why it is sent; anything but ``summary``.
        raised_ms: When the alarm was raised.
        now_ms: The moment.
        above_s: For ``returned``: time beyond the limit; None: from the beginning until now.
        link: What is wrong with the connection to the broker, with its cure; empty: nothing.

    Returns:
        A title of at most 60 and a body of at most 500 characters. The first 100
        characters of the body say which unit, what is happening and what to do.

    Raises:
        ValueError: If ``about`` is ``summary``: the summary renders its own message.
    """
    if about is About.SUMMARY:
        raise ValueError("about is 'summary', expected raised, repeat, escalated or returned")
    texts = texts_of(shop.messages)
    own = texts[condition.key.rule.value]
    known = _known(shop, condition, texts, raised_ms, now_ms, above_s)
    if clean := wording.printable(link):
        known["link"] = _sentence(wording.clipped(clean, LONGEST_LINK))
    template = own[about.value]
    tail = own["tail_returned"] if about is About.RETURNED else own["tail"]
    title = _first_known(template["title"], known)
    assert title is not None, "the last alternative of a title needs no optional fact"
    sentences = [
        text for choice in (template["lead"], *tail) if (text := _first_known(choice, known))
    ]
    lead = wording.clipped(sentences[0], LONGEST_BODY)
    body = _fitted(lead, sentences[1:])
    return Message(title=wording.clipped(title, LONGEST_TITLE), body=body, lead=lead)


def _fitted(body: str, sentences: Sequence[str]) -> str:
    """Add what fits, the earlier sentence first; one too long is left out whole."""
    for sentence in sentences:
        if len(body) + 1 + len(sentence) <= LONGEST_BODY:
            body = f"{body} {sentence}"
    return body


def _first_known(choices: Sequence[str], known: Mapping[str, str]) -> str | None:
    for choice in choices:
        needed = {name for _, name, _, _ in Formatter().parse(choice) if name}
        if needed <= known.keys():
            return choice.format_map(known)
    return None


def _known(
    shop: Shop,
    condition: Condition,
    texts: Mapping[str, Any],
    raised_ms: int,
    now_ms: int,
    above_s: float | None,
) -> dict[str, str]:
    """Return the facts that are known, as text; what is not known has no entry."""
    zone, words = ZoneInfo(shop.timezone), texts["words"]
    lasting_s = max(0.0, (now_ms - condition.since_ms) / MS_PER_S)
    cause = condition.cause or Cause.UNKNOWN
    known = {
        **_names(shop, condition, words),
        "since": local_time(condition.since_ms, zone, words, day_of_ms=now_ms),
        "lasting": duration(lasting_s, words),
        "waiting": duration(max(0.0, (now_ms - raised_ms) / MS_PER_S), words),
        "above": duration(lasting_s if above_s is None else above_s, words),
        "first": texts["first"][
            cause.value if cause.value in texts["first"] else Cause.UNKNOWN.value
        ],
    }
    if cause.value in texts["cause"]:
        known["cause"] = texts["cause"][cause.value]
    known |= _measured(shop, condition)
    if (left_s := _time_left_s(condition, now_ms)) is not None:
        known["left"] = duration(left_s, words)
    if condition.first_unit is not None and condition.first_unit in shop.unit:
        name = wording.printable(shop.unit[condition.first_unit].name)
        known["nearest"] = wording.clipped(name, LONGEST_NAME)
    if condition.lots:
        known["lots"] = joined(_lots(condition, texts), words, most=LOTS_NAMED)
    if condition.unread:
        known["unread"] = texts["unread"][condition.unread[0][1].value]
    # What the rules say of their reasons is English; other languages do without.
    why = condition.explanation if shop.messages.language == "en" else ""
    for name, text in (("why", why), ("detail", condition.detail)):
        if clean := wording.printable(text):
            known[name] = _sentence(wording.clipped(clean, _LONGEST_FACT))
    _settle_what_is_silent(known, condition, zone, words, now_ms)
    return known


def _settle_what_is_silent(
    known: dict[str, str],
    condition: Condition,
    zone: ZoneInfo,
    words: Mapping[str, Any],
    now_ms: int,
) -> None:
    """Say when silent fish was last seen, and of several silent units what they share."""
    if condition.key.rule is not Rule.STALE:
        if condition.fish_ms is not None:
            known["seen_at"] = local_time(condition.fish_ms, zone, words, day_of_ms=now_ms)
            for present in ("air", "rate"):
                known.pop(present, None)
    elif condition.key.unit is None and "detail" in known:
        known["shared"] = known.pop("detail")  # not each probe's battery


def _lots(condition: Condition, texts: Mapping[str, Any]) -> list[str]:
    """Return the lots with what may be said of each, as far as that was looked up."""
    said = dict(condition.standings)
    return [
        f"{name} ({texts['standing'][said[lot].value]})" if lot in said else name
        for lot in condition.lots
        for name in (wording.clipped(wording.printable(lot), 24),)
    ]


def _time_left_s(condition: Condition, now_ms: int) -> float | None:
    """Return how long is left by now; None where that is not known, or over."""
    left_s = condition.time_left_s
    if left_s is None:
        return None
    if condition.estimated_ms is not None:
        left_s -= (now_ms - condition.estimated_ms) / MS_PER_S
    return left_s if left_s >= 0 else None


def _measured(shop: Shop, condition: Condition) -> dict[str, str]:
    """Return the temperatures, weights and hours that are known, as text."""
    known: dict[str, str] = {}
    temperatures = {
        "fish": condition.fish_c,
        "air": condition.air_c,
        "limit": condition.limit_c,
        "peak": condition.peak_c,
        "passed": condition.passed_c,
    }
    for name, celsius in temperatures.items():
        if celsius is not None:
            known[name] = wording.temperature(celsius, shop.display)
    if condition.rate_c_per_h is not None and condition.rate_c_per_h >= 0.1:
        known["rate"] = wording.temperature_difference(condition.rate_c_per_h, shop.display)
    if condition.used_share is not None:
        # Cut off, not rounded: a limit that is not reached yet never looks reached.
        known["used"] = f"{math.floor(condition.used_share * 100 + 1e-9)} %"
    if condition.kilograms is not None:
        known["kilograms"] = f"{condition.kilograms:g}"
    if condition.held_h is not None and condition.needed_h is not None:
        # Cut off, not rounded: an unfinished hold never looks finished.
        known["held"] = f"{math.floor(condition.held_h * 10 + 1e-9) / 10:g}"
        known["needed"] = f"{condition.needed_h:g}"
    return known


def _names(shop: Shop, condition: Condition, words: Mapping[str, Any]) -> dict[str, str]:
    """Return who it is about: a short ``unit``, and ``names`` where that had to be a number."""
    ids = (condition.key.unit,) if condition.key.unit is not None else condition.units
    names = [
        wording.printable(shop.unit[unit].name if unit in shop.unit else str(unit)) for unit in ids
    ]
    if len(names) < 2:
        return {"unit": wording.clipped(names[0] if names else shop.name, LONGEST_NAME)}
    together = joined(names, words)
    if len(together) <= LONGEST_NAME:
        return {"unit": together}
    clipped = [wording.clipped(name, LONGEST_NAME) for name in names]
    number = f"{len(names)} {words['units']}"
    return {"unit": number, "names": joined(clipped, words, most=4)}


def joined(names: Sequence[str], words: Mapping[str, Any], *, most: int | None = None) -> str:
    """Return "a, b and c" in the words of a language; beyond ``most``, "a, b and 3 more"."""
    shown = list(names)
    if most is not None and len(shown) > most:
        shown = [*shown[:most], words["more"].format(count=len(names) - most)]
    if len(shown) < 2:
        return "".join(shown)
    return f"{', '.join(shown[:-1])} {words['and']} {shown[-1]}"


def duration(seconds: float, words: Mapping[str, Any]) -> str:
    """Return a duration as it is said; its units (s, min, h, d) are the same everywhere."""
    return str(words["under_a_second"]) if 0 < seconds < 1 else wording.duration(seconds)


def local_time(
    at_ms: int, zone: ZoneInfo, words: Mapping[str, Any], *, day_of_ms: int | None = None
) -> str:
    """Return "02:41 CST", with the weekday where it is another day than ``day_of_ms``."""
    at = wording.local(at_ms, zone)
    text = wording.local_time(at_ms, zone)
    if day_of_ms is not None and wording.local(day_of_ms, zone).date() != at.date():
        return f"{words['weekdays'][at.weekday()]} {text}"
    return text


def _sentence(text: str) -> str:
    """Return the text with a capital at its start and a stop at its end."""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?…" else ".")
