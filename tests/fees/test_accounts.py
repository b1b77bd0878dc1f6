"""A family's account: statement, reference, balances by age, parts, write-offs, and payments put right."""

import re
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from stdnum import luhn

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.fees import accounts, papers, selectors, services
from clubdesk.fees.models import FeeKind, Method, Receipt, Voucher
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.selectors import balance, party_balance
from clubdesk.ledger.selectors import book as book_of
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from clubdesk.roll.models import Household
from clubdesk.roll.selectors import payment_reference, pk_of_reference
from tests import factories, families
from tests.papers import words_of

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)


def sound():
    return [result for result in check_all() if result.faults] == []


@pytest.fixture
def household(book):
    return factories.HouseholdFactory(name="Mirabar family", guardian="Ida Mirabar", email="ida@example.org")


@pytest.fixture
def price(book):
    return factories.price(FeeKind.OTHER, "60.00", Role.DONATIONS)


@pytest.fixture
def charge(price, by):
    def charged(household, on=NOW, **more):
        return services.charge(household=household, price=price, on=on, starts_on=on, by=by, **more)

    return charged


@pytest.fixture
def pay(by):
    def paid(household, amount, on=NOW, **more):
        return services.record_receipt(
            household=household, amount=as_amount(amount), method=Method.CARD, on=on, by=by, **more
        )

    return paid


class TestTheReference:
    @given(pk=st.integers(1, 10**9))
    def test_its_last_digit_is_a_luhn_check_digit(self, pk):
        # Source: ISO/IEC 7812-1 Annex B; reference library python-stdnum.
        assert luhn.is_valid(payment_reference(Household(pk=pk)))

    @given(pk=st.integers(1, 10**6), place=st.integers(0, 4), other=st.integers(1, 9))
    def test_a_slip_in_one_digit_is_nobodys(self, pk, place, other):
        reference = payment_reference(Household(pk=pk))
        slipped = reference[:place] + str((int(reference[place]) + other) % 10) + reference[place + 1 :]
        assert not luhn.is_valid(slipped)

    def test_it_leads_back_to_the_household_however_it_is_typed(self, household):
        reference = payment_reference(household)
        assert pk_of_reference(f"ref {reference[:3]} {reference[3:]}") == household.pk
        mistyped = f"{reference[:-1]}{(int(reference[-1]) + 1) % 10}"
        for wrong in ("", "abc", "²", "18", mistyped, "9" * 40):
            assert pk_of_reference(wrong) is None


