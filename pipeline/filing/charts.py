"""Values over the visits as a vector picture: one drawing for the record, the sheet and the desk.

Nothing is told by colour alone: what is out of range is a triangle that points where it left the range, and each picture says in
its description all that it shows.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from xml.etree import ElementTree as ET

from pydantic import Field

from pipeline.filing.language import Language, load_language, number
from pipeline.speech.model import Frozen
from pipeline.store.model import PastValue

WIDTH, HEIGHT = 420, 170
_LEFT, _RIGHT, _BOTTOM = 40, 14, 24
_INK, _QUIET, _LINE, _BAND, _ALARM = "#22252a", "#5d636d", "#3c4f76", "#e9ecf3", "#9c2f1c"
_FACE = "Source Sans 3, Source Sans Pro, sans-serif"
_MOST_LABELLED = 7
_DAY_ROOM = 74
_DIGIT = 5.6


class Limits(Frozen):
    """A reference range in the unit of the values; either end may be open."""

    low: float | None = None
    high: float | None = None


class Chart(Frozen):
    """What is drawn: values of one kind, the first measured first, with the range they are judged by."""

    title: str = Field(min_length=1, description="What was measured: Weight.")
    unit: str = Field(default="", description="As it is printed: kg, °C, per minute, of 9.")
    values: tuple[PastValue, ...] = Field(min_length=1)
    limits: Limits | None = None


def chart_svg(
    chart: Chart, language: Language | None = None, width: int = WIDTH, height: int = HEIGHT
) -> str:
    """Draw a chart as SVG of `width` by `height` units, without scripts, styles or anything from outside.

    Letters are 11 units high whatever the size: give the width that it is shown at in points or pixels.

    Values of another scale than the last one's (a condition of five among those of nine) are not drawn; the description counts
    them. The time between two visits is the way between their points.
    """
    return _Drawing(chart, language or load_language(), width, height).svg()


def described(chart: Chart, language: Language | None = None) -> str:
    """Say all that a chart shows, for those who do not see it."""
    return _Drawing(chart, language or load_language(), WIDTH, HEIGHT).description()


class _Drawing:
    def __init__(self, chart: Chart, language: Language, width: int, height: int) -> None:
        self._chart = chart
        self._width, self._height = width, height
        self._top = 44 if chart.limits is not None else 34
        self._words = language["chart"]
        self._language = language
        scale = chart.values[-1].out_of
        self._points = sorted((v for v in chart.values if v.out_of == scale), key=lambda v: v.on)
        self._first, self._last = self._points[0].on, self._points[-1].on
        self._ticks = _ticks([*(point.value for point in self._points), *self._ends()])

    def svg(self) -> str:
        root = ET.Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "viewBox": f"0 0 {self._width} {self._height}",
                "width": str(self._width),
                "height": str(self._height),
                "role": "img",
                "font-family": _FACE,
                "font-size": "11",
            },
        )
        ET.SubElement(root, "title").text = self._title()
        ET.SubElement(root, "desc").text = self.description()
        # A ground of its own: on a dark page its dark letters could not be read.
        ET.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": "#fff"})
        self._text(root, 0, 13, self._title(), weight="600", size="13")
        self._range(root)
        self._grid(root)
        self._curve(root)
        self._days(root)
        return ET.tostring(root, encoding="unicode")

    def description(self) -> str:
        """All values with their days, the range, and what is not drawn."""
        said = ", ".join(
            self._words["value"].format(value=number(point.value), day=self._language.day(point.on))
            for point in self._points
        )
        sentences = [f"{self._title()}: {said}."]
        if limits := self._limits_text():
            sentences.append(self._words["range"].format(limits=limits) + ".")
        if left_out := len(self._chart.values) - len(self._points):
            sentences.append(self._words["left_out"].format(count=left_out))
        return " ".join(sentences)

    def _title(self) -> str:
        return f"{self._chart.title}, {self._chart.unit}" if self._chart.unit else self._chart.title

    def _limits_text(self) -> str:
        return self._language.limits(*self._ends_or_none())

    def _ends_or_none(self) -> tuple[float | None, float | None]:
        limits = self._chart.limits
        return (limits.low, limits.high) if limits is not None else (None, None)

    def _ends(self) -> list[float]:
        return [end for end in self._ends_or_none() if end is not None]

    # Places

    def _x(self, on: date) -> float:
        span = (self._last - self._first).days
        room = self._width - _LEFT - _RIGHT - 40
        share = (on - self._first).days / span if span else 0.5
        return round(_LEFT + 20 + share * room, 2)

    def _y(self, value: float) -> float:
        low, high = self._ticks[0], self._ticks[-1]
        return round(self._top + (high - value) / (high - low) * (self._height - self._top - _BOTTOM), 2)

    # Parts

    def _range(self, root: ET.Element) -> None:
        """The reference range as a band with its edges drawn, so that it shows in print without colours too."""
        text = self._limits_text()
        if not text:
            return
        low, high = self._ends_or_none()
        top = self._y(high) if high is not None else float(self._top)
        foot = self._y(low) if low is not None else float(self._height - _BOTTOM)
        place = {"x": str(_LEFT), "width": str(self._width - _LEFT - _RIGHT)}
        ET.SubElement(root, "rect", {**place, "y": f"{top:g}", "height": f"{foot - top:g}", "fill": _BAND})
        for end in self._ends():
            self._rule(root, self._y(end), "3 2", _QUIET)
        label = self._words["range"].format(limits=text)
        self._text(root, 0, 27, label, fill=_QUIET)

    def _grid(self, root: ET.Element) -> None:
        for tick in self._ticks:
            self._rule(root, self._y(tick), None, "#d5d8de")
            self._text(root, _LEFT - 6, self._y(tick) + 3.5, number(tick), anchor="end", fill=_QUIET)

    def _curve(self, root: ET.Element) -> None:
        places = [(self._x(point.on), self._y(point.value)) for point in self._points]
        sides = [self._out_of_range(point.value) for point in self._points]
        feet = {place: self._label_y(place, places[place][1], sides[place]) for place in self._labelled()}
        for place, foot in feet.items():
            _clear(root, places[place][0], foot, number(self._points[place].value))
        if len(places) > 1:
            line = " ".join(f"{x:g},{y:g}" for x, y in places)
            ET.SubElement(
                root, "polyline", {"points": line, "fill": "none", "stroke": _LINE, "stroke-width": "1.6"}
            )
        for (x, y), side in zip(places, sides, strict=True):
            _mark(root, x, y, side)
        for place, foot in feet.items():
            self._text(
                root,
                places[place][0],
                foot,
                number(self._points[place].value),
                anchor="middle",
                weight="600" if place == len(places) - 1 else "400",
                fill=_ALARM if sides[place] else _INK,
            )

    def _label_y(self, place: int, y: float, side: int) -> float:
        """Above its point, or below it where the line or a triangle's tip leaves room there and the days do not stand."""
        below = y + 17
        has_room = below < self._height - _BOTTOM
        return below if has_room and (side < 0 or self._is_valley(place)) else y - 8

    def _is_valley(self, place: int) -> bool:
        """Whether the line comes down to a point and goes up again: its number stands below, clear of the line."""
        value = self._points[place].value
        neighbours = [self._points[n].value for n in (place - 1, place + 1) if 0 <= n < len(self._points)]
        return bool(neighbours) and all(neighbour > value for neighbour in neighbours)

    def _labelled(self) -> set[int]:
        """Points whose numbers are written: all of a few, else the ends and the extremes."""
        places = range(len(self._points))
        if len(self._points) <= _MOST_LABELLED:
            return set(places)
        values = [point.value for point in self._points]
        return {0, len(values) - 1, values.index(max(values)), values.index(min(values))}

    def _out_of_range(self, value: float) -> int:
        low, high = self._ends_or_none()
        if high is not None and value > high:
            return 1
        return -1 if low is not None and value < low else 0

    def _days(self, root: ET.Element) -> None:
        """Days below their points, the last one always, others where there is room."""
        taken: list[float] = []
        for point in sorted(self._points, key=lambda p: (p.on != self._last, p.on != self._first, p.on)):
            x = self._x(point.on)
            if all(abs(x - other) >= _DAY_ROOM for other in taken):
                taken.append(x)
                self._text(
                    root,
                    x,
                    self._height - 6,
                    self._language.short_day(point.on),
                    anchor="middle",
                    fill=_QUIET,
                )

    def _rule(self, root: ET.Element, y: float, dashes: str | None, colour: str) -> None:
        line = {
            "x1": str(_LEFT),
            "x2": str(self._width - _RIGHT),
            "y1": f"{y:g}",
            "y2": f"{y:g}",
            "stroke": colour,
        }
        ET.SubElement(
            root, "line", {**line, "stroke-width": "0.7", **({"stroke-dasharray": dashes} if dashes else {})}
        )

    def _text(
        self,
        root: ET.Element,
        x: float,
        y: float,
        text: str,
        *,
        anchor: str = "start",
        fill: str = _INK,
        weight: str = "400",
        size: str = "11",
    ) -> None:
        place = {"x": f"{x:g}", "y": f"{y:g}", "text-anchor": anchor, "fill": fill}
        ET.SubElement(root, "text", {**place, "font-weight": weight, "font-size": size}).text = text


