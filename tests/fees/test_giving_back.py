"""A voucher that was paid and whose child leaves is owed to the department, by its invoice, and paid in a run."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount, PaymentItem, PaymentRun
from clubdesk.errors import Refused
from clubdesk.fees import accounts, selectors, services
from clubdesk.fees.givingback import share_owed
from clubdesk.fees.models import GiveBack, GivesBack, Method, Voucher, VoucherScheme
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Account, Role
from clubdesk.ledger.selectors import balance
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from clubdesk.reports.tracing import CASH, months_that_differ, traced
from tests import factories
from tests.fees.conftest import AS_ASKED, BACK, LEFT, NOW, PAID

pytestmark = pytest.mark.django_db


def sound():
    assert [each for result in check_all() for each in result.faults] == []
    return True


def amounts(*typed):
    return tuple(as_amount(each) for each in typed)


@pytest.fixture
def child(book):
    return factories.PersonFactory(household=factories.HouseholdFactory(guardian="Ida", email="ida@example.org"))


def ruled(**rules):
    VoucherScheme.objects.update(**rules)


# Source: an independent reckoning of what each rule says, in whole units; no published scale exists.
@pytest.mark.parametrize(("rule", "paid", "stands", "kept", "owed"), [
    (GivesBack.NOTHING, 100, 126, 0, 0),
    (GivesBack.WHOLE, 100, 100, 0, 100), (GivesBack.WHOLE, 100, 126, 126, 100),
    (GivesBack.REST, 100, 100, 0, 100), (GivesBack.REST, 100, 100, 40, 60), (GivesBack.REST, 100, 100, 100, 0),
    (GivesBack.REST, 50, 126, 0, 50), (GivesBack.REST, 100, 126, 110, 16),
])  # fmt: skip
def test_what_is_owed_by_each_rule(rule, paid, stands, kept, owed):
    paid, stands, kept, owed = amounts(paid, stands, kept, owed)
    assert share_owed(rule, paid=paid, stands=stands, kept=kept) == owed


class TestWhatIsOwed:
    def test_all_of_it_where_the_club_keeps_nothing(self, paid, leave, give_back, scheme, child):
        leave()
        assert balance(Role.COURSES, BACK) == -100, "what the department paid is income still"
        back = give_back()
        paid.refresh_from_db()
        assert (back.amount, paid.state, paid.amount, paid.given_back) == (*amounts(100), "returned", *amounts(100, 0))
        assert (balance(Role.OTHER_PAYABLES, BACK), balance(Role.COURSES, BACK)) == (-100, 0)
        assert selectors.balance(child.household) == as_amount(-26)
        assert give_back() == back, "asked for again it is the same"
        assert sound()

    def test_what_is_beyond_what_the_club_keeps(self, paid, leave, give_back, child):
        leave(keep=40)
        assert give_back().amount == as_amount(60)
        paid.refresh_from_db()
        assert (paid.state, paid.amount, paid.given_back, paid.claimed, paid.paid_in) == (
            "paid",
            *amounts(40, 60, 100, 100),
        )
        assert (balance(Role.OTHER_PAYABLES, BACK), balance(Role.COURSES, BACK)) == (-60, -40)
        assert selectors.balance(child.household) == as_amount(-26)
        assert Message.objects.count() == 0, "nobody owes anything more"
        assert sound()

    def test_where_all_is_owed_the_family_pays_what_the_club_keeps(self, leave, give_back, child):
        ruled(gives_back=GivesBack.WHOLE)
        leave(keep=40)
        assert give_back().amount == as_amount(100)
        assert balance(Role.COURSES, BACK) == -40
        assert selectors.balance(child.household) == as_amount(14), "40.00 is kept, 26.00 was paid"
        letter = Message.objects.get()
        assert "was given back to Department for Sport: the child left" in " ".join(letter.body.split())
        assert "$14.00" in letter.body
        assert sound()

    def test_given_back_whole_it_counts_no_more_in_the_year(self, leave, give_back, child, scheme, by):
        leave()
        price = factories.price(amount="90.00", code="next")

        def again():
            charge = services.charge(
                household=child.household, person=child, price=price, on=BACK, starts_on=BACK, by=by
            )
            return services.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=BACK, by=by)

        with pytest.raises(Refused, match="has used a voucher"):
            again()
        give_back()
        assert again().amount == as_amount(90)
        assert sound()

    def test_a_part_given_back_still_counts(self, leave, give_back, child, scheme, by):
        leave(keep=40)
        give_back()
        charge = services.charge(
            household=child.household, person=child, price=factories.price(amount="9.00", code="n"), on=BACK,
            starts_on=BACK, by=by,
        )  # fmt: skip
        with pytest.raises(Refused, match="has used a voucher"):
            services.accept_voucher(scheme=scheme, charge=charge, code="SV2", on=BACK, by=by)

    @pytest.mark.parametrize(("rules", "keep", "sentence"), [
        ({"gives_back": "nothing"}, 0, "By the rules of State sport voucher nothing is owed back"),
        ({"gives_back_days": 13}, 0, "nothing is owed back where a child leaves after 25 Sep 2026"),
        ({}, 126, "The club keeps all of this fee"),
    ])  # fmt: skip
    def test_nothing_is_owed_where_the_rules_say_so(self, leave, give_back, rules, keep, sentence):
        ruled(**rules)
        leave(keep=keep)
        with pytest.raises(Refused, match=sentence):
            give_back()
        assert not GiveBack.objects.exists()

    def test_on_the_last_day_of_the_rule_it_is_owed(self, leave, give_back):
        ruled(gives_back_days=14)
        leave()
        assert give_back().amount == as_amount(100)

    @pytest.mark.parametrize(("asked", "sentence"), [
        ({"invoice": " "}, "Write the number"), ({"pay_to": ""}, "Write the account"),
        ({"reason": " "}, "Say why"), ({"on": date(2026, 9, 19)}, "The department paid it on 20 Sep 2026"),
    ])  # fmt: skip
    def test_what_the_invoice_says_is_asked_for(self, leave, give_back, asked, sentence):
        leave()
        with pytest.raises(Refused, match=sentence):
            give_back(**asked)

    def test_only_of_a_child_that_left_and_a_voucher_that_was_paid(self, paid, give_back, scheme, by):
        with pytest.raises(Refused, match="still has what this voucher pays"):
            give_back()
        other = factories.PersonFactory()
        charge = services.charge(
            household=other.household, person=other, price=paid.charge.price, on=NOW, starts_on=NOW, by=by
        )
        waits = services.accept_voucher(scheme=scheme, charge=charge, code="SV2", on=NOW, by=by)
        with pytest.raises(Refused, match="is accepted; only one that was paid is given back"):
            services.give_back(voucher=waits, on=BACK, by=by, **AS_ASKED)

    def test_of_what_the_club_called_off_the_fee_that_waits_is_credited(self, scheme, child, by):
        charge = services.charge(
            household=child.household, person=child, price=factories.price(), on=NOW, starts_on=BACK, by=by
        )
        voucher = services.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)
        services.record_lodgement_paid(lodgement=services.lodge_vouchers(scheme=scheme, on=NOW, by=by), on=PAID, by=by)
        services.call_off(charge=charge, on=LEFT, reason="flood", by=by)
        assert balance(Role.FEES_IN_ADVANCE, BACK) == -100
        services.give_back(voucher=voucher, on=BACK, by=by, **AS_ASKED)
        assert (balance(Role.FEES_IN_ADVANCE, BACK), balance(Role.OTHER_PAYABLES, BACK)) == (0, -100)
        assert not selectors.vouchers_for_a_next_fee().exists()
        assert sound()

    def test_what_it_tied_of_a_receipt_is_the_familys_own_again(self, scheme, child, by):
        ruled(no_money_back=True)
        scheme.refresh_from_db()
        charge = services.charge(
            household=child.household, person=child, price=factories.price(), on=NOW, starts_on=NOW, by=by
        )
        services.record_receipt(household=child.household, amount=as_amount(126), method=Method.CARD, on=NOW, by=by)
        voucher = services.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)
        services.record_lodgement_paid(lodgement=services.lodge_vouchers(scheme=scheme, on=NOW, by=by), on=PAID, by=by)
        services.take_back(charge=charge, on=LEFT, reason="left", by=by, keep=as_amount(30))
        assert selectors.payable_credit(child.household) == as_amount(26)
        services.give_back(voucher=voucher, on=BACK, by=by, **AS_ASKED)
        assert selectors.payable_credit(child.household) == as_amount(96), "70.00 of 100.00 went back, 30.00 pays"
        assert sound()


class TestThePaymentRun:
    @pytest.fixture
    def back(self, leave, give_back):
        leave()
        return give_back()

    @pytest.fixture
    def run(self, back, treasurer):
        clock.set_today(BACK)
        return bank.make_run(
            bank_account=BankAccount.objects.get(), method="single", pay_on=BACK, on=BACK, by=treasurer,
            give_backs=[back],
        )  # fmt: skip

    def test_it_is_paid_by_a_run_that_a_second_person_released(self, run, back, approver, treasurer):
        item = run.items.get()
        assert str(item) == "Voucher given back, invoice INV 77 to Department for Sport"
        with pytest.raises(Refused, match="your sign-in may not do that"):
            bank.release_run(run=run, on=BACK, by=treasurer)
        bank.release_run(run=run, on=BACK, by=approver)
        for _ in range(2):
            bank.record_paid(run=run, items=[item], on=BACK, by=treasurer)
        back.refresh_from_db()
        assert (back.state, balance(Role.OTHER_PAYABLES, BACK), balance(Role.BANK, BACK)) == ("paid", 0, 0)
        assert sound()
        item.refresh_from_db()
        bank.record_returned(item=item, on=BACK, reason="no such account", by=treasurer)
        back.refresh_from_db()
        assert (back.state, balance(Role.OTHER_PAYABLES, BACK), balance(Role.BANK, BACK)) == ("approved", -100, 100)
        assert sound()

    def test_once_in_one_run_and_never_by_a_file(self, run, back, treasurer):
        known = {"bank_account": BankAccount.objects.get(), "pay_on": BACK, "on": BACK, "by": treasurer}
        with pytest.raises(Refused, match="stands in another run"):
            bank.make_run(method="single", give_backs=[back], **known)
        bank.withdraw_run(run=run, on=BACK, reason="wrong day", by=treasurer)
        BankAccount.objects.update(bank_letters="SMP", user_name="CLUB", user_id="301500", remitter="CLUB")
        factories.paid_into(bsb="012-003", account_number="4500123")
        known["bank_account"] = BankAccount.objects.get()
        with pytest.raises(Refused, match="goes back by a single transfer"):
            bank.make_run(method="file", give_backs=[back], **known)
        assert bank.make_run(method="single", give_backs=[back], **known).items.count() == 1

    def test_the_treasurer_does_it_by_pages(self, client, paid, leave, treasurer, coordinator):
        leave()
        clock.set_today(BACK)
        client.force_login(treasurer)
        url = reverse("admin:fees_voucher_give-back", args=[paid.pk])
        told = client.get(url).content.decode()
        assert "Owed back" in told
        assert not GiveBack.objects.exists()
        client.post(url, AS_ASKED | {"on": "2026-10-03", "key": "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a09"})
        back = GiveBack.objects.get()
        page = client.get(reverse("admin:bank_paymentrun_add")).content.decode()
        assert "$100.00 to Department for Sport" in page
        sent = {"bank_account": BankAccount.objects.get().pk, "method": "single", "pay_on": "2026-10-03",
                "give_backs": [back.pk], "key": "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a10"}  # fmt: skip
        client.post(reverse("admin:bank_paymentrun_add"), sent)
        run = PaymentRun.objects.get()
        client.force_login(coordinator)
        shown = client.get(reverse("admin:bank_paymentrun_change", args=[run.pk])).content.decode()
        assert "BSB 012-003, 4500123" in shown
        listed = client.get(reverse("admin:fees_giveback_changelist")).content.decode()
        assert "INV 77" in listed
        other = client.get(url, follow=True)
        assert "Owed back" not in other.content.decode()


class TestWhatReportsShow:
    def test_the_statement_of_vouchers_the_familys_own_and_the_sheet(self, paid, leave, give_back, child):
        leave(keep=40)
        give_back()
        (row,) = accounts.acquittals(BACK)
        assert (row.paid, row.given_back) == ((1, Decimal("100.00")), (1, Decimal("60.00")))
        lines = accounts.statement(child.household, BACK).lines
        assert any("Voucher given back" in str(line) for line in lines)
        assert accounts.statement(child.household, BACK).closing == Decimal("-26.00")

    def test_money_that_went_back_is_no_income_by_cash_either(self, leave, give_back, treasurer, by):
        leave()
        back = give_back()
        clock.set_today(BACK)
        run = bank.make_run(
            bank_account=BankAccount.objects.get(), method="single", pay_on=BACK, on=BACK, by=treasurer,
            give_backs=[back],
        )  # fmt: skip
        bank.release_run(run=run, on=BACK, by=by)
        bank.record_paid(run=run, items=list(PaymentItem.objects.all()), on=BACK, by=treasurer)
        assert months_that_differ() == []
        assert _by_cash("courses", PAID) == 126, "it was income of the day on which the department paid"
        assert _by_cash("courses", BACK) == 0
        assert sound()


def _by_cash(role, until):
    line = Account.objects.get(role=role).pk
    return sum(amount for (_, of, against), amount in traced(until).items() if of == line and against == CASH)


class TestTheDatabase:
    def test_no_more_goes_back_than_was_paid(self, paid, leave, by):
        leave()
        row = {"voucher": paid, "household": paid.charge.household, "asked_on": BACK, "recorded_by": by, **AS_ASKED}
        with pytest.raises(IntegrityError, match="No more is owed back than"), transaction.atomic():
            GiveBack.objects.create(amount=as_amount("100.01"), **row)
        with pytest.raises(IntegrityError, match="fees_give_back_by_an_invoice"), transaction.atomic():
            GiveBack.objects.create(amount=as_amount(100), **(row | {"invoice": ""}))

    def test_a_voucher_goes_back_only_by_an_invoice(self, paid, leave):
        leave()
        with pytest.raises(IntegrityError, match="given back once it was paid"), transaction.atomic():
            Voucher.objects.update(state="returned", ended_on=BACK)
        with pytest.raises(IntegrityError, match="given back once it was paid"), transaction.atomic():
            Voucher.objects.update(amount=as_amount(40), given_back=as_amount(60))

    def test_what_was_given_back_stays_so(self, leave, give_back):
        leave(keep=40)
        give_back()
        with pytest.raises(IntegrityError, match="A voucher is given back once it was paid"), transaction.atomic():
            Voucher.objects.update(amount=as_amount(39), given_back=as_amount(61))

    @pytest.mark.parametrize("state", ["accepted", "lodged", "paid", "refused", "released"])
    def test_one_that_was_given_back_whole_is_nothing_else_again(self, leave, give_back, state):
        leave()
        give_back()
        assert Voucher.objects.get().state == "returned"
        with pytest.raises(IntegrityError, match="(?i)voucher|settled by more than its amount"), transaction.atomic():
            Voucher.objects.update(state=state)
