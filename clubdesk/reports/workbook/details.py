"""The sheets behind the statements: who owes, vouchers, hire, courses, affiliation, the bank, budget, adjustments."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Q, QuerySet
from django.utils import timezone
from openpyxl.chart import BarChart, LineChart, Reference
from openpyxl.utils import get_column_letter

from clubdesk.bank.models import Reconciliation
from clubdesk.courses.models import Place
from clubdesk.courses.selectors import NOT_CANCELLED, cohorts_with_seats
from clubdesk.fees.models import Voucher, VoucherState
from clubdesk.ledger.models import (
    Account,
    FundRole,
    Journal,
    JournalEntry,
    JournalOrigin,
    Kind,
    Party,
    Posting,
    Role,
)
from clubdesk.ledger.selectors import BY_HAND, ZERO, balances, summed
from clubdesk.rangeday.models import SignOn
from clubdesk.rangeday.selectors import STANDS
from clubdesk.reports import committee, selectors, tracing
from clubdesk.reports.sheets import Formula, Named
from clubdesk.reports.workbook.statements import opening_of
from clubdesk.yearend import selectors as yearend
from clubdesk.yearend.register import Register

if TYPE_CHECKING:
    from clubdesk.reports.workbook.book import TreasurersWorkbook

ADJUSTMENT_KINDS = ("number", "date", "text", "text", "text", "name", "name", "amount", "amount", "text")
CHANGE_KINDS = ("number", "date", "number", "date", "text", "amount", "name", "date")


def write_all(w: TreasurersWorkbook) -> None:
    for write in (
        write_owing, write_entry_fund, write_vouchers, write_hire, write_courses, write_affiliation, write_bank,
        write_budget, write_adjustments, write_changes, write_committee,
    ):  # fmt: skip
        write(w)


def write_owing(w: TreasurersWorkbook) -> None:
    sheet = w.owing
    header = ["Household", "Owes", "In credit"]
    first = sheet.top("Members owing", w.note("Households at the year's end."), header) + 1
    for party, figure in selectors.households_owing(w.year.last_day):
        sheet.line([Named(party.name), max(figure, ZERO) or None, max(-figure, ZERO) or None])
    w.at.owing_total = sheet.total(["Total", *sheet.sums(first, "BC")])


def write_entry_fund(w: TreasurersWorkbook) -> None:
    sheet, now = w.fund, w.figures
    header = ["Entry", "Date", "What", "In", "Out", "Balance"]
    sheet.top("Entry fund", w.note("Containers in, entry fees refunded."), header)
    balance = opening_of(w, w.entry_fund)
    w.at.fund_opening = sheet.line([None, w.year.first_day, "Opening balance", None, None, balance])
    for move in selectors.fund_moves(w.year, FundRole.ENTRY):
        row = sheet.row + 1
        came, went = move.came_in or None, move.went_out or None
        balance += move.came_in - move.went_out
        running = Formula(f"=F{row - 1}+N(D{row})-N(E{row})", balance)
        sheet.line([move.number, move.on, move.narration, came, went, running])
    first, last = w.at.fund_opening, sheet.row
    sums = sheet.sums(first, "DE")
    closing = Formula(f"=F{first}+D{last + 1}-E{last + 1}", balance)
    w.at.fund_closing = sheet.total(["", "", "Closing balance", *sums, closing])
    sheet.blank()
    payable = now.by_role.get(Role.REFUNDS_PAYABLE)
    promised = -now.closing(payable, w.entry_fund) + ZERO if payable else ZERO
    sheet.line(["", "", "Of which approved and not yet paid out", None, None, promised])


def write_vouchers(w: TreasurersWorkbook) -> None:
    """Each voucher that was owed in the year, as it stood on its last day."""
    sheet = w.vouchers
    header = [
        "Accepted",
        "Scheme",
        "Code",
        "Household",
        "Charge",
        "Claimed",
        "Paid",
        "Not paid",
        "Owed",
        "Lodged",
        "Answered",
    ]
    first = sheet.top("Vouchers", w.note("Owed in the year, as each stood on its last day."), header) + 1
    for row in _vouchers(w.year.first_day, w.year.last_day):
        sheet.line(row)
    by_hand = Posting.objects.filter(BY_HAND, account__role=Role.VOUCHERS_OWED, entry__date__lte=w.year.last_day)
    figure = by_hand.aggregate(figure=summed("amount"))["figure"]
    if figure:
        sheet.line([None, "Written by hand", None, None, None, None, None, None, figure, None, None])
    w.at.vouchers_owed = sheet.total(["Total", None, None, None, None, *sheet.sums(first, "FGHI"), None, None])


def _vouchers(first: date, last: date) -> Iterator[list[Any]]:
    rows = Voucher.objects.filter(accepted_on__lte=last).order_by("accepted_on", "pk")
    for voucher in rows.select_related("scheme", "lodgement", "charge__household"):
        lodged = voucher.lodgement
        paid_on = lodged.paid_on if lodged and voucher.state == VoucherState.PAID else None
        answered = paid_on or voucher.ended_on
        if answered and answered < first:
            continue
        claimed = voucher.claimed.amount
        paid = voucher.amount.amount if paid_on and paid_on <= last else ZERO
        is_answered = bool(answered and answered <= last)
        not_paid = claimed - paid if is_answered else ZERO
        owed = ZERO if is_answered else claimed
        lodged_on = lodged.lodged_on if lodged and lodged.lodged_on <= last else None
        yield [
            voucher.accepted_on, Named(str(voucher.scheme)), voucher.masked_code, Named(voucher.charge.household.name),
            voucher.charge_id, claimed, paid, not_paid, owed, lodged_on, answered if is_answered else None,
        ]  # fmt: skip


def write_hire(w: TreasurersWorkbook) -> None:
    """Hire and visitors' fees by the day they were earned, by the ledger, with how many people were there."""
    sheet, now = w.hire, w.figures
    roles = [role for role in (Role.HIRE, Role.VISITORS) if role in now.by_role]
    header = ["Date", "People", *(Named(now.by_role[role].name) for role in roles), "Total"]
    first = sheet.top("Hire takings", w.note("By the day, as the ledger has it."), header) + 1
    earned: dict[date, dict[str, Decimal]] = defaultdict(dict)
    rows: QuerySet[Any, Any] = Posting.objects.filter(entry__year=w.year, entry__is_closing=False)
    rows = rows.filter(account__role__in=roles).order_by()
    for day, role, figure in rows.values_list("entry__date", "account__role").annotate(figure=summed("amount")):
        earned[day][role] = -figure
    came = SignOn.objects.filter(STANDS, range_day__date__range=(now.first, now.last)).order_by()
    people = dict(came.values_list("range_day__date").annotate(figure=Count("pk")))
    for day in sorted(earned.keys() | people.keys()):
        figures = [earned[day].get(role, ZERO) for role in roles]
        row = sheet.row + 1
        columns = "CDE"[: len(roles)]
        total = Formula(f"=SUM({columns[0]}{row}:{columns[-1]}{row})", sum(figures, ZERO))
        sheet.line([day, people.get(day, 0), *figures, total])
    w.at.hire_total = sheet.total(["Total", None, *sheet.sums(first, "CDE"[: len(roles) + 1])])


