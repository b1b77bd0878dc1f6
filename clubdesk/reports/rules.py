"""The rules of the reports that the database itself keeps: what is stored of a locked month stays."""

from clubdesk.guards import Guard, replaces_nothing
from clubdesk.ledger.rules import IN_A_CLOSED_YEAR

GUARDS = [
    Guard(
        "reports_trace_keeps",
        "reports_monthtrace",
        "UPDATE",
        message="What is stored of a locked month is never changed.",
    ),
    Guard(
        "reports_trace_stays",
        "reports_monthtrace",
        "DELETE",
        when="EXISTS (SELECT 1 FROM ledger_financialyear y"
        " WHERE OLD.month_end BETWEEN y.first_day AND y.locked_through)",
        message="What is stored of a locked month is never deleted.",
    ),
    Guard(
        "reports_trace_before_the_close",
        "reports_monthtrace",
        "INSERT",
        when=IN_A_CLOSED_YEAR.format(row="NEW"),
        message="Nothing is added to what is stored of a closed year.",
    ),
    replaces_nothing("reports_monthtrace", "stored figure"),
]