def _clear(root: ET.Element, x: float, foot: float, label: str) -> None:
    """Take the rules of the range and the axis away from behind a number, so that none is read as part of it."""
    width = _DIGIT * len(label) + 2
    place = {"x": f"{x - width / 2:g}", "y": f"{foot - 9:g}", "width": f"{width:g}", "height": "11"}
    ET.SubElement(root, "rect", {**place, "fill": "#fff", "fill-opacity": "0.85"})


def _mark(root: ET.Element, x: float, y: float, side: int) -> None:
    """A dot in range; out of it a triangle that points up or down."""
    if not side:
        ET.SubElement(root, "circle", {"cx": f"{x:g}", "cy": f"{y:g}", "r": "3.2", "fill": _LINE})
        return
    tip, foot = y - 5 * side, y + 3.5 * side
    corners = f"{x:g},{tip:g} {x - 4.6:g},{foot:g} {x + 4.6:g},{foot:g}"
    ET.SubElement(root, "polygon", {"points": corners, "fill": _ALARM})


def _ticks(values: Sequence[float]) -> list[float]:
    """Three to six round numbers that hold all values between them."""
    low, high = min(values), max(values)
    room = (high - low) or max(abs(high) * 0.1, 1.0)
    low, high = low - 0.12 * room, high + 0.12 * room
    rough = (high - low) / 4
    magnitude = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * magnitude for factor in (1, 2, 2.5, 5, 10) if factor * magnitude >= rough)
    first, last = math.floor(low / step), math.ceil(high / step)
    return [round(count * step, 6) for count in range(first, last + 1)]
