"""Charts as figures of a drawing: pages draw them as SVG, papers with reportlab. They know no page."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TypedDict

from clubdesk.money import shown


class Rectangle(TypedDict):
    """One bar of the drawing, and which part it shows."""

    x: str
    y: str
    width: str
    height: str
    part: int


class Point(TypedDict):
    """One column as it can be reached: its words, its place, and the figure above it."""

    label: str
    x: str
    width: str
    middle: str
    above: str
    figure: str
    anchor: str
    stays: bool


@dataclass(frozen=True)
class Chart:
    """Columns over time, each made of parts one upon another, or `beside` each other; the same figures stand in a
    table with it.
    """

    title: str
    parts: Sequence[str]
    columns: Sequence[tuple[str, Sequence[Decimal]]]
    beside: bool = False
    of_money: bool = True

    WIDTH, HEIGHT, LEFT, BOTTOM = 640, 220, 72, 22
    MOST_LABELS = 5
    WIDE = 30
    """Half of what a figure takes above its column."""
    STEPS = tuple(Decimal(step) for step in ("1", "1.2", "1.6", "2", "2.4", "3", "4", "5", "6", "8", "10"))
    """What the scale may end at, and noughts; half of each is round too."""

    @property
    def top(self) -> Decimal:
        """The round figure at the top of the scale, just above the tallest column."""
        heights = [max(values) if self.beside else sum(values, Decimal(0)) for _, values in self.columns if values]
        tallest = max(heights, default=Decimal(0))
        scale = Decimal(1)
        while scale * 10 < tallest:
            scale *= 10
        return next(step * scale for step in self.STEPS if step * scale >= tallest)

    @property
    def lines(self) -> list[tuple[int, str]]:
        """Heights and figures of the scale."""
        span = self.HEIGHT - 2 * self.BOTTOM
        quarters = (Decimal(0), self.top / 2, self.top)
        return [
            (round(self.HEIGHT - self.BOTTOM - span * figure / self.top), f"{figure.normalize():,f}")
            for figure in quarters
        ]

    @property
    def bars(self) -> list[Rectangle]:
        """Rectangles of the drawing: x, y, width, height, and which part they show."""
        span, foot = self.HEIGHT - 2 * self.BOTTOM, Decimal(self.HEIGHT - self.BOTTOM)
        room = Decimal(self.WIDTH - self.LEFT) / max(len(self.columns), 1)
        width = min(room * 3 / 4, Decimal(40))
        thin = width / max(len(self.parts), 1) if self.beside else width
        drawn: list[Rectangle] = []
        for place, (_, values) in enumerate(self.columns):
            y = foot
            for part, value in enumerate(values):
                height = span * value / self.top
                y = foot - height if self.beside else y - height
                x = self.LEFT + place * room + (room - width) / 2 + (thin * part if self.beside else 0)
                drawn.append({"x": f"{x:.1f}", "y": f"{y:.1f}", "width": f"{thin:.1f}",
                              "height": f"{height:.1f}", "part": part})  # fmt: skip
        return drawn

    @property
    def points(self) -> list[Point]:
        """Each column as somebody comes to it by finger or key: what it is, its figures, and where those stand."""
        heights = [max(values) if self.beside else sum(values, Decimal(0)) for _, values in self.columns]
        always = {len(heights) - 1, heights.index(max(heights))} if any(heights) else set()
        span, foot = self.HEIGHT - 2 * self.BOTTOM, self.HEIGHT - self.BOTTOM
        room = Decimal(self.WIDTH - self.LEFT) / max(len(self.columns), 1)
        found: list[Point] = []
        for place, ((label, values), height) in enumerate(zip(self.columns, heights, strict=True)):
            figures = "; ".join(f"{part} {self._said(value)}" for part, value in zip(self.parts, values, strict=False))
            middle = self.LEFT + place * room + room / 2
            at_the_end = middle > self.WIDTH - self.WIDE
            found.append({
                "label": f"{label}: {figures}", "x": f"{self.LEFT + place * room:.1f}", "width": f"{room:.1f}",
                "middle": f"{self.WIDTH if at_the_end else middle:.1f}",
                "above": f"{foot - span * height / self.top - 5:.1f}", "figure": f"{height.normalize():,f}",
                "anchor": "end" if at_the_end else "middle", "stays": place in always,
            })  # fmt: skip
        return found

    def _said(self, value: Decimal) -> str:
        return shown(value) if self.of_money else f"{value:,f}"

    @property
    def labels(self) -> list[tuple[str, str]]:
        """Where along the foot each label stands; not every column has one where there are many."""
        room = Decimal(self.WIDTH - self.LEFT) / max(len(self.columns), 1)
        every = -(-len(self.columns) // self.MOST_LABELS)
        return [
            (f"{self.LEFT + place * room + room / 2:.1f}", label)
            for place, (label, _) in enumerate(self.columns)
            if place % every == every // 2
        ]
