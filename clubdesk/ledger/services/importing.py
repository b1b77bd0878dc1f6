"""A chart or a journal from a CSV file: every fault is named by its row, and nothing is half saved."""

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from django.contrib.auth.models import User
from django.db import transaction

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.ledger.files import Faults, Row, read_rows
from clubdesk.ledger.models import Account, FinancialYear, Fund, FundRole, Journal, JournalOrigin, Kind, Role
from clubdesk.ledger.posting import Line
from clubdesk.ledger.services.journals import record_journal
from clubdesk.money import as_amount
from clubdesk.verbs import NOBODY, verb

AMOUNT = re.compile(r"\d{1,10}(\.\d{1,2})?")
CHART_COLUMNS = ("code", "name", "kind", "role")
JOURNAL_COLUMNS = ("entry", "date", "narration", "account", "fund", "debit", "credit")
WITH_PARTY = {Role.FEES_OWED, Role.VOUCHERS_OWED, Role.AFFILIATION_PAYABLE, Role.REFUNDS_PAYABLE}
MONEY = {Role.BANK, Role.TILL, Role.CARD_TAKINGS}


@verb(permission=NOBODY, title="Import a chart")
def import_chart(*, content: bytes, by: User) -> int:
    """Add or rename the accounts of a CSV file (code,name,kind,role); returns how many rows it held."""
    rows = read_rows(content, CHART_COLUMNS)
    faults = Faults()
    _check_rows(rows, faults)
    _check_accounts_that_stand(rows, faults)
    faults.refuse()
    roles = {row["role"] for row in rows if row["role"]}
    for unused in Account.objects.filter(role__in=roles, postings=None):
        unused.role = None
        unused.save(update_fields=["role"])
    for row in rows:
        role = row["role"] or None
        Account.objects.update_or_create(
            code=row["code"],
            defaults={
                "name": row["name"],
                "kind": row["kind"],
                "role": role,
                "needs_party": role in WITH_PARTY,
                "is_money": role in MONEY,
            },
        )
    return len(rows)


def _check_rows(rows: Sequence[Row], faults: Faults) -> None:
    seen: dict[str, set[str]] = {"code": set(), "role": set()}
    for row in rows:
        if not re.fullmatch(r"[0-9]{4}", row["code"]):
            faults.add(row.number, f"the code “{row['code']}” is not four digits.")
        if not row["name"]:
            faults.add(row.number, "the name is missing.")
        if row["kind"] not in Kind.values:
            faults.add(row.number, f"the kind “{row['kind']}” is none of {', '.join(Kind.values)}.")
        if row["role"] and row["role"] not in Role.values:
            faults.add(row.number, f"the role “{row['role']}” is unknown.")
        for column, values in seen.items():
            if row[column] and row[column] in values:
                faults.add(row.number, f"the {column} “{row[column]}” stands in an earlier row too.")
            values.add(row[column])


def _check_accounts_that_stand(rows: Sequence[Row], faults: Faults) -> None:
    """An account that has been posted to keeps its kind and its role."""
    for row in rows:
        standing = Account.objects.filter(code=row["code"]).first()
        if standing and standing.postings.exists():
            if standing.kind != row["kind"]:
                faults.add(row.number, f"{standing} has been posted to and keeps its kind ({standing.kind}).")
            if (standing.role or "") != row["role"]:
                faults.add(row.number, f"{standing} has been posted to and keeps its role ({standing.role or 'none'}).")
        holder = Account.objects.filter(role=row["role"]).exclude(code=row["code"]).first() if row["role"] else None
        if holder and holder.postings.exists():
            faults.add(row.number, f"{holder} has been posted to and keeps the role “{row['role']}”.")


@dataclass
class FileEntry:
    """The rows of a journal file that make one entry."""

    reference: str
    row: int
    on: date | None
    narration: str
    lines: list[Line] = field(default_factory=list)


