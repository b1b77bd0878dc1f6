"""Two people, or two families, that turn out to be one, and within a day two again."""

from datetime import date, timedelta

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock
from clubdesk.bank import services as bank
from clubdesk.bank.models import BankAccount
from clubdesk.courses import services as courses
from clubdesk.desk.erasing import erase_person
from clubdesk.errors import Refused
from clubdesk.fees import selectors
from clubdesk.fees import services as fees
from clubdesk.fees.models import Charge, FeeKind, Method, Receipt
from clubdesk.finding import read
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import JournalEntry, Role
from clubdesk.ledger.selectors import entries_of
from clubdesk.mail.models import Message
from clubdesk.membership import services as membership
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from clubdesk.roll import links
from clubdesk.roll import services as roll
from clubdesk.roll.finding import families as found_families
from clubdesk.roll.models import Consent, Guardian, Household, Merge, Person
from clubdesk.roll.selectors import payment_reference
from clubdesk.roll.services.merging import columns_to
from clubdesk.verbs import shell_user
from tests import factories
from tests.forms import form_of
from tests.roll.rows import balances, rows

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)


def faults():
    return [fault for result in check_all() for fault in result.faults]


def home(name, *children):
    made = factories.HouseholdFactory(name=name, guardian=f"Ida {name}", email=f"{name.split()[0]}@example.org")
    return made, [factories.PersonFactory(household=made, given_name=child) for child in children]


def owes(household, by, amount="126.00", person=None, kind=FeeKind.OTHER):
    price = factories.price(kind, amount, Role.DONATIONS, code=f"{kind}{Charge.objects.count()}")
    return fees.charge(household=household, person=person, price=price, on=NOW, starts_on=NOW, by=by)


def pays(household, by, amount):
    return fees.record_receipt(household=household, amount=as_amount(amount), method=Method.CARD, on=NOW, by=by)


def merge(one, other, by, on=NOW):
    if isinstance(one, Household):
        return roll.merge_families(household=one, other=other, on=on, by=by)
    return roll.merge_people(person=one, other=other, on=on, by=by)


def undo(done, by, on=NOW):
    return roll.undo_merge(merge=done, on=on, by=by)


