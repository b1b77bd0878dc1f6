"""Two entries that the bank never shows, matched with each other: on their way until then, at every month's end."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from clubdesk.bank import services
from clubdesk.bank.models import BankAccount, Clearing
from clubdesk.bank.outstanding import Stood, stood_at
from clubdesk.bank.reconciling import outstanding, reconcile
from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import as_amount
from tests import factories

pytestmark = pytest.mark.django_db
JULY, AUGUST, SEPTEMBER, OCTOBER = (date(2026, 7, 31), date(2026, 8, 31), date(2026, 9, 30), date(2026, 10, 31))
LATER = date(2026, 11, 2)
WHY = "banked twice in the book, and put right by hand"


def sound():
    return [(result.name, result.faults) for result in check_all() if result.faults] == []


@pytest.fixture
def account(book):
    return BankAccount.objects.get()


@pytest.fixture
def booked(by):
    """The bank's posting of a journal: money in positive."""

    def written(amount, on, words="Raffle"):
        lines = [debit(Role.BANK, as_amount(amount)), credit(Role.DONATIONS, as_amount(amount))]
        journal = ledger.record_journal(on=on, narration=words, lines=lines, by=by)
        return entries_of(journal).get().postings.get(account__role=Role.BANK)

    return written


@pytest.fixture
def shown(account, by):
    """A line of the bank, matched with the posting."""

    def written(posting, on):
        line = services.record_statement_line(bank_account=account, on=on, amount=posting.amount, text="CASH", by=by)
        return services.explain_line(line=line, posting=posting, by=by)

    return written


@pytest.fixture
def begun(account, booked, shown):
    """The bank's statements begin in July with 10.00."""
    return shown(booked("10.00", date(2026, 7, 3)), date(2026, 7, 3))


@pytest.fixture
def twice(begun, booked):
    """30.00 of August that never came, and its correction by hand in September."""
    return booked("30.00", date(2026, 8, 20)), booked("-30.00", date(2026, 9, 5), "Raffle was banked once only")


def at(account, *ends):
    """Deposits and payments on their way at each of the days, by both questions, which say the same."""
    stood = stood_at(account, ends, [timezone.now()] * len(ends))
    for end, each in zip(ends, stood, strict=True):
        figures = reconcile(account, end, as_amount(0))
        one = Stood(
            figures.deposits_not_credited, figures.payments_not_presented, figures.book_balance, figures.adjustments
        )
        assert one == each
    return [(int(each.deposits.amount), int(each.payments.amount)) for each in stood]


def match(pair, by, **more):
    first, second = pair
    return services.match_entries(posting=first, other=second, reason=WHY, by=by, **more)


def test_nothing_stays_outstanding_for_ever_and_the_month_between_has_it_on_its_way(account, twice, by):
    assert at(account, JULY, AUGUST, SEPTEMBER, OCTOBER) == [(0, 0), (30, 0), (30, 30), (30, 30)]
    found = match(twice, by)
    assert found.settled_on == date(2026, 9, 5)
    assert at(account, JULY, AUGUST, SEPTEMBER, OCTOBER) == [(0, 0), (30, 0), (0, 0), (0, 0)]
    assert outstanding(account, OCTOBER) == []
    assert sound()


def test_a_month_that_was_signed_off_keeps_them_on_their_way(account, twice, by):
    for end, balance in ((AUGUST, 10), (SEPTEMBER, 10)):
        services.sign_off_month(bank_account=account, until=end, statement_balance=as_amount(balance), on=LATER, by=by)
    found = match(twice, by)
    assert found.settled_on == date(2026, 10, 1)
    assert at(account, AUGUST, SEPTEMBER, OCTOBER) == [(30, 0), (30, 30), (0, 0)]
    assert sound()


def test_undone_they_wait_again_unless_a_month_is_signed_off_since(account, twice, by):
    found = match(twice, by)
    services.undo_clearing(clearing=found, on=LATER, reason="the money came after all", by=by)
    assert at(account, AUGUST, SEPTEMBER) == [(30, 0), (30, 30)]
    again = match(twice, by)
    services.sign_off_month(bank_account=account, until=SEPTEMBER, statement_balance=as_amount(10), on=LATER, by=by)
    with pytest.raises(Refused, match="September 2026 is signed off"):
        services.undo_clearing(clearing=again, on=LATER, reason="the money came after all", by=by)
    assert sound()