@verb(permission=NOBODY, title="Import a journal")
def import_journal(*, content: bytes, by: User) -> list[Journal]:
    """Post every entry of a CSV file (entry,date,narration,account,fund,debit,credit), or none of them.

    Rows with one `entry` value are one entry; a blank fund is the general fund; amounts are plain digits with
    at most two decimals. Raises Refused with one sentence a faulty row.
    """
    rows = read_rows(content, JOURNAL_COLUMNS)
    file_digest = hashlib.sha256(content).hexdigest()
    earlier = Journal.objects.filter(file_digest=file_digest).first()
    if earlier:
        raise Refused(f"row 1: this file was imported already on {day_text(earlier.recorded_at)}.")
    faults = Faults()
    entries = _file_entries(rows, faults)
    for entry in entries:
        _check_sums(entry, faults)
    faults.refuse()
    journals = []
    for entry in entries:
        assert entry.on is not None
        try:
            with transaction.atomic():
                journal = record_journal(
                    on=entry.on,
                    narration=entry.narration,
                    lines=entry.lines,
                    by=by,
                    origin=JournalOrigin.FILE,
                    reference=entry.reference,
                    file_digest=file_digest,
                )
            journals.append(journal)
        except Refused as refusal:
            faults.add(entry.row, refusal.sentence)
    faults.refuse()
    return journals


def _file_entries(rows: Sequence[Row], faults: Faults) -> list[FileEntry]:
    accounts = {account.code: account for account in Account.objects.all()}
    funds: dict[str, Fund | FundRole] = {"": FundRole.GENERAL}
    for fund in Fund.objects.all():
        funds[fund.code.lower()] = funds[fund.name.lower()] = fund
    years = list(FinancialYear.objects.all())
    entries: dict[str, FileEntry] = {}
    for row in rows:
        if not row["entry"]:
            faults.add(row.number, "the entry column is blank.")
            continue
        on = _date(row, years, faults)
        entry = entries.setdefault(row["entry"], FileEntry(row["entry"][:60], row.number, on, row["narration"]))
        entry.narration = entry.narration or row["narration"]
        if on and entry.on and on != entry.on:
            faults.add(row.number, f"entry {row['entry']} has two dates, {entry.on} and {on}.")
        account, in_fund = accounts.get(row["account"]), funds.get(row["fund"].lower())
        amount = _amount(row, faults)
        if account is None:
            faults.add(row.number, f"the account “{row['account']}” is not in the chart.")
        elif account.needs_party:
            faults.add(row.number, f"{account} needs to say who owes or is owed; record it in its own room.")
        if in_fund is None:
            faults.add(row.number, f"the fund “{row['fund']}” is unknown.")
        if account and in_fund and amount:
            entry.lines.append(Line(account, as_amount(amount), None, in_fund))
    for entry in entries.values():
        if not entry.narration:
            faults.add(entry.row, f"entry {entry.reference} has no narration.")
    return list(entries.values())


def _date(row: Row, years: Sequence[FinancialYear], faults: Faults) -> date | None:
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", row["date"]):
        faults.add(row.number, f"“{row['date']}” is not a date; write it like 2026-07-01.")
        return None
    try:
        on = date.fromisoformat(row["date"])
    except ValueError:
        faults.add(row.number, f"“{row['date']}” is not a day of the calendar.")
        return None
    year = next((year for year in years if year.first_day <= on <= year.last_day), None)
    if year is None:
        faults.add(row.number, f"no financial year covers {on}.")
    elif year.is_closed:
        faults.add(row.number, f"{on} is in a closed year.")
    elif year.locked_through and on <= year.locked_through:
        faults.add(row.number, f"{on} is in a locked month.")
    return on


def _amount(row: Row, faults: Faults) -> Decimal | None:
    """Debit positive, credit negative; None where the row has a fault."""
    if bool(row["debit"]) == bool(row["credit"]):
        faults.add(row.number, "fill either debit or credit, and only one of them.")
        return None
    text = row["debit"] or row["credit"]
    if not AMOUNT.fullmatch(text):
        faults.add(row.number, f"“{text}” is not an amount; write digits and at most two decimals, like 12.50.")
        return None
    amount = Decimal(text)
    if not amount:
        faults.add(row.number, "an amount of 0.00 says nothing; leave the row out.")
        return None
    return amount if row["debit"] else -amount


def _check_sums(entry: FileEntry, faults: Faults) -> None:
    if faults.sentences:
        return
    sums: dict[str, Decimal] = {}
    for line in entry.lines:
        sums[line.fund_code] = sums.get(line.fund_code, Decimal(0)) + line.amount.amount
    for figure in sums.values():
        if figure:
            side = "debits" if figure > 0 else "credits"
            faults.add(entry.row, f"entry {entry.reference} does not balance: {abs(figure)} too much in {side}.")
