"""The treasurer's workbook: live, provable, and the same figures when LibreOffice works it out."""

import io
import os
import re
import shutil
import subprocess
import zipfile
from collections import defaultdict
from datetime import date
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.db import connection
from openpyxl import load_workbook

from clubdesk.fees import services as fees
from clubdesk.fees.models import FeeKind, Method, Receipt
from clubdesk.guards import lifted
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole, JournalEntry, MonthBalance, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount
from clubdesk.reports.selectors import Figures
from clubdesk.reports.workbook import workbook_bytes, write_workbook
from clubdesk.sheets import Term
from clubdesk.yearend import services as yearend
from tests import factories
from tests.worlds.day_one import TODAY

pytestmark = [pytest.mark.either, pytest.mark.django_db]
JULY, AUGUST = date(2026, 7, 3), date(2026, 8, 3)
SHEETS = [
    "Summary", "Committee", "Trial balance", "Income and expenditure", "Assets and liabilities",
    "Funds", "Owed and owing", "Receipts and payments", "Bridge", "Journal", "Ledger by account", "Money by line",
    "Bridge by line",
    "Members owing", "Entry fund", "Vouchers", "Hire takings", "Courses", "Affiliation", "Bank reconciliation",
    "Budget", "Adjustments", "Months locked", "Changes and reversals", "Proof",
]  # fmt: skip


def made(year):
    return workbook_bytes(year, made_on=date(2026, 9, 12), made_by="the tests")


def opened(content, **how):
    return load_workbook(io.BytesIO(content), **how)