class TestFamilies:
    def test_one_entry_moves_what_the_other_owed(self, by):
        one, other = home("Quoll")[0], home("Quol")[0]
        owes(one, by, "100.00"), owes(other, by, "40.00")
        before = JournalEntry.objects.count()
        done = merge(one, other, by)
        assert JournalEntry.objects.count() == before + 1
        entry = entries_of(done).get()
        lines = sorted((line.party.name, line.amount.amount) for line in entry.postings.all())
        assert lines == [("Quol", -40), ("Quoll", 40)]
        assert selectors.balance(one) == as_amount(140)
        assert faults() == []

    def test_what_one_had_paid_ahead_pays_what_the_other_owes(self, by):
        one, other = home("Quoll")[0], home("Quol")[0]
        charge, _ = owes(one, by, "100.00"), pays(other, by, 130)
        merge(one, other, by)
        assert selectors.open_amount(charge) == as_amount(0)
        assert selectors.balance(one) == as_amount(-30)
        assert faults() == []

    def test_without_balances_there_is_no_entry(self, by):
        one, other = home("Quoll")[0], home("Quol")[0]
        before = JournalEntry.objects.count()
        assert merge(one, other, by).moves_money is False
        assert JournalEntry.objects.count() == before
        assert faults() == []

    def test_a_receipt_of_before_is_cancelled_for_the_one_that_stays(self, by):
        one, other = home("Quoll")[0], home("Quol")[0]
        owes(other, by, "100.00")
        receipt = pays(other, by, 60)
        merge(one, other, by)
        with pytest.raises(Refused, match="Quol was merged into Quoll meanwhile; open the page again"):
            fees.cancel_receipt(receipt=receipt, on=NOW, reason="bounced", by=by)
        fees.cancel_receipt(receipt=Receipt.objects.get(), on=NOW, reason="bounced", by=by)
        assert selectors.balance(one) == as_amount(100)
        assert faults() == []

    def test_its_people_guardians_consents_and_sign_ins_come_along(self, by):
        (one, _), (other, _children) = home("Quoll", "Ada"), home("Quol", "Bo")
        helper = User.objects.create(username="helper", is_staff=True)
        roll.add_to_family(household=other, user=helper, by=by)
        Consent.objects.create(household=other, given_by="Ida", wording="I agree.")
        merge(one, other, by)
        assert set(one.people.values_list("given_name", flat=True)) == {"Ada", "Bo"}
        assert (one.guardians.count(), one.consents.count(), one.belongings.get().user) == (2, 1, helper)
        assert other.people.count() == 0
        assert Household.objects.filter(pk=other.pk).count() == 0
        assert faults() == []

    def test_its_payment_reference_and_its_links_lead_to_the_one_that_stays(self, by):
        one, other = home("Quoll")[0], home("Quol")[0]
        address, reference = links.path_for(other.guardians.get(), "account:own"), payment_reference(other)
        merge(one, other, by)
        found, _ = links.read(address.rstrip("/").rpartition("/")[2])
        assert links.guardian_of(found).household == one
        assert [hit.name for hit in found_families(read(reference), 5)] == ["Quoll"]

    def test_a_sign_in_that_belongs_to_both_families_belongs_to_one_of_them_once(self, by, coordinator):
        one, other = home("Quoll")[0], home("Quol")[0]
        for each in (one, other):
            roll.add_to_family(household=each, user=coordinator, by=by)
        merge(one, other, by)
        assert one.belongings.get().user == coordinator
        assert faults() == []

    def test_nobody_merges_their_own_family(self, coordinator):
        one, other = home("Quoll")[0], home("Quol")[0]
        roll.add_to_family(household=other, user=coordinator, by=shell_user())
        with pytest.raises(Refused, match="nobody decides about the money of their own family"):
            merge(one, other, coordinator)
        assert other.now == other

    def test_three_entries_of_one_family_become_one(self, by):
        one, other, third = (home(name)[0] for name in ("Quoll", "Quol", "Qoll"))
        for each in (one, other, third):
            owes(each, by, "10.00")
        merge(other, third, by)
        merge(one, other, by)
        third = Household.everyone.get(pk=third.pk)
        assert (third.now, third.merged_into, third.party.now) == (one, one, one.party)
        assert selectors.balance(one) == as_amount(30)
        assert faults() == []


