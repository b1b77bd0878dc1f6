"""Ten years of a club: the demo's seventeen months again and again, a range open every day, a long waitlist.

What grows is copied in the database itself. The entries then join the chain as they would have been posted, and the
bank's months are signed off as they stood, and the verbs lock and close each year.
"""

from collections import defaultdict
from datetime import date, timedelta
from pathlib import Path

from django.contrib.auth.models import User
from django.db import connection, transaction
from django.db.models import F
from django.utils import timezone

from clubdesk import clock, guards
from clubdesk.bank import models as bank
from clubdesk.bank.outstanding import stood_at
from clubdesk.care import models as care
from clubdesk.courses import models as courses
from clubdesk.desk.recording import note_as_it_stands
from clubdesk.entryfund import models as entryfund
from clubdesk.evidence import Evidence, attach
from clubdesk.expenses import models as expenses
from clubdesk.fees import models as fees
from clubdesk.ledger import models as ledger
from clubdesk.ledger import services
from clubdesk.ledger.chain import LINE, SEALED, digest_of_rows
from clubdesk.ledger.selectors import month_ends
from clubdesk.mail import models as mail
from clubdesk.membership import models as membership
from clubdesk.money import as_amount, figure_of, in_all
from clubdesk.rangeday import models as rangeday
from clubdesk.roll import models as roll
from clubdesk.safety import models as safety
from clubdesk.verbs import shell_user
from tests.worlds import demo
from tests.worlds.copying import STEP, Copy, count_on, only_copy, run, teach_sqlite

PERIOD = timedelta(weeks=74)
"""As long as the demo, so that its days follow on each other and stay the days of the week that they were."""
PERIODS = 6
EVERY_DAY = [timedelta(days=days) for days in range(1, 7)]
OTHER_RANGE = [timedelta(days=days) for days in (0, 1, 3, 4)]
WAITING = 5_000
YEAR = timedelta(days=365)
TODAY = demo.LAST_DAY + PERIODS * PERIOD

OF_THE_RANGE = (
    rangeday.RangeDay, rangeday.SignOn, rangeday.KitLoan, rangeday.TillCount, rangeday.CountedPiece, rangeday.Banking,
    bank.CardSettlement, ledger.JournalEntry, ledger.Posting, bank.StatementLine, bank.Clearing, bank.ClearedLine,
    bank.ClearedPosting,
)  # fmt: skip
OF_A_CLUB = (
    *OF_THE_RANGE, ledger.Party, ledger.Journal, roll.Household, roll.Guardian, roll.Person, roll.Consent, mail.Message,
    fees.Charge, fees.ChargeShare, fees.ChargeCredit, fees.Receipt, fees.WriteOff, fees.Arrangement,
    fees.ArrangementPart, fees.Repayment, fees.Allocation, fees.Lodgement, fees.Voucher, fees.TiedCredit,
    membership.Membership, membership.LeaveRequest, membership.Remittance, membership.RemittanceLine,
    courses.Course, courses.RefundStep,
    courses.Cohort, courses.Booking, courses.Booking.cannot_make.through, courses.Place, courses.BookingEvent,
    care.PersonToRing, care.MayCollect, care.HealthNote, care.Agreement, care.Confirmation,
    courses.ReachCheck, courses.Attendance, courses.Certificate, rangeday.Tap, rangeday.KitCheck,
    entryfund.ContainerReturn, entryfund.BagCount, entryfund.StateEvent, entryfund.EventFee, entryfund.EntryClaim,
    entryfund.MoreEvidence, entryfund.FundTransfer, expenses.Expense, bank.BankDetails, bank.PaymentRun,
    bank.PaymentItem, bank.PaymentFile, bank.StatementImport,
    safety.VolunteerCheck, safety.Turn, safety.Incident, safety.Involved,
)  # fmt: skip
BROUGHT_IN = "SELECT id FROM ledger_journal WHERE origin IN ('opening', 'depreciation', 'disposal')"
"""Journals about things that a book brings in once."""
OF_A_YEAR = f"""source_type IN ('ledger.financialyear', 'fees.openingbalances')
    OR source_type = 'ledger.journal' AND source_id IN ({BROUGHT_IN})"""