class TestTheStatement:
    @pytest.fixture
    def busy(self, household, charge, pay, by):
        """A household with a bit of everything."""
        child = factories.PersonFactory(household=household, given_name="Ada")
        old = charge(household, date(2026, 7, 2), description="Kit")
        fee = charge(household, date(2026, 8, 1), person=child, description="Course")
        pay(household, "70.00", date(2026, 8, 2))
        services.credit_charge(charge=fee, amount=as_amount("5.00"), on=date(2026, 8, 3), reason="goodwill", by=by)
        services.accept_voucher(scheme=factories.scheme(), charge=fee, code="SV1", on=date(2026, 8, 4), by=by)
        services.write_off(
            charge=charge(household, date(2026, 8, 5), description="Arrow"),
            amount=as_amount("12.00"), on=NOW, reason="lost", by=by,
        )  # fmt: skip
        return old

    def test_its_lines_lead_from_the_opening_to_what_the_ledger_says(self, busy, household):
        statement = accounts.statement(household, NOW, since=date(2026, 8, 1))
        assert statement.opening == Decimal("60.00")
        assert [(line.text, line.amount, line.balance) for line in statement.lines] == [
            ("Course", Decimal("60.00"), Decimal("120.00")),
            ("Received: receipt 1", Decimal("-70.00"), Decimal("50.00")),
            ("Credited: Course", Decimal("-5.00"), Decimal("45.00")),
            ("Paid by voucher: Course", Decimal("-55.00"), Decimal("-10.00")),
            ("Arrow", Decimal("60.00"), Decimal("50.00")),
            ("Written off: Arrow", Decimal("-12.00"), Decimal("38.00")),
        ]
        assert statement.closing == party_balance(Role.FEES_OWED, household.party_id) == Decimal("38.00")
        assert sound()

    def test_a_voucher_that_was_refused_or_paid_short_is_told_and_each_day_stands_as_it_did(
        self, household, charge, by
    ):
        scheme, lodged, answered = factories.scheme(), date(2026, 8, 10), date(2026, 8, 20)
        for name in ("Ada", "Bela", "Cato"):
            fee = charge(
                household, date(2026, 8, 1), description=name, person=factories.PersonFactory(household=household)
            )
            services.accept_voucher(scheme=scheme, charge=fee, code=f"SV{name}", on=date(2026, 8, 4), by=by)
        ada, bela, cato = Voucher.objects.order_by("pk")
        services.release_voucher(voucher=cato, on=date(2026, 8, 5), reason="wrong child", by=by)
        batch = services.lodge_vouchers(scheme=scheme, on=lodged, by=by)
        services.answer_lodgement(
            lodgement=batch, paid={bela.pk: as_amount("45.00")}, refused={ada.pk: "no such child"}, on=answered, by=by
        )
        lines = accounts.statement(household, NOW).lines
        assert [(line.text, line.amount) for line in lines[3:]] == [
            ("Paid by voucher: Ada", Decimal("-60.00")),
            ("Paid by voucher: Bela", Decimal("-60.00")),
            ("Paid by voucher: Cato", Decimal("-60.00")),
            ("Voucher not claimed: Cato", Decimal("60.00")),
            ("Voucher refused: Ada (no such child)", Decimal("60.00")),
            ("Voucher paid short: Bela", Decimal("15.00")),
        ]
        assert accounts.statement(household, lodged).closing == Decimal("60.00")
        assert accounts.statement(household, NOW).closing == selectors.balance(household).amount == Decimal("135.00")

    def test_what_happened_on_one_day_stands_in_the_order_in_which_it_was_written(self, household, charge, pay):
        charge(household, description="Bow"), pay(household, "5.00"), charge(household, description="Arrow")
        pay(household, "6.00")
        lines = accounts.statement(household, NOW).lines
        assert [line.text for line in lines] == ["Bow", "Arrow", "Received: receipt 1", "Received: receipt 2"]

    def test_what_is_open_is_shown_by_its_age(self, household, charge):
        for days in (0, 30, 31, 60, 61, 90, 91):
            with clock.on(NOW):
                charge(household, max(NOW - timedelta(days=days), date(2026, 7, 1)))
        ages = accounts.statement(household, NOW).ages
        # 1 July lies 73 days back, so what would be older than that was charged then.
        assert ages == {"up to 30 days": 120, "31 to 60 days": 120, "61 to 90 days": 180, "over 90 days": 0}

    def test_the_last_half_is_to_pay_too(self, household, charge, pay):
        charge(household)
        pay(household, "59.50")
        assert accounts.statement(household, NOW).in_words == "$0.50 to pay"
        pay(household, "1.00")
        assert accounts.statement(household, NOW).in_words == "$0.50 in credit"

    def test_many_statements_take_as_many_queries_as_one(self, household, charge, django_assert_num_queries):
        families = [household, *(factories.HouseholdFactory() for _ in range(20))]
        for family in families:
            charge(family)
        for rows in ([household], families):
            with django_assert_num_queries(18):
                accounts.statements(rows, NOW)

    def test_a_statement_begins_no_earlier_than_the_book(self, household, charge):
        charge(household)
        assert accounts.statement(household, NOW).since == date(2026, 7, 1)
        assert accounts.statement(household, date(2027, 12, 1)).since == date(2026, 12, 1)

    def test_the_paper_of_the_worst_family_shows_every_line(self, household, charge, pay):
        for number in range(90):
            charge(household, date(2026, 7, 2) + timedelta(days=number % 60), description=f"Fee {number} <b>& more</b>")
        pay(household, "100.00")
        text = words_of(papers.statement_pdf(accounts.statement(household, NOW), book_of(), None))
        assert len(re.findall(r"Fee \d+ <b>& more</b>", text)) == 90
        assert "5,300.00 to pay" in text
        assert payment_reference(household) in text
        assert text.count("Reedbank Archers") > 3  # on each page

    def test_all_who_owe_in_one_file(self, household, charge):
        charge(household)
        charge(factories.HouseholdFactory(name="Solano family"))
        content = papers.statements_pdf(accounts.statements(accounts.who_owes(), NOW), book_of(), None)
        assert content.startswith(b"%PDF")


