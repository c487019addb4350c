"""What may be said of a lot, in words, decided here once for every surface. Pure.

List, page, record, summary, message and API take a lot's verdict, what it lacks and what must be
read beside it from :func:`lot_words`, and put nothing of their own in its place.

References:
    [1] FDA Food Code 2022, 3-202.11(A): the temperature at receipt.
    [2] FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed., chapter 7 (from
        memory) and Appendix 4; FDA Food Code 2022, 3-501.16 and .19: cumulative times in the warm.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.evaluation.lot_story import LotStory
from rimewatch.lots.record import PROVISION_OF, Overrun, Proof
from rimewatch.lots.standing import Disposed, Standing
from rimewatch.report import wording
from rimewatch.report.reason_words import TellsMoment, disposition_words, reason_words
from rimewatch.rules.provisions import RECEIVING_LIMIT_C
from rimewatch.shop import Shop
from rimewatch.vocabulary import Code, Kind, Option

PARASITES_ALONE: Final = (
    "A proof speaks of parasites alone. Freezing destroys those; neither it nor an exemption does "
    "anything about bacteria, viruses or histamine."
)

NO_FOOD_CODE_OPTION: Final = (
    "This is no option of the FDA Food Code; where that is in force it is not enough."
)
"""Of ``20C-24h``, which is of the European Union and of Japan."""

NOT_SURE: Final = "Hold complete by its readings, not sure for this lot yet"
"""In place of a proof by own freezing."""

IN_DOUBT: Final = "Parasite proof complete, and in doubt"
"""Where the evidence has a hole, or was put in question later."""

AGAINST: Final = "Not for raw service: what is recorded speaks against it"
"""Whatever was proven."""

PROVEN: Final = {
    Proof.OWN_FREEZING: "Parasite proof complete (own freezing)",
    Proof.SUPPLIER_FREEZING: "Parasite proof complete (the supplier’s statement on freezing)",
    Proof.EXEMPTION: "Parasite proof complete (exempt from freezing)",
}
NOT_RAW: Final = "Not for raw service"


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
    caveats = tuple(_caveats(shop, story, at))
    is_proven = story.judgement.is_proven
    lacks = _lacks_on_display(shop, story)
    return LotWords(
        verdict=_verdict(story),
        standing=story.standing,
        is_proven=is_proven,
        is_ready=is_proven and story.raw_ready,
        why_not=wording.printable(story.why_not),
        caveats=caveats,
        lacks_on_display=lacks,
        on_display=f"It is in {_unit_name(shop, story)} {lacks}: keep it off the raw counter."
        if lacks
        else "",
        notes=tuple(_notes(story)),
    )


def in_full(shop: Shop, story: LotStory, moment: TellsMoment) -> tuple[str, ...]:
    """Return what a lot's own record says of it, the verdict first, each with its full stop."""
    words = lot_words(shop, story, moment)
    return (*_opening(shop, story, words, moment), *_ending(story, moment))


def _opening(shop: Shop, story: LotStory, words: LotWords, moment: TellsMoment) -> Iterator[str]:
    hold, need, received = story.hold, story.need, story.entries.received
    if story.standing is Standing.AGAINST:
        yield f"{_verdict(story)}."
        yield from words.caveats
        if words.why_not:
            yield words.why_not
    elif story.proof is Proof.OWN_FREEZING and hold is not None and hold.completed_ms is not None:
        done = moment(hold.completed_ms)
        if story.standing is Standing.DOUBT and story.is_sure:
            yield f"Freezing hold complete by its readings, {done}; in doubt."
        elif story.is_sure:
            yield f"Parasite destruction proven by own freezing, {done}."
        else:
            yield f"Freezing hold complete by its readings, {done}; not sure for this lot yet."
        yield from words.caveats
        yield f"By {PROVISION_OF[hold.option]}: {wording.option_words(hold.option, shop.display)}."
    elif story.proof is Proof.SUPPLIER_FREEZING:
        yield "Frozen by the supplier, by their written statement; not frozen for this here."
        yield from words.caveats
        yield f"In place of a record of own freezing: {story.law.statement}."
    elif story.proof is Proof.EXEMPTION:
        yield "Exempt from parasite destruction."
        yield from words.caveats
    elif received is not None and not received.serve_raw:
        yield "Not to be served raw."
        yield from words.caveats
    else:
        yield "Not proven: not to be served raw."
        yield words.why_not
        yield from words.caveats
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
        return NOT_SURE if story.is_proof_unsure else IN_DOUBT
    return PROVEN[story.proof]


def _caveats(shop: Shop, story: LotStory, moment: TellsMoment) -> Iterator[str]:
    hold, sure = story.hold, story.sure
    if hold is not None and sure is not None and not story.is_sure:
        at = "" if story.sure_by_ms is None else moment(story.sure_by_ms)
        yield wording.sure_hours(sure.credited_h, hold.required_h, at, story.doubts)
    too_warm = story.need is not None and bool(story.need.receipt_too_warm)
    yield from warm_caveats(story.overruns, received_too_warm=too_warm)
    for reason in (*story.judgement.against, *story.judgement.doubts):
        said = reason_words(shop, reason, moment)
        if said:
            yield said


def _notes(story: LotStory) -> Iterator[str]:
    if story.proof is not None:
        yield PARASITES_ALONE
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
    if story.standing is Standing.AGAINST and story.proof is not None:
        return "though something speaks against serving it raw"
    if story.is_proof_unsure:
        return "with a hold that is not sure for it"
    return "without its proof" if story.why_not else ""


def _unit_name(shop: Shop, story: LotStory) -> str:
    assert story.entries.unit is not None, "asked for only where it is in one"
    return wording.printable(shop.unit[story.entries.unit].name)


def warm_caveats(overruns: Sequence[Overrun], *, received_too_warm: bool) -> Iterator[str]:
    """Say that a lot came in too warm [1], or was warm for longer than guidance allows [2].

    >>> over = Overrun(hazard="scombrotoxin, fish not previously frozen", share=2.4904)
    >>> print(*warm_caveats([over], received_too_warm=False))
    It was warm for longer than guidance allows (FDA Hazards Guidance, 4th ed.; FDA Food Code \
2022, 3-501.16), 249 % of it for scombrotoxin, fish not previously frozen; the person in charge \
decides about it.
    """
    if received_too_warm:
        yield (
            f"It came in above {wording.published_limit(RECEIVING_LIMIT_C)}, to be refused (FDA "
            "Food Code 2022, 3-202.11(A)); the person in charge decides about it."
        )
    if overruns:
        used = "; ".join(f"{_percent(over.share)} of it for {over.hazard}" for over in overruns)
        yield (
            "It was warm for longer than guidance allows (FDA Hazards Guidance, 4th ed.; FDA Food "
            f"Code 2022, 3-501.16), {used}; the person in charge decides about it."
        )


def _percent(share: float) -> str:
    """Return a share beyond its limit, never rounded down to it: "249 %", "100.1 %"."""
    return f"{share * 100:.0f} %" if share >= 1.01 else "just over 100 %"
