"""The statements of a span of days, as rows of figures: the same for the page, the PDF and the check of a file.

On the accrual basis income and expenditure and a balance sheet; on the cash basis receipts and payments, the bank
balances reconciled, and assets and liabilities; and the bridge between the two. Source of what is needed: Associations
Incorporation Act 2015 (WA) s 68.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import partial
from operator import attrgetter

from clubdesk.bank.models import BankAccount, Reconciliation
from clubdesk.clock import day_text
from clubdesk.ledger.models import Account, Fund, Kind, Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.corrected import corrected_since
from clubdesk.reports.selectors import BeforeTheBook, Figures, a_year_earlier
from clubdesk.reports.tracing import BETWEEN
from clubdesk.yearend import selectors as yearend

SIDES = (Kind.ASSET, Kind.LIABILITY)
OTHER_SIDE = {Kind.ASSET: "in credit", Kind.LIABILITY: "paid ahead"}
"""What of an account with parties stands on the other side than the account is called."""
RECEIPT_ROLES = (Role.FEES_OWED, Role.VOUCHERS_OWED, Role.FEES_IN_ADVANCE, Role.DISPOSALS)
BY_HAND = "Of it by hand"
NAMED = {
    Role.FEES_OWED: "Paid ahead by families, not used yet",
    Role.VOUCHERS_OWED: "Vouchers paid, not said for what",
    Role.ACCUMULATED: "Correction of earlier years",
    Role.AFFILIATION_PAYABLE: "Affiliation passed on to associations",
    Role.DISPOSALS: "Equipment sold",
}


@dataclass(frozen=True)
class Row:
    """A line of a statement: its words and a figure a column, None where there is none; a note has only words."""

    label: str
    figures: Sequence[Decimal | None] = ()
    kind: str = "line"
    account: Account | None = None


@dataclass
class Statement:
    title: str
    note: str
    columns: list[str]
    rows: list[Row] = field(default_factory=list)

    def heading(self, text: str) -> None:
        self.rows.append(Row(text, (), "heading"))

    def line(self, label: str, figures: Sequence[Decimal | None], account: Account | None = None) -> None:
        self.rows.append(Row(label, _unsigned_nil(figures), "line", account))

    def notes(self, sentences: Sequence[str]) -> None:
        """What is said of the line above; it has no figures."""
        self.rows += [Row(each, (), "note") for each in sentences]

    def total(self, label: str, figures: Sequence[Decimal | None]) -> None:
        self.rows.append(Row(label, _unsigned_nil(figures), "total"))


def _unsigned_nil(figures: Sequence[Decimal | None]) -> list[Decimal | None]:
    """Nil has no sign on a statement."""
    return [None if figure is None else figure + ZERO for figure in figures]


Columns = list[tuple[str, Callable[[Account], Decimal]]]


def line_name(account: Account, now: Figures | None = None) -> str:
    """What money for the account is called on a statement of money (of those days).

    What was not explained when they began, and is explained in them, is taken off there: the money came before.
    """
    if now and account.role == Role.SUSPENSE and now.figure(now.opening, account):
        return f"{account.name}, or matched since"
    return NAMED.get(Role(account.role), account.name) if account.role else account.name


def side_name(account: Account, among: Kind) -> str:
    """What an account is called among the assets or liabilities; what is on its other side is told apart."""
    return account.name if account.kind == among else f"{account.name}, {OTHER_SIDE[Kind(account.kind)]}"


def _summed(rows: list[list[Decimal]], width: int) -> list[Decimal]:
    return [sum((row[place] for row in rows), ZERO) for place in range(width)]


def _block(
    statement: Statement,
    title: str,
    accounts: Sequence[Account],
    columns: Columns,
    name: Callable[[Account], str] = attrgetter("name"),
) -> list[Decimal]:
    """The lines of one heading with their total; returns the totals."""
    statement.heading(title)
    rows = []
    for account in accounts:
        rows.append([figure(account) for _, figure in columns])
        statement.line(name(account), rows[-1], account)
    totals = _summed(rows, len(columns))
    statement.total(f"Total {title.lower()}", totals)
    return totals


def _fund_names(now: Figures) -> list[str]:
    names = [fund.name for fund in now.funds]
    return [*names, "Total"] if len(names) > 1 else names


def _by_fund(now: Figures, figure: Callable[[Fund], Decimal]) -> list[Decimal]:
    """`figure(fund)` of each fund, and of all together where there are several."""
    each = [figure(fund) for fund in now.funds]
    return [*each, sum(each, ZERO)] if len(each) > 1 else each


def income_and_expenditure(now: Figures, last: Figures | None) -> Statement:
    """On the accrual basis: by fund, with what was written by hand, the budget where there is one, and last year."""
    last = last if last and last.tells_the_year else None
    budget = yearend.budget_of(now.first, now.last) if now.fund is None else {}

    def columns_of(sign: int) -> Columns:
        funds: Columns = [
            (fund.name, lambda account, fund=fund: sign * now.moved(account, fund))  # type: ignore[misc]
            for fund in now.funds
        ]
        found = [*funds, ("Total", lambda account: sign * now.moved(account))] if len(funds) > 1 else funds
        found.append((BY_HAND, lambda account: sign * now.by_hand.get(account.pk, ZERO)))
        if budget:
            found.append(("Budget", lambda account: budget.get(account.pk, ZERO)))
        if last:
            found.append(("Last year", lambda account: sign * last.moved(account)))
        return found

    note = "Accrual basis: what was earned and used up, whenever it is paid."
    statement = Statement("Income and expenditure", note, [name for name, _ in columns_of(1)])
    accounts = [a for a in now.accounts if a.kind in (Kind.INCOME, Kind.EXPENSE)]
    shown = [a for a in accounts if now.moved(a) or (last and last.moved(a)) or budget.get(a.pk) or _in_a_fund(now, a)]
    came = _block(statement, "Income", [a for a in shown if a.kind == Kind.INCOME], columns_of(-1))
    went = _block(statement, "Expenditure", [a for a in shown if a.kind == Kind.EXPENSE], columns_of(1))
    surplus: list[Decimal | None] = [a - b for a, b in zip(came, went, strict=True)]
    surplus[statement.columns.index(BY_HAND)] = None
    statement.total("Surplus (deficit)", surplus)
    corrected: list[Decimal | None] = [*_by_fund(now, now.put_in), None]
    corrected += ([None] if budget else []) + ([last.put_in()] if last else [])
    if any(corrected):
        both = [None if b is None else (a or ZERO) + b for a, b in zip(surplus, corrected, strict=True)]
        statement.line(NAMED[Role.ACCUMULATED], corrected)
        statement.total("Surplus (deficit) and corrections", both)
    return statement


def movement_of_funds(now: Figures) -> Statement:
    """What each fund began with, what was added to it and taken from it, and what it ends with."""
    columns = ["At the start", "Surplus", "Corrections", "Transfers", "At the end"]
    statement = Statement("Movement of the funds", "Net assets by fund, from the first day to the last.", columns)
    transfers = now.by_role.get(Role.TRANSFERS)
    rows = []
    for fund in now.funds:
        moved = -now.moved(transfers, fund) if transfers else ZERO
        parts = [now.net_assets_before(fund), now.surplus(fund) - moved, now.put_in(fund), moved]
        rows.append([*parts, sum(parts, ZERO)])
        statement.line(fund.name, rows[-1])
    statement.total("All funds", _summed(rows, len(columns)))
    return statement


def _in_a_fund(now: Figures, account: Account) -> bool:
    """Whether it moved in some fund though not in all together, as a transfer between funds does."""
    return any(now.moved(account, fund) for fund in now.funds)


def balance_sheet(now: Figures, last: Figures | None, title: str = "Balance sheet") -> Statement:
    """What the club has and owes on the last day, and the funds it is kept in; who owes and who is owed never net."""
    times = [each for each in (now, last) if each]
    statement = Statement(title, "What the club has and owes on the last day.", [each.last_day_told for each in times])

    def block(heading: str, among: Kind, sign: int) -> list[Decimal]:
        columns: Columns = [
            ("", lambda account, then=then: sign * then.stands(account, among))  # type: ignore[misc]
            for then in times
        ]
        names = partial(side_name, among=among)
        return _block(statement, heading, standing(times, among), columns, names)

    if now.fund and any(now.closing(account) < 0 for account in now.money):
        statement.note += (
            " Money below 0.00 was paid for this fund from the same account’s money of another; together the account is"
            " right."
        )
    assets, liabilities = block("Assets", Kind.ASSET, 1), block("Liabilities", Kind.LIABILITY, -1)
    statement.total("Net assets", [a - b for a, b in zip(assets, liabilities, strict=True)])
    statement.heading("Kept in these funds")
    for fund in now.funds:
        statement.line(fund.name, [each.net_assets(fund) for each in times])
    statement.total("Total of the funds", [each.net_assets() for each in times])
    return statement


def standing(times: Sequence[Figures], among: Kind) -> list[Account]:
    """The accounts of which something stands among the assets, or the liabilities, in some fund at one of the times."""
    now = times[0]
    return [
        account
        for account in now.of_kind(*SIDES)
        if any(then.stands(account, among) for then in times)
        or any(now.stands(account, among, fund) for fund in now.funds)
    ]


def _holds(now: Figures, account: Account) -> bool:
    return any(now.closing(account, fund) for fund in now.funds)


def is_receipt(account: Account, now: Figures) -> bool:
    """Whether money for the line stands among the receipts; a correction, or what is not explained, by its sign."""
    if account.kind == Kind.EQUITY or account.role == Role.SUSPENSE:
        return now.cash(account) >= 0
    return account.kind == Kind.INCOME or account.role in RECEIPT_ROLES


def receipts_and_payments(now: Figures, last: Figures | None, known: int | None = None) -> Statement:
    """On the cash basis: money in and out, each receipt traced through what it paid, and the money in hand.

    What was put right after the year was closed is told beside it, up to the entry `known`.
    """
    columns = [*_fund_names(now), *(["Last year"] if last else [])]
    note = "Cash basis: money that came in and went out, each receipt by what it paid."
    statement = Statement("Receipts and payments", note, columns)

    def figures(account: Account, sign: int) -> list[Decimal]:
        own = [sign * figure for figure in _by_fund(now, lambda fund: now.cash(account, fund))]
        return [*own, sign * last.cash(account)] if last else own

    sums = []
    corrected = corrected_since(now, known)
    seen = {account.pk for account in now.lines} | ({account.pk for account in last.lines} if last else set())
    for title, wanted, sign in (("Receipts", True, 1), ("Payments", False, -1)):
        statement.heading(title)
        rows = []
        for account in (each for each in now.accounts if each.pk in seen and is_receipt(each, now) == wanted):
            row = figures(account, sign)
            if any(row):
                rows.append(row)
                statement.line(line_name(account, now), row, account)
                statement.notes(corrected.pop(account.pk, ()))
        sums.append(_summed(rows, len(columns)))
        statement.total(f"Total {title.lower()}", sums[-1])
    net = [a - b for a, b in zip(*sums, strict=True)]
    statement.total("Receipts less payments", net)
    before = _by_fund(now, now.money_before) + ([last.money_before()] if last else [])
    statement.line(f"Money in hand before {day_text(now.first)}", before)
    statement.total(
        f"Money in hand {now.at_the_end}", [a + b for a, b in zip(net, before, strict=True)]
    )  # equals the ledger's: the workbook and check_books prove it
    statement.notes([each for sentences in corrected.values() for each in sentences])
    return statement


def money_balances(now: Figures) -> Statement:
    """Each account of money on the last day; for the bank, the statement balance that was signed off and what lies
    between.
    """
    note = "Bank accounts as signed off; what is on its way stands between the bank’s statement and the book."
    columns = ["Bank’s statement", "On its way", "By the book", "Difference"]
    statement = Statement("Money, reconciled", note, columns)
    banks = {bank.account_id: bank for bank in BankAccount.objects.select_related("account")}
    total = ZERO
    for account in now.money:
        bank, figure = banks.get(account.pk), now.closing(account)
        total += figure
        signed = signed_off(bank, now) if bank else None
        if bank is None:
            statement.line(account.name, [None, None, figure, None], account)
        elif signed is None:
            statement.line(f"{bank}: not signed off to this day", [None, None, figure, None], account)
        else:
            stated, way = signed.statement_balance.amount, (signed.deposits - signed.payments).amount
            statement.line(str(bank), [stated, way, figure, stated + way - figure], account)
    statement.total("Money in hand", [None, None, total, None])
    return statement


def signed_off(bank: BankAccount, now: Figures) -> Reconciliation | None:
    """The account's reconciliation that stands for the month that ends on the last day."""
    return bank.reconciliations.filter(reopened_on=None, month_end=now.last).first()


