"""A workbook of the season's year, and ways to alter what stands in one."""

import io
from datetime import date
from functools import cache

from openpyxl import load_workbook

from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import FinancialYear, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount
from clubdesk.reports.workbook import workbook_bytes

FIRST, LAST = date(2026, 7, 1), date(2027, 6, 30)


def made(year):
    return workbook_bytes(year, made_on=date(2026, 9, 12), made_by="the tests")


@cache
def of_the_season():
    """The workbook of a season that nothing happened to yet; made once for all tests."""
    return made(year())


def changed(content, change):
    book = load_workbook(io.BytesIO(content))
    change(book)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def raffle(by):
    lines = [debit(Role.BANK, as_amount(10)), credit(Role.DONATIONS, as_amount(10))]
    ledger.record_journal(on=date(2026, 9, 12), narration="Raffle", lines=lines, by=by)


def year():
    return FinancialYear.objects.get(first_day=FIRST)
