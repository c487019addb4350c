"""Operators' entries that come over the broker, where the shop takes any.

A message on ``rimewatch/CLIENT_ID/entry`` is one entry as in a trace: a JSON object with
``do``, its keys, and ``at`` and ``who`` where the sender knows them. Whoever may publish on
that topic is believed: who may is for the broker's access control to say, and a secret in
the payload would be no secret there. What became of each is said on
``rimewatch/CLIENT_ID/answer``. Never touches the network, the clock or the disk.
"""

import json
from dataclasses import replace
from enum import StrEnum
from typing import Final

from pydantic_core import from_json

from rimewatch.entries import AnyEntry
from rimewatch.instants import iso, iso_ms
from rimewatch.intake.device_time import is_plausible
from rimewatch.intake.entries import EntryError, parse_entry
from rimewatch.journal.entry_codec import entry_to_dict
from rimewatch.vocabulary import MS_PER_S

LATE_MS: Final = 300 * MS_PER_S
"""An entry that says it was made longer ago than this is marked as entered afterwards; as long
as a reading's clock may be ahead."""


def entry_of_message(payload: bytes, arrived_ms: int, *, retained: bool = False) -> AnyEntry:
    """Return the entry in a message; whether it can be so is for the door to say.

    Args:
        payload: JSON, UTF-8.
        arrived_ms: When it arrived, milliseconds UTC; also when it was made, where the
            message does not say.
        retained: Whether the broker had kept it.

    Raises:
        EntryError: If it is no entry that can be taken. One sentence, with the cure.
    """
    if retained:
        raise EntryError("kept by the broker, of unknown age; publish entries without retain")
    try:
        found = from_json(payload)
    except ValueError:
        raise EntryError('not a JSON object; expected one such as {"do": "move-lot", …}') from None
    if not isinstance(found, dict):
        raise EntryError('not a JSON object; expected one such as {"do": "move-lot", …}')
    at_ms = _made_ms(found.get("at"), arrived_ms)
    entry = parse_entry({key: found[key] for key in found if key != "entered"}, at_ms)
    return replace(entry, entered_ms=arrived_ms) if arrived_ms - at_ms > LATE_MS else entry


class Became(StrEnum):
    """What can become of an entry that came over the broker."""

    TAKEN = "taken"
    """It is on the books."""
    KNOWN = "known"
    """It was on the books already: delivered twice."""
    WITHOUT_EFFECT = "without-effect"
    """It is on the books and changed nothing."""
    REFUSED = "refused"
    """It cannot be so, or it is no entry; it is not on the books."""


def answer(became: Became, entry: AnyEntry | None, arrived_ms: int, why: str = "") -> bytes:
    """Return what is said of an entry: JSON, UTF-8.

    Args:
        became: What became of it.
        entry: The entry, told by what names it alone; None: the message was none.
        arrived_ms: When the message arrived, milliseconds UTC.
        why: The reason, in one sentence without its stop; empty: there is nothing to explain.
    """
    said: dict[str, object] = {"arrived": iso(arrived_ms), "result": became.value}
    if entry is not None:
        kept = entry_to_dict(entry)
        said |= {
            key: kept[key] for key in ("at", "do", "unit", "rule", "lot", "who") if key in kept
        }
    if why:
        said["why"] = why
    return json.dumps(said, ensure_ascii=False).encode()


def _made_ms(at: object, arrived_ms: int) -> int:
    if at is None:
        return arrived_ms
    at_ms = iso_ms(at) if isinstance(at, str) else None
    if at_ms is None:
        raise EntryError('"at" is no time; expected ISO 8601 with a zone, or no "at" for now')
    if not is_plausible(at_ms, arrived_ms):
        raise EntryError(
            f'"at" is {(at_ms - arrived_ms) / MS_PER_S:+.0f} s from its arrival; expected at most '
            "300 s after it and 30 days before it"
        )
    return min(at_ms, arrived_ms)
