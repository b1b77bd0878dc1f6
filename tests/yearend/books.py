"""What the tests of the year's end do to the books, and ask of them."""

from datetime import date

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, JournalEntry, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import month_ends
from clubdesk.money import as_amount

FIRST, LAST, NEXT = date(2026, 7, 1), date(2027, 6, 30), date(2027, 7, 1)


def bought(by, amount, on=FIRST):
    lines = [debit(Role.EQUIPMENT, as_amount(amount)), credit(Role.DONATIONS, as_amount(amount))]
    ledger.record_journal(on=on, narration="Given", lines=lines, by=by)


def sound():
    return [result for result in check_all() if result.faults] == []


def expense(code):
    return Account.objects.get(code=code)


def ready(by):
    """A year that is over with some of everything in it, and nothing left to do."""
    following = ledger.open_year(first_day=NEXT, by=by)
    lines = [debit(Role.BANK, as_amount(500)), credit(Role.GRANTS, as_amount(500))]
    journal = ledger.record_journal(on=date(2026, 8, 3), narration="Grant", lines=lines, by=by)
    bank_account = BankAccount.objects.get()
    line = bank.record_statement_line(
        bank_account=bank_account, on=date(2026, 8, 3), amount=as_amount(500), text="GRANT", by=by
    )
    entry = JournalEntry.objects.get(source_id=journal.pk, purpose="journal")
    bank.clear(lines=[line], postings=[entry.postings.get(account=bank_account.account)], reasons="seen", by=by)
    with clock.on(NEXT):
        for until in month_ends(date(2026, 8, 3), LAST):
            bank.sign_off_month(
                bank_account=bank_account, until=until, statement_balance=as_amount(500), on=NEXT, by=by
            )
    return following
