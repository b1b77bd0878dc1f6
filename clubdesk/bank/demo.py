"""The bank's part of the demo: what goes out by payment runs, cards settled, and the statement as the bank tells it."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal

from clubdesk import clock
from clubdesk.bank import services
from clubdesk.bank.models import BankAccount, BankRule, HowPaid, ItemState, PaymentItem, PaymentRun
from clubdesk.bank.reconciling import book_balance, last_signed
from clubdesk.bank.selectors import card_takings_waiting, claims_to_pay, credits_to_repay, expenses_to_pay
from clubdesk.demoing import Demo
from clubdesk.entryfund.models import EntryClaim
from clubdesk.fees.demo import AskedBack
from clubdesk.ledger.models import Account, FundRole, Party, Posting, Role
from clubdesk.ledger.selectors import month_end
from clubdesk.money import as_amount, half_up, nil, total
from clubdesk.roll.models import Household
from clubdesk.rooms import Scene

RECONCILED_AFTER = timedelta(days=44)
"""How long after a month the treasurer reconciles it: on the day before it is locked."""


def begin(demo: Demo) -> None:
    account = BankAccount.objects.get()
    account.bank_letters, account.user_id = "QBB", "300123"
    account.user_name, account.remitter = "QUANDONG BEND ARCHERY CLUB", "QUANDONG BEND AC"
    account.save()
    asked = services.ask_for_account(
        bank_account=BankAccount.objects.get(),
        holder="Quandong Bend Archery Club",
        bsb="900-100",
        account_number="40012345",
        reason="the bank’s letter of the opening",
        on=demo.last_year,
        by=demo.users["treasurer"],
    )
    services.agree_to_account(change=asked, on=demo.last_year, by=demo.users["coordinator"])
    BankRule.objects.create(
        name="Account fee",
        contains="ACCOUNT FEE",
        way="out",
        most=as_amount(20),
        fund_id=FundRole.GENERAL,
        account=Account.objects.get(role=Role.BANK_FEES),
    )


def plan(demo: Demo, start: date) -> None:
    for month in range(12):
        first = clock.months_later(start, month)
        demo.at(first + timedelta(days=11), settle_cards)
        demo.at(first + timedelta(days=20), pay_out)
        demo.at(first + timedelta(days=25), settle_cards)
        demo.at(month_end(first) + RECONCILED_AFTER, reconcile, month_end(first))


def settle_cards(demo: Demo, day: date) -> None:
    takings = card_takings_waiting()
    if takings > nil():
        fee = as_amount(half_up(takings.amount * Decimal("0.016")))
        services.settle_cards(takings=takings, fee=fee, on=day, by=demo.users["treasurer"])


def pay_out(demo: Demo, day: date) -> None:
    """The treasurer makes a run of all that is approved, the coordinator releases it, the bank pays next day."""
    run = make_run(demo, day, list(claims_to_pay()))
    if run is not None:
        services.release_run(run=run, on=day, by=demo.users["coordinator"])
        services.make_file(run=run, by=demo.users["treasurer"])
        demo.at(day + timedelta(days=1), bank_pays, run)


def make_run(demo: Demo, day: date, claims: Sequence[EntryClaim]) -> PaymentRun | None:
    """A run of these claims, the approved expenses and the credits asked back; None where there is nothing to pay."""
    spent = list(expenses_to_pay())
    asked = demo.part(AskedBack)
    to_repay = credits_to_repay()
    credits = {home.pk: home for home in asked.families if home.pk in to_repay}
    asked.families.clear()
    homes = {home.pk: home for home in (each.household for each in (*claims, *spent))} | credits
    for pk in sorted(homes):
        if not homes[pk].bank_details.exists():
            note_details(demo, day, homes[pk], "form signed at the counter")
    if not homes:
        return None
    return services.make_run(
        bank_account=BankAccount.objects.get(),
        method=HowPaid.FILE,
        pay_on=day,
        on=day,
        by=demo.users["treasurer"],
        claims=claims,
        expenses=spent,
        credits=[credits[pk] for pk in sorted(credits)],
    )


def note_details(demo: Demo, day: date, household: Household, reason: str) -> None:
    guardian = household.guardians.first()
    services.set_bank_details(
        household=household,
        title=guardian.name if guardian else household.name,
        bsb=f"900-{demo.chance.randint(100, 999)}",
        account_number=str(demo.chance.randint(10**6, 10**9 - 1)),
        reason=reason,
        on=day,
        by=demo.users["treasurer"],
    )


def bank_pays(demo: Demo, day: date, run: PaymentRun) -> None:
    """All of the run; of the second one a payment comes back, and the family sends its new account."""
    services.record_paid(run=run, items=list(run.items.all()), on=day, by=demo.users["treasurer"])
    item = run.items.filter(claim__isnull=False).first() or run.items.first()
    if run.number == 2 and item:
        demo.at(day + timedelta(days=3), bank_returns, item)


def bank_returns(demo: Demo, day: date, item: PaymentItem) -> None:
    services.record_returned(item=item, on=day, reason="account closed", by=demo.users["treasurer"])
    note_details(demo, day, item.household, "new account, rang the family on its old number")
    if item.is_credit:
        demo.part(AskedBack).families.append(item.household)


# The statement


def reconcile(demo: Demo, day: date, until: date) -> None:
    """What the bank showed in the month is brought in, explained and signed off."""
    tell_by_the_bank(demo, until.replace(day=1), until, cleared_before=day)
    account = BankAccount.objects.get()
    services.sign_off_month(
        bank_account=account,
        until=until,
        statement_balance=book_balance(account, until),
        on=day,
        by=demo.users["treasurer"],
    )


def tell_by_the_bank(demo: Demo, first: date, last: date, cleared_before: date) -> None:
    """The lines of the bank's statement for these days; those before a day are explained already."""
    account = BankAccount.objects.get()
    postings = Posting.objects.filter(account=account.account, entry__date__range=(first, last))
    paid = {
        (document._meta.label_lower, document.pk): item.run
        for item in PaymentItem.objects.filter(state=ItemState.PAID).select_related(
            "run", "claim", "expense", "repayment"
        )
        if (document := item.document)
    }
    told: dict[object, list[Posting]] = defaultdict(list)
    for posting in postings.select_related("entry").order_by("entry__date", "pk"):
        entry = posting.entry
        run = paid.get((entry.source_type, entry.source_id))
        told[(run.number, entry.date) if run else posting].append(posting)
    for what, group in told.items():
        day = group[0].entry.date
        line = services.record_statement_line(
            bank_account=account,
            on=day,
            amount=total(posting.amount for posting in group),
            text=f"DIRECT ENTRY RUN {what[0]}" if isinstance(what, tuple) else in_the_banks_words(group[0]),
            by=demo.users["treasurer"],
        )
        if day < cleared_before:
            services.clear(lines=[line], postings=group, reasons="seen on the statement", by=demo.users["treasurer"])


