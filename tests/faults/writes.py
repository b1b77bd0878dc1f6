"""The kinds of writes that a killed process must do exactly once."""

import uuid
from collections.abc import Sequence
from datetime import date, timedelta

from django.contrib.auth.models import User

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import (
    BankAccount,
    ClearedLine,
    HowPaid,
    PaymentItem,
    PaymentRun,
    StatementImport,
    StatementLine,
)
from clubdesk.courses import services as courses
from clubdesk.courses.models import Cohort, Place
from clubdesk.entryfund import services as entryfund
from clubdesk.entryfund.models import EntryClaim, PaidInto
from clubdesk.evidence import Evidence
from clubdesk.expenses import services as expenses
from clubdesk.expenses.models import Expense
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method, Receipt
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import Account, FinancialYear, Fund, JournalEntry, MonthBalance, Posting, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import entries_of, month_ends
from clubdesk.mail import services as mail
from clubdesk.mail.models import Message, MessageState
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.news import services as news
from clubdesk.news.models import Concern, Writing
from clubdesk.news.selectors import To, letters_of
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid, RangeDay, SignOn
from clubdesk.roll.models import Guardian, Household, Person
from clubdesk.rooms import APPROVER
from clubdesk.verbs import shell_user
from clubdesk.yearend import services as yearend
from tests import factories
from tests.faults.killing import Kind
from tests.faults.letterbox import letters_to
from tests.worlds.day_one import TODAY, username

Key = uuid.UUID


def approver() -> User:
    return User.objects.get(username=username(APPROVER))


def homes(count: int) -> list[Household]:
    return [factories.HouseholdFactory() for _ in range(count)]


def people(count: int) -> list[Person]:
    return [factories.PersonFactory() for _ in range(count)]