def write_courses(w: TreasurersWorkbook) -> None:
    """Each cohort of the year and what its places earned in it, by the ledger."""
    sheet, now = w.courses, w.figures
    header = ["Cohort", "Begins", "Seats", "Taken", "Earned in the year"]
    first = sheet.top("Courses", w.note("What became income of each cohort's places."), header) + 1
    earned = _earned_by_cohort(w)
    held = Q(first_session__lte=now.last, last_session__gte=now.first) | Q(pk__in=[pk for pk in earned if pk])
    for cohort in cohorts_with_seats().filter(NOT_CANCELLED).filter(held).order_by("first_session", "pk"):
        figure = earned.pop(cohort.pk, ZERO)
        name = Named(f"{cohort.course}: {cohort.name}", str(cohort.course), cohort.name)
        sheet.line([name, cohort.first_session, cohort.capacity, cohort.taken, figure])
    rest = sum(earned.values(), ZERO)
    if rest:
        sheet.line(["Not of a cohort that stands", None, None, None, rest])
    w.at.courses_total = sheet.total(["Total", None, None, None, *sheet.sums(first, "E")])


def _earned_by_cohort(w: TreasurersWorkbook) -> dict[int | None, Decimal]:
    """What the account of courses earned in the year, by the cohort of the place that was charged."""
    cohorts = dict(Place.objects.exclude(charge=None).values_list("charge", "cohort"))
    credits = tracing.Documents(tracing.Chart.read()).credits
    found: dict[int | None, Decimal] = defaultdict(lambda: ZERO)
    rows = Posting.objects.filter(entry__year=w.year, entry__is_closing=False, account__role=Role.COURSES)
    sources: QuerySet[Any, Any] = rows.order_by().values_list(
        "amount", "entry__source_type", "entry__source_id", "entry__reverses__source_type", "entry__reverses__source_id"
    )
    for amount, own, own_id, undone, undone_id in sources.iterator(chunk_size=5000):
        kind, pk = undone or own, undone_id or own_id
        charge = credits.get(pk) if kind == "fees.chargecredit" else pk if kind == "fees.charge" else None
        found[cohorts.get(charge) if charge else None] -= amount
    return {cohort: figure.quantize(Decimal("0.01")) for cohort, figure in found.items()}


