"""What the ledger tells of a lot beside its hold: its proof, its way, its dates. Pure."""

from collections.abc import Sequence
from typing import Any

from rimewatch.entries import AttachStatement
from rimewatch.evaluation.instants import figure, iso
from rimewatch.evaluation.lot_outlook import foretell_lots
from rimewatch.evaluation.lot_path import path_of
from rimewatch.evaluation.lot_quality import use_by_of
from rimewatch.evaluation.lot_story import Histories, LotStory
from rimewatch.evaluation.mornings import local_day
from rimewatch.evaluation.store import ReadingStore
from rimewatch.lots.foretell import Foretold
from rimewatch.lots.record import Place, UseBy
from rimewatch.lots.retention import keep_until
from rimewatch.shop import Shop


def lot_details(
    shop: Shop, store: ReadingStore, histories: Histories, stories: Sequence[LotStory], to_ms: int
) -> list[dict[str, Any]]:
    """Return the further keys of each lot, in the order of the stories."""
    foretold = {item.lot: item for item in foretell_lots(shop, store, histories, stories, to_ms)}
    return [_details(shop, store, story, foretold.get(story.lot), to_ms) for story in stories]


def _details(
    shop: Shop, store: ReadingStore, story: LotStory, foretold: Foretold | None, to_ms: int
) -> dict[str, Any]:
    entries = story.entries
    path = path_of(shop, store, entries, to_ms)
    in_units = [place for place in path if place.unit is not None]
    proof = story.proof
    return {
        "raw_ready": story.raw_ready,
        "proof": None if proof is None else proof.value,
        "why_not": story.why_not,
        "lost_h": figure(sum(i.lost_h for i in story.hold.interruptions), 6) if story.hold else 0.0,
        "thawing": None if entries.thawing is None else iso(entries.thawing.at_ms),
        "rop": entries.received is not None and entries.received.rop,
        "statements": [_statement(item) for item in entries.statements],
        "above_limit_s": figure(sum(place.above_limit_s for place in in_units), 3),
        "unmonitored_s": figure(sum(place.unmonitored_s for place in in_units), 3),
        "path": [_place(place) for place in path],
        "use_by": _use_by(use_by_of(shop, store, story, to_ms)),
        "keep_until": None
        if entries.withdrawn is None
        else keep_until(
            local_day(entries.withdrawn.at_ms, shop.timezone), keep_days=shop.keep_days
        ).isoformat(),
        **_expectation(foretold),
    }


def _expectation(foretold: Foretold | None) -> dict[str, Any]:
    if foretold is None or foretold.needed_by_ms is None:
        return {"needed_by": None, "late": False, "instead": None}
    better = foretold.instead
    return {
        "needed_by": iso(foretold.needed_by_ms),
        "late": foretold.is_late,
        "instead": None
        if better is None
        else {
            "option": better.option.value,
            "unit": better.unit,
            "start_by": iso(foretold.start_by_ms),
        },
    }


def _place(place: Place) -> dict[str, Any]:
    return {
        "unit": place.unit,
        "from": iso(place.from_ms),
        "to": None if place.lasts else iso(place.to_ms),
        "min_c": figure(place.min_c, 3),
        "max_c": figure(place.max_c, 3),
        "limit_c": place.limit_c,
        "above_limit_s": figure(place.above_limit_s, 3),
        "unmonitored_s": figure(place.unmonitored_s, 3),
        "ice_days": figure(place.ice_days, 4),
    }


def _statement(item: AttachStatement) -> dict[str, Any]:
    return {
        "at": iso(item.at_ms),
        "reference": item.reference,
        "states": item.states.value,
        "option": None if item.option is None else item.option.value,
        "file": item.file,
        "sha256": item.sha256,
    }


def _use_by(found: UseBy | None) -> dict[str, Any] | None:
    """Return the shop's own use-by: a matter of quality, not of safety."""
    if found is None:
        return None
    return {
        "limit_ice_days": found.limit_ice_days,
        "at_c": figure(found.at_c, 3),
        "at": iso(found.use_by_ms),
    }