class TestWhatCannotBothStand:
    def refused(self, one, other, by, words):
        before = rows()
        with pytest.raises(Refused, match=words):
            merge(one, other, by)
        assert rows() == before

    def test_a_family_is_not_merged_into_itself(self, by):
        one, _ = home("Quoll")
        self.refused(one, one, by, "That is Quoll already; choose the other of the two.")

    def test_who_was_merged_already_leads_on(self, by):
        one, other, third = (home(name)[0] for name in ("Quoll", "Quol", "Qoll"))
        merge(one, other, by)
        self.refused(third, other, by, "Quol was merged into Quoll already; go on with that one.")

    def test_parts_that_one_of_them_agreed_on(self, by):
        one, other = home("Quoll")[0], home("Quol")[0]
        owes(other, by, "100.00")
        fees.agree_parts(household=other, parts=[(NOW, as_amount(100))], on=NOW, by=by)
        self.refused(one, other, by, "Quol pays in parts: end its arrangement first, and agree anew afterwards.")

    def test_a_payment_on_its_way(self, by):
        factories.direct_entry()
        one, other = home("Quoll")[0], home("Quol")[0]
        pays(other, by, 30)
        factories.bank_details(other, by)
        bank.make_run(
            bank_account=BankAccount.objects.get(), claims=[], expenses=[], credits=[other], on=NOW, pay_on=NOW, by=by,
            method="file",
        )  # fmt: skip
        self.refused(one, other, by, "A payment run still pays Quol something")

    def test_bank_details_of_which_nobody_said_which_are_right(self, by):
        one, other = home("Quoll")[0], home("Quol")[0]
        factories.bank_details(one, by, number="123456"), factories.bank_details(other, by, number="654321")
        self.refused(one, other, by, "ask which are right, and note them for Quoll first")
        factories.bank_details(one, by, number="123456", title="Ida Quoll")
        merge(one, other, by)
        assert one.bank_details.first().account_number == "123456"
        assert faults() == []

    def test_two_places_in_one_course(self, by):
        (_, [one]), (_, [other]) = home("Quoll", "Ada"), home("Quol", "Ada")
        cohort = factories.cohort()
        for person in (one, other):
            courses.book_place(person=person, cohort=cohort, on=NOW, by=by)
        self.refused(one, other, by, "Both have a place in Beginner course, or wait for one")
        courses.withdraw_place(place=other.places.get(), on=NOW, reason="twice", by=by)
        merge(one, other, by)
        assert one.places.count() == 2
        assert faults() == []

    def test_two_memberships_of_one_day(self, by):
        (_, [one]), (_, [other]) = home("Quoll", "Ada"), home("Quol", "Ada")
        plan = factories.plan()
        taken = [
            membership.take_out_membership(person=each, plan=plan, starts_on=NOW, on=NOW, by=by)
            for each in (one, other)
        ]
        self.refused(one, other, by, "cancel one of the two memberships first")
        membership.cancel_membership(membership=taken[1], on=NOW, reason="twice", by=by)
        merge(one, other, by)
        assert faults() == []

    def test_more_vouchers_than_one_child_has(self, by):
        (first, [one]), (second, [other]) = home("Quoll", "Ada"), home("Quol", "Ada")
        scheme, vouchers = factories.scheme(), []
        for number, (family, child) in enumerate(((first, one), (second, other))):
            charge = owes(family, by, person=child, kind=FeeKind.COURSE)
            vouchers.append(fees.accept_voucher(scheme=scheme, charge=charge, code=f"SV{number}", on=NOW, by=by))
        self.refused(one, other, by, "2 vouchers of State sport voucher in 2026, and one child has 1")
        fees.release_voucher(voucher=vouchers[1], on=NOW, reason="twice", by=by)
        merge(one, other, by)
        assert faults() == []

    def test_two_sign_ons_for_one_day(self, by):
        factories.hire()
        day = factories.range_day()
        (_, [one]), (_, [other]) = home("Quoll", "Ada"), home("Quol", "Ada")
        for person in (one, other):
            rangeday.sign_on(range_day=day, person=person, gear=Gear.HIRE, paid=Paid.CARD, by=by)
        self.refused(one, other, by, "cancel one of the two sign-ons first")

    def test_somebody_whose_details_were_erased(self, by):
        (_, [one]), (_, [other]) = home("Quoll", "Ada"), home("Quol", "Ada")
        erase_person(person=other, on=NOW, by=by)
        self.refused(one, other, by, "were erased; nobody can say any more who that was")