def bridge(now: Figures) -> Statement:
    """From the cash surplus to the accrual surplus, a balance sheet account at a time; it closes to 0.00."""
    note = (
        "Why the surplus is not the money that came in: fees owed at the end were earned and not paid yet, so they add;"
        " those owed at the start were paid now and earned before, so they are taken off. What the club owes, or was"
        " paid ahead, counts the other way round. The difference at the foot is 0.00."
    )
    statement = Statement("Bridge from cash to accrual", note, _fund_names(now))
    equity = [line for line in now.lines if line.kind == Kind.EQUITY]
    others = [line for line in now.lines if line.kind != Kind.EQUITY]
    cash = _by_fund(now, lambda fund: sum((now.cash(line, fund) for line in others), ZERO))
    apart = ", without corrections of earlier years" if any(now.cash(line) for line in equity) else ""
    statement.total(f"Receipts less payments{apart}", cash)
    sums = [cash]
    for account in moved_accounts(now):
        for among in SIDES:
            name = side_name(account, among)
            start = [-figure for figure in _by_fund(now, partial(now.stood, account, among))]
            end = _by_fund(now, partial(now.stands, account, among))
            if any(start):
                statement.line(f"{name} on {day_text(now.first)}, at the start", start, account)
            if any(end):
                statement.line(f"{name} {now.at_the_end}, at the end", end, account)
            sums += [start, end]
    put_in = _by_fund(now, lambda fund: sum((now.cash(line, fund) for line in equity), ZERO) - now.put_in(fund))
    if any(put_in):
        statement.line("Corrections of earlier years otherwise than as money", put_in)
    sums.append(put_in)
    reached = _summed(sums, len(statement.columns))
    ledger = _by_fund(now, now.surplus)
    statement.total("Surplus by this bridge", reached)
    statement.line("Surplus by the ledger, accrual basis", ledger)
    statement.total("Difference", [a - b for a, b in zip(reached, ledger, strict=True)])
    return statement


