"""What may be said of a lot, in words, decided here once for every surface. Pure.

List, page, record, summary, message and API take a lot's verdict, what it lacks and what must be
read beside it from :func:`lot_words`, and put nothing of their own in its place.

References:
    [1] FDA Food Code 2022, 3-202.11(A): the temperature at receipt.
    [2] FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed., chapter 7 (from
        memory) and Appendix 4; FDA Food Code 2022, 3-501.16 and .19: cumulative times in the warm.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.evaluation.exposures import LIMITS
from rimewatch.evaluation.lot_story import LotStory
from rimewatch.lots.record import PROVISION_OF, Proof
from rimewatch.lots.standing import (
    Disposed,
    InsideUnseen,
    Judgement,
    ReceivedTooWarm,
    SilenceBeforeCount,
    TooLongWarm,
)
from rimewatch.report import wording
from rimewatch.report.reason_words import TellsMoment, disposition_words, reason_words
from rimewatch.rules.provisions import RECEIVING_LIMIT_C
from rimewatch.shop import Shop
from rimewatch.vocabulary import Code, Kind, Option, Standing

PARASITES_ALONE: Final = (
    "A proof speaks of parasites alone. Freezing destroys those; neither it nor an exemption does "
    "anything about bacteria, viruses or histamine."
)

STANDS: Final = (
    "A hold that was complete stands: the hours shown are those of the freezing that was begun "
    "after it."
)
"""Of fish that was put to freeze once more."""

NO_FOOD_CODE_OPTION: Final = (
    "This is no option of the FDA Food Code; where that is in force it is not enough."
)
"""Of ``20C-24h``, which is of the European Union and of Japan."""

NOT_SURE: Final = "Hold complete by its readings, not sure for this lot yet"
"""In place of a proof by own freezing."""

AGAINST: Final = "Not for raw service: what is recorded speaks against it"
"""Whatever was proven."""

PROVEN: Final = {
    Proof.OWN_FREEZING: "Parasite proof complete (own freezing)",
    Proof.SUPPLIER_FREEZING: "Parasite proof complete (the supplier’s statement on freezing)",
    Proof.EXEMPTION: "Parasite proof complete (exempt from freezing)",
}
NOT_RAW: Final = "Not for raw service"

KEEP_OFF: Final = "keep it off the raw counter"
SEE_WHY: Final = "see why before it is served raw"


@dataclass(frozen=True, slots=True, kw_only=True)
class LotWords:
    """What may be said of a lot."""

    verdict: str
    """A few words, without a full stop."""
    standing: Standing
    is_proven: bool
    """Whether it may bear the sign of a proof: it alone is ``proven``."""
    is_ready: bool
    """The same of a lot that is still here."""
    why_not: str
    """What its proof lacks, a sentence; empty: nothing, or none is wanted."""
    caveats: tuple[str, ...]
    """What puts its proof in doubt, or speaks against serving it raw whatever it says; a
    sentence each."""
    lacks_on_display: str
    """What a lot in a display case lacks there, as in "in it without its proof"; empty: nothing,
    or it is in none."""
    on_display: str
    """The same as a sentence with what to do."""
    act_on_display: str
    """What to do about that; empty: nothing."""
    notes: tuple[str, ...]
    """What is to be read beside its proof or hold, a sentence each."""

    @property
    def at_the_counter(self) -> tuple[str, ...]:
        """What to read of a lot that goes where fish is served from, a sentence each."""
        lacks = f"It is not proven and must not be served raw. {self.why_not}"
        return ((lacks,) if self.why_not else ()) + self.caveats


def lot_words(shop: Shop, story: LotStory, moment: TellsMoment | None = None) -> LotWords:
    """Return what may be said of a lot.

    Args:
        shop: Names and zone.
        story: The lot.
        moment: How instants are told; None: as a summary tells them.
    """
    zone = ZoneInfo(shop.timezone)
    at = moment or (lambda at_ms: wording.local_moment(round(at_ms), zone))
    caveats = tuple(dict.fromkeys(_caveats(shop, story, at)))
    is_proven = story.judgement.is_proven
    lacks = _lacks_on_display(shop, story)
    act = SEE_WHY if story.standing is Standing.DOUBT else KEEP_OFF
    return LotWords(
        verdict=_verdict(story),
        standing=story.standing,
        is_proven=is_proven,
        is_ready=is_proven and story.raw_ready,
        why_not=wording.printable(story.why_not),
        caveats=caveats,
        lacks_on_display=lacks,
        on_display=f"It is in {_unit_name(shop, story)} {lacks}: {act}." if lacks else "",
        act_on_display=act if lacks else "",
        notes=tuple(_notes(story)),
    )


def in_full(shop: Shop, story: LotStory, moment: TellsMoment) -> tuple[str, ...]:
    """Return what a lot's own record says of it, the verdict first, each with its full stop."""
    words = lot_words(shop, story, moment)
    return (*_opening(shop, story, words, moment), *_ending(story, moment))


