"""A lot as every surface tells of it: judged, its way, its dates, what is to come. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

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


@dataclass(frozen=True, slots=True, kw_only=True)
class LotAccount:
    """A lot judged, and what else is to be told of it."""

    story: LotStory
    path: tuple[Place, ...]
    use_by: UseBy | None
    """The shop's own use-by; None: it has set none, or the lot is gone."""
    keep_until: date | None
    """The last local day on which its record must be there; None: it is not sold."""
    foretold: Foretold | None = None
    """What is to be expected of its hold; None: it is in none."""

    @property
    def needs_destruction(self) -> bool:
        """Whether parasites are to be destroyed; nobody knows what it is: they are."""
        return self.story.need is None or self.story.need.needs_destruction

    @property
    def why(self) -> str:
        """Why it needs that, or not; a sentence."""
        if self.story.need is None:
            return "Nobody has entered what this lot is: treated as needing destruction."
        return self.story.need.why

    @property
    def remaining_hazards(self) -> tuple[str, ...]:
        """What freezing, or an exemption from it, leaves open; a sentence each."""
        return () if self.story.need is None else tuple(self.story.need.remaining_hazards)

    @property
    def is_late(self) -> bool:
        """Whether it will not be ready when it is wanted."""
        return self.foretold is not None and self.foretold.is_late


def lot_accounts(
    shop: Shop, store: ReadingStore, histories: Histories, stories: Sequence[LotStory], to_ms: int
) -> tuple[LotAccount, ...]:
    """Return what is to be told of lots at an instant, in the order of the stories."""
    foretold = {item.lot: item for item in foretell_lots(shop, store, histories, stories, to_ms)}
    return tuple(
        lot_account(shop, store, story, foretold.get(story.lot), to_ms) for story in stories
    )


def lot_account(
    shop: Shop, store: ReadingStore, story: LotStory, foretold: Foretold | None, to_ms: int
) -> LotAccount:
    """Return what is to be told of one lot at an instant."""
    gone = story.entries.withdrawn
    return LotAccount(
        story=story,
        path=path_of(shop, store, story.entries, to_ms),
        use_by=use_by_of(shop, store, story, to_ms),
        keep_until=None
        if gone is None
        else keep_until(local_day(gone.at_ms, shop.timezone), keep_days=shop.keep_days),
        foretold=foretold,
    )