class TestTheFamilysOwnPage:
    def test_it_shows_the_account_and_the_papers(self, client, household, charge, pay):
        charge(household, description="Kit for Ada")
        receipt = pay(household, "20.00")
        path = families.page_of(client, household)
        text = client.get(path).content.decode()
        assert '<p class="big">$40.00</p>' in text
        assert "Kit for Ada" in text
        assert payment_reference(household) in text
        for paper in ("statement/", f"receipt/{receipt.number}/"):
            answer = client.get(path + paper)
            assert (answer.status_code, answer.headers["Content-Type"]) == (200, "application/pdf")
            assert "no-store" in answer.headers["Cache-Control"]

    def test_nobody_elses_account_or_receipt_is_reached_by_it(self, client, household, charge, pay):
        other = factories.HouseholdFactory()
        receipt = pay(other, "20.00")
        path = families.page_of(client, household)
        assert client.get(f"{path}statement/").status_code == 200
        assert client.get(f"{path}receipt/{receipt.number}/").status_code == 404


class TestLetters:
    def test_one_or_all_who_owe_are_written_to_once_a_day(self, household, charge, by):
        charge(household)
        charge(factories.HouseholdFactory(guardian="Odo", email="odo@example.org"))
        factories.HouseholdFactory(guardian="Pia", email="pia@example.org")
        services.send_statement(household=household, on=NOW, by=by)
        services.send_statements(on=NOW, by=by)
        services.send_statements(on=NOW, by=by)
        assert sorted(Message.objects.values_list("to", flat=True)) == ["ida@example.org", "odo@example.org"]
        letter = Message.objects.get(to="ida@example.org")
        assert "Your account with the club stands at $60.00 to pay" in letter.body
        assert payment_reference(household) in letter.body
        assert letter.link_path == "/account/"

    def test_an_account_that_was_paid_since_the_mornings_letter_is_written_anew(self, household, charge, pay, by):
        charge(household)
        services.send_statement(household=household, on=NOW, by=by)
        pay(household, "25.00")
        services.send_statement(household=household, on=NOW, by=by)
        services.send_statement(household=household, on=NOW, by=by)
        subjects = list(Message.objects.order_by("pk").values_list("subject", flat=True))
        assert subjects == ["Your account: $60.00 to pay", "Your account: $35.00 to pay"]

    def test_the_coordinator_sends_them_from_the_balances_by_age(self, client, coordinator, household, charge):
        charge(household)
        client.force_login(coordinator)
        page = client.get(reverse("admin:aged_balances")).content.decode()
        assert "Mirabar family" in page
        form = {"key": "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01"}
        answer = client.post(reverse("admin:fees_charge_send-statements"), form, follow=True)
        assert "1 letter goes out." in answer.content.decode()
        assert client.get(reverse("admin:statements_to_print")).status_code == 200

    def test_where_nobody_owes_the_page_of_statements_says_so(self, client, coordinator, household, pay):
        pay(household, "25.00")
        client.force_login(coordinator)
        answer = client.get(reverse("admin:statements_to_print"), follow=True)
        assert "Nobody owes anything, so there is no statement to print." in answer.content.decode()


