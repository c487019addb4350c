"""The summary as a push message of under a thousand characters.

Layout only: every sentence comes from ``page``.
"""

from collections.abc import Iterable, Iterator
from typing import Final

from rimewatch.report import wording
from rimewatch.report.facts import State, Summary
from rimewatch.report.message import LONGEST_TITLE, Message
from rimewatch.report.page import Page, UnitBlock, page
from rimewatch.report.sections import LIMITS_CHANGED, LOTS

ROOM_FOR_SEAL: Final = 52
"""What the seal's line takes, which is put to the end when the message is sent."""
LONGEST_PUSH: Final = 999 - ROOM_FOR_SEAL
"""Under a thousand characters, which every push service in use takes in one piece
(common practice, no source)."""
_LONGEST_PUSH_LINE: Final = 160
_ROOM_FOR_TASKS: Final = 560
"""The rest is for the units, the warm ones first, and the lots."""
_ROOM_FOR_LOTS: Final = 90


def push_text(summary: Summary) -> str:
    """Return the summary for a phone: under 1,000 characters, the weightiest first.

    What does not fit is counted: "… and 3 more to do".
    """
    seen = page(summary)
    verdict = " ".join(seen.verdict)
    said = (verdict, seen.clock_note, _push_limits(seen))
    lines = [wording.clipped(line, 300) for line in said if line]
    ending = wording.clipped(f"{seen.shop}, {seen.night}", 120)
    room = LONGEST_PUSH - len(ending) - 1
    body = "\n".join(lines)
    tasks = (f"• {text}" for text in seen.todos)
    body += _as_many_as_fit(tasks, min(_ROOM_FOR_TASKS, room - len(body)), "to do")
    body += _as_many_as_fit(_push_units(seen), room - len(body) - _ROOM_FOR_LOTS, "units")
    body += _as_many_as_fit(_push_lots(seen), room - len(body), "lots")
    return f"{body}\n{ending}"


def summary_message(summary: Summary) -> Message:
    """Return the push message with its title, as it is sent to the first contacts."""
    title = wording.local_moment(summary.period.to_ms, summary.zone).rsplit(" ", 2)[0] + ":"
    for count, sentence in enumerate(summary.verdict):
        if count and len(title) + 1 + len(sentence) > LONGEST_TITLE:
            break
        title = f"{title} {sentence}"
    return Message(title=wording.clipped(title, LONGEST_TITLE), body=push_text(summary))


def _push_units(seen: Page) -> Iterator[str]:
    order = (State.WARM, State.UNWATCHED, State.NOT_PROVEN, State.HELD, State.OUT_OF_SERVICE)
    for block in sorted(seen.units, key=lambda block: order.index(block.state)):
        yield _push_unit(block)


def _push_unit(block: UnitBlock) -> str:
    said = block.lines[0] if block.state is State.WARM else f"{block.range}."
    return f"{block.name} {block.state_word}: {said[0].lower()}{said[1:]}"


def _push_limits(seen: Page) -> str:
    for section in seen.sections:
        if section.title == LIMITS_CHANGED:
            return f"{section.title}: {'; '.join(item.head for item in section.items)}."
    return ""


def _push_lots(seen: Page) -> Iterator[str]:
    for section in seen.sections:
        if section.title == LOTS:
            yield from (f"{item.head}." for item in section.items)


def _as_many_as_fit(texts: Iterable[str], room: int, of_what: str) -> str:
    """Return the lines that fit, each after a line break, and how many did not."""
    lines = [wording.clipped(text, _LONGEST_PUSH_LINE) for text in texts]
    total = sum(len(line) + 1 for line in lines)
    if total <= room:
        return "".join(f"\n{line}" for line in lines)
    left = room - len(_rest(len(lines), of_what))
    if left < 0:
        return ""
    fitting: list[str] = []
    for line in lines:
        if len(line) + 1 > left:
            break
        fitting.append(f"\n{line}")
        left -= len(line) + 1
    return "".join(fitting) + _rest(len(lines) - len(fitting), of_what)


def _rest(count: int, of_what: str) -> str:
    noun = of_what.removesuffix("s") if count == 1 else of_what
    return f"\n… and {count} more {noun}"
