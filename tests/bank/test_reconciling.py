"""A month reconciled: the published example to the cent, signed off only at nil, and closed to later changes."""

from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clubdesk.bank import services
from clubdesk.bank.expected import explain
from clubdesk.bank.models import BankAccount, Reconciliation, StatementLine
from clubdesk.bank.months import next_month
from clubdesk.bank.papers import reconciliation_pdf
from clubdesk.bank.reconciling import Item, reconcile, stated_balance
from clubdesk.bank.streams import streams
from clubdesk.errors import Refused
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import as_amount
from tests import factories
from tests.bank.test_reading import camt
from tests.papers import words_of

pytestmark = pytest.mark.django_db
SEPTEMBER, OCTOBER = date(2026, 9, 30), date(2026, 10, 31)
LATER = date(2026, 11, 2)


def sound():
    return [(result.name, result.faults) for result in check_all() if result.faults] == []


@pytest.fixture
def account(book):
    return BankAccount.objects.get()


@pytest.fixture
def booked(by):
    """An entry in the bank: money in positive."""

    def written(amount, words, on=date(2026, 9, 12)):
        other = Role.DONATIONS if as_amount(amount).amount > 0 else Role.BANK_FEES
        lines = [debit(Role.BANK, as_amount(amount)), credit(other, as_amount(amount))]
        journal = ledger.record_journal(on=on, narration=words, lines=lines, by=by)
        return entries_of(journal).get().postings.get(account__role=Role.BANK)

    return written


@pytest.fixture
def line(account, by):
    def written(amount, words, on=date(2026, 9, 14), posting=None):
        found = services.record_statement_line(bank_account=account, on=on, amount=as_amount(amount), text=words, by=by)
        if posting:
            services.explain_line(line=found, posting=posting, by=by)
        return found

    return written


@pytest.fixture
def sign(account, by):
    def signed(balance, until=SEPTEMBER, on=LATER, **more):
        return services.sign_off_month(
            bank_account=account, until=until, statement_balance=as_amount(balance), on=on, by=by, **more
        )

    return signed


def test_the_published_example_to_the_cent(account, booked, line, by):
    """Source: US Internal Revenue Service, Publication 583, sample record 7."""
    shown = booked("1462.12", "What the bank has shown of the month, the deposit at 594.40 among it")
    line("1462.12", "AS SHOWN", posting=shown)
    for amount in ("701.33", "516.08"):
        booked(amount, "Deposit", on=SEPTEMBER)
    for amount in ("-66.70", "-9.80", "-150.00", "-300.00"):
        booked(amount, "Cheque", on=SEPTEMBER)
    line("6.00", "DEPOSIT 600.40 ENTERED AS 594.40")
    line("-10.00", "SERVICE CHARGE")
    found = reconcile(account, SEPTEMBER, as_amount("1458.12"))
    assert found.deposits_not_credited == as_amount("1217.41")
    assert found.payments_not_presented == as_amount("526.50")
    assert found.adjusted_statement == as_amount("2149.03")
    assert found.book_balance == as_amount("2153.03")
    assert found.adjusted_book == as_amount("2149.03")
    assert found.difference == as_amount(0)


def test_it_is_signed_off_only_once_the_book_holds_every_line(account, booked, line, sign, by):
    line("100.00", "CASH", posting=booked("100.00", "Raffle"))
    charge = line("-10.00", "SERVICE CHARGE")
    with pytest.raises(Refused, match="Lines of the statement are not matched yet"):
        sign("90.00")
    services.explain_line(line=charge, posting=booked("-10.00", "Service charge"), by=by)
    with pytest.raises(Refused, match="only where they are the same"):
        sign("90.01")
    signed = sign("90.00")
    assert (signed.book_balance, signed.deposits, signed.payments) == (as_amount(90), as_amount(0), as_amount(0))
    assert sound()