def for_a_course(count: int) -> list[tuple[Person, Cohort]]:
    """Seats for every second of them; the others wait."""
    cohort = factories.cohort(capacity=max(count // 2, 1))
    return [(person, cohort) for person in people(count)]


def for_a_range_day(count: int) -> list[tuple[Person, RangeDay]]:
    factories.hire()
    day = factories.range_day(TODAY)
    return [(person, day) for person in people(count)]


def claims(count: int) -> list[EntryClaim]:
    """Claims of members, and a fund that covers them all."""
    by, plan, event = shell_user(), factories.plan(), factories.event()
    entryfund.cash_in(
        containers=700 * count, amount=as_amount(70 * count), paid_into=PaidInto.BANK, on=event.held_on, by=by,
        depot_receipt="D1",
    )  # fmt: skip
    found = []
    for number, person in enumerate(people(count)):
        membership.take_out_membership(person=person, plan=plan, starts_on=event.held_on, on=event.held_on, by=by)
        evidence = Evidence(f"receipt {number}".encode(), "application/pdf")
        claim = entryfund.record_claim(
            person=person, event=event, amount=as_amount(60), evidence=evidence, on=TODAY, by=by
        )
        found.append(claim)
    return found


def bill(home: Household, key: Key) -> None:
    """What a volunteer paid for the club, with the photo of its receipt."""
    expenses.record_expense(
        household=home, what="Batteries", amount=as_amount(25), spent_on=TODAY,
        account=Account.objects.get(code="5040"), fund=Fund.objects.get(code="general"),
        evidence=Evidence(f"receipt {home.pk}".encode(), "image/jpeg"), by=shell_user(), key=key,
    )  # fmt: skip


def runs(count: int) -> list[PaymentRun]:
    """A run for each of so many approved expenses, to be paid singly."""
    by, second, account = shell_user(), approver(), BankAccount.objects.get()
    made = []
    for home in homes(count):
        expense = expenses.approve_expense(expense=factories.expense(by, home), on=TODAY, by=second)
        run = bank.make_run(
            bank_account=account, method=HowPaid.SINGLE, pay_on=TODAY, on=TODAY, by=by, expenses=[expense]
        )
        made.append(run)
    return made


def released_runs(count: int) -> list[PaymentRun]:
    return [bank.release_run(run=run, on=TODAY, by=approver()) for run in runs(count)]


def record_paid(run: PaymentRun) -> None:
    bank.record_paid(run=run, items=list(run.items.all()), on=TODAY, by=shell_user())


def statements(count: int) -> list[bytes]:
    """A file each, of three lines that no other has."""
    lines = ((f"12/09/2026,DEPOSIT {number} {part},{part}.00\n" for part in (1, 2, 3)) for number in range(count))
    return ["".join(three).encode() for three in lines]


def bring_in(content: bytes, key: Key) -> None:
    account = BankAccount.objects.get()
    bank.import_statement(bank_account=account, content=content, file_name="a.csv", by=shell_user(), key=key)


def lines_and_postings(count: int) -> list[tuple[StatementLine, Posting]]:
    """A transfer each, in the book and on the statement."""
    by, account, found = shell_user(), BankAccount.objects.get(), []
    for home in homes(count):
        receipt = pay(home, uuid.uuid4(), Method.TRANSFER)
        line = bank.record_statement_line(bank_account=account, on=TODAY, amount=as_amount(9), text=home.name, by=by)
        found.append((line, entries_of(receipt).get().postings.get(account=account.account)))
    return found


def lines_and_fees(count: int) -> list[tuple[StatementLine, str]]:
    """A fee each that a line of the statement pays, of which the book has no receipt."""
    by, account, found = shell_user(), BankAccount.objects.get(), []
    price = factories.price(amount="9.00")
    for home in homes(count):
        fee = fees.charge(household=home, price=price, on=TODAY, starts_on=TODAY, by=by)
        line = bank.record_statement_line(bank_account=account, on=TODAY, amount=as_amount(9), text=home.name, by=by)
        found.append((line, f"charge {fee.pk}"))
    return found


def match(line: StatementLine, answer: str) -> None:
    bank.accept(lines=[line], answer=[answer], reasons="the same sum", how_sure="by_hand", by=shell_user())


def pay(home: Household, key: Key, method: Method = Method.CASH) -> Receipt:
    return fees.record_receipt(
        household=home, amount=as_amount(9), method=method, on=TODAY, by=shell_user(), key=key
    )  # fmt: skip


def years(count: int) -> list[FinancialYear]:
    """Years one after the other and one more, and in each something that its close brings to nil."""
    by = shell_user()
    found = [FinancialYear.objects.get()]
    for _ in range(count):
        found.append(ledger.open_year(first_day=found[-1].last_day + timedelta(days=1), by=by))
    for year in found:
        lines = [debit(Role.BANK_FEES, as_amount(5)), credit(Role.GRANTS, as_amount(5))]
        ledger.record_journal(on=year.first_day, narration="A fee that a grant bears", lines=lines, by=by)
    return found[:count]


def months(count: int) -> Sequence[date]:
    found = years(-(-count // 12))
    return list(month_ends(found[0].first_day, found[-1].last_day))[:count]


def is_locked(month_end: date) -> bool:
    return FinancialYear.objects.filter(first_day__lte=month_end, locked_through__gte=month_end).exists()


def close(year: FinancialYear) -> None:
    yearend.close_books(year=year, on=year.last_day + timedelta(days=1), by=shell_user())


def homes_with_mail(count: int) -> list[Household]:
    found = homes(count)
    for home in found:
        Guardian.objects.create(household=home, name=f"Of {home}", email=f"home{home.pk}@example.org")
    return found


def write_to(home: Household) -> None:
    fees.send_statement(household=home, on=TODAY, by=shell_user())
    mail.deliver()


def times_written_to(home: Household) -> int:
    """Once where there is one letter, which went out once, or is named as interrupted and went out once at most."""
    letters = list(Message.objects.filter(household=home))
    sent = letters_to(f"home{home.pk}@example.org")
    wanted = [1] if any(letter.state == MessageState.SENT for letter in letters) else [0, 1]
    ended = all(letter.state != MessageState.WAITING for letter in letters)
    return len(letters) if sent in wanted and ended else sent + 10 * len(letters)


def stood_up(key: Key, model: type) -> int:
    return model._default_manager.filter(key=key).count()


def threes(count):
    """Three families each, who are written to together."""
    return [
        To("three", {factories.HouseholdFactory(guardian="Ida", email="ida@example.org").pk: [] for _ in range(3)})
        for _ in range(count)
    ]


def write_to_three(to, key):
    news.write_to_many(
        to=to, subject=f"Fair {key}", text="Come.", concern=Concern.NEWS, on=TODAY, by=shell_user(), key=key
    )


KINDS = {
    "bookings": Kind(
        for_a_course,
        lambda told, key: courses.book_place(person=told[0], cohort=told[1], on=TODAY, by=shell_user(), key=key),
        lambda told, key: Place.objects.filter(person=told[0], booking__key=key).count(),
        Place.objects.count,
    ),
    "sign-ons": Kind(
        for_a_range_day,
        lambda told, key: rangeday.sign_on(
            person=told[0], range_day=told[1], gear=Gear.HIRE, paid=Paid.CASH, by=shell_user(), key=key
        ),
        lambda told, key: SignOn.objects.filter(person=told[0], key=key).count(),
        SignOn.objects.count,
    ),
    "receipts": Kind(
        homes,
        pay,
        lambda home, key: Receipt.objects.filter(household=home, key=key).count(),
        Receipt.objects.count,
    ),
    "approvals": Kind(
        claims,
        lambda claim, key: entryfund.approve_claim(claim=claim, on=TODAY, by=approver()),
        lambda claim, key: entries_of(claim).count(),
        EntryClaim.objects.filter(state="approved").count,
    ),
    "bills": Kind(
        homes,
        bill,
        lambda home, key: Expense.objects.filter(household=home, key=key).count(),
        Expense.objects.count,
    ),
    "runs released": Kind(
        runs,
        lambda run, key: bank.release_run(run=run, on=TODAY, by=approver()),
        lambda run, key: PaymentRun.objects.filter(pk=run.pk, state="released").count(),
        PaymentRun.objects.filter(state="released").count,
    ),
    "runs paid": Kind(
        released_runs,
        lambda run, key: record_paid(run),
        lambda run, key: entries_of(run.items.get().expense).filter(purpose="pay").count(),
        PaymentItem.objects.filter(state="paid").count,
    ),
    "statement import": Kind(
        statements,
        bring_in,
        lambda content, key: StatementImport.objects.filter(key=key, brought=3).count(),
        StatementLine.objects.count,
        each=3,
    ),
    "matching": Kind(
        lines_and_postings,
        lambda told, key: bank.clear(lines=[told[0]], postings=[told[1]], reasons="seen", by=shell_user(), key=key),
        lambda told, key: ClearedLine.objects.filter(line=told[0], clearing__key=key, stands=True).count(),
        ClearedLine.objects.count,
    ),
    "matching that makes receipts": Kind(
        lines_and_fees,
        lambda told, key: match(*told),
        lambda told, key: ClearedLine.objects.filter(line=told[0], stands=True).count(),
        Receipt.objects.count,
    ),
    "month locked": Kind(
        months,
        lambda month_end, key: ledger.lock_month(month_end=month_end, reason="a test", by=shell_user()),
        lambda month_end, key: int(is_locked(month_end)),
        MonthBalance.objects.count,
        each=2,
    ),
    "year closed": Kind(
        years,
        lambda year, key: close(year),
        lambda year, key: JournalEntry.objects.filter(
            year=year, is_closing=True, year__closed_at__isnull=False
        ).count(),
        JournalEntry.objects.filter(is_closing=True).count,
        at_most=50,
    ),
    "letters to many": Kind(
        threes,
        write_to_three,
        lambda to, key: sum(letters_of(each).count() == 3 for each in Writing.objects.filter(key=key)),
        Message.objects.count,
        each=3,
    ),
    "letters": Kind(
        homes_with_mail,
        lambda home, key: write_to(home),
        lambda home, key: times_written_to(home),
        Message.objects.count,
        finally_=lambda: mail.deliver(at=clock.now() + timedelta(hours=1)),
    ),
}
