"""A summary's page whose charts are drawn later: the same page, whatever lies between."""

from zoneinfo import ZoneInfo

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from rimewatch.report.chart import Lines
from rimewatch.report.curve import Curve
from rimewatch.report.html_draft import HtmlDraft, UnitChart
from rimewatch.vocabulary import Scale

spans = st.lists(st.tuples(st.integers(0, 2**45), st.integers(0, 2**45)), max_size=3).map(tuple)
celsius = st.floats(-90.0, 60.0) | st.just(float("nan"))


@st.composite
def unit_charts(draw: st.DrawFn) -> UnitChart:
    times_ms = sorted(draw(st.sets(st.integers(0, 2**45), max_size=8)))
    values = st.lists(celsius, min_size=len(times_ms), max_size=len(times_ms))
    return UnitChart(
        lines=Lines(
            limit_c=draw(st.floats(-80.0, 10.0)),
            operating_limit_c=draw(st.none() | st.floats(-80.0, 10.0)),
        ),
        curve=Curve(
            times_ms=np.array(times_ms, dtype=np.int64),
            measured_c=np.array(draw(values), dtype=np.float64),
            governing_c=np.array(draw(values), dtype=np.float64),
            doors=draw(spans),
            defrosts=draw(spans),
        ),
        gaps=draw(spans),
        break_s=draw(st.none() | st.floats(1.0, 1e6)),
    )


@given(st.lists(unit_charts(), max_size=3), st.sampled_from(list(Scale)))
def test_draft_comes_back_from_its_text_to_the_bit(charts: list[UnitChart], scale: Scale) -> None:
    """A page that is finished after a restart shows what it would have shown."""
    draft = HtmlDraft(
        pieces=tuple(f"<p>°C {n}</p>" for n in range(len(charts) + 1)),
        charts=tuple(charts),
        from_ms=0,
        to_ms=2**45,
        zone=ZoneInfo("America/Chicago"),
        scale=scale,
    )

    again = HtmlDraft.from_text(draft.to_text())

    assert again.to_text() == draft.to_text()
    assert (again.pieces, again.zone, again.scale) == (draft.pieces, draft.zone, draft.scale)
    for one, other in zip(again.charts, draft.charts, strict=True):
        assert (one.lines, one.gaps, one.break_s) == (other.lines, other.gaps, other.break_s)
        assert (one.curve.doors, one.curve.defrosts) == (other.curve.doors, other.curve.defrosts)
        for name in ("times_ms", "measured_c", "governing_c"):
            assert getattr(one.curve, name).tobytes() == getattr(other.curve, name).tobytes()


def test_pictures_stand_in_their_order_between_the_pieces() -> None:
    """Each beside its own unit."""
    flat = np.zeros(1)
    curve = Curve(times_ms=np.zeros(1, dtype=np.int64), measured_c=flat, governing_c=flat)
    one = UnitChart(lines=Lines(limit_c=5.0), curve=curve, gaps=(), break_s=None)
    draft = HtmlDraft(
        pieces=("<a>", "<b>", "<c>"),
        charts=(one, one),
        from_ms=0,
        to_ms=1,
        zone=ZoneInfo("UTC"),
        scale=Scale.CELSIUS,
    )

    page = draft.finished([b"first", b"second"])

    assert page == "<a>data:image/png;base64,Zmlyc3Q=<b>data:image/png;base64,c2Vjb25k<c>"
