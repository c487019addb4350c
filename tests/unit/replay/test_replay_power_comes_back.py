"""Power that is back is not lost again by the rise that is already over."""

from math import exp

from handmade import NIGHT, ONE_CONTACT, Paper, probe, shop, unit

OUT_MIN = 5 * 60
BACK_MIN = OUT_MIN + 70


def air_c(minute: int, *, again_min: int | None = None) -> float:
    """Return air at 2 °C that warms from an instant, falls by a quarter and hovers there."""
    if minute < OUT_MIN:
        return 2.0
    warm_c = 2.0 + 8.0 * (1.0 - exp(-(min(minute, BACK_MIN) - OUT_MIN) / 60.0))
    if minute <= BACK_MIN:
        return warm_c
    wobble_c = 0.25 if minute // 3 % 2 else -0.25
    hovering_c = warm_c - 0.25 * (warm_c - 2.0) + wobble_c
    if again_min is not None and minute > again_min:
        return hovering_c + 8.0 * (1.0 - exp(-(minute - again_min) / 60.0))
    return hovering_c


def lost(*, again_min: int | None = None) -> list[str]:
    """Return when power was told to be lost, in a shop of two cases without it and one with."""
    names = ("a", "b", "c")
    of = shop(
        *(unit(name, lag_s=7200) for name in names),
        *(probe(name, name) for name in names),
        ONE_CONTACT,
        NIGHT,
    )
    paper = Paper()
    for minute in range(BACK_MIN + 180):
        for name in names:
            value = 2.0 if name == "c" else air_c(minute, again_min=again_min)
            paper.say(minute * 60, round(value, 2), name)
    return [a["raised"] for a in paper.ledger(of)["alarms"] if a["rule"] == "power-loss"]


def test_air_that_hovers_after_power_is_back_rings_nobody_again() -> None:
    """A quarter of the way back, up and down by a quarter of a degree."""
    assert len(lost()) == 1


def test_power_that_goes_again_is_told_again() -> None:
    """An hour later, before the cases were cold: another rise."""
    assert len(lost(again_min=BACK_MIN + 60)) == 2