def in_the_banks_words(posting: Posting) -> str:
    """Who paid or is paid, else what the entry says."""
    party = Party.objects.filter(postings__entry=posting.entry_id, household__isnull=False).first()
    guardian = party.household.guardians.first() if party else None
    if guardian is None:
        return posting.entry.narration[:60].upper()
    given, _, family = guardian.name.rpartition(" ")
    return f"TFR {family} {given[:1]}".upper()


def leave(demo: Demo, day: date) -> None:
    """A run that waits for its second person, a refund to pay, and the statement of the current year.

    The statement's last weeks wait to be explained, one line for good.
    """
    claims = list(claims_to_pay())
    make_run(demo, day, claims[:-1] or claims)
    signed = last_signed(BankAccount.objects.get())
    told = signed.month_end + timedelta(days=1) if signed else demo.last_year
    tell_by_the_bank(demo, told, day, cleared_before=day - timedelta(days=21))
    for days, amount, text in ((3, "-8.00", f"ACCOUNT FEE {day:%b}".upper()), (6, "-37.40", "DIRECT DEBIT 0098213")):
        services.record_statement_line(
            bank_account=BankAccount.objects.get(),
            on=max(day - timedelta(days=days), demo.this_year),
            amount=as_amount(amount),
            text=text,
            by=demo.users["treasurer"],
        )


SCENES = (Scene(begin=begin, plan=plan, leave=leave),)