def moved_accounts(now: Figures) -> list[Account]:
    """Balance sheet accounts that are not money and stood or moved in the span."""
    moved = {against for which in (now.traced_before, now.traced) for _, _, against in which}
    return [
        account
        for account in now.of_kind(Kind.ASSET, Kind.LIABILITY)
        if account.pk in moved and (_holds(now, account) or any(now.trace(line, account.pk) for line in now.lines))
    ]


def bridge_by_line(now: Figures) -> Statement:
    """The same bridge line by line: what moved in each balance sheet account for it. Each row closes to 0.00."""
    accounts = [each for each in moved_accounts(now) if any(now.trace(line, each.pk) for line in now.lines)]
    columns = ["Cash", *(account.name for account in accounts), "Between lines", "Accrual", "Difference"]
    note = "The same for each line: its money, and what moved in each account for it, come to what it earned or cost."
    statement = Statement("The bridge line by line", note, columns)
    rows = []
    for line in now.lines:
        moved = [now.cash(line), *(now.trace(line, account.pk) for account in accounts), now.trace(line, BETWEEN)]
        accrual = now.accrual(line)
        rows.append([*moved, accrual, sum(moved, ZERO) - accrual])
        if any(rows[-1]):
            shown = [rows[-1][0], *(figure or None for figure in rows[-1][1:-2]), *rows[-1][-2:]]
            name = line.name if line.kind in (Kind.INCOME, Kind.EXPENSE) else line_name(line)
            statement.line(name, shown, line)
    statement.total("Total", _summed(rows, len(columns)))
    return statement


