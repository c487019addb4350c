"""What people must read beside a lot's proof, wherever it is shown. Pure.

References:
    [1] FDA Food Code 2022, 3-202.11(A): the temperature at receipt.
    [2] FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed., chapter 7 and
        Appendix 4, Table A-2 (from memory): cumulative times in the warm.
"""

from collections.abc import Iterator, Sequence
from datetime import tzinfo
from typing import Final

from rimewatch.evaluation.lot_story import LotStory
from rimewatch.lots.record import Overrun
from rimewatch.report import wording
from rimewatch.rules.provisions import RECEIVING_LIMIT_C
from rimewatch.shop import Shop
from rimewatch.vocabulary import Kind

PARASITES_ALONE: Final = (
    "A proof speaks of parasites alone. Freezing destroys those; neither it nor an exemption does "
    "anything about bacteria, viruses or histamine."
)

NOT_SURE: Final = "hold complete by its readings, not sure for this lot yet"
"""In place of a proof by own freezing."""


def caveats(story: LotStory, zone: tzinfo) -> tuple[str, ...]:
    """Return what speaks against serving a lot whatever its proof says, a sentence each."""
    found: list[str] = []
    hold, sure = story.hold, story.sure
    if hold is not None and sure is not None and not story.is_sure:
        at_ms = story.sure_by_ms
        at = "" if at_ms is None else wording.local_moment(round(at_ms), zone)
        found.append(wording.sure_hours(sure.credited_h, hold.required_h, at, story.doubts))
    too_warm = story.need is not None and bool(story.need.receipt_too_warm)
    return (*found, *warm_caveats(story.overruns, received_too_warm=too_warm))


def unproven_on_display(shop: Shop, story: LotStory) -> str:
    """Return a warning of a lot for raw service that lies in a display case without its proof.

    Nor is a hold a proof of it that is not sure for this lot. Empty: nothing is to be warned of.
    """
    unit = None if story.entries.unit is None else shop.unit.get(story.entries.unit)
    if unit is None or unit.kind is not Kind.DISPLAY_CASE:
        return ""
    if not story.why_not and not story.is_proof_unsure:
        return ""
    lacks = lacks_there(is_unsure=story.is_proof_unsure)
    return f"It is in {wording.printable(unit.name)} {lacks}: keep it off the raw counter."


def lacks_there(*, is_unsure: bool) -> str:
    """Return what a lot in a display case lacks; ``is_unsure``: its hold is not sure for it.

    >>> lacks_there(is_unsure=False)
    'without its proof'
    """
    return "with a hold that is not sure for it" if is_unsure else "without its proof"


def warnings_at_the_counter(story: LotStory, zone: tzinfo) -> tuple[str, ...]:
    """Return what to read of a lot that goes where fish is served from, a sentence each.

    What it lacks as raw fish, and what speaks against it whatever its proof says.
    """
    lacks = ""
    if story.proof is None and story.why_not:
        lacks = f"It is not proven and must not be served raw. {story.why_not}"
    return (*((lacks,) if lacks else ()), *caveats(story, zone))


def warm_caveats(overruns: Sequence[Overrun], *, received_too_warm: bool) -> Iterator[str]:
    """Say that a lot came in too warm [1], or was warm for longer than guidance allows [2].

    >>> over = Overrun(hazard="scombrotoxin, fish not previously frozen", share=2.4904)
    >>> print(*warm_caveats([over], received_too_warm=False))
    It was warm for longer than guidance allows (FDA Hazards Guidance, 4th ed.), 249 % of it for \
scombrotoxin, fish not previously frozen; the person in charge decides about it.
    """
    if received_too_warm:
        yield (
            f"It came in above {wording.published_limit(RECEIVING_LIMIT_C)}, to be refused (FDA "
            "Food Code 2022, 3-202.11(A)); the person in charge decides about it."
        )
    if overruns:
        used = "; ".join(f"{_percent(over.share)} of it for {over.hazard}" for over in overruns)
        yield (
            "It was warm for longer than guidance allows (FDA Hazards Guidance, 4th ed.), "
            f"{used}; the person in charge decides about it."
        )


def _percent(share: float) -> str:
    """Return a share beyond its limit, never rounded down to it: "249 %", "100.1 %"."""
    return f"{share * 100:.0f} %" if share >= 1.01 else "just over 100 %"