def _opening(shop: Shop, story: LotStory, words: LotWords, moment: TellsMoment) -> Iterator[str]:
    hold, need = story.stands or story.hold, story.need
    yield f"{words.verdict}."
    yield from words.caveats
    if words.why_not:
        yield words.why_not
    if story.proof is Proof.OWN_FREEZING and hold is not None and hold.completed_ms is not None:
        yield (
            f"Freezing hold complete {moment(hold.completed_ms)}, by {PROVISION_OF[hold.option]}: "
            f"{wording.option_words(hold.option, shop.display)}."
        )
    elif story.proof is Proof.SUPPLIER_FREEZING:
        yield "Frozen by the supplier, by their written statement; not frozen for this here."
        yield f"In place of a record of own freezing: {story.law.statement}."
    yield from (note for note in words.notes if note is not PARASITES_ALONE)
    if need is not None and story.proof is not Proof.SUPPLIER_FREEZING:
        yield need.why


def _ending(story: LotStory, moment: TellsMoment) -> Iterator[str]:
    gone = story.entries.withdrawn
    if gone is not None:
        because = f" ({gone.reason})" if gone.reason else ""
        yield wording.printable(f"Withdrawn {moment(gone.at_ms)}{because}.")


def _verdict(story: LotStory) -> str:
    if story.standing is Standing.AGAINST:
        gone = [reason for reason in story.judgement.against if isinstance(reason, Disposed)]
        return f"{disposition_words(gone[0].disposition)}, not for raw service" if gone else AGAINST
    if story.standing is Standing.UNPROVEN or story.proof is None:
        return NOT_RAW
    if story.standing is Standing.DOUBT:
        # The evidence has a hole, or was put in question later.
        return NOT_SURE if _is_hold_unsure(story.judgement) else f"{PROVEN[story.proof]}, in doubt"
    return PROVEN[story.proof]


def _is_hold_unsure(judgement: Judgement) -> bool:
    """Whether less of its hold is sure than it needs."""
    return any(
        doubt.sure_h < doubt.required_h
        for doubt in judgement.doubts
        if isinstance(doubt, SilenceBeforeCount | InsideUnseen)
    )


def _caveats(shop: Shop, story: LotStory, moment: TellsMoment) -> Iterator[str]:
    hold, sure = story.hold, story.sure
    if hold is not None and sure is not None and not story.is_sure and story.stands is None:
        at = "" if story.sure_by_ms is None else moment(story.sure_by_ms)
        yield wording.sure_hours(sure.credited_h, hold.required_h, at, story.doubts)
    yield from _warm_words(story.judgement)
    for reason in (*story.judgement.against, *story.judgement.doubts):
        said = reason_words(shop, reason, moment)
        if said:
            yield said


def _notes(story: LotStory) -> Iterator[str]:
    if story.proof is not None:
        yield PARASITES_ALONE
    if story.stands is not None:
        yield STANDS
    if (
        story.hold is not None
        and story.hold.option is Option.F20C_24H
        and story.law.code is Code.US_FOOD_CODE_2022
    ):
        yield NO_FOOD_CODE_OPTION


def _lacks_on_display(shop: Shop, story: LotStory) -> str:
    unit = None if story.entries.unit is None else shop.unit.get(story.entries.unit)
    if unit is None or unit.kind is not Kind.DISPLAY_CASE or story.entries.withdrawn is not None:
        return ""
    received = story.entries.received
    is_raw = received is None or received.serve_raw
    match story.standing:
        case Standing.AGAINST if is_raw:
            return "though something speaks against serving it raw"
        case Standing.UNPROVEN if is_raw:
            return "without its proof"
        case Standing.DOUBT if _is_hold_unsure(story.judgement):
            return "with a hold that is not sure for it"
        case Standing.DOUBT:
            return "with its evidence in doubt"
        case _:
            return ""


def _unit_name(shop: Shop, story: LotStory) -> str:
    assert story.entries.unit is not None, "asked for only where it is in one"
    return wording.printable(shop.unit[story.entries.unit].name)


def _warm_words(judgement: Judgement) -> Iterator[str]:
    """Say that a lot came in too warm [1], or was warm for longer than guidance allows [2]."""
    for reason in judgement.against:
        if isinstance(reason, ReceivedTooWarm):
            yield (
                f"It came in above {wording.published_limit(reason.limit_c)}, to be refused (FDA "
                f"Food Code 2022, {receiving_paragraph(reason.limit_c)}); the person in charge "
                "decides about it."
            )
            break
    warm = [reason for reason in judgement.against if isinstance(reason, TooLongWarm)]
    if warm:
        used = "; ".join(
            f"{_percent(reason.share)} of it for {LIMITS[reason.limit].hazard}" for reason in warm
        )
        yield (
            "It was warm for longer than guidance allows (FDA Hazards Guidance, 4th ed.; FDA Food "
            f"Code 2022, 3-501.16), {used}; the person in charge decides about it."
        )


def receiving_paragraph(limit_c: float) -> str:
    """Return where the Food Code speaks of the warmest receipt that is allowed.

    >>> receiving_paragraph(5.0)
    '3-202.11(A)'
    """
    return "3-202.11(A)" if limit_c == RECEIVING_LIMIT_C else "3-202.11(B)"


def _percent(share: float) -> str:
    """Return a share beyond its limit, never rounded down to it: "249 %", "100.1 %"."""
    return f"{share * 100:.0f} %" if share >= 1.01 else "just over 100 %"
