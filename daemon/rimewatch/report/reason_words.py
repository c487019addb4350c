"""A reason for a lot's standing in words, a sentence each. Pure.

Only ``report.lot_standing`` reads this; every surface takes a lot's sentences from there.
"""

from collections.abc import Callable
from typing import Final

from rimewatch.evaluation.solidity import ASSUMED_THICKNESS_MM
from rimewatch.lots.standing import (
    Against,
    Backdated,
    Disposed,
    Doubt,
    FailedCheck,
    InsideUnseen,
    PackedWarm,
    PerhapsDisposed,
    PlaceCorrected,
    ReceivedTooWarm,
    SilenceAfterSolid,
    SilenceBeforeCount,
    Stuck,
    TooLongWarm,
    ToxicRaw,
    Unmonitored,
    Unsigned,
    WarmUnseen,
)
from rimewatch.report import wording
from rimewatch.rules.provisions_hazards import ROP_CHILLED_LIMIT_C
from rimewatch.shop import Shop
from rimewatch.vocabulary import Disposition, UnitId

TellsMoment = Callable[[float], str]
"""Returns an instant as a surface tells it."""

_GONE: Final = {Disposition.DISCARDED: "Discarded", Disposition.USED_COOKED: "Used cooked"}


def disposition_words(disposition: Disposition) -> str:
    """Return what became of fish, as the beginning of a sentence.

    >>> disposition_words(Disposition.USED_COOKED)
    'Used cooked'
    """
    return _GONE.get(disposition, disposition.value)


def reason_words(shop: Shop, reason: Against | Doubt, moment: TellsMoment) -> str:
    """Return a reason as a sentence; empty: another sentence about the lot says it already.

    Args:
        shop: Names, and the scale that people read.
        reason: The reason.
        moment: How instants are told.
    """
    if isinstance(reason, TooLongWarm | ReceivedTooWarm | SilenceBeforeCount):
        return ""
    if isinstance(reason, ToxicRaw | Disposed):
        return wording.printable(_speaks_against(reason, moment))
    if isinstance(reason, PackedWarm):
        return (
            f"In its vacuum pack it was above {wording.published_limit(ROP_CHILLED_LIMIT_C)} for "
            f"{wording.duration(reason.above_s)} in all, and is to be kept at that or below (FDA "
            "Hazards Guidance, 4th ed., chapter 13, from memory; C. botulinum); the person in "
            "charge decides about it."
        )
    if isinstance(reason, Unmonitored | WarmUnseen | PerhapsDisposed):
        return wording.printable(_unseen(shop, reason, moment))
    return wording.printable(_measured(shop, reason, moment))


def _speaks_against(reason: ToxicRaw | Disposed, moment: TellsMoment) -> str:
    if isinstance(reason, Disposed):
        gone = disposition_words(reason.disposition).lower()
        return f"It was written down as {gone} ({moment(reason.at_ms)})."
    if reason.is_certain:
        return f"Never to be served raw: {reason.species}. {reason.note}"
    return (
        f"The name may mean {reason.species}, which is never to be served raw: {reason.note} "
        "Record the scientific name."
    )


def _unseen(
    shop: Shop, reason: Unmonitored | WarmUnseen | PerhapsDisposed, moment: TellsMoment
) -> str:
    match reason:
        case Unmonitored():
            return (
                f"Nobody watched it for {wording.duration(reason.total_s)} in all, "
                f"{wording.duration(reason.longest_s)} at a stretch: {reason.share * 100:.1f} % of "
                "its time since it was received."
            )
        case WarmUnseen():
            return "Had it been warm while nobody watched, it would be beyond what guidance allows."
        case PerhapsDisposed():
            gone = disposition_words(reason.disposition).lower()
            if reason.is_named:
                return (
                    f"What was written of it ({moment(reason.at_ms)}) reads as if it was {gone}, "
                    "and what became of it was not chosen."
                )
            return (
                f"Fish of {_unit_name(shop, reason.unit)} was written down as {gone} "
                f"({moment(reason.at_ms)}), and no lot was named."
            )


def _measured(
    shop: Shop,
    reason: FailedCheck
    | Stuck
    | SilenceAfterSolid
    | InsideUnseen
    | Backdated
    | Unsigned
    | PlaceCorrected,
    moment: TellsMoment,
) -> str:
    match reason:
        case FailedCheck():
            off = wording.temperature_difference(reason.found_c, shop.display)
            allowed = wording.temperature_difference(reason.allowed_c, shop.display)
            return (
                f"Probe {reason.probe} was found off by {off} ({moment(reason.at_ms)}), by more "
                f"than ±{allowed}: what it showed of this lot is in question."
            )
        case Stuck():
            return (
                f"Probe {reason.probe} showed {wording.temperature(reason.value_c, shop.display)} "
                f"without moving from {moment(reason.from_ms)} to {moment(reason.to_ms)}: check "
                "that it measures."
            )
        case SilenceAfterSolid():
            return (
                f"Nobody watched it from {moment(reason.from_ms)} on, after it was solid: that it "
                "stayed so is not known."
            )
        case InsideUnseen():
            return _inside(reason)
        case Backdated():
            return (
                f"Its freezing was entered {moment(reason.entered_ms)} as begun "
                f"{moment(reason.at_ms)}: who knows it confirms it with a reason."
            )
        case PlaceCorrected():
            cure = (
                "it was gone by then, so what was said before still counts."
                if reason.is_late
                else f"somebody else has to confirm that (entry {reason.number})."
            )
            return (
                f"It was entered {moment(reason.at_ms)} that probe {reason.probe} had been in "
                f"{_unit_name(shop, reason.unit)}, and not in {_unit_name(shop, reason.was)}: "
                f"{cure}"
            )
        case Unsigned():
            return (
                f"It was corrected {moment(reason.at_ms)}, and nobody put a name to that, so what "
                "was said before still counts: who knows it corrects it again."
            )


def _inside(reason: InsideUnseen) -> str:
    said = f"How cold it was inside, as {reason.option.value} asks, is not known"
    if reason.beside_product_probe:
        return f"{said}: the product probe beside it is not known to lie in it."
    if not reason.thickness_known:
        return f"{said}: its thickness is not entered, so {ASSUMED_THICKNESS_MM:.0f} mm are taken."
    return f"{said} yet."


def _unit_name(shop: Shop, unit: UnitId) -> str:
    return shop.unit[unit].name if unit in shop.unit else str(unit)
