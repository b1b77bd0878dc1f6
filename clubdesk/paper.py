"""What every PDF of the club shares: the fonts, the colours, a heading, a table that runs over pages."""

import io
from collections.abc import Iterable, Sequence
from typing import Any
from xml.sax.saxutils import escape

from django.conf import settings
from reportlab.graphics.shapes import Drawing, Line, Rect, String
from reportlab.lib.colors import HexColor, black
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4
from reportlab.lib.pagesizes import landscape as sideways
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    KeepInFrame,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    TableStyle,
)
from reportlab.platypus import Table as Grid

from clubdesk.paying import Code
from clubdesk.screens.charts import Chart
from clubdesk.tables import Row, Table

GREEN, LIGHTER, RED, INK, SOFT, RULE = (
    HexColor(each) for each in ("#1f4238", "#6a9a88", "#b04a33", "#232a27", "#55605a", "#d9d8cc")
)
FONTS = settings.BASE_DIR / "fixtures" / "fonts"
FRAME = 6  # points that reportlab keeps free around what stands in a page's margins
PLAIN, BOLD = "DejaVuSans", "DejaVuSans-Bold"


def use_fonts() -> None:
    """Make the club's fonts known to reportlab; doing it again changes nothing."""
    for name in (PLAIN, BOLD):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, FONTS / f"{name}.ttf"))


