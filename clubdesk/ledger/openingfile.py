"""What a club had before, from a file: read into the lines of the page that records it, with its faults by row."""

from collections.abc import Sequence

from clubdesk.errors import Refused
from clubdesk.ledger.files import Faults, Row, rows_below
from clubdesk.ledger.forms import MOST_LINES
from clubdesk.ledger.models import YEARLY_KINDS, Account, Fund, Party, PartyKind, Role
from clubdesk.ledger.services import HAVE_OWN_DOCUMENTS
from clubdesk.ledger.spreadsheets import MOST_BYTES, sheets_of
from clubdesk.money import read_amount

COLUMNS = ("account", "debit", "credit")
OPTIONAL = ("fund", "who")

ReadLines = list[dict[str, object]]


def read_opening(content: bytes) -> ReadLines:
    """The lines of the form as a CSV or XLSX file has them: account by code or name, fund, who, debit and credit.

    Rows of 0.00 and of Accumulated funds, which is worked out, are left out. Raises Refused with one sentence a
    faulty row.
    """
    if len(content) > MOST_BYTES:
        raise Refused("The file is too large; leave other sheets and pictures out.")
    rows = rows_below(_cells(content), COLUMNS, OPTIONAL)
    faults, known = Faults(), Known()
    read = [line for row in rows if (line := known.line(row, faults))]
    if len(read) > MOST_LINES:
        faults.add(rows[-1].number, f"the file has {len(read)} lines; {MOST_LINES} are the most at once.")
    faults.refuse()
    if not read:
        raise Refused("Every row of the file is 0.00; there is nothing to record.")
    return read


def _cells(content: bytes) -> list[tuple[int, list[str]]]:
    """The cells of the first sheet, each row as wide as the first."""
    rows = sheets_of(content)[0].rows
    width = max((len(cells) for _, cells in rows[:1]), default=0)
    return [(number, [*cells, *[""] * (width - len(cells))]) for number, cells in rows]


class Known:
    """Accounts by code and name, funds and organisations by name, read once for the whole file."""

    def __init__(self) -> None:
        accounts = list(Account.objects.all())
        self.accounts = {named.lower(): each for each in accounts for named in (each.name, str(each), each.code)}
        self.funds = {named.lower(): each for each in Fund.objects.all() for named in (each.name, each.code)}
        others = Party.objects.exclude(kind=PartyKind.HOUSEHOLD)
        self.parties = {each.name.lower(): each for each in others}

    def line(self, row: Row, faults: Faults) -> dict[str, object] | None:
        """The row as a line of the form; None where it says nothing or is at fault, which is noted."""
        before = len(faults.sentences)
        debit, credit = (_amount(row, column, faults) for column in ("debit", "credit"))
        account = self.accounts.get(row["account"].lower())
        if account and account.role == Role.ACCUMULATED:
            return None
        if not debit and not credit and len(faults.sentences) == before:
            return None
        if debit and credit:
            faults.add(row.number, "there is an amount on both sides; the other has a row of its own.")
        for sentence in self._faults_of(row, account):
            faults.add(row.number, sentence)
        if account is None or len(faults.sentences) > before:
            return None
        fund, party = self.funds.get(row["fund"].lower()), self.parties.get(row["who"].lower())
        line = {"account": account.pk, "debit": debit, "credit": credit, "party": party.pk if party else ""}
        return line | ({"fund": fund.pk} if fund else {})

    def _faults_of(self, row: Row, account: Account | None) -> Sequence[str]:
        found = []
        if account is None:
            found.append(f"the account “{row['account']}” is not in the chart.")
        elif account.role in HAVE_OWN_DOCUMENTS:
            found.append(f"{account} is kept family by family and has a page of its own; leave the row out.")
        elif account.kind in YEARLY_KINDS:
            found.append(f"{account} is counted from the first day of the year on; leave the row out.")
        elif account.needs_party and not row["who"]:
            found.append(f"say in the column who, who owes or is owed on {account}.")
        if row["fund"] and row["fund"].lower() not in self.funds:
            found.append(f"the fund “{row['fund']}” is unknown.")
        if row["who"] and row["who"].lower() not in self.parties:
            found.append(f"“{row['who']}” is not among the people and organisations; add it there first.")
        return found


def _amount(row: Row, column: str, faults: Faults) -> str:
    """The amount of that side as plain digits; blank for none."""
    if row[column] in ("", "-", "–"):
        return ""
    try:
        figure = read_amount(row[column])
    except Refused as refusal:
        faults.add(row.number, refusal.sentence)
        return ""
    if figure < 0:
        faults.add(row.number, f"{row[column]} is below 0.00; write it on the other side.")
        return ""
    return f"{figure:.2f}" if figure else ""