def write_affiliation(w: TreasurersWorkbook) -> None:
    """What each association was owed, got and is owed, by the ledger."""
    sheet, now = w.affiliation, w.figures
    header = ["Association", "Owed at the start", "Members' shares", "Remitted", "Owed at the end"]
    first = sheet.top("Affiliation", w.note("Shares of members' fees passed on."), header) + 1
    before = _by_party(selectors.day_before(now.first))
    after = _by_party(now.last)
    rows: QuerySet[Any, Any] = Posting.objects.filter(
        entry__year=w.year, account__role=Role.AFFILIATION_PAYABLE, entry__is_closing=False
    )
    moved = (
        rows.order_by()
        .values_list("party")
        .annotate(debits=summed("amount", Q(amount__gt=0)), credits=summed("amount", Q(amount__lt=0)))
    )
    turned = {party: (debits, -credits) for party, debits, credits in moved}
    names = Party.objects.in_bulk([pk for pk in before.keys() | after.keys() | turned.keys() if pk])
    for party in sorted(names.values(), key=lambda each: each.name):
        debits, credits = turned.get(party.pk, (ZERO, ZERO))
        row = sheet.row + 1
        owed = Formula(f"=B{row}+C{row}-D{row}", after.get(party.pk, ZERO))
        sheet.line([Named(party.name), before.get(party.pk, ZERO), credits, debits, owed])
    w.at.affiliation_total = sheet.total(["Total", *sheet.sums(first, "BCDE")])


def _by_party(day: date) -> dict[int, Decimal]:
    """What each association is owed at the end of the day; above nil."""
    found = balances(day, ["party_id"], account__role=Role.AFFILIATION_PAYABLE).after_closing
    return {party: -figure for (party,), figure in found.items() if figure}


def write_bank(w: TreasurersWorkbook) -> None:
    """Each month of each bank account as it was signed off."""
    sheet = w.bank
    header = ["Account", "Month to", "Bank's statement", "Deposits not credited", "Payments not presented",
              "By the book", "Difference", "Signed off", "By"]  # fmt: skip
    w.at.bank_first = sheet.top("Bank reconciliation", w.note("Each month that was signed off."), header) + 1
    months = Reconciliation.objects.filter(
        reopened_on=None, month_end__range=(w.year.first_day, w.year.last_day)
    ).select_related("bank_account", "recorded_by")
    for month in months.order_by("bank_account", "month_end"):
        row = sheet.row + 1
        figures = [month.statement_balance, month.deposits, month.payments, month.book_balance]
        stated, deposits, payments, book = (figure.amount for figure in figures)
        gap = Formula(f"=ROUND(C{row}+D{row}-E{row}-F{row},2)", stated + deposits - payments - book)
        sheet.line(
            [Named(str(month.bank_account)), month.month_end, stated, deposits, payments, book, gap, month.signed_on,
             Named(str(month.recorded_by))]
        )  # fmt: skip
    if sheet.row < w.at.bank_first:
        sheet.line(["No month of this year was signed off."])
    w.at.bank_last = sheet.row