AGAIN = f"SELECT id FROM ledger_journalentry WHERE NOT ({OF_A_YEAR})"
OPENED = "(SELECT id FROM {} WHERE opening_id IS NOT NULL)"
WHAT_A_CLUB_REPEATS = {
    fees.Charge: "opening_id IS NULL",
    fees.Receipt: "opening_id IS NULL",
    fees.Allocation: f"COALESCE(charge_id, 0) NOT IN {OPENED.format('fees_charge')}"
    f" AND receipt_id NOT IN {OPENED.format('fees_receipt')}",
    ledger.Party: "kind = 'household'",
    ledger.Journal: f"id NOT IN ({BROUGHT_IN})",
    ledger.JournalEntry: f"id IN ({AGAIN})",
    ledger.Posting: f"entry_id IN ({AGAIN})",
}
ALONE = """charge_id IS NULL AND corrects_id IS NULL AND moved_from_id IS NULL
    AND id NOT IN (SELECT corrects_id FROM rangeday_signon WHERE corrects_id IS NOT NULL)
    AND id NOT IN (SELECT moved_from_id FROM rangeday_signon WHERE moved_from_id IS NOT NULL)"""
SIGNED = f"SELECT id FROM rangeday_signon WHERE {ALONE}"
TO_THE_BANK = "source_type IN ('rangeday.banking', 'bank.cardsettlement')"
OF_A_DAY = f"""{TO_THE_BANK} OR source_type = 'rangeday.tillcount'
    OR source_type = 'rangeday.signon' AND source_id IN ({SIGNED})"""
ENTRIES = f"""SELECT id FROM ledger_journalentry WHERE {OF_A_DAY}
    OR reverses_id IN (SELECT id FROM ledger_journalentry WHERE {OF_A_DAY})"""
OF_OTHER_MONEY = f"""SELECT c.clearing_id FROM bank_clearedposting c JOIN ledger_posting p ON p.id = c.posting_id
    JOIN ledger_journalentry e ON e.id = p.entry_id WHERE NOT ({TO_THE_BANK})"""
WHAT_A_RANGE_REPEATS = {
    rangeday.SignOn: ALONE,
    rangeday.KitLoan: f"sign_on_id IN ({SIGNED})",
    ledger.JournalEntry: f"id IN ({ENTRIES})",
    ledger.Posting: f"entry_id IN ({ENTRIES})",
    bank.Clearing: f"id NOT IN ({OF_OTHER_MONEY})",
    bank.ClearedLine: f"clearing_id NOT IN ({OF_OTHER_MONEY})",
    bank.ClearedPosting: f"clearing_id NOT IN ({OF_OTHER_MONEY})",
    bank.StatementLine: f"id IN (SELECT line_id FROM bank_clearedline WHERE clearing_id NOT IN ({OF_OTHER_MONEY}))",
}
MARKED = {
    "ledger_journalentry.source_id": "source_id + {step}",
    "ledger_journalentry.number": "number + {step} * 10",
    "ledger_journalentry.posted_at": "posted_at",
    "mail_message.about": "about || ' of ' || {nth}",
    "fees_receipt.number": "number + {step}",
    "fees_voucher.code": "code || '-' || {nth}",
    "courses_course.name": "name || ' ' || {nth}",
    "courses_course.on_parents_page": "FALSE",
    "courses_certificate.number": "number || '-' || {nth}",
    "expenses_expense.receipt_digest": "'{nth} ' || substr(receipt_digest, 9)",
    "bank_paymentrun.number": "number + {nth} * 1000",
}
"""What else is the only one of its kind, by its column; and entries are posted when the machine's clock says."""
OF_THE_SAME_SUPPLIERS = {
    "ledger_posting.party_id": "CASE WHEN party_id IN (SELECT party_id FROM roll_household)"
    " THEN party_id + {step} ELSE party_id END",
    "fees_chargeshare.party_id": "party_id",
    "membership_remittance.association_id": "association_id",
}
"""Families are others in each copy; departments, associations and shops are not."""