def test_the_database_itself_signs_nothing_off_that_differs(account, by):
    with pytest.raises(IntegrityError, match="differs by 0.00"), transaction.atomic():
        Reconciliation.objects.create(
            bank_account=account, month_end=SEPTEMBER, statement_balance=as_amount("0.01"), book_balance=as_amount(0),
            signed_on=LATER, recorded_by=by,
        )  # fmt: skip


def test_what_is_on_its_way_is_shown_by_the_bank_next_month(account, booked, line, sign, by):
    line("100.00", "CASH", posting=booked("100.00", "Raffle"))
    underway = booked("40.00", "Banked on the last evening", on=SEPTEMBER)
    first = sign("100.00")
    assert first.deposits == as_amount(40)
    line("40.00", "CASH", on=date(2026, 10, 2), posting=underway)
    second = sign("140.00", until=OCTOBER)
    assert (second.deposits, second.book_balance) == (as_amount(0), as_amount(140))
    assert sound()


def test_a_month_begins_with_what_the_one_before_it_closed_with(account, booked, line, sign):
    line("100.00", "CASH", posting=booked("100.00", "Raffle"))
    sign("100.00")
    line("40.00", "CASH", on=date(2026, 10, 2), posting=booked("40.00", "Raffle", on=date(2026, 10, 1)))
    sign("140.00", until=OCTOBER)
    september, october, november = (
        reconcile(account, until, as_amount(140)) for until in (SEPTEMBER, OCTOBER, date(2026, 11, 30))
    )
    assert (september.opening, september.moved) == (None, as_amount(100))
    assert (october.opening, october.moved) == (as_amount(100), as_amount(40))
    assert (november.opening, november.moved) == (as_amount(140), as_amount(0))


def test_what_the_bank_stated_by_a_day_is_told_by_the_last_file_up_to_it(account, by):
    for month, opening, closing in ((9, "1500.00", "1560.00"), (10, "1560.00", "1620.00")):
        entry = (f"2026-{month:02}-12", "60.00", "CRDT", f"A{month}", "MIRABAR I", "")
        content = camt([entry], opening=opening, closing=closing)
        services.import_statement(bank_account=account, content=content, file_name="a", by=by)
    days = (date(2026, 9, 11), date(2026, 9, 12), SEPTEMBER, date(2026, 10, 12))
    assert [stated_balance(account, day) for day in days] == [None, *map(as_amount, (1560, 1560, 1620))]


def test_a_file_says_more_than_a_line_of_an_earlier_day(account, by):
    lines = b"Date,Details,Amount,Balance\n10/09/2026,GRANT,10.00,1500.00\n"
    entry = ("2026-09-12", "60.00", "CRDT", "A1", "MIRABAR I", "")
    for content in (lines, camt([entry], opening="1500.00", closing="1560.00")):
        services.import_statement(bank_account=account, content=content, file_name="a", by=by)
    days = (date(2026, 9, 9), date(2026, 9, 10), SEPTEMBER)
    assert [stated_balance(account, day) for day in days] == [None, *map(as_amount, (1500, 1560))]


def test_what_is_dated_in_the_month_of_the_first_line_must_be_shown(account, booked, line):
    booked("500.00", "Before any statement", on=date(2026, 8, 31))
    first = booked("40.00", "On the first of the month", on=date(2026, 9, 1))
    line("100.00", "CASH", posting=booked("100.00", "Raffle"))
    assert reconcile(account, SEPTEMBER, as_amount(600)).deposits == [
        Item(first.entry.date, first.amount, first.entry.narration)
    ]


def test_a_line_or_a_file_that_is_missing_is_found(account, booked, line, sign):
    line("100.00", "CASH", posting=booked("100.00", "Raffle"))
    sign("100.00")
    booked("20.00", "Sausages", on=date(2026, 10, 4))
    with pytest.raises(Refused, match="a line or a file is missing"):
        sign("120.00", until=OCTOBER)