WORKS_OUT, SHOWS = 0, 1
"""What LibreOffice does with results in a file: works them out again, or believes them, as it does unasked."""
ON_LOAD = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load">
<prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>{}</value></prop></item></oor:items>"""


def recalculated(content, tmp_path, on_load=WORKS_OUT):
    """The workbook as LibreOffice saves it after working out every formula, or believing what stands beside it."""
    office = shutil.which("soffice")
    if office is None:
        if os.environ.get("CI"):
            pytest.fail("LibreOffice is missing; the gate installs libreoffice-calc")
        pytest.skip("LibreOffice is not on this machine")
    source = tmp_path / "year.xlsx"
    source.write_bytes(content)
    settings = tmp_path / "profile" / "user" / "registrymodifications.xcu"
    settings.parent.mkdir(parents=True, exist_ok=True)
    settings.write_text(ON_LOAD.format(on_load))
    profile = f"-env:UserInstallation=file://{tmp_path}/profile"
    command = [office, profile, "--headless", "--convert-to", "xlsx", "--outdir", str(tmp_path / "out"), str(source)]
    subprocess.run(command, check=True, capture_output=True, timeout=180)
    return load_workbook(tmp_path / "out" / "year.xlsx", data_only=True)


def rows(sheet):
    return {row[0] or row[1]: row for row in sheet.iter_rows(min_row=5, values_only=True) if any(row)}


def proofs(book):
    """The checks on the sheet Proof: the name of each, and what it comes to."""
    found = [(row[0], row[3]) for row in book["Proof"].iter_rows(min_row=5, values_only=True) if row[0]]
    assert len(found) >= 18
    return found


def unproven(book):
    return [(name, result) for name, result in proofs(book) if result is not True]


def cents(value):
    return round(Decimal(str(value)) * 100)


def test_the_sheets_stand_in_their_order(season):
    assert opened(made(FinancialYear.objects.get())).sheetnames == SHEETS


def test_what_the_rooms_leave_to_be_proved_stands_in_its_place_among_the_proofs(season):
    proved = [
        row[0] for row in opened(made(FinancialYear.objects.get()))["Proof"].iter_rows(min_row=5, values_only=True)
    ]
    owing = proved.index("Members owing less credits equal the account Fees owed")
    assert proved[owing:] == [
        "Members owing less credits equal the account Fees owed",
        "Entry fund by its movements equals the entry fund among the funds",
        "Money by line, row by row, comes to what the accounts of money moved",
        "Receipts less payments come to the rows of money",
        "Money in hand by receipts and payments equals the accounts of money",
        "Money of the committee's last month is the money in hand",
        "The bridge from cash to accrual closes to 0.00",
        "The bridge closes to 0.00 line by line",
        "The bridge by line comes to what each account moved",
        "Vouchers one by one equal the account Vouchers owed",
        "Hire takings day by day equal their income",
        "Courses cohort by cohort equal their income",
        "Affiliation by association equals the account",
        "The budget's actual figures come to the surplus",
        "Every month of the bank that was signed off reconciles to 0.00",
    ]


def test_a_term_keeps_its_signs_in_a_formula():
    place, figure = Term("Proof!$B$5", Decimal(7), is_cell=True), Term.of(Decimal("-5.00"))
    both = place - figure
    assert (both.text, both.value) == ("Proof!$B$5-(-5)", 12)
    assert ((-both).text, (-both).value) == ("-(Proof!$B$5-(-5))", -12)
    assert ((-place).text, (figure + place).text) == ("-Proof!$B$5", "-5+Proof!$B$5")
    assert both.formula == "=Proof!$B$5-(-5)"
    assert both.formula.value == 12


def test_headers_repeat_on_printing_and_panes_are_frozen(season):
    book = opened(made(FinancialYear.objects.get()))
    assert set(SHEETS) <= set(book.sheetnames)
    for sheet in book:
        assert sheet.print_title_rows == "$1:$4", sheet.title
        assert sheet.freeze_panes == "A5"
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.page_setup.fitToWidth == 1


def test_amounts_are_numbers_with_two_decimals_and_totals_live(season):
    book = opened(made(FinancialYear.objects.get()))
    journal = book["Journal"]
    amounts = [row[7] for row in journal.iter_rows(min_row=5) if row[7].value is not None]
    assert {type(cell.value) for cell in amounts} <= {int, float}
    assert {cell.number_format.partition(";")[0] for cell in amounts} == {'"$"#,##0.00'}
    total = next(row for row in book["Trial balance"].iter_rows() if row[1].value == "Total")
    assert total[6].value.startswith("=ROUND(SUM(")
    assert {formula[:4] for _, formula in proofs(book)} == {"=IF("}


def test_what_was_undone_stands_there_with_its_reason(season):
    lines = [debit(Role.BANK, as_amount(5)), credit(Role.DONATIONS, as_amount(5))]
    journal = ledger.record_journal(on=TODAY, narration="Raffle", lines=lines, by=season.by)
    receipt = Receipt.objects.filter(opening=None, allocations__repayment=None).latest("pk")
    ledger.reverse_journal(journal=journal, on=TODAY, reason="counted twice", by=season.by)
    fees.cancel_receipt(receipt=receipt, on=TODAY, reason="another family's", by=season.by)
    changes = list(opened(made(FinancialYear.objects.get()))["Changes and reversals"].iter_rows(min_row=5))
    assert [row[4].value for row in changes] == ["counted twice", "another family's"]
    for row in changes:
        undone = JournalEntry.objects.get(number=row[0].value)
        assert undone.narration == f"Reversal of entry {row[2].value}", "no sealed entry holds a reason"


def test_libreoffice_finds_every_proof_true_and_no_error(season, tmp_path):
    book = recalculated(made(FinancialYear.objects.get()), tmp_path)
    assert unproven(book) == []
    assert rows(book["Summary"])["Every check on the sheet Proof is TRUE"][1] is True
    for sheet in book:
        for row in sheet.iter_rows(values_only=True):
            assert not [value for value in row if isinstance(value, str) and value.startswith(("#", "Err:"))]


def shown(content, tmp_path):
    return opened(content, data_only=True)


def shown_by_libreoffice(content, tmp_path):
    return recalculated(content, tmp_path, SHOWS)


@pytest.mark.parametrize("read", [shown, shown_by_libreoffice, recalculated])
def test_every_formula_shows_what_the_book_says_and_libreoffice_comes_to_it(season, tmp_path, read):
    """Whoever only shows the file finds each result beside its formula; LibreOffice works it out from the cells."""
    rows_of = {}
    file = io.BytesIO()
    write_workbook(
        FinancialYear.objects.get(), file, made_on=date(2026, 9, 12), made_by="the tests",
        copies=lambda name: rows_of.setdefault(name, []).append,
    )  # fmt: skip
    formulas = opened(file.getvalue())
    book, compared = read(file.getvalue(), tmp_path), 0
    for name in SHEETS:
        for number, known in enumerate(rows_of[name], 1):
            for place, value in enumerate(known, 1):
                if formulas[name].cell(number, place).data_type == "f" and value is not None:
                    found = book[name].cell(number, place).value
                    same = cents(found) == cents(value) if isinstance(value, Decimal) else found == value
                    assert same, (name, number, place, found, value)
                    compared += 1
    assert compared > 400


def test_a_proof_that_does_not_hold_says_so_before_anybody_works_it_out(season, tmp_path):
    """A month's stored balance was changed behind the book's back: a preview must not say TRUE."""
    ledger.lock_month(month_end=date(2026, 7, 31), reason="a test", by=season.by)
    with lifted(connection, MonthBalance._meta.db_table):
        stored = MonthBalance.objects.filter(account__role=Role.BANK).latest("pk")
        stored.balance += as_amount(1)
        stored.save()
    content = made(FinancialYear.objects.get())
    for book in (shown(content, tmp_path), recalculated(content, tmp_path)):
        assert ("Journal and openings give what the ledger itself says, account by account", 100) in proofs(book)
        assert rows(book["Summary"])["Every check on the sheet Proof is TRUE"][1] is False


def test_a_fund_whose_name_has_signs_that_stand_for_others_is_told_from_the_rest(season, by, tmp_path):
    for number, name in enumerate(("Junior * fund", "Junior ? fund", "=Junior~ fund", "Junior A fund"), 1):
        fund = Fund.objects.create(code=f"f{number}", name=name)
        lines = [debit(Role.BANK, as_amount(number), fund=fund), credit(Role.DONATIONS, as_amount(number), fund=fund)]
        ledger.record_journal(on=date(2026, 9, 1), narration="Given", lines=lines, by=by)
    book = recalculated(made(FinancialYear.objects.get()), tmp_path)
    header = [cell.value for cell in book["Income and expenditure"][4]]
    donations = next(
        row
        for row in book["Income and expenditure"].iter_rows(values_only=True)
        if row[1] == "Donations and fundraising"
    )
    for number, name in enumerate(("Junior * fund", "Junior ? fund", "=Junior~ fund", "Junior A fund"), 1):
        assert cents(donations[header.index(name)]) == 100 * number
    assert unproven(book) == []


def test_last_years_typed_figures_say_nothing_of_money_received(season, by):
    general = Fund.objects.get(pk=FundRole.GENERAL)
    bank = Account.objects.get(role=Role.BANK)
    yearend.set_comparatives(year_end=date(2026, 6, 30), fund=general, figures={bank: as_amount(5000)}, by=by)
    book = opened(made(FinancialYear.objects.get()))
    assert "Last year" not in [cell.value for cell in book["Receipts and payments"][4]]
    assert "Last year" in [cell.value for cell in book["Assets and liabilities"][4]]


def test_the_ledger_is_linked_from_the_trial_balance_and_its_balances_run(season, tmp_path):
    book = opened(made(FinancialYear.objects.get()))
    bank = next(row for row in book["Trial balance"].iter_rows(min_row=5) if row[0].value == "1010")
    place = re.fullmatch(r"""=HYPERLINK\("#'Ledger by account'!A(\d+)","open"\)""", bank[12].value)[1]
    assert book["Ledger by account"][f"A{place}"].value == "1010 Bank"
    assert book["Ledger by account"][f"H{int(place) + 2}"].value.startswith("=H")


def test_the_committees_charts_are_native(season):
    with zipfile.ZipFile(io.BytesIO(made(FinancialYear.objects.get()))) as parts:
        assert len([name for name in parts.namelist() if name.startswith("xl/charts/chart")]) == 3


def test_the_committees_months_end_with_the_day_on_which_the_file_is_made(season):
    year = FinancialYear.objects.get()
    sheet = opened(made(year), data_only=True)["Committee"]
    months = [row[0] for row in sheet.iter_rows(min_row=5, values_only=True) if row[0]]
    assert months[-1] == "Sep 2026"


def test_libreoffice_gets_the_figures_of_the_ledger(season, tmp_path):
    year = FinancialYear.objects.get()
    figures = Figures.of_year(year)
    book = recalculated(made(year), tmp_path)
    trial = rows(book["Trial balance"])
    for account in figures.used(figures.accounts):
        row = trial[account.code]
        assert cents(row[6]) - cents(row[7]) == cents(figures.closing(account)), account
    income = rows(book["Income and expenditure"])["Surplus (deficit)"]
    assert [cents(value) for value in income[2:5]] == [
        cents(figure)
        for figure in (figures.surplus(figures.funds[0]), figures.surplus(figures.funds[1]), figures.surplus())
    ]
    position = rows(book["Assets and liabilities"])
    assert cents(position["Net assets"][2]) == cents(figures.net_assets())


def test_receipts_and_payments_and_the_bridge_add_up_rows_and_type_no_figure_of_the_year(season):
    """Only what was there before the year is typed: an auditor follows every other figure to its rows."""
    book = opened(made(FinancialYear.objects.get()))
    for title in ("Receipts and payments", "Bridge"):
        typed = {
            row[1].value
            for row in book[title].iter_rows(min_row=5)
            for cell in row[2:]
            if cell.data_type == "n" and cell.value is not None
        }
        assert {words for words in typed if not words.startswith("Money in hand before")} == set(), title


def test_no_proof_compares_a_figure_with_a_typed_one(season):
    """Each side of a proof is worked out from other sheets; zero is all that is typed."""
    sheet = opened(made(FinancialYear.objects.get()))["Proof"]
    sides = [cell.value for row in sheet.iter_rows(min_row=5, min_col=2, max_col=3) for cell in row if cell.value]
    assert len(sides) > 30
    assert [side for side in sides if str(side).strip("=-()") != "0" and "!" not in str(side)] == []


def test_a_receipt_that_pays_a_fee_later_is_two_rows_that_say_which(book, by):
    family = factories.HouseholdFactory(name="Quillfeather")
    receipt = fees.record_receipt(household=family, amount=as_amount(70), method=Method.CARD, on=JULY, by=by)
    price = factories.price(FeeKind.OTHER, "70.00", Role.DONATIONS)
    charge = fees.charge(household=family, price=price, on=AUGUST, starts_on=AUGUST, by=by)
    content = made(FinancialYear.objects.get())
    entry = JournalEntry.objects.get(source_id=receipt.pk, purpose="receipt")
    donations, pays = Account.objects.get(role=Role.DONATIONS), f"Receipt {receipt.number} pays charge {charge.pk}"
    ahead = ("1100", "Paid ahead by families, not used yet", "General fund")
    found = list(opened(content)["Money by line"].iter_rows(min_row=5, values_only=True))
    assert [(day.date(), *rest) for day, *rest in found] == [
        (JULY, entry.number, None, entry.narration, *ahead, 70),
        (AUGUST, None, receipt.number, pays, donations.code, donations.name, "General fund", 70),
        (AUGUST, None, receipt.number, pays, *ahead, -70),
    ]
    assert "Quillfeather" not in str(found)


def test_the_rows_of_money_come_to_the_statements_figures_line_by_line_and_fund_by_fund(season):
    now = Figures.of_year(FinancialYear.objects.get())
    sums = defaultdict(Decimal)
    for row in opened(made(FinancialYear.objects.get()))["Money by line"].iter_rows(min_row=5, values_only=True):
        sums[row[4], row[6]] += cents(row[7])
    stated = {(line.code, fund.name): now.cash(line, fund) * 100 for line in now.lines for fund in now.funds}
    assert {key: figure for key, figure in sums.items() if figure} == {
        key: figure for key, figure in stated.items() if figure
    }


def test_a_row_of_money_that_is_taken_out_shows_as_a_difference(season, tmp_path):
    content = made(FinancialYear.objects.get())
    book, changed = opened(content), io.BytesIO()
    row = next(row for row in book["Money by line"].iter_rows(min_row=5) if row[1].value)
    missing = cents(row[7].value)
    row[7].value = 0
    book.save(changed)
    again = dict(proofs(recalculated(changed.getvalue(), tmp_path)))
    assert again["Money by line, row by row, comes to what the accounts of money moved"] == -missing
    assert again["Money in hand by receipts and payments equals the accounts of money"] == -missing


def test_a_wrong_figure_in_the_workbook_shows_as_a_difference_in_cents(season, tmp_path):
    content = made(FinancialYear.objects.get())
    book = opened(content)
    cell = next(row[7] for row in book["Journal"].iter_rows(min_row=5) if row[7].value)
    cell.value += 1.05
    changed = io.BytesIO()
    book.save(changed)
    again = recalculated(changed.getvalue(), tmp_path)
    assert ("Journal: debits equal credits", 105) in proofs(again)
    assert rows(again["Summary"])["Every check on the sheet Proof is TRUE"][1] is False


def test_last_years_figures_stand_beside_and_a_closed_year_does_not_read_nil(season, by, tmp_path):
    year = FinancialYear.objects.get()
    surplus = Figures.of_year(year).surplus()
    next_year = ledger.open_year(first_day=date(2027, 7, 1), by=by)
    lines = [debit(Role.BANK, as_amount("12.34")), credit(Role.DONATIONS, as_amount("12.34"))]
    ledger.record_journal(on=date(2027, 7, 3), narration="Raffle", lines=lines, by=by)
    ledger.lock_month(month_end=date(2027, 6, 30), reason="a test", by=by)
    for state in ("open", "closed"):
        assert Figures.of_year(year).surplus() == surplus
        book = recalculated(made(next_year), tmp_path / state if (tmp_path / state).mkdir() is None else tmp_path)
        row = rows(book["Income and expenditure"])["Surplus (deficit)"]
        assert (cents(row[4]), cents(row[5])) == (1234, cents(surplus)), state
        assert unproven(book) == [], state
        ledger.close_year(year=year, by=by, on=date(2027, 8, 1))
    assert cents(rows(recalculated(made(year), tmp_path)["Income and expenditure"])["Surplus (deficit)"][4]) == cents(
        surplus
    )


# Source: OWASP, CSV injection; CWE-1236: text from a user that starts with one of these must stay text.
@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_text_from_users_never_becomes_a_formula(book, by, start, tmp_path):
    text = f'{start}HYPERLINK("http://example.org","x")'
    household = factories.HouseholdFactory(name=text)
    from clubdesk.fees.services import charge

    charge(household=household, price=factories.price(), on=date(2026, 9, 1), starts_on=date(2026, 9, 1), by=by,
           description=text)  # fmt: skip
    content = made(FinancialYear.objects.get())
    with zipfile.ZipFile(io.BytesIO(content)) as parts:
        sheets = "".join(parts.read(name).decode() for name in parts.namelist() if "worksheets" in name)
    formulas = re.findall("<f>(.*?)</f>", sheets)
    assert formulas
    assert not [formula for formula in formulas if "example.org" in formula or formula.startswith("=")]
    owing = next(iter(opened(content)["Members owing"].iter_rows(min_row=5)))
    assert owing[0].data_type == "s"
    assert owing[0].quotePrefix


def test_control_characters_do_not_break_the_workbook(book, by):
    lines = [debit(Role.BANK, as_amount(1)), credit(Role.DONATIONS, as_amount(1))]
    ledger.record_journal(on=date(2026, 9, 1), narration="bell \x07 and null-ish \x0b", lines=lines, by=by)
    assert opened(made(FinancialYear.objects.get()))["Journal"]["C5"].value.strip() == "bell   and null-ish"


def test_the_command_writes_the_file_or_leaves_the_old_one(season, tmp_path, capsys):
    path = tmp_path / "year.xlsx"
    call_command("treasurer_export", "2027", output=str(path))
    assert opened(path.read_bytes()).sheetnames == SHEETS
    assert [found.name for found in tmp_path.iterdir() if "year" in found.name] == ["year.xlsx"]


def test_a_club_that_begins_with_an_opening_journal_has_its_proofs_true(book, by, tmp_path):
    for fund, amount in ((FundRole.GENERAL, 5000), (FundRole.ENTRY, 400)):
        lines = [debit(Role.BANK, as_amount(amount), fund=fund), credit(Role.ACCUMULATED, as_amount(amount), fund=fund)]
        ledger.record_opening(narration="Opening", lines=lines, by=by)
    result = recalculated(made(FinancialYear.objects.get()), tmp_path)
    assert unproven(result) == []


def test_an_empty_year_makes_a_workbook_too(book, tmp_path):
    result = recalculated(made(FinancialYear.objects.get()), tmp_path)
    assert unproven(result) == []