def test_a_reversal_that_the_bank_never_sees_goes_with_what_was_written_anew(account, begun, shown, by):
    """The bank saw one transfer; it was recorded for the wrong family, cancelled, and recorded for the right one."""
    wrong, right = factories.HouseholdFactory(name="Quoll"), factories.HouseholdFactory(name="Mirabar")
    day = date(2026, 8, 20)
    first = fees.record_receipt(household=wrong, amount=as_amount(30), method=Method.TRANSFER, on=day, by=by)
    bank_of = lambda document: [  # noqa: E731
        each.postings.get(account__role=Role.BANK) for each in entries_of(document).order_by("pk")
    ]
    shown(bank_of(first)[0], day)
    fees.cancel_receipt(receipt=first, on=date(2026, 9, 5), reason="wrong family", by=by)
    reversal = JournalEntry.objects.get(reverses__in=entries_of(first)).postings.get(account__role=Role.BANK)
    second = fees.record_receipt(
        household=right, amount=as_amount(30), method=Method.TRANSFER, on=date(2026, 9, 5), by=by
    )
    assert at(account, AUGUST, SEPTEMBER) == [(0, 0), (30, 30)]
    match((reversal, bank_of(second)[0]), by)
    assert at(account, AUGUST, SEPTEMBER) == [(0, 0), (0, 0)]
    assert sound()


class TestWhatIsRefused:
    def test_other_amounts_the_same_way_other_accounts_or_no_reason(self, twice, booked, by):
        first, second = twice
        with pytest.raises(Refused, match="to the cent"):
            match((first, booked("-30.01", date(2026, 9, 6))), by)
        with pytest.raises(Refused, match="to the cent"):
            match((first, booked("30.00", date(2026, 9, 6))), by)
        with pytest.raises(Refused, match="of one bank account"):
            match((first, first.entry.postings.exclude(pk=first.pk).get()), by)
        with pytest.raises(Refused, match="Say why"):
            services.match_entries(posting=first, other=second, reason=" ", by=by)
        assert Clearing.objects.count() == 1

    def test_what_is_matched_already(self, twice, booked, by):
        match(twice, by)
        with pytest.raises(Refused, match="matched already"):
            match((twice[0], booked("-30.00", date(2026, 9, 6))), by)

    def test_who_may_only_look(self, twice, auditor):
        with pytest.raises(Refused, match="your sign-in may not do that"):
            match(twice, auditor)

    def test_the_database_itself_settles_none_before_it_is_posted_nor_in_a_month_signed_off(self, account, twice, by):
        def settled(day):
            row = Clearing.objects.create(
                bank_account=account, how_sure="by_hand", reasons="x", settled_on=day, recorded_by=by
            )
            for posting in twice:
                row.postings.create(posting=posting)
            Clearing.objects.filter(pk=row.pk).update(complete=True)

        with pytest.raises(IntegrityError, match="must come to the same sum"), transaction.atomic():
            settled(date(2026, 9, 4))
        services.sign_off_month(bank_account=account, until=SEPTEMBER, statement_balance=as_amount(10), on=LATER, by=by)
        with pytest.raises(IntegrityError, match="is signed off"), transaction.atomic():
            settled(date(2026, 9, 30))
        settled(date(2026, 10, 1))
        assert sound()


class TestThePages:
    def test_the_list_leads_to_the_form_and_the_match_can_be_undone(self, client, account, twice, treasurer):
        client.force_login(treasurer)
        url = reverse("admin:ledger_journalentry_match-entry", args=[twice[0].entry_id])
        assert url in client.get(reverse("admin:outstanding_entries")).content.decode()
        assert "Raffle was banked once only" in client.get(url).content.decode()
        sent = client.post(url, {"other": twice[1].pk, "reason": WHY, "key": "4b8f4f4c-6d0b-4e06-9d58-0a0c1c0f6c11"})
        found = Clearing.objects.latest("pk")
        assert sent.url == reverse("admin:bank_clearing_change", args=[found.pk])
        assert (found.why_never, found.recorded_by) == (WHY, treasurer)
        entry = client.get(reverse("admin:ledger_journalentry_change", args=[twice[0].entry_id])).content.decode()
        assert WHY in entry
        assert url not in client.get(reverse("admin:outstanding_entries")).content.decode()
        undo = reverse("admin:bank_clearing_undo", args=[found.pk])
        client.post(undo, {"reason": "it came", "key": "4b8f4f4c-6d0b-4e06-9d58-0a0c1c0f6c12"})
        assert url in client.get(reverse("admin:outstanding_entries")).content.decode()

    def test_the_auditor_sees_what_waits_and_matches_nothing(self, client, account, twice, auditor):
        client.force_login(auditor)
        page = client.get(reverse("admin:outstanding_entries")).content.decode()
        assert "Raffle was banked once only" in page
        assert "Match the two" not in page
