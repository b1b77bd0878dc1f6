"""The proofs: each compares two figures of the workbook by a formula; and the summary, which counts them."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from clubdesk.clock import long_day
from clubdesk.ledger.models import Kind, Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports import selectors
from clubdesk.reports.sheets import Formula, Named, Verdict, number
from clubdesk.reports.workbook.statements import capital_of

if TYPE_CHECKING:
    from clubdesk.reports.workbook.book import TreasurersWorkbook


def write_proof(w: TreasurersWorkbook) -> None:
    sheet, at, now = w.proof, w.at, w.figures
    note = "Each line compares two figures of this workbook: TRUE, or the difference in cents."
    at.proof_first = sheet.top("Proof", w.note(note), ["What is proved", "One side", "Other side", "Result"]) + 1
    trial, journal, total = w.trial, w.journal, w.total_column()
    lines = (at.journal_first, at.journal_last)
    capital = sum((capital_of(w, fund) for fund in now.funds), ZERO)
    surplus, net = w.income.at(total, at.surplus), w.position.at("C", at.net_assets)

    def prove(what: str, one: str, other: str, figure: Decimal = ZERO) -> None:
        """A line that compares two formulas, both of which come to `figure` by the book."""
        row = sheet.row + 1
        gap = f"ROUND((B{row}-C{row})*100,0)"
        sides = [Formula(f"={side}", figure) for side in (one, other)]
        sheet.line([what, *sides, Verdict(f"=IF({gap}=0,TRUE,{gap})")])

    def stands(*roles: Role) -> Decimal:
        return sum((now.closing(now.by_role[role]) for role in roles if role in now.by_role), ZERO)

    debits, moved = trial.sum_of("G", at.trial_first), journal.sum_of("H", at.journal_first)
    prove("Trial balance: debits equal credits", trial.at("G", at.trial_total), trial.at("H", at.trial_total), debits)
    one_side, other_side = (f"SUM({journal.range(column, *lines)})" for column in "HI")
    prove("Journal: debits equal credits", one_side, other_side, moved)
    prove("Opening balances sum to nil", trial.at("D", at.trial_total), "0")
    prove("Journal and openings give what the ledger itself says, account by account", _gaps(w, "J"), "0")
    prove("The ledger by account ends where the trial balance does, account by account", _gaps(w, "L"), "0")
    count = selectors.lines_of_year(w.year).count()
    counted = f"COUNT({journal.range('A', *lines)})"
    prove("Every line of the ledger is in the journal, by their number", counted, f"{count}", Decimal(count))
    prove("Income less expenditure is what net assets grew by", surplus, f"{net}-({number(capital)})", now.surplus())
    prove("Net assets equal the funds they are kept in", net, w.position.at("C", at.funds_total), now.net_assets())
    owing = f"{w.owing.at('B', at.owing_total)}-{w.owing.at('C', at.owing_total)}"
    prove("Members owing less credits equal the account Fees owed", owing, w.of_role(Role.FEES_OWED),
          stands(Role.FEES_OWED))  # fmt: skip
    prove("Entry fund by its movements equals the entry fund among the funds", w.fund.at("F", at.fund_closing),
          w.position.at("C", at.fund_rows[w.entry_fund.pk]), now.net_assets(w.entry_fund))  # fmt: skip
    prove("Money in hand by receipts and payments equals the accounts of money",
          w.receipts.at(total, at.money_after), w.balance_of(*now.money), now.money_in_hand())  # fmt: skip
    prove("The bridge from cash to accrual closes to nil", w.bridge.at("C", at.bridge_difference), "0")
    gaps = w.bridge.range(at.bridge_column, at.bridge_first, at.bridge_last)
    prove("The bridge closes to nil line by line", f"SUMPRODUCT(ABS({gaps}))", "0")
    prove("Vouchers one by one equal the account Vouchers owed", w.vouchers.at("I", at.vouchers_owed),
          w.of_role(Role.VOUCHERS_OWED), stands(Role.VOUCHERS_OWED))  # fmt: skip
    hire = [now.by_role[role] for role in (Role.HIRE, Role.VISITORS) if role in now.by_role]
    prove("Hire takings day by day equal their income", w.hire.at("CDE"[len(hire)], at.hire_total),
          f"-({w.balance_of(*hire)})", -stands(Role.HIRE, Role.VISITORS))  # fmt: skip
    prove("Courses cohort by cohort equal their income", w.courses.at("E", at.courses_total),
          f"-({w.of_role(Role.COURSES)})", -stands(Role.COURSES))  # fmt: skip
    prove("Affiliation by association equals the account", w.affiliation.at("E", at.affiliation_total),
          f"-({w.of_role(Role.AFFILIATION_PAYABLE)})", -stands(Role.AFFILIATION_PAYABLE))  # fmt: skip
    prove("The budget's actual figures come to the surplus", w.budget.at(at.budget_actual, at.budget_left), surplus,
          now.surplus())  # fmt: skip
    signed = w.bank.range("G", at.bank_first, at.bank_last)
    prove("Every month of the bank that was signed off reconciles to nil", f"SUMPRODUCT(ABS({signed}))", "0")
    if w.last_year and not isinstance(w.last_year, selectors.TypedFigures):
        kinds = now.of_kind(Kind.ASSET, Kind.LIABILITY)
        opening = sum((now.figure(now.opening, account) for account in kinds), ZERO)
        prove("Last year's net assets are this year's opening", w.position.at("D", at.net_assets), number(opening),
              opening)  # fmt: skip
    at.proof_last = sheet.row


def _gaps(w: TreasurersWorkbook, other: str) -> str:
    """The sum of what each account of the trial balance differs from the figure in another column."""
    first, last = w.at.trial_first, w.at.trial_last
    column = {letter: w.trial.range(letter, first, last) for letter in ("G", "H", other)}
    return f"SUMPRODUCT(ABS(ROUND({column['G']}-{column['H']}-{column[other]},2)))"


def write_summary(w: TreasurersWorkbook) -> None:
    sheet, at, now, last = w.summary, w.at, w.figures, w.last_year
    sheet.top(Named(w.club), f"{w.year}: the treasurer's workbook", ["", "This year", "Last year"])
    total, before = w.total_column(), chr(ord(w.total_column()) + 1)
    surplus = Formula(f"={w.income.at(total, at.surplus)}", now.surplus())
    sheet.line(
        ["Surplus (deficit)", surplus,
         Formula(f"={w.income.at(before, at.surplus)}", last.surplus() if last else ZERO)]
    )  # fmt: skip
    for label, accounts in (
        ("Money in hand: bank, till and card takings", now.money),
        ("Owed by families", [now.by_role[Role.FEES_OWED]]),
        ("Owed for vouchers", [now.by_role[Role.VOUCHERS_OWED]]),
    ):
        figure = sum((now.closing(each) for each in accounts), ZERO)
        earlier = sum((w.last_years(each) for each in accounts), ZERO)
        sheet.line([label, Formula(f"={w.balance_of(*accounts)}", figure), earlier])
    position, fund_row = w.position, at.fund_rows[w.entry_fund.pk]
    sheet.line(
        ["Entry fund", Formula(f"={position.at('C', fund_row)}", now.net_assets(w.entry_fund)),
         Formula(f"={position.at('D', fund_row)}", last.net_assets(w.entry_fund) if last else ZERO)]
    )  # fmt: skip
    sheet.line(
        ["Net assets", Formula(f"={position.at('C', at.net_assets)}", now.net_assets()),
         Formula(f"={position.at('D', at.net_assets)}", last.net_assets() if last else ZERO)]
    )  # fmt: skip
    sheet.blank()
    results = w.proof.range("D", at.proof_first, at.proof_last)
    proofs = at.proof_last - at.proof_first + 1
    sheet.total(["Every check on the sheet Proof is TRUE", Verdict(f"=COUNTIF({results},TRUE)={proofs}"), None])
    sheet.blank()
    if w.seal.number:
        state = "Sealed; the last entry" if w.seal.is_final else "Not closed; the last entry of the year"
        sheet.line([f"{state} is {w.seal.number}. Its digest:", w.seal.short, None])
    sheet.line([f"Made on {long_day(w.stamp.made_on)} by {w.stamp.made_by}.", None, None])
    sheet.line(["Figures follow from the club's own records. What the club must publish, and who audits", None, None])
    sheet.line(["it, is for the law of its place, its rules and a licensed accountant or auditor to say.", None, None])