class TestUndoing:
    @pytest.fixture
    def families(self, by):
        """Two that owe and have paid ahead, with a child each that has done everything a child does."""
        factories.hire()
        plan, scheme, day = factories.plan(), factories.scheme(), factories.range_day()
        cohort, made = factories.cohort(capacity=4), []
        for name, number in (("Quoll", 1), ("Quol", 2)):
            household, [child] = home(name, "Ada")
            if number == 2:
                membership.take_out_membership(person=child, plan=plan, starts_on=NOW, on=NOW, by=by)
                place = courses.book_place(person=child, cohort=cohort, on=NOW, by=by)
                fees.accept_voucher(scheme=scheme, charge=place.charge, code="SV1", on=NOW, by=by)
                rangeday.sign_on(range_day=day, person=child, gear=Gear.HIRE, paid=Paid.ACCOUNT, by=by)
                Consent.objects.create(household=household, given_by="Ida", wording="I agree.")
                factories.bank_details(household, by)
            pays(household, by, 500 if number == 1 else 20)
            made.append((household, child))
        return made

    def test_merging_and_undoing_changes_nothing(self, families, by):
        (one, _), (other, _) = families
        before, stood = rows(), balances()
        undo(merge(one, other, by), by)
        assert rows() == before
        assert balances() == stood
        assert faults() == []

    def test_nor_does_it_where_the_other_one_stays(self, families, by):
        (one, _), (other, _) = families
        before, stood = rows(), balances()
        undo(merge(other, one, by), by, NOW + timedelta(days=1))
        assert rows() == before
        assert balances() == stood
        assert faults() == []

    def test_nor_with_two_people(self, families, by):
        (_, one), (_, other) = families
        before = rows()
        done = merge(one, other, by)
        assert one.memberships.count() == one.places.count() == one.vouchers.count() == one.sign_ons.count() == 1
        assert Person.objects.filter(pk=other.pk).count() == 0
        assert faults() == []
        undo(done, by)
        assert rows() == before
        assert faults() == []

    def test_nothing_of_theirs_is_left_behind(self, families, by):
        (one, child), (other, twin) = families
        merge(child, twin, by), merge(one, other, by)
        for gone in (other, twin):
            for model, field in columns_to(type(gone)):
                assert model._base_manager.filter(**{field.name: gone.pk}).count() == 0, (model, field)
        assert faults() == []

    def test_it_is_undone_once(self, families, by):
        (one, _), (other, _) = families
        done = merge(one, other, by)
        undo(done, by)
        entries = JournalEntry.objects.count()
        assert undo(done, by).undone_on == NOW
        assert JournalEntry.objects.count() == entries

    def test_after_a_day_it_is_too_late(self, families, by):
        (one, _), (other, _) = families
        done = merge(one, other, by)
        with pytest.raises(Refused, match="it can be undone only within a day"):
            undo(done, by, NOW + timedelta(days=2))
        assert Household.everyone.get(pk=other.pk).now == one

    def test_once_something_was_recorded_nobody_can_say_whose_it_is(self, families, by):
        (one, child), (other, twin) = families
        done, people = merge(one, other, by), merge(child, twin, by)
        receipt = pays(one, by, 10)
        courses.record_reach_check(person=child, checked_by="Jo", on=NOW, by=by)
        with pytest.raises(Refused, match=f"{receipt} was recorded for Quoll since"):
            undo(done, by)
        with pytest.raises(Refused, match="Draw check .* was recorded for Ada Quoll since"):
            undo(people, by)
        assert faults() == []

    def test_the_same_two_are_merged_anew(self, families, by):
        (one, _), (other, _) = families
        undo(merge(one, other, by), by)
        merge(one, other, by)
        assert Household.everyone.get(pk=other.pk).now == one
        assert faults() == []


class TestErasing:
    def test_with_the_one_goes_the_other(self, by):
        (one, [child]), (other, [twin]) = home("Quoll", "Ada"), home("Quol", "Ada")
        Consent.objects.create(household=other, given_by="Ida Quol", wording="I agree.")
        merge(one, other, by), merge(child, twin, by)
        with clock.on(date(2040, 1, 1)):
            erase_person(person=child, on=date(2040, 1, 1), by=by)
        names = {str(each) for each in (*Person.everyone.all(), *Household.everyone.all(), *Guardian.objects.all())}
        assert not [name for name in names if "Quol" in name or "Ada" in name]
        assert Consent.objects.get().given_by == "Erased"


class TestTheDatabase:
    def writes(self, statement):
        with connection.cursor() as cursor:
            cursor.execute(statement)

    def test_a_fee_leads_to_another_family_only_by_a_merge(self, by):
        one, other = home("Quoll")[0], home("Quol")[0]
        charge = owes(other, by)
        with pytest.raises(IntegrityError, match="A charge keeps what the ledger says of it"), transaction.atomic():
            self.writes(f"UPDATE fees_charge SET household_id = {one.pk} WHERE id = {charge.pk}")
        third = home("Wren")[0]
        merge(one, other, by)
        with pytest.raises(IntegrityError, match="A charge keeps what the ledger says of it"), transaction.atomic():
            self.writes(f"UPDATE fees_charge SET household_id = {third.pk} WHERE id = {charge.pk}")
        with pytest.raises(IntegrityError, match="A charge keeps what the ledger says of it"), transaction.atomic():
            self.writes(f"UPDATE fees_charge SET household_id = {other.pk} WHERE id = {charge.pk}")
        assert Charge.objects.get().household == one

    def test_nothing_new_is_written_about_who_was_merged(self, by):
        (one, _), (other, _) = home("Quoll"), home("Quol")
        merge(one, other, by)
        with pytest.raises(IntegrityError, match="was merged into another; choose that one"), transaction.atomic():
            Message.objects.create(about="x", household=other, subject="x", body="x", state="no_address")
        with pytest.raises(IntegrityError, match="Two become one by their own page"), transaction.atomic():
            Household.everyone.filter(pk=one.pk).update(merged_into=other)
        assert Merge.objects.count() == 1