class TestBalancesByAge:
    def test_they_come_to_the_fees_owed_account(self, household, charge, pay):
        others = [factories.HouseholdFactory() for _ in range(3)]
        charge(household, date(2026, 7, 2))
        for other in others:
            charge(other, NOW)
        pay(others[0], "100.00")
        rows = accounts.aged_balances(NOW)
        assert rows[0].household == household
        assert sum(row.owed for row in rows) == balance(Role.FEES_OWED, NOW)
        assert [row.owed for row in rows if row.household == others[0]] == [Decimal("-40.00")]

    @pytest.mark.parametrize("role", ["range_helper", "approver"])
    def test_they_are_not_for_everyone(self, client, request, household, charge, role):
        client.force_login(request.getfixturevalue(role))
        for name in ("aged_balances", "statements_to_print", "fees_charge_send-statements"):
            assert client.get(reverse(f"admin:{name}")).status_code == 403
        assert client.get(reverse("admin:household_statement", args=[household.pk])).status_code == 403


class TestParts:
    PARTS = [(date(2026, 9, 30), as_amount("20.00")), (date(2026, 10, 31), as_amount("40.00"))]

    def test_each_part_is_paid_open_or_overdue(self, household, charge, pay, by):
        charge(household)
        services.agree_parts(household=household, parts=self.PARTS, on=NOW, note="by phone", by=by)
        states = lambda day: [state for *_, state in accounts.statement(household, day).parts()]  # noqa: E731
        assert states(NOW) == ["", ""]
        assert states(date(2026, 10, 5)) == ["overdue", ""]
        pay(household, "20.00", date(2026, 10, 6))
        assert states(date(2026, 11, 5)) == ["paid", "overdue"]

    def test_a_new_arrangement_ends_the_old_one(self, household, charge, by):
        charge(household)
        first = services.agree_parts(household=household, parts=self.PARTS, on=NOW, by=by)
        second = services.agree_parts(household=household, parts=[(NOW, as_amount("60.00"))], on=NOW, by=by)
        first.refresh_from_db()
        assert first.ended_on == NOW
        assert accounts.statement(household, NOW).arrangement == second
        services.end_arrangement(arrangement=second, on=NOW, by=by)
        assert accounts.statement(household, NOW).arrangement is None

    @pytest.mark.parametrize(("parts", "sentence"), [
        ([(NOW, "59.00")], r"The parts come to \$59.00; Mirabar family owes \$60.00."),
        ([(date(2026, 9, 11), "60.00")], "today or later"),
        ([(NOW, "30.00"), (NOW, "30.00")], "a day of its own"),
        ([(NOW, "0.00"), (NOW, "60.00")], "A part"),
    ])  # fmt: skip
    def test_what_cannot_be_is_refused_in_words(self, household, charge, by, parts, sentence):
        charge(household)
        with pytest.raises(Refused, match=sentence):
            services.agree_parts(
                household=household, parts=[(day, as_amount(text)) for day, text in parts], on=NOW, by=by
            )

    def test_they_are_agreed_on_a_form(self, client, coordinator, household, charge):
        charge(household)
        client.force_login(coordinator)
        url = reverse("admin:roll_household_parts", args=[household.pk])
        form = {"key": "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01", "due_1": "2026-09-30", "amount_1": "20.00",
                "due_2": "2026-10-31", "amount_2": ""}  # fmt: skip
        assert "its day and its amount" in client.post(url, form).content.decode()
        text = client.post(url, form | {"amount_2": "40.00"}, follow=True).content.decode()
        assert "Pays in parts" in text
        end = reverse("admin:roll_household_end-parts", args=[household.pk])
        client.post(end, {"key": "6b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01"})
        assert not household.arrangements.filter(ended_on=None).exists()
        again = client.post(end, {"key": "7b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01"})
        assert (again.status_code, "No arrangement of" in again.content.decode()) == (422, True)

    @pytest.mark.parametrize(("sql", "sentence"), [
        ("DELETE FROM fees_arrangement", "arrangement is never deleted"),
        ("DELETE FROM fees_arrangementpart", "What was agreed stays"),
        ("UPDATE fees_arrangement SET agreed_on = '2026-08-01'", "arrangement keeps what the ledger says"),
        ("UPDATE fees_arrangementpart SET due_on = '2026-12-31'", "What was agreed stays"),
    ])  # fmt: skip
    def test_the_database_keeps_what_was_agreed(self, household, charge, by, sql, sentence):
        charge(household)
        services.agree_parts(household=household, parts=self.PARTS, on=NOW, by=by)
        with pytest.raises(IntegrityError, match=sentence), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql)


