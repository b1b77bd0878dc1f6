"""Assets and liabilities, and the funds that the net assets are kept in."""

from collections.abc import Mapping
from dataclasses import dataclass

from clubdesk.clock import day_text
from clubdesk.ledger.models import Kind
from clubdesk.ledger.selectors import ZERO
from clubdesk.reports.statements import side_name, standing
from clubdesk.reports.workbook.context import Context
from clubdesk.reports.workbook.funds import FundsAt
from clubdesk.reports.workbook.parties import PartiesAt
from clubdesk.reports.workbook.trial_balance import TrialAt
from clubdesk.sheets import Formula, Heading, Look, Named, Sheet, Term

FIGURES = Heading("", 18, "amount")
LOOK = Look("Assets and liabilities", (Heading("Code", 8), Heading("Account", 38, "name"), FIGURES, FIGURES))


@dataclass(frozen=True)
class PositionAt:
    """Net assets, and the funds they are kept in by their ids and in all; each at the year's end and a year earlier.

    What nobody knows of a year earlier is None.
    """

    net_assets: Term
    net_assets_last_year: Term | None
    funds: Mapping[str, Term]
    funds_last_year: Mapping[str, Term | None]
    all_funds: Term


def write(context: Context, sheet: Sheet, trial: TrialAt, kept: FundsAt, parties: PartiesAt) -> PositionAt:
    times = [each for each in (context.figures, context.last_year) if each]
    header = ["Code", "Account", day_text(context.year.last_day), "Last year"]
    sheet.top(context.note("What the club holds and owes at the year's end."), header)
    totals, sums = [], []
    for kind, title, sign in ((Kind.ASSET, "Assets", 1), (Kind.LIABILITY, "Liabilities", -1)):
        sheet.heading(title)
        first = sheet.row + 1
        for account in standing(times, kind):
            stands = parties.at_the_end(account, kind) if account.needs_party else trial.balance(account)
            figure = stands if sign > 0 else -stands
            last = [sign * then.stands(account, kind) + ZERO for then in times[1:]]
            name = Named(side_name(account, kind), account.name)
            sheet.line([account.code, name, figure.formula, *last])
        sums.append(sheet.sums(first, "CD"))
        totals.append(sheet.total(["", f"Total {title.lower()}", *sums[-1][: len(times)]]))
        sheet.blank()
    assets, liabilities = totals
    net = [Formula(f"={c}{assets}-{c}{liabilities}", a.value - b.value) for c, a, b in zip("CD", *sums, strict=True)]
    sheet.total(["", "Net assets", *net[: len(times)]])
    net_assets, net_assets_last_year = sheet.term("C"), sheet.term("D") if context.last_year else None
    sheet.blank()
    funds, funds_last_year = _write_funds(context, sheet, kept)
    return PositionAt(net_assets, net_assets_last_year, funds, funds_last_year, sheet.term("C"))


def _write_funds(context: Context, sheet: Sheet, kept: FundsAt) -> tuple[dict[str, Term], dict[str, Term | None]]:
    """Net assets again, as the funds they are kept in."""
    sheet.heading("Kept in these funds")
    first = sheet.row + 1
    now, earlier = dict[str, Term](), dict[str, Term | None]()
    is_known = context.last_year is not None
    for fund in context.figures.funds:
        last = context.last_year.net_assets(fund) if context.last_year else None
        sheet.line(["", Named(fund.name), kept.ends[fund.pk].formula, last])
        now[fund.pk], earlier[fund.pk] = sheet.term("C"), sheet.term("D") if is_known else None
    sheet.total(["", "Total of the funds", *sheet.sums(first, "CD" if is_known else "C")])
    return now, earlier