def _style(name: str, font: str, size: float, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(name, fontName=font, fontSize=size, leading=size * 1.4, textColor=INK, **more)


HEADING = _style("heading", BOLD, 16)
TEXT = _style("text", PLAIN, 9.5)
STRONG = _style("strong", BOLD, 9.5)
FIGURE = _style("figure", PLAIN, 9.5, alignment=TA_RIGHT)
STRONG_FIGURE = _style("strong figure", BOLD, 9.5, alignment=TA_RIGHT)
SMALL = _style("small", PLAIN, 8)
NORMAL = 9.5
TEXT_WIDTH = 174
"""Millimetres between the margins of an upright page."""


def _styles(size: float) -> dict[ParagraphStyle, ParagraphStyle]:
    """The same four styles in another size."""
    return {
        each: _style(f"{each.name} {size}", each.fontName, size, alignment=each.alignment)
        for each in (TEXT, STRONG, FIGURE, STRONG_FIGURE)
    }


IN_SIZE = {size: _styles(size) for size in (6.0, 7.5, 8.5, NORMAL)}
"""The styles by size: for tables of many columns, of some, and of few."""


def text(words: str, style: ParagraphStyle = TEXT) -> Paragraph:
    """A paragraph; whatever is typed stands as typed."""
    return Paragraph(escape(words), style)


def gap(height: float = 4) -> Spacer:
    return Spacer(1, height * mm)


def table(told: Table[Row], size: float = NORMAL) -> Grid:
    """A table whose heading stands on each page, as wide as its columns say; `size` is one of `IN_SIZE`."""

    headings = told.headings

    def styled(cells: Iterable[tuple[str, bool]], plain: ParagraphStyle, right: ParagraphStyle) -> list[Paragraph]:
        styles = (IN_SIZE[size][plain], IN_SIZE[size][right])
        return [
            text(_within_a_page(words, heading.width), styles[is_right])
            for heading, (words, is_right) in zip(headings, cells, strict=True)
        ]

    body = [styled(((each.title, each.is_right) for each in headings), STRONG, STRONG_FIGURE)]
    for row in told.shown_rows:
        cells = ((cell.text, cell.is_right) for cell in row.cells)
        body.append(styled(cells, STRONG, STRONG_FIGURE) if row.is_strong else styled(cells, TEXT, FIGURE))
    lines = [("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE), ("VALIGN", (0, 0), (-1, -1), "TOP")]
    close = [
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), FRAME if size == NORMAL else 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
    ]
    widths = [each.width * mm for each in headings]
    return Grid(body, widths, repeatRows=1, style=TableStyle([*lines, *close]), hAlign="LEFT")


WIDEST, BESIDE, MOST_LINES = 3.4, 2.2, 40
"""Millimetres of the widest letter in the normal size and of what is free beside it; so many lines fit on any page."""


def _within_a_page(words: str, width: float) -> str:
    """The words of a cell of so many millimetres, cut where they might be taller than a page: no row is broken."""
    most = max(int((width - BESIDE) / WIDEST), 1) * MOST_LINES
    return words if len(words) <= most or not width else f"{words[: most - 1]}…"


UNFRAMED = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("PADDING", (0, 0), (-1, -1), 0),
]


def side_by_side(left: Sequence[Flowable], right: Sequence[Flowable], width: float) -> Grid:
    """Two columns of things; `width` of both together in millimetres."""
    half = (width / 2 - 3) * mm
    return Grid([[list(left), "", list(right)]], [half, 6 * mm, half], style=UNFRAMED, hAlign="LEFT")


def beside(wide: Sequence[Flowable], narrow: Sequence[Flowable], width: float) -> Grid:
    """Things with a narrow column beside them, which is `width` millimetres."""
    columns = [(TEXT_WIDTH - width - 6) * mm, 6 * mm, width * mm]
    return Grid([[list(wide), "", list(narrow)]], columns, style=UNFRAMED, hAlign="LEFT")


def drawing(chart: Chart, width: float) -> Drawing:
    """The chart as the screen draws it, `width` millimetres wide."""
    scale = width * mm / chart.WIDTH
    sheet = Drawing(chart.WIDTH * scale, chart.HEIGHT * scale)
    sheet.scale(scale, scale)
    colours = (GREEN, LIGHTER, SOFT)
    for y, figure in chart.lines:
        sheet.add(Line(chart.LEFT, chart.HEIGHT - y, chart.WIDTH, chart.HEIGHT - y, strokeColor=RULE))
        sheet.add(String(chart.LEFT - 6, chart.HEIGHT - y - 4, figure, fontName=PLAIN, fontSize=13, textAnchor="end"))
    for bar in chart.bars:
        left, top, wide, high = (float(bar[name]) for name in ("x", "y", "width", "height"))
        colour = colours[bar["part"] % len(colours)]
        sheet.add(Rect(left, chart.HEIGHT - top - high, wide, high, fillColor=colour, strokeColor=None))
    for place, label in chart.labels:
        sheet.add(String(float(place), 6, label, fontName=PLAIN, fontSize=13, textAnchor="middle"))
    return sheet


def code(shown: Code, width: float) -> Drawing:
    """A QR code, `width` millimetres wide with the paper around it."""
    squares = shown.squares
    side = width * mm / len(squares)
    sheet = Drawing(width * mm, width * mm)
    for down, row in enumerate(squares, 1):
        for along, dark in enumerate(row):
            if dark:
                sheet.add(Rect(along * side, width * mm - down * side, side, side, fillColor=black, strokeColor=None))
    return sheet


HEAD, MOST_TOGETHER = 60.0, 480.0


def on_one_page(story: Sequence[Flowable]) -> Flowable:
    """All of it on one upright page, drawn smaller where it would not fit."""
    wide, high = A4[0] - 36 * mm, A4[1] - 34 * mm - 2
    return KeepInFrame(wide, high, list(story), mode="shrink")


def room_for(table: Flowable) -> Flowable:
    """Begins a new page where a table with its title would be broken; one longer than a page begins with its half."""
    _, high = table.wrap(sideways(A4)[0], MOST_TOGETHER)
    return CondPageBreak(min(high + HEAD, MOST_TOGETHER))


def pdf(
    title: str, author: str, story: Sequence[Flowable], mark: str = "", keywords: str = "", landscape: bool = False
) -> bytes:
    """An A4 document with its page numbers, and `mark` in the middle of each foot. The same story, the same bytes."""
    use_fonts()
    file = io.BytesIO()
    size = sideways(A4) if landscape else A4

    def foot(canvas: Any, document: Any) -> None:
        canvas.setFont(PLAIN, 8)
        canvas.setFillColor(SOFT)
        canvas.drawString(18 * mm, 10 * mm, author)
        canvas.drawCentredString(size[0] / 2, 10 * mm if landscape else 6 * mm, mark)
        canvas.drawRightString(size[0] - 18 * mm, 10 * mm, f"{title}, page {document.page}")

    document = SimpleDocTemplate(
        file, pagesize=size, leftMargin=18 * mm - FRAME, rightMargin=18 * mm - FRAME, topMargin=16 * mm,
        bottomMargin=18 * mm, title=title, author=author, keywords=keywords, invariant=True,
    )  # fmt: skip
    document.build(list(story), onFirstPage=foot, onLaterPages=foot)
    return file.getvalue()