class TestWriteOffs:
    def test_a_debt_written_off_is_an_expense_and_owed_no_longer(self, household, charge, by):
        document = services.write_off(
            charge=charge(household), amount=as_amount("60.00"), on=NOW, reason="moved", by=by
        )
        assert balance(Role.WRITTEN_OFF, NOW) == Decimal("60.00")
        assert selectors.balance(household) == as_amount(0)
        assert sound()
        services.take_up_again(write_off=document, on=NOW, reason="paid after all", by=by)
        services.take_up_again(write_off=document, on=NOW, reason="paid after all", by=by)
        assert balance(Role.WRITTEN_OFF, NOW) == 0
        assert selectors.balance(household) == as_amount("60.00")
        assert sound()

    def test_a_fee_taken_back_stays_so_though_what_was_written_off_of_it_is_expected_again(self, household, charge, by):
        debt = charge(household)
        written_off = services.write_off(charge=debt, amount=as_amount("20.00"), on=NOW, reason="moved", by=by)
        services.take_back(charge=debt, on=NOW, reason="membership cancelled", by=by)
        services.take_up_again(write_off=written_off, on=NOW, reason="they came back", by=by)
        assert selectors.balance(household) == as_amount(0)
        assert balance(Role.WRITTEN_OFF, NOW) == 0
        assert debt.credits.get(amount=as_amount("20.00")).reason == "what was written off was expected again"
        assert sound()

    def test_why_stays_on_the_document_and_out_of_the_sealed_words(self, household, charge, pay, by):
        debt, receipt = charge(household), pay(household, "10.00")
        written_off = services.write_off(charge=debt, amount=as_amount("50.00"), on=NOW, reason="Ida left", by=by)
        services.take_up_again(write_off=written_off, on=NOW, reason="Ida is back", by=by)
        services.cancel_receipt(receipt=receipt, on=NOW, reason="Ida paid elsewhere", by=by)
        services.credit_charge(charge=debt, on=NOW, reason="Ida was ill", by=by)
        assert not JournalEntry.objects.filter(narration__contains="Ida").exists()
        written_off.refresh_from_db()
        receipt.refresh_from_db()
        assert (written_off.cancel_reason, receipt.cancel_reason) == ("Ida is back", "Ida paid elsewhere")

    def test_what_cannot_be_is_refused_in_words(self, household, charge, price, pay, by):
        debt = charge(household)
        pay(household, "50.00")
        with pytest.raises(Refused, match=r"Only \$10\.00 of this charge is still to pay"):
            services.write_off(charge=debt, amount=as_amount("11.00"), on=NOW, reason="moved", by=by)
        with pytest.raises(Refused, match="Say why"):
            services.write_off(charge=debt, amount=as_amount("10.00"), on=NOW, reason=" ", by=by)
        later = services.charge(household=household, price=price, on=NOW, starts_on=date(2026, 12, 1), by=by)
        with pytest.raises(Refused, match="credit it instead"):
            services.write_off(charge=later, amount=as_amount("10.00"), on=NOW, reason="moved", by=by)

    def test_the_database_lets_nothing_settle_it_beyond_its_amount(self, household, charge, pay, by):
        debt = charge(household)
        services.write_off(charge=debt, amount=as_amount("20.00"), on=NOW, reason="moved", by=by)
        receipt = pay(household, "60.00")
        assert receipt.allocations.get().amount == as_amount("40.00")
        for sql, sentence in (
            (
                "INSERT INTO fees_allocation (receipt_id, charge_id, amount, used_on)"
                " SELECT receipt_id, charge_id, 1, used_on FROM fees_allocation",
                "settled by more than its amount",
            ),
            ("DELETE FROM fees_writeoff", "write-off is never deleted"),
        ):
            with pytest.raises(IntegrityError, match=sentence), transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(sql)

    def test_only_the_treasurer_writes_off(self, client, treasurer, coordinator, household, charge):
        debt = charge(household)
        url = reverse("admin:fees_charge_write-off", args=[debt.pk])
        client.force_login(coordinator)
        assert client.get(url).status_code == 403
        client.force_login(treasurer)
        form = {"key": "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01", "amount": "60.00", "on": "2026-09-12", "reason": "moved"}
        assert "Written off" in client.post(url, form, follow=True).content.decode()
        up = reverse("admin:fees_writeoff_take-up", args=[debt.write_offs.get().pk])
        client.post(up, {"key": form["key"], "on": "2026-09-12", "reason": "paid"})
        assert selectors.open_amount(debt) == as_amount("60.00")
        assert sound()