PLANNED = """SELECT id FROM rangeday_rangeday WHERE closed_on IS NULL AND called_off_on IS NULL
    AND id NOT IN (SELECT range_day_id FROM rangeday_signon)"""
"""The demo's range days ahead; the copies begin on them."""


def forget_what_was_planned() -> None:
    run(f"DELETE FROM safety_turn WHERE range_day_id IN ({PLANNED})")
    run(f"DELETE FROM rangeday_rangeday WHERE id IN ({PLANNED})")


def grow(folder: Path) -> None:
    teach_sqlite()
    by = shell_user()
    with clock.on(TODAY):
        for year in range(2027, TODAY.year + 1):
            services.open_year(first_day=date(year, 7, 1), by=by)
        guards.remove(connection)
        with transaction.atomic():
            only_copy()
            forget_what_was_planned()
            write_all()
        guards.install(connection)
        run("ANALYZE")
        finish_the_months(by)
        note_as_it_stands()  # what was copied left no trace of its own


def write_all() -> None:
    make_room()
    for nth in range(1, PERIODS + 1):
        Copy(nth, nth * PERIOD, OF_A_CLUB, columns=MARKED | OF_THE_SAME_SUPPLIERS).make(WHAT_A_CLUB_REPEATS)
    number = PERIODS
    for period in range(1, PERIODS + 1):
        for place, days in (("River range", EVERY_DAY), ("Hill range", OTHER_RANGE)):
            for later in days:
                number += 1
                columns = MARKED | {"rangeday_rangeday.place": f"'{place}'", "rangeday_signon.tap_id": "NULL"}
                Copy(number, later, OF_THE_RANGE, period, columns).make(WHAT_A_RANGE_REPEATS)
    count_on(OF_A_CLUB)
    wait_long()
    own_receipts()
    join_the_chain()


def make_room() -> None:
    """What waits at the demo's end waits at the end of ten years; a child has a voucher in each of its demo's years."""
    lines = "id NOT IN (SELECT line_id FROM bank_clearedline)"
    bank.StatementLine.objects.extra(where=[lines]).update(date=TODAY)
    rangeday.KitLoan.objects.filter(back_at=None).update(back_at=F("given_at"))
    fees.VoucherScheme.objects.update(per_year=3, code_form="")
    for scheme in fees.VoucherScheme.objects.all():
        worth = scheme.values.order_by("calendar_year").last()
        for year in range(worth.calendar_year + 1, TODAY.year + 1):
            scheme.values.create(calendar_year=year, amount=worth.amount)


def wait_long() -> None:
    """Families that wait for a course, none of whom have anything else to do with the club."""
    course, by = courses.Course.objects.order_by("pk").last(), shell_user()
    first = course.bookings.order_by("number").last().number + 1
    names = [f"Waiting {n}" for n in range(WAITING)]
    parties = ledger.Party.objects.bulk_create(ledger.Party(name=name, kind="household") for name in names)
    homes = roll.Household.objects.bulk_create(
        roll.Household(name=name, party=party) for name, party in zip(names, parties, strict=True)
    )
    guardians = roll.Guardian.objects.bulk_create(roll.Guardian(household=home, name=home.name) for home in homes)
    children = roll.Person.objects.bulk_create(
        roll.Person(household=home, given_name="Child", family_name=home.name, birth_date=TODAY - 10 * YEAR)
        for home in homes
    )
    waits = {"course": course, "state": courses.PlaceState.WAITING, "recorded_by": by}
    bookings = courses.Booking.objects.bulk_create(
        courses.Booking(
            household=guardian.household, guardian=guardian, booked_on=TODAY, number=number, seats=1,
            rank=number * courses.RANK_STEP, **waits,
        )
        for number, guardian in enumerate(guardians, first)
    )  # fmt: skip
    courses.Place.objects.bulk_create(
        courses.Place(booking=booking, person=child, **waits) for booking, child in zip(bookings, children, strict=True)
    )
    courses.BookingEvent.objects.bulk_create(
        courses.BookingEvent(booking=booking, kind=courses.Happened.BOOKED, on=TODAY, recorded_by=by)
        for booking in bookings
    )


