"""Whatever is sent: nothing is raised, nothing vanishes, no memory grows."""

import random
import tracemalloc

from hypothesis import given, settings
from hypothesis import strategies as st
from test_decoders_hold import payloads

from odd_payloads import ARRIVED_MS, NASTY, any_receiver, sound_messages
from rimewatch.intake.survey import Survey

TOPICS = [topic for topic, _ in sound_messages()]


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(TOPICS),
            payloads | st.sampled_from(NASTY),
        ),
        max_size=8,
    )
)
def test_any_bytes_on_any_topic_give_readings_or_quarantine(said: list[tuple[str, bytes]]) -> None:
    """The receiver raises nothing, whatever came before."""
    one = any_receiver()
    for topic, payload in said:
        received = one.receive(topic, payload, ARRIVED_MS)
        assert all(-90.0 <= reading.value <= 60.0 for reading in received.readings)


def test_damaged_messages_are_survived_and_sound_ones_still_read() -> None:
    """Five thousand mutations of sound messages; then the node is born anew and is heard."""
    chance = random.Random(20260302)
    one, survey, sound = any_receiver(), Survey(), sound_messages()
    for number in range(5000):
        topic, payload = chance.choice(sound)
        damaged = bytearray(payload)
        for _ in range(chance.randint(1, 4)):
            place = chance.randrange(len(damaged))
            damaged[place : place + chance.randint(0, 3)] = chance.randbytes(chance.randint(0, 3))
            damaged = damaged or bytearray(b"\0")
        one.receive(topic, bytes(damaged), ARRIVED_MS + number)
        survey.add(topic, bytes(damaged), ARRIVED_MS + number)
    survey.guesses()

    told = [one.receive(topic, payload, ARRIVED_MS + 6000) for topic, payload in sound[:3]]

    assert [len(received.readings) for received in told] == [0, 1, 1]


def test_million_topics_take_no_memory() -> None:
    """A stranger who invents topics, devices and nodes fills nothing: under 2 MB for 60 000."""
    one = any_receiver()
    device = sound_messages()[1][1]
    for number in range(20_000):  # what is remembered at all is full by then
        one.receive(f"x/{number}", b"1", ARRIVED_MS)
    tracemalloc.start()
    before, _ = tracemalloc.get_traced_memory()
    for number in range(20_000, 50_000):
        one.receive(f"x/{number}", b"1", ARRIVED_MS)
        one.receive(f"spBv1.0/fish/DBIRTH/node-1/d-{number}", device, ARRIVED_MS)
    grown = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()

    assert grown < 2 << 20, f"{grown} bytes more"