class TestPaymentsPutRight:
    """A household that pays twice, too much, or for the wrong child; nothing of the history is edited."""

    def test_paid_twice_stands_as_credit_pays_the_next_fee_or_is_repaid(self, household, charge, pay, by):
        charge(household)
        pay(household, "60.00")
        pay(household, "60.00")
        assert selectors.unused_credit(household) == as_amount("60.00")
        charge(household)
        assert selectors.balance(household) == as_amount(0)
        pay(household, "5.00")
        services.repay_credit(household=household, amount=as_amount("5.00"), on=NOW, by=by)
        assert selectors.balance(household) == as_amount(0)
        assert sound()

    def test_a_payment_for_the_wrong_child_pays_the_right_one(self, household, charge, pay, by):
        ada, bela = charge(household, description="Ada"), charge(household, description="Bela")
        receipt = pay(household, "60.00", charges=[ada])
        before = Receipt.objects.count()
        services.pay_with(receipt=receipt, charges=[bela], on=NOW, by=by)
        assert selectors.open_amount(ada) == as_amount("60.00")
        assert selectors.open_amount(bela) == as_amount(0)
        assert Receipt.objects.count() == before
        assert sound()

    def test_another_receipt_makes_way(self, household, charge, pay, by):
        ada, bela = charge(household, description="Ada"), charge(household, description="Bela")
        first, second = pay(household, "60.00", charges=[ada]), pay(household, "40.00", charges=[bela])
        services.pay_with(receipt=second, charges=[ada], on=NOW, by=by)
        assert second.allocations.standing().get().charge == ada
        assert selectors.open_amount(ada) + selectors.open_amount(bela) == as_amount("20.00")
        assert sum(part.amount.amount for part in first.allocations.standing()) == 60
        assert sound()

    def test_what_cannot_be_is_refused_in_words(self, household, charge, pay, by):
        receipt, foreign = pay(household, "60.00"), charge(factories.HouseholdFactory())
        with pytest.raises(Refused, match="own charges"):
            services.pay_with(receipt=receipt, charges=[foreign], on=NOW, by=by)
        services.cancel_receipt(receipt=receipt, on=NOW, reason="typed wrongly", by=by)
        with pytest.raises(Refused, match="cancelled"):
            services.pay_with(receipt=receipt, charges=[], on=NOW, by=by)

    def test_receipts_are_numbered_without_a_gap_and_printed(self, household, charge, pay, by):
        charge(household, description="Kit for Ada")
        receipts = [pay(household, "25.00") for _ in range(3)]
        assert [receipt.number for receipt in receipts] == [1, 2, 3]
        services.cancel_receipt(receipt=receipts[1], on=NOW, reason="typed wrongly", by=by)
        for receipt, words in ((receipts[0], ["Receipt 1", "Kit for Ada", "25.00"]), (receipts[1], ["CANCELLED"])):
            receipt.refresh_from_db()
            text = words_of(papers.receipt_pdf(receipt, book_of()))
            assert all(word in text for word in words)

    def test_it_is_put_right_on_a_form(self, client, coordinator, household, charge, pay):
        ada, bela = charge(household, description="Ada"), charge(household, description="Bela")
        receipt = pay(household, "60.00", charges=[ada])
        client.force_login(coordinator)
        url = reverse("admin:fees_receipt_pays", args=[receipt.pk])
        client.post(url, {"key": "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a01", "charges": [bela.pk]})
        assert receipt.allocations.standing().get().charge == bela
        assert client.get(reverse("admin:receipt_pdf", args=[receipt.pk])).status_code == 200
