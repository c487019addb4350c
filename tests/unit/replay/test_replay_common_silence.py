"""The hub dies: one alarm, and one more only for what stays silent by itself."""

from typing import Any

from handmade import ONE_CONTACT, Paper, probe, shop, unit

SHOP = shop(
    unit("a"),
    unit("b"),
    probe("a1", "a"),
    probe("a2", "a", "product"),
    probe("b1", "b"),
    ONE_CONTACT,
)
PROBES = ("a1", "a2", "b1")


def spoken(until: dict[str, float], back: dict[str, float], end_s: float = 3600) -> Paper:
    """Each probe speaks every minute until one time, and again from another."""
    paper = Paper()
    for n, name in enumerate(PROBES):
        at_s = 5.0 * n
        while at_s <= end_s:
            if at_s <= until.get(name, end_s) or at_s >= back.get(name, end_s):
                paper.say(at_s, 1.0, name)
            at_s += 60
    return paper


def stale(paper: Paper) -> list[dict[str, Any]]:
    """Return the ledger's stale alarms."""
    return [a for a in paper.ledger(SHOP)["alarms"] if a["rule"] == "stale"]


def test_all_probes_silent_at_once_are_one_alarm() -> None:
    """Raised a stale time after the first of them spoke last; returned with the hub."""
    paper = spoken(dict.fromkeys(PROBES, 620), dict.fromkeys(PROBES, 1800))
    (alarm,) = stale(paper)

    assert alarm["unit"] is None
    assert alarm["units"] == ["a", "b"]
    assert alarm["raised"] == paper.iso(600 + 180)
    assert alarm["returned"] is not None


def test_one_silent_probe_is_its_units_own_alarm() -> None:
    """The others speak: it is not the hub."""
    (alarm,) = stale(spoken({"b1": 620}, {"b1": 1800}))

    assert alarm["unit"] == "b"


def test_probe_that_stays_silent_when_the_hub_is_back_has_its_own_alarm() -> None:
    """A stale time later: the others had their chance as well."""
    paper = spoken(dict.fromkeys(PROBES, 620), {"a1": 1800, "a2": 1800})
    common, own = stale(paper)

    assert common["unit"] is None
    assert own["unit"] == "b"
    assert paper.iso(1800 + 180) <= own["raised"] <= paper.iso(1800 + 300)
