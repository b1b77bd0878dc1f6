"""Giving a voucher back to its department is undone: the voucher, the fee and the year are as they were before."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.errors import Refused
from clubdesk.fees import accounts, counting, selectors, services
from clubdesk.fees.models import ChargeCredit, GiveBack, GivesBack, Method, Receipt, Voucher, VoucherScheme
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.selectors import balance
from clubdesk.mail.models import Message
from clubdesk.money import as_amount
from tests import factories
from tests.fees.conftest import AS_ASKED, BACK, LEFT, NOW, PAID

pytestmark = pytest.mark.django_db
PAID_LATE, LATER = date(2026, 9, 28), date(2026, 10, 10)


def sound():
    assert [each for result in check_all() for each in result.faults] == []
    return True


def amounts(*typed):
    return tuple(as_amount(each) for each in typed)


def ruled(**rules):
    VoucherScheme.objects.update(**rules)


@pytest.fixture
def child(book):
    return factories.PersonFactory(household=factories.HouseholdFactory(guardian="Ida", email="ida@example.org"))


class TestNotAfterAll:
    """The department takes its invoice back, or the wrong voucher was given back: it pays as before."""

    @pytest.fixture
    def undo(self, by):
        def undone(on=LATER, reason="the department took its invoice back"):
            return bank.undo_give_back(back=GiveBack.objects.get(undone_on=None), on=on, reason=reason, by=by)

        return undone

    @pytest.mark.parametrize("rule", ["rest", "whole"])
    @pytest.mark.parametrize("keep", [0, 40])
    def test_all_is_as_it_was_before(self, paid, leave, give_back, undo, child, scheme, rule, keep):
        ruled(gives_back=rule)
        leave(keep=keep)
        before = standing(child, scheme)
        give_back()
        assert standing(child, scheme) != before
        back = undo()
        assert (back.state, back.undone_on, back.undo_reason) == (
            "undone", LATER, "the department took its invoice back",
        )  # fmt: skip
        assert standing(child, scheme) == before
        assert sound()

    def test_undone_again_it_is_the_same_and_nothing_is_posted_twice(self, leave, give_back, undo, by):
        leave()
        give_back()
        back, posted = undo(), JournalEntry.objects.count()
        assert bank.undo_give_back(back=back, on=LATER, reason="again", by=by) == back
        assert JournalEntry.objects.count() == posted

    def test_it_can_be_given_back_anew_by_another_invoice(self, leave, give_back, undo, child, scheme):
        leave(keep=40)
        first = give_back()
        given = standing(child, scheme)
        undo()
        second = give_back(invoice="INV 78", on=LATER)
        assert (second.pk != first.pk, second.amount, standing(child, scheme)) == (True, as_amount(60), given)
        assert sound()

    def test_its_entry_of_a_locked_month_is_reversed_on_an_open_day(self, leave, give_back, undo, child, scheme, by):
        leave()
        before = standing(child, scheme)
        give_back(on=PAID_LATE)
        clock.set_today(date(2026, 10, 20))
        ledger.lock_month(month_end=date(2026, 9, 30), reason="told to the committee", by=by)
        with pytest.raises(Refused, match="locked"):
            undo(on=PAID_LATE)
        undo(on=BACK)
        assert standing(child, scheme) == before
        assert balance(Role.OTHER_PAYABLES, PAID_LATE) == -100, "September stays as it was told"
        assert sound()

    def test_what_the_family_paid_in_its_place_is_its_credit(self, leave, give_back, undo, child, by):
        ruled(gives_back=GivesBack.WHOLE)
        leave(keep=40)
        give_back()
        services.record_receipt(household=child.household, amount=as_amount(14), method=Method.CARD, on=BACK, by=by)
        assert selectors.balance(child.household) == as_amount(0)
        undo()
        assert selectors.unused_credit(child.household) == as_amount(40)
        assert selectors.balance(child.household) == as_amount(-40)
        assert sound()

    def test_what_it_tied_of_a_receipt_is_tied_again(self, scheme, child, undo, by):
        voucher = tying(scheme, child, by)
        services.take_back(charge=voucher.charge, on=LEFT, reason="left", by=by, keep=as_amount(30))
        services.give_back(voucher=voucher, on=BACK, by=by, **AS_ASKED)
        assert selectors.payable_credit(child.household) == as_amount(96)
        undo()
        assert selectors.payable_credit(child.household) == as_amount(26)
        assert sound()

    def test_nothing_is_tied_of_a_receipt_that_was_cancelled_since(self, scheme, child, undo, by):
        voucher = tying(scheme, child, by)
        services.take_back(charge=voucher.charge, on=LEFT, reason="left", by=by, keep=as_amount(30))
        services.give_back(voucher=voucher, on=BACK, by=by, **AS_ASKED)
        services.cancel_receipt(receipt=Receipt.objects.get(), on=BACK, reason="bounced", by=by)
        undo()
        assert selectors.balance(child.household) == as_amount(0)
        assert sound()

    def test_the_child_whose_fee_was_called_off_has_its_voucher_for_the_next(self, scheme, child, undo, by):
        charge = services.charge(
            household=child.household, person=child, price=factories.price(), on=NOW, starts_on=BACK, by=by
        )
        voucher = services.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)
        services.record_lodgement_paid(lodgement=services.lodge_vouchers(scheme=scheme, on=NOW, by=by), on=PAID, by=by)
        services.call_off(charge=charge, on=LEFT, reason="flood", by=by)
        services.give_back(voucher=voucher, on=BACK, by=by, **AS_ASKED)
        undo()
        assert selectors.vouchers_for_a_next_fee().get() == voucher
        assert (balance(Role.FEES_IN_ADVANCE, LATER), balance(Role.OTHER_PAYABLES, LATER)) == (-100, 0)
        assert sound()

    def test_refused_while_in_a_run_and_once_paid(self, leave, give_back, undo, treasurer, by):
        leave()
        back = give_back()
        clock.set_today(BACK)
        asked = {"bank_account": BankAccount.objects.get(), "method": "single", "pay_on": BACK, "on": BACK}
        run = bank.make_run(by=treasurer, give_backs=[back], **asked)
        with pytest.raises(Refused, match="remove it from that first"):
            undo()
        with pytest.raises(IntegrityError, match="remove it from that first"), transaction.atomic():
            GiveBack.objects.update(state="undone", undone_on=BACK)
        bank.leave_out(item=run.items.get(), on=BACK, reason="asked by mistake", by=treasurer)
        undo()
        with pytest.raises(Refused, match="is paid, or stands in another run"):
            bank.make_run(by=treasurer, give_backs=[back], **asked)
        again = give_back(invoice="INV 78", on=LATER)
        services.pay_give_back(back=again, on=LATER, by=by)
        with pytest.raises(Refused, match="It was paid to the department"):
            undo()
        assert sound()

    @pytest.mark.parametrize(("asked", "sentence"), [
        ({"reason": " "}, "Say why"), ({"on": PAID}, "It is owed since 3 Oct 2026"),
    ])  # fmt: skip
    def test_a_reason_and_a_day_are_asked_for(self, leave, give_back, undo, asked, sentence):
        leave()
        give_back()
        with pytest.raises(Refused, match=sentence):
            undo(**asked)

    @pytest.mark.parametrize("code", ["SV1", "SV2"])
    def test_refused_where_another_voucher_has_its_place_in_the_year(
        self, leave, give_back, undo, child, scheme, by, code
    ):
        leave()
        give_back()
        charge = services.charge(
            household=child.household, person=child, price=factories.price(amount="90.00", code="next"), on=BACK,
            starts_on=BACK, by=by,
        )  # fmt: skip
        other = services.accept_voucher(scheme=scheme, charge=charge, code=code, on=BACK, by=by)
        with pytest.raises(Refused, match="has used a voucher of State sport voucher in 2026 already. Where that"):
            undo()
        services.release_voucher(voucher=other, on=BACK, reason="the other one counts", by=by)
        undo()
        assert sound()

    def test_refused_where_somebody_else_has_its_code(self, leave, give_back, undo, scheme, by):
        leave()
        give_back()
        other = factories.PersonFactory()
        charge = services.charge(
            household=other.household, person=other, price=factories.price(amount="90.00", code="next"), on=BACK,
            starts_on=BACK, by=by,
        )  # fmt: skip
        services.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=BACK, by=by)
        with pytest.raises(Refused, match="A voucher with this code was taken since"):
            undo()

    def test_refused_where_the_fee_was_charged_again(self, paid, leave, give_back, undo, child, by):
        leave()
        give_back()
        again = services.charge(
            household=child.household, person=child, price=paid.charge.price, on=BACK, starts_on=BACK, by=by,
            description=paid.charge.description,
        )  # fmt: skip
        with pytest.raises(Refused, match="was charged again since, on 3 Oct 2026; withdraw from that first"):
            undo()
        services.take_back(charge=again, on=BACK, reason="left", by=by)
        undo()
        assert sound()

    def test_refused_where_the_fee_was_credited_or_written_off_since(self, paid, leave, give_back, undo, child, by):
        ruled(gives_back=GivesBack.WHOLE)
        leave(keep=40)
        give_back()
        lost = services.write_off(charge=paid.charge, amount=as_amount(5), on=BACK, reason="moved", by=by)
        with pytest.raises(Refused, match="only .95.00 is left to pay, since a part was written off"):
            undo()
        services.take_up_again(write_off=lost, on=BACK, reason="paid after all", by=by)
        services.credit_charge(charge=paid.charge, amount=as_amount(5), on=BACK, reason="kindness", by=by)
        with pytest.raises(Refused, match="was credited otherwise since"):
            undo()

    def test_refused_where_the_rest_of_the_fee_became_income_since(self, scheme, child, undo, by):
        charge = services.charge(
            household=child.household, person=child, price=factories.price(), on=NOW, starts_on=LATER, by=by
        )
        voucher = services.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)
        services.record_lodgement_paid(lodgement=services.lodge_vouchers(scheme=scheme, on=NOW, by=by), on=PAID, by=by)
        services.take_back(charge=charge, on=LEFT, reason="left", by=by, keep=as_amount(40))
        services.give_back(voucher=voucher, on=BACK, by=by, **AS_ASKED)
        services.recognise_due(on=LATER, by=by)
        with pytest.raises(Refused, match="became income on 10 Oct 2026"):
            undo()

    def test_refused_where_what_it_took_the_place_of_was_paid_back(self, scheme, child, undo, by):
        voucher = tying(scheme, child, by)
        services.take_back(charge=voucher.charge, on=LEFT, reason="left", by=by)
        services.give_back(voucher=voucher, on=BACK, by=by, **AS_ASKED)
        services.repay_credit(household=child.household, amount=as_amount(126), on=BACK, by=by)
        with pytest.raises(Refused, match="Receipt 1, which the voucher took the place of, was paid back"):
            undo()

    def test_the_treasurer_does_it_by_its_page(self, client, paid, leave, give_back, treasurer, coordinator):
        leave(keep=40)
        back = give_back()
        clock.set_today(LATER)
        url = reverse("admin:fees_giveback_undo", args=[back.pk])
        client.force_login(coordinator)
        assert client.get(url).status_code == 403
        client.force_login(treasurer)
        told = client.get(url).content.decode()
        assert "The voucher pays" in told
        assert "$100.00" in told
        client.post(url, {"on": "2026-10-10", "reason": "taken back", "key": "5b1f0a57-54a1-4a3e-8f5f-1b9d7b0e6a19"})
        paid.refresh_from_db()
        assert (paid.amount, paid.given_back, paid.give_back) == (*amounts(100, 0), None)
        assert "Undone" in client.get(reverse("admin:fees_giveback_changelist")).content.decode()

    def test_the_familys_statement_shows_none_of_it(self, leave, give_back, undo, child):
        leave(keep=40)
        before = accounts.statement(child.household, LATER).lines
        give_back()
        undo()
        assert accounts.statement(child.household, LATER).lines == before

    def test_the_database_keeps_what_stands(self, paid, leave, give_back, undo):
        ruled(gives_back=GivesBack.WHOLE)
        leave(keep=126)
        give_back()
        with pytest.raises(IntegrityError, match="until giving it back is undone"), transaction.atomic():
            Voucher.objects.update(state="paid", ended_on=None)
        undo()
        leave(keep=40)
        back = give_back(invoice="INV 78")
        with pytest.raises(IntegrityError, match="undone only where it came of a voucher"), transaction.atomic():
            ChargeCredit.objects.filter(pk=back.credit_id).update(cancelled_on=BACK)
        undo()
        with pytest.raises(IntegrityError, match="states of a voucher given back follow"), transaction.atomic():
            GiveBack.objects.update(state="approved", undone_on=None)


def tying(scheme, child, by):
    """A paid voucher of 100.00 that took the place of the family's own money, which is never given back as money."""
    ruled(no_money_back=True)
    scheme.refresh_from_db()
    charge = services.charge(
        household=child.household, person=child, price=factories.price(), on=NOW, starts_on=NOW, by=by
    )
    services.record_receipt(household=child.household, amount=as_amount(126), method=Method.CARD, on=NOW, by=by)
    voucher = services.accept_voucher(scheme=scheme, charge=charge, code="SV1", on=NOW, by=by)
    services.record_lodgement_paid(lodgement=services.lodge_vouchers(scheme=scheme, on=NOW, by=by), on=PAID, by=by)
    return voucher