def write_budget(w: TreasurersWorkbook) -> None:
    """What was planned by account and month, what was, and the difference; accounts without a plan too."""
    sheet, now, at = w.budget, w.figures, w.at
    months = yearend.months_of(w.year)
    header = ["Code", "Account", *(f"{month:%b %y}" for month in months), "Year", "Actual", "Difference"]
    note = "Planned by month, and what was; what was not planned stands with nil. What is usual is above nil."
    sheet.top("Budget", w.note(note), header)
    planned = yearend.budget_by_month(w.year)
    columns = [get_column_letter(3 + place) for place in range(len(months) + 3)]
    totals, sums = [], []
    for kind, title, sign in ((Kind.INCOME, "Income", -1), (Kind.EXPENSE, "Expenditure", 1)):
        sheet.heading(title)
        first = sheet.row + 1
        for account in (each for each in now.of_kind(kind) if each.pk in planned or each.pk in at.income_rows):
            sheet.line(
                _budget_line(w, account, [planned.get(account.pk, {}).get(month, ZERO) for month in months], sign)
            )
        sums.append(sheet.sums(first, columns))
        totals.append(sheet.total(["", f"Total {title.lower()}", *sums[-1]]))
        sheet.blank()
    came, went = totals
    left = [Formula(f"={c}{came}-{c}{went}", a.value - b.value) for c, a, b in zip(columns, *sums, strict=True)]
    at.budget_left, at.budget_actual = sheet.total(["", "Surplus (deficit)", *left]), columns[-2]


def _budget_line(w: TreasurersWorkbook, account: Account, figures: list[Decimal], sign: int) -> list[Any]:
    row, last = w.budget.row + 1, get_column_letter(2 + len(figures))
    year, actual_column = get_column_letter(3 + len(figures)), get_column_letter(4 + len(figures))
    whole, actual = sum(figures, ZERO), sign * w.figures.moved(account) + ZERO
    place = w.at.income_rows.get(account.pk)
    shown = Formula(f"={w.income.at(w.total_column(), place)}", actual) if place else actual
    return [
        account.code, Named(account.name), *figures, Formula(f"=SUM(C{row}:{last}{row})", whole), shown,
        Formula(f"={actual_column}{row}-{year}{row}", actual - whole),
    ]  # fmt: skip


def write_adjustments(w: TreasurersWorkbook) -> None:
    """Every journal written by hand, line by line, and the equipment register."""
    sheet = w.adjustments
    header = ["Entry", "Date", "Kind", "Narration", "Code", "Account", "Fund", "Debit", "Credit", "Undoes"]
    sheet.top("Adjustments", w.note("Every journal written by hand or from a file, and its reversals."), header)
    sheet.stream(_by_hand(w), ADJUSTMENT_KINDS)
    sheet.blank()
    sheet.header(["", "Bought", "", "Equipment", "", "", "Cost", "Lost before", "Lost this year", "Worth"])
    first = sheet.row + 1
    last = w.year.last_day
    register = Register.at(last, as_posted_on=last, known_at=w.year.closed_at)
    for thing in register.things:
        this_year = register.posted_between(thing, w.year.first_day, last)
        before = register.posted_until(thing, last) - this_year
        row, worth = sheet.row + 1, thing.cost.amount - before - this_year
        sheet.line(
            [None, thing.bought_on, None, thing.name, None, None, thing.cost.amount, before, this_year,
             Formula(f"=G{row}-H{row}-I{row}", worth)]
        )  # fmt: skip
    sheet.total(["", "", "", "Total", "", "", *sheet.sums(first, "GHIJ")])


