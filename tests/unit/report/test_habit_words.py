"""What was learned of a unit is said in one line."""

from dataclasses import replace

from rimewatch.report.habit_words import defrost_words
from rimewatch.rules.habits import HabitState, RiseSeen, ways_of
from rimewatch.vocabulary import MS_PER_H, MS_PER_MINUTE, Scale

LEARNED = ways_of(
    HabitState(
        tuple(
            RiseSeen(
                n * 12 * MS_PER_H,
                n * 12 * MS_PER_H + (25 + n) * MS_PER_MINUTE,
                n * 12 * MS_PER_H + 50 * MS_PER_MINUTE,
                -2.2,
                -20.0,
            )
            for n in range(5)
        )
    )
)[0]


def test_defrosts_by_the_clock() -> None:
    """How often, how long, how warm: 28 °F is −2.2 °C."""
    said = defrost_words(LEARNED, Scale.FAHRENHEIT)

    assert said == "defrosts every 12 h, 25 to 29 min, air to 28.0 °F"


def test_defrosts_that_keep_no_hours() -> None:
    """A timer of the compressor's hours: about so far apart."""
    said = defrost_words(replace(LEARNED, every_ms=None), Scale.CELSIUS)

    assert said == "defrosts about 12 h apart, 25 to 29 min, air to −2.2 °C"