def test_what_is_older_than_the_first_statement_is_taken_as_shown(account, booked, line, sign):
    booked("500.00", "Before any statement", on=date(2026, 8, 12))
    line("100.00", "CASH", posting=booked("100.00", "Raffle"))
    assert sign("600.00").deposits == as_amount(0)
    assert sound()


class TestWhatIsSignedOffStays:
    @pytest.fixture
    def signed(self, booked, line, sign):
        line("100.00", "CASH", posting=booked("100.00", "Raffle"))
        return sign("100.00")

    def test_no_entry_of_the_account_is_dated_into_it(self, signed, booked, by):
        with pytest.raises(IntegrityError, match="signed off"), transaction.atomic():
            booked("5.00", "Late")
        lines = [debit(Role.TILL, as_amount(5)), credit(Role.DONATIONS, as_amount(5))]
        ledger.record_journal(on=date(2026, 9, 12), narration="In the cash box", lines=lines, by=by)
        booked("5.00", "In October", on=date(2026, 10, 1))

    def test_it_takes_no_line_by_hand_or_by_file(self, signed, line, account, by):
        with pytest.raises(IntegrityError, match="takes no more lines"), transaction.atomic():
            line("5.00", "LATE")
        with pytest.raises(Refused, match="September 2026 is signed off"):
            services.import_statement(bank_account=account, content=b"12/09/2026,LATE,5.00\n", file_name="a", by=by)
        again = services.import_statement(
            bank_account=account, content=b"14/09/2026,CASH,100.00\n", file_name="a", by=by
        )
        assert again.brought == 0

    def test_its_lines_stay_explained(self, signed, by):
        clearing = StatementLine.objects.get().clearings.get().clearing
        with pytest.raises(Refused, match="open the month first"):
            services.undo_clearing(clearing=clearing, on=LATER, reason="x", by=by)
        with (
            pytest.raises(IntegrityError, match="stays matched"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute("UPDATE bank_clearing SET undone_on = '2026-11-02', undo_reason = 'x', undone_by_id = 1")
            cursor.execute("UPDATE bank_clearedline SET stands = FALSE")

    def test_opened_again_it_can_change_and_the_earlier_month_only_after(self, signed, sign, booked, line, by):
        line("1.00", "INTEREST", on=date(2026, 10, 5), posting=booked("1.00", "Interest", on=date(2026, 10, 5)))
        second = sign("101.00", until=OCTOBER)
        with pytest.raises(Refused, match="A later month is signed off"):
            services.reopen_month(reconciliation=signed, on=LATER, reason="typo", by=by)
        services.reopen_month(reconciliation=second, on=LATER, reason="typo", by=by)
        with pytest.raises(Refused, match="Say why"):
            services.reopen_month(reconciliation=signed, on=LATER, reason=" ", by=by)
        for _ in range(2):
            services.reopen_month(reconciliation=signed, on=LATER, reason="typo", by=by)
        booked("5.00", "Late")
        assert sound()

    def test_a_month_is_signed_off_once(self, signed, sign):
        with pytest.raises(Refused, match="signed off already"):
            sign("100.00")

    def test_a_month_that_is_not_over_or_a_day_within_it_is_refused(self, sign):
        with pytest.raises(Refused, match="last day of a month"):
            sign("0.00", until=date(2026, 9, 29))
        with pytest.raises(Refused, match="not over yet"):
            sign("0.00", until=OCTOBER, on=OCTOBER)


def test_an_entry_and_its_reversal_that_the_bank_never_saw_cancel(account, booked, line, sign, by):
    line("100.00", "CASH", posting=booked("100.00", "Raffle"))
    wrong = booked("999.00", "Typed wrongly")
    ledger.reverse(entry=wrong.entry, on=date(2026, 9, 20), reason="typo", by=by)
    assert reconcile(account, SEPTEMBER, as_amount(100)).deposits == []
    assert sign("100.00").book_balance == as_amount(100)
    assert sound()


def test_a_payment_that_the_bank_returned_is_shown_by_both_its_lines(account, by, treasurer, coordinator, line, booked):
    home = factories.HouseholdFactory(name="Quoll family", guardian="Bea Quoll")
    fees.record_receipt(household=home, amount=as_amount(40), method=Method.CARD, on=date(2026, 9, 1), by=by)
    run = services.make_run(
        bank_account=account, method="single", pay_on=date(2026, 9, 12), on=date(2026, 9, 12), by=treasurer,
        credits=[home],
    )  # fmt: skip
    services.release_run(run=run, on=date(2026, 9, 12), by=coordinator)
    services.record_paid(run=run, items=list(run.items.all()), on=date(2026, 9, 12), by=treasurer)
    services.record_returned(item=run.items.get(), on=date(2026, 9, 15), reason="closed", by=treasurer)
    line("-40.00", "TFR QUOLL B", on=date(2026, 9, 12))
    line("40.00", "RETURNED QUOLL B", on=date(2026, 9, 15))
    for each in explain(account)[0]:
        services.accept(
            lines=each.lines, answer=each.answers[0].made_of, reasons=each.reasons, how_sure=each.how_sure, by=by
        )
    assert reconcile(account, SEPTEMBER, as_amount(0)).lacking == []
    assert sound()


class TestThePage:
    def asked(self, client, method="get", **more):
        url = (
            f"{reverse('admin:reconcile_month')}?account={BankAccount.objects.get().pk}&until=2026-09-14&balance=90.00"
        )
        return getattr(client, method)(url + more.pop("and_", ""), more)

    def test_it_starts_with_the_month_to_do_and_the_banks_own_balance(self, client, account, by, treasurer):
        content = b"Date,Details,Amount,Balance\n12/09/2026,CASH,5.00,105.00\n14/09/2026,FEE,-1.00,104.00\n"
        services.import_statement(bank_account=account, content=content, file_name="a", by=by)
        assert next_month(account) == SEPTEMBER
        assert stated_balance(account, SEPTEMBER) == as_amount(104)
        client.force_login(treasurer)
        page = client.get(reverse("admin:reconcile_month")).content.decode()
        assert 'value="104.00"' in page
        assert 'value="2026-09-30"' in page

    def test_it_is_signed_off_there_and_printed(self, client, account, booked, line, treasurer, today):
        from clubdesk import clock

        line("90.00", "CASH", posting=booked("90.00", "Raffle"))
        client.force_login(treasurer)
        with clock.on(LATER):
            assert "Sign this month off" in self.asked(client).content.decode()
            key = "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01"
            answer = self.asked(client, "post", key=key)
            assert answer.status_code == 302
            assert self.asked(client, "post", key=key).status_code == 302
            pdf = self.asked(client, and_="&pdf=1")
        assert Reconciliation.objects.count() == 1
        words = words_of(pdf.content)
        assert "Signed off by treasurer on 2 November 2026." in words
        assert "Difference" in words

    def test_what_stands_against_it_is_told_and_nothing_is_signed(self, client, line, treasurer):
        line("5.00", "CASH")
        client.force_login(treasurer)
        page = self.asked(client).content.decode()
        assert "Lines of the statement are not matched yet" in page
        assert "Sign this month off" not in page
        answer = self.asked(client, "post", key="5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01")
        assert answer.status_code == 422
        assert self.asked(client, "post", key="x").status_code == 422
        assert not Reconciliation.objects.exists()

    def test_the_auditor_reads_it_and_the_helper_does_not(self, client, account, auditor, range_helper):
        client.force_login(auditor)
        assert self.asked(client).status_code == 200
        assert self.asked(client, "post").status_code == 403
        client.force_login(range_helper)
        assert self.asked(client).status_code == 403

    @pytest.mark.parametrize(
        "query", ["?until=x&account=1&balance=1", "?until=2026-09-01", "?account=99999999999999999999"]
    )
    def test_odd_input_is_told_at_the_field(self, client, account, treasurer, query):
        client.force_login(treasurer)
        assert client.get(reverse("admin:reconcile_month") + query).status_code == 200


def test_the_reconciled_statement_as_a_pdf_has_the_published_form(account, booked, line):
    line("100.00", "CASH", posting=booked("100.00", "Raffle"))
    booked("40.00", "Banked late", on=SEPTEMBER)
    booked("-7.00", "Stamps", on=SEPTEMBER)
    words = words_of(
        reconciliation_pdf(reconcile(account, SEPTEMBER, as_amount(100)), "Reedbank Archers", "Not signed.")
    )
    for said in ("Deposit not credited: Banked late", "Payment not presented: Stamps", "Adjusted balance by the book"):
        assert said in words


def test_the_reversal_of_what_the_bank_has_shown_is_looked_for_and_of_nothing_else(account, booked, line, by):
    """A payment that the bank showed and took back; one whose line turned out to be something else; one never shown."""
    shown, mistaken, never = (booked(amount, "Gift") for amount in ("5.00", "6.00", "7.00"))
    line("5.00", "GIFT", posting=shown)
    line("6.00", "GIFT", posting=mistaken)
    services.undo_clearing(clearing=mistaken.clearings.get().clearing, on=LATER, reason="another gift", by=by)
    for posting in (shown, mistaken, never):
        ledger.reverse(entry=posting.entry, on=date(2026, 9, 15), reason="bounced", by=by)
    line("-5.00", "RETURNED", on=date(2026, 9, 15))
    line("-6.00", "RETURNED", on=date(2026, 9, 15))
    line("-7.00", "RETURNED", on=date(2026, 9, 15))
    found, left = explain(account)
    looked_for = {tuple(each.amount.amount for each in answer.lines): answer.answers[0].made_of[0] for answer in found}
    assert looked_for == {(-5,): f"posting {_reversal_of(shown).pk}", (6, -6): "correction"}
    assert {each.amount for each in left} == {as_amount(-7)}


def _reversal_of(posting):
    return posting.entry.reversed_by.postings.get(account=posting.account)


def test_what_a_stream_had_before_the_first_statement_is_taken_as_shown(account, line, by):
    home = factories.HouseholdFactory(name="Quoll family")
    for amount, day in ((40, date(2026, 8, 31)), (60, date(2026, 9, 1))):
        fees.record_receipt(household=home, amount=as_amount(amount), method=Method.TRANSFER, on=day, by=by)
    before, *_ = [each for each in streams() if each.name == "Families, by transfer"]
    assert (before.bank, before.rest, before.oldest) == (0, 100, date(2026, 8, 31))
    line("5.00", "INTEREST")
    families, *_ = [each for each in streams() if each.name == "Families, by transfer"]
    assert (families.ledger, families.bank, families.rest, families.oldest) == (100, 40, 60, date(2026, 9, 1))
    assert families.age(date(2026, 9, 2)) == "1 day"


def test_each_stream_of_money_has_three_witnesses_and_what_the_bank_has_not_shown(account, line, by, client, auditor):
    home = factories.HouseholdFactory(name="Quoll family")
    for amount in (40, 60):
        fees.record_receipt(
            household=home, amount=as_amount(amount), method=Method.TRANSFER, on=date(2026, 9, 2), by=by
        )
    posting = entries_of(home.receipts.get(amount=as_amount(40))).get().postings.get(amount=as_amount(40))
    line("40.00", "TFR QUOLL", posting=posting)
    found = {each.name: each for each in streams()}
    families = found["Families, by transfer"]
    assert (families.documents, families.ledger, families.bank, families.rest) == (100, 100, 40, 60)
    assert families.age(date(2026, 9, 12)) == "10 days"
    assert [each for each in found.values() if each.documents != each.ledger] == []
    client.force_login(auditor)
    page = client.get(reverse("admin:money_streams")).content.decode()
    assert "The card reader" in page
    assert "10 days" in page
