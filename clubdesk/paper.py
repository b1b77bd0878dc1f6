"""What every PDF of the club shares: the fonts, the colours, a heading, a table that runs over pages."""

import io
from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

from django.conf import settings
from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

GREEN, RED, INK, SOFT, RULE = (HexColor(each) for each in ("#1f4238", "#b04a33", "#232a27", "#55605a", "#d9d8cc"))
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


def text(words: str, style: ParagraphStyle = TEXT) -> Paragraph:
    """A paragraph; whatever is typed stands as typed."""
    return Paragraph(escape(words), style)


def gap(height: float = 4) -> Spacer:
    return Spacer(1, height * mm)


def table(columns: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float], figures: set[int]) -> Table:
    """A table whose heading stands on each page; `widths` in millimetres, the columns in `figures` to the right."""

    def cells(row: Sequence[str], plain: ParagraphStyle, right: ParagraphStyle) -> list[Paragraph]:
        return [text(cell, right if index in figures else plain) for index, cell in enumerate(row)]

    body = [cells(columns, STRONG, STRONG_FIGURE), *(cells(row, TEXT, FIGURE) for row in rows)]
    lines = [("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE), ("VALIGN", (0, 0), (-1, -1), "TOP")]
    close = [
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
    ]
    return Table(
        body, [width * mm for width in widths], repeatRows=1, style=TableStyle([*lines, *close]), hAlign="LEFT"
    )


def pdf(title: str, author: str, story: Sequence[Flowable]) -> bytes:
    """An A4 document with its page numbers. The same story gives the same bytes."""
    use_fonts()
    file = io.BytesIO()

    def foot(canvas: Any, document: Any) -> None:
        canvas.setFont(PLAIN, 8)
        canvas.setFillColor(SOFT)
        canvas.drawString(18 * mm, 10 * mm, author)
        canvas.drawRightString(192 * mm, 10 * mm, f"{title}, page {document.page}")

    document = SimpleDocTemplate(
        file, pagesize=A4, leftMargin=18 * mm - FRAME, rightMargin=18 * mm - FRAME, topMargin=16 * mm,
        bottomMargin=18 * mm, title=title, author=author, invariant=True,
    )  # fmt: skip
    document.build(list(story), onFirstPage=foot, onLaterPages=foot)
    return file.getvalue()
