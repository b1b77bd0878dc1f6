"""Charts as figures of a drawing: pages draw them as SVG, papers with reportlab. They know no page."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TypedDict


class Rectangle(TypedDict):
    """One bar of the drawing, and which part it shows."""

    x: str
    y: str
    width: str
    height: str
    part: int


@dataclass(frozen=True)
class Chart:
    """Columns over time, each made of parts one upon another, or `beside` each other; the same figures stand in a
    table with it.
    """

    title: str
    parts: Sequence[str]
    columns: Sequence[tuple[str, Sequence[Decimal]]]
    beside: bool = False

    WIDTH, HEIGHT, LEFT, BOTTOM = 640, 220, 72, 22
    MOST_LABELS = 5

    @property
    def top(self) -> Decimal:
        """The round figure at the top of the scale: 1, 2 or 5 and noughts, not below the tallest column."""
        heights = [max(values) if self.beside else sum(values, Decimal(0)) for _, values in self.columns if values]
        tallest = max(heights, default=Decimal(0))
        step = Decimal(1)
        while step < tallest:
            step *= Decimal(2) if str(step.normalize().as_tuple().digits[0]) != "2" else Decimal("2.5")
        return step

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
    def labels(self) -> list[tuple[str, str]]:
        """Where along the foot each label stands; not every column has one where there are many."""
        room = Decimal(self.WIDTH - self.LEFT) / max(len(self.columns), 1)
        every = -(-len(self.columns) // self.MOST_LABELS)
        return [
            (f"{self.LEFT + place * room + room / 2:.1f}", label)
            for place, (label, _) in enumerate(self.columns)
            if place % every == every // 2
        ]
