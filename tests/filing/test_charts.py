"""Charts: true to their values, for those who see them, who see no colours, and who do not see."""

from __future__ import annotations

from datetime import date, timedelta
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from signed import LEXICON, ON, signed, weights

from pipeline.filing import Chart, Limits, chart_svg, load_language
from pipeline.filing.charts import described
from pipeline.filing.history import charts_of
from pipeline.store import PastValue

SVG = "{http://www.w3.org/2000/svg}"
START = date(2024, 1, 1)


def chart(*values: float, limits: Limits | None = None, days: tuple[int, ...] = ()) -> Chart:
    places = days or tuple(range(0, 30 * len(values), 30))
    return Chart(
        title="Temperature",
        unit="°C",
        values=tuple(
            PastValue(on=START + timedelta(days=day), value=value, unit="Cel", out_of=None)
            for day, value in zip(places, values, strict=True)
        ),
        limits=limits,
    )


def drawn(picture: Chart) -> ET.Element:
    return ET.fromstring(chart_svg(picture))  # noqa: S314 - our own


def places(root: ET.Element) -> list[tuple[float, float]]:
    line = root.find(f"{SVG}polyline")
    assert line is not None
    return [(float(x), float(y)) for x, y in (point.split(",") for point in line.attrib["points"].split())]


@given(
    st.lists(st.floats(0.01, 900).map(lambda value: round(value, 2)), min_size=2, max_size=40),
    st.randoms(use_true_random=False),
)
@settings(deadline=None)
def test_places_are_the_values_by_the_axis(values: list[float], chance: st.DataObject) -> None:
    """Between any two points the height goes with the value and the way with the time: one straight rule for all."""
    days = tuple(sorted(chance.sample(range(4000), len(values))))  # type: ignore[attr-defined]
    points = places(drawn(chart(*values, days=days)))
    assert len(points) == len(values)
    (low, at_low), (high, at_high) = (
        min(zip(values, points, strict=True)),
        max(zip(values, points, strict=True)),
    )
    for value, (_, y) in zip(values, points, strict=True):
        if high > low:
            expected = at_low[1] + (value - low) / (high - low) * (at_high[1] - at_low[1])
            assert y == pytest.approx(expected, abs=0.02)
    first, last = points[0][0], points[-1][0]
    for day, (x, _) in zip(days, points, strict=True):
        assert x == pytest.approx(first + (day - days[0]) / (days[-1] - days[0]) * (last - first), abs=0.02)
    assert all(0 <= x <= 420 and 0 <= y <= 170 for x, y in points)


def test_out_of_range_is_a_shape_and_a_number() -> None:
    """A triangle up, a triangle down, a dot: colour is not needed."""
    root = drawn(chart(38.5, 40.2, 36.8, limits=Limits(low=37.7, high=39.5)))
    tips = []
    for triangle in root.iter(f"{SVG}polygon"):
        heights = [float(corner.split(",")[1]) for corner in triangle.attrib["points"].split()]
        tips.append("up" if heights[0] < heights[1] else "down")
    assert tips == ["up", "down"]
    assert len(list(root.iter(f"{SVG}circle"))) == 1
    assert {"40.2", "36.8", "Reference range 37.7 to 39.5"} <= {text.text for text in root.iter(f"{SVG}text")}


def test_a_chart_says_all_that_it_shows() -> None:
    """SVG 2, 5.8: title and description, for readers without sight."""
    picture = chart(38.5, 40.2, limits=Limits(high=39.5))
    root = drawn(picture)
    assert root.attrib["role"] == "img"
    assert root.findtext(f"{SVG}title") == "Temperature, °C"
    said = "Temperature, °C: 38.5 on 1 January 2024, 40.2 on 31 January 2024. Reference range up to 39.5."
    assert root.findtext(f"{SVG}desc") == said == described(picture)


def test_a_chart_brings_nothing_from_outside_and_nothing_that_runs() -> None:
    """It stands in pages with a strict policy: no script, style, link or foreign picture."""
    root = drawn(chart(38.5, 40.2))
    allowed = {"svg", "title", "desc", "text", "line", "rect", "polyline", "circle", "polygon"}
    assert {element.tag.removeprefix(SVG) for element in root.iter()} <= allowed
    assert all("style" not in e.attrib and "href" not in "".join(e.attrib) for e in root.iter())


def test_names_cannot_break_out_of_a_chart() -> None:
    picture = chart(1.0, 2.0).model_copy(update={"title": "<script>alert(1)</script> & co"})
    assert drawn(picture).findtext(f"{SVG}title") == "<script>alert(1)</script> & co, °C"


def test_one_value_and_equal_values_are_drawn() -> None:
    assert len(list(drawn(chart(5.0)).iter(f"{SVG}circle"))) == 1
    assert len({y for _, y in places(drawn(chart(5.0, 5.0, 5.0)))}) == 1


def test_another_scale_is_told_and_not_drawn() -> None:
    nine = [PastValue(on=START + timedelta(days=d), value=5, unit="1", out_of=9) for d in (10, 20)]
    five = PastValue(on=START, value=3, unit="1", out_of=5)
    picture = Chart(title="Body condition score", unit="of 9", values=(five, *nine))
    assert len(places(drawn(picture))) == 2
    assert described(picture).endswith("1 on another scale not drawn.")


def test_only_what_was_known_at_the_visit_is_drawn() -> None:
    """Printed again years later, the same record gives the same charts."""
    later = PastValue(on=ON + timedelta(days=90), value=99, unit="kg", out_of=None)
    today = PastValue(on=ON, value=12, unit="kg", out_of=None)
    version = signed("Weight twelve kilos.")
    past = {"weight": (*weights(11.2, 11.9), today, later)}
    (drawn_chart,) = charts_of(version.record, past, LEXICON, load_language())
    assert [value.value for value in drawn_chart.values] == [11.2, 11.9, 12.0]


def test_a_single_value_makes_no_chart_over_the_visits() -> None:
    assert charts_of(signed("Weight twelve kilos.").record, {}, LEXICON, load_language()) == ()
