"""A test alarm in the shop's own words, put where the running service sends it from."""

from collections.abc import Sequence

from rimewatch.journal import trials
from rimewatch.journal.journal import Journal
from rimewatch.report.texts import texts_of
from rimewatch.shop import Shop
from rimewatch.vocabulary import ContactId


def make_trial(journal: Journal, shop: Shop, told: Sequence[ContactId], at_ms: int) -> str:
    """Put a test alarm into the outbox and note it; return its id.

    Raises:
        JournalError: If it cannot be written.
    """
    words = texts_of(shop.messages)["test"]
    alarm_id = trials.trial_id(at_ms)
    trials.make(
        journal,
        alarm_id,
        told,
        title=words["title"].format(shop=shop.name),
        body=words["body"].format(shop=shop.name),
        at_ms=at_ms,
    )
    return alarm_id