def own_receipts() -> None:
    """No two expenses share a receipt."""
    for expense in expenses.Expense.objects.filter(pk__gte=STEP):
        content = expense.receipt.read() + str(expense.pk).encode()
        attach(expense, Evidence(content, expense.receipt_type))
        expense.save()


def join_the_chain() -> None:
    """The copied entries follow the demo's by their days, each with its number, its year and its digest."""
    lines = defaultdict(list)
    copied = ledger.Posting.objects.filter(entry__gte=STEP).order_by("pk")
    for entry, *account, amount in copied.values_list("entry", *LINE, figure_of("amount")).iterator():
        lines[entry].append([*account, str(amount)])
    years = list(ledger.FinancialYear.objects.all())
    book = ledger.Book.objects.get()
    rows = []
    entries = ledger.JournalEntry.objects.filter(pk__gte=STEP).order_by("date", "number")
    for pk, _, _, day, *rest in entries.values_list("pk", *SEALED).iterator():
        book.last_number, before = book.last_number + 1, book.last_digest
        book.last_digest = digest_of_rows([before, book.last_number, day, *rest], lines[pk])
        year = next(each.pk for each in years if each.first_day <= day <= each.last_day)
        rows.append((book.last_number, year, before, book.last_digest, pk))
    set_in_entries(rows)
    book.save()
    for fund in ledger.Fund.objects.all():
        held = ledger.Posting.objects.filter(fund=fund, account__kind__in=("asset", "liability"))
        fund.balance = as_amount(in_all(held))
        fund.save()


def set_in_entries(rows: list[tuple[int, int, str, str, int]]) -> None:
    """Number, year, the digest before and the own one, by the entry's id; PostgreSQL takes them all at once."""
    columns = "number = {}, year_id = {}, previous_digest = {}, digest = {}"
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            told = columns.format("%s", "%s", "%s", "%s")
            cursor.executemany(f"UPDATE ledger_journalentry SET {told} WHERE id = %s", rows)
        else:
            told = columns.format("n.number", "n.year", "n.before", "n.own")
            at_once = "unnest(%s::int[], %s::bigint[], %s::text[], %s::text[], %s::bigint[])"
            cursor.execute(
                f"UPDATE ledger_journalentry e SET {told} FROM {at_once} AS n (number, year, before, own, id)"
                " WHERE e.id = n.id", list(map(list, zip(*rows, strict=True))),
            )  # fmt: skip


def finish_the_months(by: User) -> None:
    """As the bank would have said it, each month is signed off, and each year locked and closed."""
    account = bank.BankAccount.objects.get()
    last = ledger.FinancialYear.objects.exclude(locked_through=None).order_by("last_day").last()
    ends = month_ends(last.locked_through + timedelta(days=1), TODAY)[:-1]
    bank.Reconciliation.objects.bulk_create(
        bank.Reconciliation(
            bank_account=account, month_end=end, deposits=then.deposits, payments=then.payments,
            book_balance=then.book_balance, recorded_later=then.recorded_later, signed_on=TODAY, recorded_by=by,
            statement_balance=then.book_balance + then.recorded_later - then.deposits + then.payments,
        )
        for end, then in zip(ends, stood_at(account, ends, [timezone.now()] * len(ends)), strict=True)
    )  # fmt: skip
    for end in (each for each in ends if each.month == 6 or each == ends[-1]):
        services.lock_month(month_end=end, by=by, reason="copied")
        if end.month == 6:
            services.close_year(year=ledger.FinancialYear.objects.get(last_day=end), by=by, on=TODAY)
