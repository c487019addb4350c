"""What ``rimewatch probe list`` says of a reading, and who an entry is by."""

import click
import pytest
from click.testing import CliRunner

from rimewatch.commands.options import who_option
from rimewatch.commands.probe import reading_words
from rimewatch.vocabulary import Measures, Scale


@pytest.mark.parametrize(
    ("measures", "value", "said"),
    [
        (Measures.AIR, 5.0, "41.0 °F"),
        (Measures.PRODUCT, -20.0, "−4.0 °F"),
        (Measures.DOOR, 0.0, "closed"),
        (Measures.DOOR, 1.0, "open"),
        (Measures.WATER, 0.0, "dry"),
        (Measures.WATER, 1.0, "wet"),
        (Measures.HUMIDITY, 71.0, "71 %"),
    ],
)
def test_reading_is_said_in_words_or_with_its_unit(
    measures: Measures, value: float, said: str
) -> None:
    """A bare 0 tells nobody whether the door is shut."""
    assert reading_words(measures, value, Scale.FAHRENHEIT) == said


def test_entry_is_by_whoever_is_logged_in_also_where_the_environment_names_nobody(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A record without a name is worth less; containers and timers set no USER."""
    for name in ("LOGNAME", "USER", "LNAME", "USERNAME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("pwd.getpwuid", lambda _: ("jo",))

    @click.command()
    @who_option
    def say(who: str) -> None:
        click.echo(who)

    assert CliRunner().invoke(say).output == "jo\n"
