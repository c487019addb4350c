"""Topic filters by MQTT Version 5.0 (OASIS Standard, 7 March 2019), section 4.7."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from rimewatch.config.topics import filter_fault, overlap


@pytest.mark.parametrize(
    "topic", ["#", "+", "sport/#", "+/tennis/#", "sport/+/player1", "/finance", "$SYS/#", "a//b"]
)
def test_filter_well_formed_is_accepted(topic: str) -> None:
    """The standard's own examples of valid filters (4.7.1, 4.7.2)."""
    assert filter_fault(topic) is None


@pytest.mark.parametrize(
    ("topic", "fault"),
    [
        ("", "it is empty"),
        ("sport/tennis#", "must fill its level alone"),
        ("sport/tennis/#/ranking", "may only be the last level"),
        ("sport+", "must fill its level alone"),
        ("a\0b", "NUL"),
        (" a", "begins or ends with a blank"),
        ("x" * 65_536, "longer than 65535 bytes"),
    ],
)
def test_filter_malformed_is_named_a_fault(topic: str, fault: str) -> None:
    """The standard's own examples of invalid filters (4.7.1, 4.7.3), and a blank."""
    assert fault in str(filter_fault(topic))


@pytest.mark.parametrize(
    ("first", "second", "both"),
    [
        ("a/b", "a/b", True),
        ("a/b", "a/c", False),
        ("a/+", "+/b", True),
        ("a/#", "a", True),  # "#" matches the parent level too (4.7.1.2)
        ("a/b/#", "a", False),
        ("a/+", "a", False),
        ("#", "$SYS/x", False),  # a leading wildcard leaves "$" topics alone (4.7.2)
        ("+/x", "$SYS/x", False),
        ("$SYS/#", "$SYS/x", True),
        ("#", "/", True),
    ],
)
def test_filters_overlap_where_one_topic_matches_both(
    first: str, second: str, *, both: bool
) -> None:
    """Two filters that share a topic would read the same message twice."""
    assert overlap(first, second) is both
    assert overlap(second, first) is both


LEVELS = st.lists(st.sampled_from(["a", "b", "", "$a"]), min_size=1, max_size=4)
FILTERS = st.builds(
    lambda levels, tail: "/".join(levels + tail),
    st.lists(st.sampled_from(["a", "b", "", "+", "$a"]), min_size=1, max_size=4),
    st.sampled_from([[], ["#"]]),
).filter(bool)


@given(first=FILTERS, second=FILTERS, levels=LEVELS)
def test_filters_that_match_one_topic_are_seen_to_overlap(
    first: str, second: str, levels: list[str]
) -> None:
    """Against an independent matcher: no shared topic is overlooked."""
    topic = "/".join(levels)
    matches = topic != "" and topic_matches_sub(first, topic) and topic_matches_sub(second, topic)

    assert overlap(first, second) or not matches
