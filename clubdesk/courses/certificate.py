"""The certificate of completion as a page to print: the club's name, who, what and when, and its number."""

import io
from datetime import date

from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, landscape
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from clubdesk.clock import long_day
from clubdesk.courses.models import Certificate
from clubdesk.paper import BOLD, GREEN, INK, PLAIN, RED, use_fonts


def certificate_pdf(certificate: Certificate, club_name: str) -> bytes:
    """One A4 page, landscape. The same certificate gives the same bytes."""
    use_fonts()
    file = io.BytesIO()
    width, height = landscape(A4)
    page = Canvas(file, pagesize=(width, height), invariant=True)
    page.setTitle(f"Certificate {certificate.shown_number}")
    page.setAuthor(club_name)
    _frame(page, width, height)
    place, middle = certificate.place, width / 2
    cohort = place.cohort
    assert cohort is not None
    for text, font, size, colour, y in (
        (club_name, BOLD, 22, GREEN, 455),
        ("certifies that", PLAIN, 14, INK, 410),
        (str(place.person), BOLD, 34, INK, 350),
        ("has completed the course", PLAIN, 14, INK, 305),
        (cohort.course.name, BOLD, 24, GREEN, 262),
        (f"{cohort.name}, completed on {_long(certificate.completed_on)}", PLAIN, 13, INK, 225),
        (f"Number {certificate.shown_number}", PLAIN, 11, INK, 62),
    ):
        _centred(page, text, font, size, colour, middle, y, width - 150)
    page.setStrokeColor(INK)
    page.line(middle - 120, 125, middle + 120, 125)
    _centred(page, "for the club", PLAIN, 10, INK, middle, 110, 240)
    page.showPage()
    page.save()
    return file.getvalue()


def _frame(page: Canvas, width: float, height: float) -> None:
    page.setStrokeColor(GREEN)
    page.setLineWidth(3)
    page.rect(28, 28, width - 56, height - 56)
    page.setStrokeColor(RED)
    page.setLineWidth(1)
    page.rect(36, 36, width - 72, height - 72)


def _centred(
    page: Canvas, text: str, font: str, size: float, colour: HexColor, x: float, y: float, most: float
) -> None:
    """A line in the middle, made smaller where a long name would not fit."""
    wide = pdfmetrics.stringWidth(text, font, size)
    page.setFont(font, size * min(1, most / wide))
    page.setFillColor(colour)
    page.drawCentredString(x, y, text)


def _long(day: date) -> str:
    return long_day(day)