def bridge_of_line(now: Figures, line: Account) -> Statement:
    """One line's money to its accrual figure: what was owed and in advance at both ends."""
    note = "Money for the line, with what was owed and paid ahead at the start and at the end."
    statement = Statement(f"{line.name}: from money to the accrual figure", note, ["Amount"])
    figures = [now.cash(line)]
    statement.line("Money received, less paid back", [figures[0]])
    for account in now.of_kind(Kind.ASSET, Kind.LIABILITY):
        start = -now.trace_before(line, account.pk)
        end = now.trace(line, account.pk) - start
        for words, figure in (
            (f"on {day_text(now.first)}, at the start", start),
            (f"{now.at_the_end}, at the end", end),
        ):
            if figure:
                statement.line(f"{account.name} {words}", [figure], account)
                figures.append(figure)
    between = now.trace(line, BETWEEN)
    if between:
        statement.line("Moved to or from other lines", [between])
    reached = sum(figures, between)
    statement.total("By this bridge", [reached])
    statement.line("By the ledger, accrual basis", [now.accrual(line)])
    statement.total("Difference", [reached - now.accrual(line)])
    return statement


BASES = ("accrual", "cash", "bridge")
BASIS_NAMES = {"accrual": "Income and expenditure", "cash": "Receipts and payments", "bridge": "The bridge"}


def of_basis(basis: str, now: Figures, known: int | None = None) -> list[Statement]:
    """The statements of one basis with the year before beside, and what was put right since up to the entry `known`."""
    last = a_year_earlier(now)
    if basis == "cash":
        return [
            receipts_and_payments(now, None if isinstance(last, BeforeTheBook) else last, known),
            *([] if now.fund else [money_balances(now)]),
            balance_sheet(now, last, "Assets and liabilities"),
        ]
    if basis == "bridge":
        return [bridge(now), bridge_by_line(now)]
    return [income_and_expenditure(now, last), balance_sheet(now, last), movement_of_funds(now)]