def _by_hand(w: TreasurersWorkbook) -> Iterator[tuple[Any, ...]]:
    origins = dict(Journal.objects.values_list("pk", "origin"))
    rows = Posting.objects.filter(BY_HAND, entry__year=w.year, entry__is_closing=False)
    rows = rows.order_by("entry__number", "pk")
    values = rows.values_list(
        "entry__number", "entry__date", "entry__source_id", "entry__reverses__source_id", "entry__narration",
        "account__code", "account__name", "fund__name", "amount", "entry__reverses__number",
    )  # fmt: skip
    for number, on, own, undone, narration, code, name, fund, amount, reverses in values.iterator(chunk_size=2000):
        origin = JournalOrigin(origins.get(undone or own, JournalOrigin.HAND))
        debit, credit = (amount, None) if amount > 0 else (None, -amount)
        yield (
            number,
            on,
            origin.label,
            narration,
            code,
            name,
            fund,
            debit,
            credit,
            f"entry {reverses}" if reverses else None,
        )


def write_changes(w: TreasurersWorkbook) -> None:
    """Every entry that undoes another, and who recorded it when."""
    sheet = w.changes
    header = ["Entry", "Date", "Undoes", "Of", "Why", "Amount", "Recorded by", "Recorded on"]
    sheet.top(
        "Changes and reversals", w.note("Nothing is changed or deleted; it is undone by an entry of its own."), header
    )
    rows = JournalEntry.objects.filter(year=w.year, reverses__isnull=False).order_by("number")
    rows = rows.annotate(figure=summed("postings__amount", Q(postings__amount__gt=0)))
    values = rows.values_list(
        "number",
        "date",
        "reverses__number",
        "reverses__date",
        "narration",
        "figure",
        "posted_by__username",
        "posted_at",
    )
    sheet.stream(
        ((*row[:-1], timezone.localtime(row[-1]).date()) for row in values.iterator(chunk_size=2000)), CHANGE_KINDS
    )
    if not rows.exists():
        sheet.line(["Nothing was undone in this year."])


def write_committee(w: TreasurersWorkbook) -> None:
    """Twelve months for the committee, with native charts of the same figures."""
    sheet, now = w.committee, w.figures
    funds = [fund.name for fund in now.funds]
    header = [
        "Month",
        *(Named(f"Money, {name.lower()}", name.lower()) for name in funds),
        "Income",
        "Spending",
        "Members",
    ]
    top = sheet.top("For the committee", w.note("Month by month; the charts show the same figures."), header)
    months = committee.months_to(now.last)
    money, income, spending = committee.by_month(now, months)
    for month, held, came, went, members in zip(
        months, money, income, spending, committee.members(months), strict=True
    ):
        sheet.line([f"{month:%b %Y}", *held, came, went, members])
    last, count = sheet.row, len(funds)
    names = Reference(sheet.sheet, min_col=1, min_row=top + 1, max_row=last)
    charts: list[tuple[Any, str, int, int, bool]] = [
        (BarChart(), "Money in hand at each month's end", 2, 1 + count, True),
        (BarChart(), "Income and spending by month", 2 + count, 3 + count, False),
        (LineChart(), "Members at each month's end", 4 + count, 4 + count, False),
    ]
    for place, (chart, title, left, right, stacked) in enumerate(charts):
        data = Reference(sheet.sheet, min_col=left, max_col=right, min_row=top, max_row=last)
        chart.add_data(data, titles_from_data=True)
        chart.set_categories(names)
        chart.title, chart.height, chart.width = title, 7.5, 16
        if stacked:
            chart.grouping, chart.overlap = "stacked", 100
        chart.x_axis.delete = chart.y_axis.delete = False
        chart.y_axis.number_format = "#,##0"
        for series, colour in zip(chart.series, ("2D5A4C", "B04A33", "8AA395"), strict=False):
            series.graphicalProperties.solidFill = colour
            series.graphicalProperties.line.solidFill = colour
        sheet.sheet.add_chart(chart, f"{'A' if place != 1 else 'F'}{last + 2 + (16 if place == 2 else 0)}")