class TestThePages:
    @pytest.fixture
    def desk(self, client, coordinator):
        client.force_login(coordinator)
        return client

    def test_a_family_is_merged_once_it_was_seen_what_becomes_of_it(self, desk, by):
        (one, _), (other, _) = home("Quoll", "Ada"), home("Quol", "Bo")
        owes(other, by, "40.00")
        url = reverse("admin:roll_household_merge", args=[one.pk])
        shown = desk.post(url, form_of(desk.get(url), other=str(other.pk)))
        words = shown.content.decode()
        assert "<dt>Becomes the same</dt><dd>Quol</dd>" in words
        assert "1 guardian" in words
        assert "1 charge" in words
        assert "$40.00 goes over to Quoll" in words
        assert other.now == other
        done = desk.post(url, form_of(shown), follow=True).content.decode()
        assert "Quol is the same as Quoll from now on. It can be undone until tomorrow, below." in done
        assert selectors.balance(one) == as_amount(40)
        led = desk.get(reverse("admin:roll_household_change", args=[other.pk]), follow=True)
        assert led.redirect_chain == [(reverse("admin:roll_household_change", args=[one.pk]), 302)]
        page = desk.get(reverse("admin:roll_merge_undo", args=[Merge.objects.get().pk]))
        undone = desk.post(page.request["PATH_INFO"], form_of(page), follow=True).content.decode()
        assert "Quol and Quoll are two again." in undone
        assert faults() == []

    def test_who_may_be_the_same_stands_on_the_page_and_leads_to_what_becomes_of_it(self, desk, by):
        (_, [one]), (_, [other]) = home("Quoll", "Ada"), home("Quol", "Ada")
        Person.objects.filter(pk=other.pk).update(family_name="Quoll")
        url = reverse("admin:roll_person_merge", args=[one.pk])
        page = desk.get(reverse("admin:roll_person_change", args=[one.pk])).content.decode()
        assert f'href="{url}?other={other.pk}"' in page
        shown = desk.get(f"{url}?other={other.pk}")
        assert "<dt>Becomes the same</dt><dd>Ada Quoll</dd>" in shown.content.decode()
        desk.post(url, form_of(shown))
        assert Person.everyone.get(pk=other.pk).now == one

    def test_a_child_that_stands_twice_in_the_family_is_found_there(self, desk, by):
        (one, [child]), (other, [twin]) = home("Quoll", "Ada"), home("Quol", "Ada")
        Person.objects.filter(pk=twin.pk).update(family_name="Quoll")
        merge(one, other, by)
        page = desk.get(reverse("admin:roll_household_change", args=[one.pk])).content.decode()
        assert f"{reverse('admin:roll_person_merge', args=[child.pk])}?other={twin.pk}" in page

    def test_what_cannot_both_stand_is_said_in_place_of_what_becomes_of_it(self, desk, by):
        (_, [one]), (_, [other]) = home("Quoll", "Ada"), home("Quol", "Ada")
        cohort = factories.cohort()
        for person in (one, other):
            courses.book_place(person=person, cohort=cohort, on=NOW, by=by)
        shown = desk.get(f"{reverse('admin:roll_person_merge', args=[one.pk])}?other={other.pk}")
        assert "Both have a place in Beginner course" in shown.content.decode()
        refused = desk.post(shown.request["PATH_INFO"], form_of(shown))
        assert refused.status_code == 422
        assert Person.objects.filter(pk=other.pk).count() == 1

    def test_a_familys_page_asks_as_often_however_many_are_alike(self, desk):
        one, _ = home("Quoll", "Ada")
        url, asked = reverse("admin:roll_household_change", args=[one.pk]), []
        for number in (1, 12):
            for _ in range(number):
                alike, _ = home("Quoll", "Ada")
                Person.objects.filter(household=alike).update(family_name="Quoll")
            desk.get(url)
            with CaptureQueriesContext(connection) as queries:
                assert f"{alike}" in desk.get(url).content.decode()
            asked.append(len(queries))
        assert asked[0] == asked[1]
