"""Which crests above a band are a swing of a sound unit, and for how long it stays one."""

from math import inf

import pytest

from rimewatch.rules import swings
from rimewatch.rules.swings import Crest, Swing

MINUTE = 60_000


def swing_of(*crests: tuple[float, float, float], usual_c: float = 0.0) -> Swing:
    """Return what is known after crests given by begin and length in minutes, and peak."""
    swing = Swing()
    for begin, length, peak_c in crests:
        crest = Crest(round(begin * MINUTE), round((begin + length) * MINUTE), peak_c)
        swing = swings.with_crest(swing, crest, usual_c)
    return swing


def is_swing(*crests: tuple[float, float, float], usual_c: float = 0.0) -> bool:
    """Whether the crests lift the band's top."""
    return swing_of(*crests, usual_c=usual_c).top_c != -inf


def test_swing_is_three_crests_alike_and_its_top_is_the_lowest_of_them() -> None:
    """Two may be a delivery and the one after it."""
    alike = [(0, 20, 3.0), (60, 20, 2.8), (120, 20, 2.9)]

    assert not is_swing(*alike[:2])
    assert swing_of(*alike).top_c == 2.8
    assert swing_of(*alike).seen_ms == 140 * MINUTE


@pytest.mark.parametrize(
    ("usual_c", "peaks", "alike"),
    [
        pytest.param(0.0, (1.0, 1.5, 1.2), True, id="half a degree is nothing"),
        pytest.param(0.0, (1.0, 1.51, 1.2), False, id="more than that is something"),
        pytest.param(-20.0, (-12.0, -10.0, -11.0), True, id="a quarter of a high rise"),
        pytest.param(-20.0, (-12.0, -9.9, -11.0), False, id="and no more"),
    ],
)
def test_swing_has_crests_as_high_as_one_another(
    usual_c: float, peaks: tuple[float, float, float], *, alike: bool
) -> None:
    """A failure that comes and goes goes higher each time."""
    crests = [(60.0 * n, 20.0, peak_c) for n, peak_c in enumerate(peaks)]

    assert is_swing(*crests, usual_c=usual_c) is alike


@pytest.mark.parametrize(
    ("lengths", "alike"),
    [((10.0, 20.0, 15.0), True), ((10.0, 20.1, 15.0), False), ((20.1, 10.0, 15.0), False)],
)
def test_swing_has_crests_as_long_as_one_another(
    lengths: tuple[float, float, float], *, alike: bool
) -> None:
    """None is more than twice as long as another."""
    assert is_swing(*[(60.0 * n, length, 3.0) for n, length in enumerate(lengths)]) is alike


@pytest.mark.parametrize(
    ("begins", "length", "alike"),
    [
        pytest.param((0, 60, 150), 10, True, id="once and a half as far apart"),
        pytest.param((0, 60, 151), 10, False, id="further"),
        pytest.param((0, 120, 240), 20, True, id="every two hours"),
        pytest.param((0, 121, 242), 20, False, id="as seldom as a defrost, and as short"),
        pytest.param((0, 200, 400), 50, True, id="as seldom, and longer than a defrost"),
        pytest.param((0, 204, 408), 50, False, id="longer, but not by its share"),
        pytest.param((0, 240, 480), 90, True, id="every four hours"),
        pytest.param((0, 241, 482), 90, False, id="more seldom than any swing"),
    ],
)
def test_swing_comes_evenly_and_often(
    begins: tuple[float, float, float], length: float, *, alike: bool
) -> None:
    """A defrost comes every three to six hours and is short."""
    assert is_swing(*[(begin, length, 3.0) for begin in begins]) is alike


def test_swing_is_not_made_of_doors() -> None:
    """What is over in less than eight minutes is none of its crests."""
    assert is_swing(*[(60 * n, 8, 3.0) for n in range(3)])
    assert not is_swing(*[(60 * n, 7.9, 3.0) for n in range(3)])
    assert is_swing((0, 20, 3.0), (60, 20, 3.0), (90, 2, 9.0), (120, 20, 3.0))


def test_swing_ends_when_the_air_has_not_come_near_its_top_for_four_hours() -> None:
    """A unit that runs evenly again is watched as closely as one that always did."""
    swing = swing_of(*[(60 * n, 20, 3.0) for n in range(3)])
    four_hours_on = swing.seen_ms + 240 * MINUTE

    assert swings.with_piece(swing, 1.0, four_hours_on) == swing
    assert swings.with_piece(swing, 1.0, four_hours_on + 1).top_c == -inf
    assert swings.with_piece(swing, 2.5, four_hours_on + 1).seen_ms == four_hours_on + 1
    assert swings.with_piece(swing, 2.4, four_hours_on + 1).top_c == -inf
