"""All probes silent together: one alarm of what they share, and none of an old backlog."""

from handmade import probe, shop, unit
from rimewatch.evaluation.silence import silence_condition
from rimewatch.shop import Shop

MINUTE_MS = 60_000
NOW_MS = 1_772_506_800_000


def three_cases() -> Shop:
    """Return a shop with a probe in each of three cases."""
    names = ("one", "two", "three")
    return shop(
        *(unit(name, "display-case") for name in names),
        *(probe(name, name, "air") for name in names),
    )


def test_silence_of_all_probes_for_the_stale_time_is_one_condition() -> None:
    """The hub is dead, not three probes."""
    cases = three_cases()
    last_ms = {p.id: NOW_MS - 4 * MINUTE_MS for p in cases.probes}

    found = silence_condition(cases, last_ms, None, NOW_MS)

    assert found is not None
    assert found.key.unit is None
    assert set(found.units) == {"one", "two", "three"}


def test_silence_is_not_found_while_a_probe_speaks() -> None:
    """One probe that speaks shows that the hub lives."""
    cases = three_cases()
    last_ms = {p.id: NOW_MS - 4 * MINUTE_MS for p in cases.probes}
    last_ms[cases.probes[0].id] = NOW_MS

    assert silence_condition(cases, last_ms, None, NOW_MS) is None


def test_silence_before_the_service_started_is_no_sign_of_a_dead_hub() -> None:
    """After an hour's stop the broker's backlog is an hour old; nobody is called for that."""
    cases = three_cases()
    last_ms = {p.id: NOW_MS - 60 * MINUTE_MS for p in cases.probes}

    assert silence_condition(cases, last_ms, None, NOW_MS, since_ms=NOW_MS - 1000) is None
