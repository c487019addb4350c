"""Two freezers and a case without lag, and a lot in them, for traces written by hand."""

from typing import Any

from handmade import Paper, probe, shop, unit
from rimewatch.shop import Shop

H = 3600.0
EVERY_S = 600.0
START = "2026-02-02T15:00:00Z"


def freezers(
    *,
    uncertainty_c: float = 0.0,
    measures: str = "air",
    stale_s: float = 1800,
    code: str = "us-food-code-2022",
) -> Shop:
    """Return a shop with two freezers and a case, a probe each, without lag."""
    keys: dict[str, Any] = {"every_s": EVERY_S, "stale_s": stale_s, "uncertainty_c": uncertainty_c}
    return shop(
        unit("freezer-1", "ultra-low-freezer", limit_c=-18.0),
        unit("freezer-2", "freezer"),
        unit("case-1"),
        probe("one", "freezer-1", measures, **keys),
        probe("two", "freezer-2", "air", **keys),
        probe("case", "case-1", "air", **keys),
        code=code,
    )


def steady(paper: Paper, celsius: float, from_h: float, to_h: float, topic: str = "one") -> Paper:
    """Have a freezer stay at a temperature, a reading every ten minutes and one at the end."""
    at_s = from_h * H
    while at_s < to_h * H:
        paper.say(at_s, str(celsius), topic)
        at_s += EVERY_S
    return paper.say(to_h * H, str(celsius), topic)


def lot(paper: Paper, in_shop: Shop) -> dict[str, Any]:
    """Return the one lot of the ledger."""
    (found,) = paper.figures(in_shop)["lots"]
    assert isinstance(found, dict)
    return found