def standing(child, scheme):
    """All that giving back changes: the voucher, the year's count, the family's account and the accounts."""
    voucher = Voucher.objects.get()
    return (
        voucher.state, voucher.amount, voucher.given_back, voucher.ended_on, voucher.end_reason,
        counting.used_in(scheme, child, 2026).count(),
        selectors.balance(child.household), selectors.unused_credit(child.household),
        *(balance(role, LATER) for role in (Role.OTHER_PAYABLES, Role.COURSES, Role.FEES_OWED, Role.VOUCHERS_OWED)),
    )  # fmt: skip


class TestTheFamilyIsTold:
    """Once it was asked for what the voucher had paid, and only then."""

    @pytest.fixture(autouse=True)
    def today(self):
        clock.set_today(LATER)

    def told(self):
        return Message.objects.filter(about__contains="not given back")

    def test_that_it_owes_it_no_longer_and_how_it_stands(self, leave, give_back, child, by):
        ruled(gives_back=GivesBack.WHOLE)
        leave(keep=40)
        back = give_back()
        services.record_receipt(household=child.household, amount=as_amount(14), method=Method.CARD, on=BACK, by=by)
        for _ in range(2):
            bank.undo_give_back(back=back, on=LATER, reason="taken back", by=by)
        letter = self.told().get()
        assert letter.household == child.household
        assert "was not given back after all: taken back." in letter.body
        assert "So it pays $40.00 of the fee again, and you no longer owe that." in letter.body
        assert "Your account with the club now: $40.00 in credit." in letter.body

    def test_what_it_owes_otherwise_is_still_asked_for(self, leave, give_back, child, by):
        ruled(gives_back=GivesBack.WHOLE)
        leave(keep=126)
        back, price = give_back(), factories.price(amount="30.00", code="other")
        services.charge(household=child.household, price=price, on=BACK, starts_on=BACK, by=by)
        bank.undo_give_back(back=back, on=LATER, reason="taken back", by=by)
        assert "now: $30.00 to pay." in self.told().get().body
        assert "Please pay $30.00 by" in self.told().get().body

    def test_the_page_says_that_a_letter_goes_out(self, leave, give_back, client, treasurer):
        ruled(gives_back=GivesBack.WHOLE)
        leave(keep=40)
        back = give_back()
        client.force_login(treasurer)
        url = reverse("admin:fees_giveback_undo", args=[back.pk])
        assert "1 letter goes out" in client.get(url).content.decode()
        assert not self.told().exists()

    def test_nobody_is_told_who_was_asked_for_nothing(self, leave, give_back, by):
        leave(keep=40)
        bank.undo_give_back(back=give_back(), on=LATER, reason="taken back", by=by)
        assert not self.told().exists()
