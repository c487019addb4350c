"""The first configuration's text: whatever a shop is called, the file says so and is accepted."""

from hypothesis import given
from hypothesis import strategies as st

from rimewatch.config import load_shop
from rimewatch.intake.first_configuration import Answers, first_configuration
from rimewatch.intake.proposal import Place
from rimewatch.intake.survey import Guess
from rimewatch.shop import Broker
from rimewatch.vocabulary import Kind

NAMES = st.text(min_size=1, max_size=40).filter(lambda text: text.isprintable() and text.strip())


@given(NAMES, st.lists(st.tuples(NAMES, st.sampled_from(Kind)), min_size=1, max_size=4))
def test_every_printable_name_comes_back_from_the_file(
    name: str, units: list[tuple[str, Kind]]
) -> None:
    """Quotes, backslashes and any script are written so that TOML gives them back."""
    answers = Answers(
        name=name,
        timezone="America/Chicago",
        display="F",
        summary_at="06:30",
        broker=Broker(url="mqtt://127.0.0.1:1883", client_id="rimewatch"),
        places=tuple(
            Place(
                id=unit,
                name=unit,
                kind=str(kind),
                probes=(Guess(topic=f"shop/{n}", messages=0, format="number", measures="air"),),
            )
            for n, (unit, kind) in enumerate(units)
        ),
        pages="0.0.0.0:8080",
        pages_url="http://192.0.2.20:8080",
    )

    shop = load_shop(first_configuration(answers))

    assert shop.name == name
    assert [(unit.name, unit.kind) for unit in shop.units] == units
