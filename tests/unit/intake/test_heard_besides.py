"""What was heard and became no probe stands in the file, and can be taken up by hand."""

import tomllib

from hypothesis import given
from hypothesis import strategies as st
from intake_shop import ARRIVED_MS

from rimewatch.config import load_shop
from rimewatch.intake.heard_besides import MOST_NAMED, UNIT_TO_NAME
from rimewatch.intake.proposal import propose
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.survey import Survey
from rimewatch.shop import Broker

BROKER = Broker(url="mqtt://127.0.0.1:1883", client_id="rimewatch")
KEYS = (
    "id = ",
    "unit = ",
    "name = ",
    "kind = ",
    "measures = ",
    "topic = ",
    "format = ",
    "fields = ",
    "scale = ",
    "match = ",
    "every_s = ",
    "stale_s = ",
    "time_zone = ",
    "true_means = ",
    "battery_low = ",
)
"""What lines of a unit and its probe begin with."""
CASE = ("shop/case-1/air", b"2.1")


def proposed(*said: tuple[str, bytes]) -> str:
    """Return the file proposed from messages."""
    survey = Survey()
    for topic, payload in said:
        survey.add(topic, payload, ARRIVED_MS)
    return propose(survey.guesses(), BROKER)


def taken_up(text: str, unit: str) -> str:
    """Do by hand what the comment says: its # taken away, the unit named."""
    lines = text.splitlines()
    begin = lines.index("#[[probe]]")
    return "\n".join([*lines[:begin], *(line.removeprefix("#") for line in lines[begin:])]).replace(
        UNIT_TO_NAME, unit
    )


def test_ohms_of_a_pt100_are_named_and_read_once_somebody_takes_them_up() -> None:
    """94.1 is no cold temperature in any scale; it is -15 °C as a resistance (IEC 60751)."""
    text = proposed(CASE, ("shop/freezer-1/core", b"94.12"))

    assert '"shop/freezer-1/core" sends "94.12"' in text
    assert "fits the ohms of a Pt100 at -15.0 °C" in text
    received = Receiver(load_shop(taken_up(text, "case-1"))).receive(
        "shop/freezer-1/core", b"94.12", ARRIVED_MS
    )
    assert [round(reading.value, 1) for reading in received.readings] == [-15.0]


def test_json_without_a_known_name_asks_for_the_path_alone() -> None:
    """The table is there, and what is missing in it says so."""
    text = proposed(CASE, ("gw/x", b'{"kalt": 2.4}'))

    taken = taken_up(text, "case-1").replace("PATH-TO-THE-VALUE", "kalt")

    received = Receiver(load_shop(taken)).receive("gw/x", b'{"kalt": 2.4}', ARRIVED_MS)
    assert [reading.value for reading in received.readings] == [2.4]


def test_text_is_named_as_what_cannot_be_read() -> None:
    """Whoever looks for the probe finds the line, and what to set on the device."""
    text = proposed(CASE, ("shop/case-2/air", b"two degrees"))

    assert '# "shop/case-2/air" sends "two degrees" (1 message): no number' in text
    assert len(load_shop(text).probes) == 1


def test_busy_broker_makes_no_endless_file() -> None:
    """Somebody else's traffic is counted, not listed."""
    text = proposed(CASE, *((f"printer/{n}", b"x") for n in range(100)))

    assert text.count('# "printer/') == MOST_NAMED
    assert f"# And {100 - MOST_NAMED} more" in text


@given(st.lists(st.tuples(st.text(min_size=1, max_size=20), st.binary(max_size=40)), max_size=5))
def test_stranger_writes_nothing_into_the_file(said: list[tuple[str, bytes]]) -> None:
    """Whatever topics and payloads hold, what becomes no probe stays a comment."""
    text = proposed(CASE, *((f"x/{topic}", payload) for topic, payload in said))
    after = [
        line
        for line in text[text.index("# looks like") :].split("\n")[1:]
        if line and not line.startswith("#")
    ]

    assert tomllib.loads(text)["probe"][0]["topic"] == "shop/case-1/air"
    assert all(line.startswith(("[[", *KEYS)) for line in after), after
