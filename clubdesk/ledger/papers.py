"""The trial balance as a table, for the page and the shell."""

from clubdesk.ledger.selectors import TrialBalance, TrialBalanceLine
from clubdesk.tables import Column, Columns, Labelled, Table

COLUMNS: Columns[TrialBalanceLine] = {
    "code": Column("Code", lambda line: line.account.code),
    "name": Column("Account", lambda line: line.account.name, "name", in_files="name"),
    "debit": Column("Debit", lambda line: line.debit, "amount", hides_zero=True),
    "credit": Column("Credit", lambda line: line.credit, "amount", hides_zero=True),
}


def trial_balance_table(trial: TrialBalance) -> Table[TrialBalanceLine]:
    total = Labelled("Total", {"debit": trial.total_debit, "credit": trial.total_credit}, is_total=True)
    return Table("Trial balance", COLUMNS, trial.lines, [total], heads="name")
