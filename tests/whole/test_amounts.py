"""Every amount that people read begins with the sign of the book's currency: on pages, in letters, papers, workbook.

Common practice, no source: $126.00, and −$126.00 for what is below zero.
"""

import io
import re
from html.parser import HTMLParser

import pytest
from openpyxl import load_workbook
from pypdf import PdfReader

from clubdesk.fees import accounts, letters, papers
from clubdesk.ledger.selectors import book, year_containing
from clubdesk.mail.models import Message
from clubdesk.mail.services import write
from clubdesk.money import as_amount, shown, sign_of
from clubdesk.reports.papers import StatementsAsked
from clubdesk.reports.statements import BASES
from clubdesk.reports.workbook import workbook_bytes
from clubdesk.roll.models import Household
from tests.whole.addresses import urls_of_everything

pytestmark = [pytest.mark.either, pytest.mark.django_db, pytest.mark.world("season_50")]
BARE = re.compile(r"(?<![\d$,.])\d[\d,]*\.\d\d(?![\d%.]| %)|-\$\d|\b(?:AUD|A\$)")
"""A figure with two decimals and no sign before it, another minus, or another sign of the same currency."""
TYPED = re.compile(r"like \d+\.\d\d|12[.,]50")
"""How an amount is typed needs no sign, and the examples say so."""


TYPED_INTO_THE_BOX = "60.00"
"""What is sought on the page that finds, as `tests.whole.addresses` has it; the page repeats it as it was typed."""


class Words(HTMLParser):
    """What a page says; what stands in the boxes of a form is typed, and scripts and styles are not read."""

    def __init__(self, page):
        super().__init__()
        self.said, self._skipped = [], 0
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self._skipped += tag in ("script", "style", "textarea")

    def handle_endtag(self, tag):
        self._skipped -= tag in ("script", "style", "textarea")

    def handle_data(self, data):
        if not self._skipped:
            self.said.append(data)


def bare_in(text):
    return [found.strip() for found in re.findall(rf".{{0,30}}(?:{BARE.pattern}).{{0,12}}", TYPED.sub("", text))]


def test_the_sign_is_the_currencys_own_where_it_is_the_only_one():
    assert [sign_of(code) for code in ("AUD", "NZD", "USD", "GBP", "EUR", "CHF")] == ["$", "$", "$", "£", "€", "CHF "]
    assert [shown(as_amount(value)) for value in ("1234.5", "-5", "0")] == ["$1,234.50", "−$5.00", "$0.00"]


def test_every_page_writes_amounts_with_the_sign(season, client, keeper):
    client.force_login(keeper)
    found, read = {}, 0
    for url in urls_of_everything(client):
        response = client.get(url, follow=True)
        if response.headers.get("Content-Type", "").startswith("text/html"):
            text = " ".join(Words(response.content.decode()).said)
            read += text.count("$")
            if bare := bare_in(text.replace(TYPED_INTO_THE_BOX, "")):
                found[url] = bare[:3]
    assert found == {}
    assert read > 200


def test_every_letter_writes_amounts_with_the_sign(season, today):
    for statement in accounts.statements(list(Household.objects.all()), today):
        write(letters.drafted(statement, today, book(), None))
    written = list(Message.objects.values_list("subject", "body"))
    assert [bare for letter in written for bare in bare_in("\n".join(letter))] == []
    assert "$" in str(written)


def test_every_paper_writes_amounts_with_the_sign(season, today):
    year = year_containing(today)
    families = accounts.statements(list(Household.objects.all()[:3]), today)
    made = [papers.statement_pdf(each, book(), None) for each in families]
    made += [StatementsAsked(basis, year.first_day, year.last_day).pdf(today) for basis in BASES]
    said = ["\n".join(page.extract_text() for page in PdfReader(io.BytesIO(paper)).pages) for paper in made]
    assert [bare for text in said for bare in bare_in(text)] == []
    assert ["$" in text for text in said] == [True] * 6


def test_every_amount_of_the_workbook_shows_the_sign(season, today):
    book = load_workbook(io.BytesIO(workbook_bytes(year_containing(today), made_on=today, made_by="the tests")))
    formats = {
        cell.number_format
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if "0.00" in cell.number_format
    }
    assert {cell.number_format for cell in book["Proof"]["B"] if str(cell.value).startswith("=COUNT")} == {"0"}
    assert formats == {'"$"#,##0.00;[Red]-"$"#,##0.00'}
