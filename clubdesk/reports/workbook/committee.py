"""Twelve months for the committee, with native charts of the same figures."""

from itertools import chain
from typing import Any

from openpyxl.chart import BarChart, LineChart, Reference
from openpyxl.utils import get_column_letter

from clubdesk.reports.committee import by_month, members, months_to
from clubdesk.reports.workbook.context import Context
from clubdesk.sheets import Heading, Look, Named, Sheet, Term, together

LOOK = Look("Committee", (Heading("Month", 12),), one_page=True, by_fund=15)
COLOURS = ("2D5A4C", "B04A33", "8AA395")


def write(context: Context, sheet: Sheet) -> Term:
    """Writes the months and their charts; gives the money of all funds at the end of the last month."""
    now = context.figures
    money_of = [Named(f"Money, {fund.name.lower()}", fund.name.lower()) for fund in now.funds]
    note = context.note("Month by month; the charts show the same figures.")
    top = sheet.top(note, ["Month", *money_of, "Income", "Spending", "Members"], "For the committee")
    months = months_to(context.told_until)
    money, income_of, spending_of = by_month(now, months)
    for month, held, came, went, count in zip(months, money, income_of, spending_of, members(months), strict=True):
        sheet.line([f"{month:%b %Y}", *held, came, went, count])
    below_nothing = min([*chain.from_iterable(money), *income_of, *spending_of]) < 0
    last, income = sheet.row, 2 + len(money_of)
    in_hand = together(sheet.term(get_column_letter(column)) for column in range(2, income))
    bars = BarChart()
    bars.grouping, bars.overlap = "stacked", 100
    charts: list[tuple[Any, str, int, int, str]] = [
        (bars, "Money in hand at each month's end", 2, income - 1, f"A{last + 2}"),
        (BarChart(), "Income and spending by month", income, income + 1, f"F{last + 2}"),
        (LineChart(), "Members at each month's end", income + 2, income + 2, f"A{last + 18}"),
    ]
    for chart, title, left, right, place in charts:
        chart.add_data(
            Reference(sheet.sheet, min_col=left, max_col=right, min_row=top, max_row=last), titles_from_data=True
        )
        chart.set_categories(Reference(sheet.sheet, min_col=1, min_row=top + 1, max_row=last))
        chart.title, chart.height, chart.width = title, 7.5, 16
        chart.x_axis.delete = chart.y_axis.delete = False
        chart.y_axis.number_format = "#,##0"
        if not below_nothing:
            chart.y_axis.scaling.min = 0
        for series, colour in zip(chart.series, COLOURS, strict=False):
            series.graphicalProperties.solidFill = colour
            series.graphicalProperties.line.solidFill = colour
            series.smooth = False
        sheet.sheet.add_chart(chart, place)
    return in_hand
