"""A unit that somebody took out of service is named as such; several probes are told apart."""

from handmade import Paper, probe, shop, unit
from rimewatch.shop import Shop

CASES = (
    unit("case-1", name="Front display case"),
    unit("case-2", name="Side display case"),
    probe("air", "case-1"),
    probe("p1", "case-2", "product"),
    probe("p2", "case-2", "product"),
)
SHOP = shop(*CASES)


def night(
    *, warm: str, of: Shop = SHOP, out_s: float | None = None, back_s: float | None = None
) -> str:
    """Return the text of a morning's summary; one probe is warm for three hours of the night."""
    paper = Paper("2026-03-02T12:30:00Z")
    for minute in range(1441):
        for place, name in enumerate(("air", "p1", "p2")):
            value = 8.5 if name == warm and 800 <= minute < 980 else 1.5
            paper.say(minute * 60 + place, value, name)
    if out_s is not None:
        paper.do(out_s, "out-of-service", unit="case-1")
    if back_s is not None:
        paper.do(back_s, "in-service", unit="case-1")
    (morning,) = paper.replay(of).mornings.values()
    return " ".join(morning.text.split())


def test_a_unit_out_of_service_all_night_is_not_said_to_have_got_warm() -> None:
    """A case switched off for cleaning does not set the tone of the morning."""
    said = night(warm="air", out_s=0)

    assert "Front display case: out of service" in said
    assert "Front display case was out of service." in said
    assert "Front display case got warm" not in said
    assert "The unit was out of service." in said
    assert "Write down what was done about the excursion of Front display case" not in said


def test_a_unit_taken_out_before_it_warmed_is_out_of_service_too() -> None:
    """Emptied at six, switched off, warm by eight: no fish was in it."""
    said = night(warm="air", out_s=700 * 60)
    assert "Front display case: out of service" in said
    assert "Out of service: since Mon 18:10 CST." in said


def test_warmth_in_service_counts_whatever_came_after() -> None:
    """Taking a warm case out of service does not make its fish cold."""
    said = night(warm="air", out_s=900 * 60)
    assert "Front display case: got warm" in said
    assert "Write down what was done about the excursion of Front display case." in said


def test_a_unit_back_in_service_is_judged_by_its_readings() -> None:
    """An hour's cleaning in a cold night leaves a cold night, with its hour named."""
    said = night(warm="", out_s=600 * 60, back_s=660 * 60)
    assert "All cold held." in said
    assert "Out of service: 16:30–17:30 CST" in said.replace("Mon ", "")


def test_of_several_probes_the_one_that_was_warm_is_named() -> None:
    """Whoever looks for the warm corner knows where to look."""
    said = night(warm="p2")
    assert "Side display case (probe p2)" in said
    assert "Fish at probe p1 not above" in said
    assert "another probe saw it warm" in said
