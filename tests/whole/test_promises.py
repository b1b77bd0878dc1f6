"""What a page promises of its verb is what the verb then does, to the cent and to the letter."""

import re
import uuid
from datetime import date, timedelta

import pytest
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import services as courses
from clubdesk.courses.models import Booking, PlaceState, RefundStep
from clubdesk.desk.house.pages import screens
from clubdesk.fees import selectors as fees
from clubdesk.fees import services as charging
from clubdesk.fees.models import Charge, ChargeCredit, Method, Voucher, VoucherScheme
from clubdesk.ledger import services as ledger
from clubdesk.ledger.models import JournalEntry
from clubdesk.mail.models import Message, MessageState
from clubdesk.membership import services as membership
from clubdesk.membership.models import Membership, Plan, Refund
from clubdesk.money import as_amount, shown, total
from clubdesk.screens.verbs import VerbPage
from tests import factories
from tests.courses.families import family, sound
from tests.forms import agreed, form_of

pytestmark = pytest.mark.django_db
NOW, OCTOBER, FEBRUARY = date(2026, 9, 12), date(2026, 10, 4), date(2027, 2, 7)


def amounts(text):
    return re.findall(r"−?\$[\d,]+\.\d\d", text)


def facts_of(response):
    pairs = re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", response.content.decode(), re.DOTALL)
    return {label: re.sub(r"<[^>]+>", "", said).strip() for label, said in pairs}


class Desk:
    """Opens the page of a verb, presses its button, and measures the book before and after."""

    def __init__(self, client):
        self.client = client

    def does(self, url, **typed):
        before = self.rows()
        page = self.client.get(url)
        assert self.rows() == before
        answer = self.client.post(url, form_of(page, key=str(uuid.uuid4()), **typed), follow=True)
        assert answer.status_code == 200, answer.content.decode()
        assert sound()
        return facts_of(page), Deed(before), answer.content.decode()

    @staticmethod
    def rows():
        return [
            set(model.objects.values_list("pk", flat=True)) for model in (ChargeCredit, Charge, Message, JournalEntry)
        ]


class Deed:
    """What was written since."""

    def __init__(self, before):
        credits, charges, letters, _ = before
        self.credited = shown(total(each.amount for each in ChargeCredit.objects.exclude(pk__in=credits)))
        self.charged = shown(total(each.amount for each in Charge.objects.exclude(pk__in=charges)))
        self.letters = list(Message.objects.exclude(pk__in=letters))

    def letters_by_address(self, subject=""):
        own = [each for each in self.letters if subject in each.subject]
        without = [each for each in own if each.state == MessageState.NO_ADDRESS]
        return len(own) - len(without), [str(each.household) for each in without]


@pytest.fixture
def desk(client, keeper):
    client.force_login(keeper)
    return Desk(client)


@pytest.fixture
def scheme(book):
    return factories.scheme()


@pytest.fixture
def october(book):
    return factories.cohort(capacity=3, first=OCTOBER)


def claimed(charge, scheme, by, code="SV1"):
    """A voucher pays a part of the charge, and the department was asked for it."""
    charging.accept_voucher(scheme=scheme, charge=charge, code=code, on=NOW, by=by)
    charging.lodge_vouchers(scheme=scheme, on=NOW, by=by)
    return Voucher.objects.latest("pk")


def address(target, slug):
    meta = target._meta
    return reverse(f"admin:{meta.app_label}_{meta.model_name}_{slug}", args=[target.pk])


class TestCourses:
    @pytest.fixture
    def booked(self, october, by, scheme):
        """A family of two with a claimed voucher; one without an e-mail address, of whose fee a part is credited."""
        first = courses.book_party(course=october.course, people=family(12, 13), cohorts=[october], on=NOW, by=by)
        other = courses.book_party(
            course=october.course, people=family(12, name="Odo", email=""), cohorts=[october], on=NOW, by=by
        )
        claimed(first.places.first().charge, scheme, by)
        charging.credit_charge(
            charge=other.places.get().charge, amount=as_amount("11.00"), on=NOW, reason="kind", by=by
        )
        return first, other

    def test_what_cancelling_a_cohort_credits_and_who_has_a_letter(self, desk, october, booked):
        said, did, answer = desk.does(address(october, "cancel"), reason="flood")
        assert said["Fees to be credited"] == did.credited
        assert did.credited != "$378.00"
        reached, without = did.letters_by_address("cancelled")
        assert (reached, without) == (1, ["Odo family"])
        assert said["Letters"] in answer
        assert said["Letters"] == (
            "1 letter goes out. No e-mail address is known of Odo family (08 7010): tell them yourself."
        )

    def test_what_leaving_a_course_takes_back(self, desk, october, booked):
        RefundStep.objects.create(course=october.course, days_before=7, percent=50)
        place = booked[0].places.first()
        said, did, _ = desk.does(address(place, "withdraw"), reason="moving away")
        assert did.credited == "$26.00"  # of 126.00 the rule keeps 63.00, and the voucher 100.00
        assert did.credited in amounts(said["If withdrawn today"])

    def test_a_party_of_two_sees_it_for_each(self, desk, booked):
        booking = booked[0]
        places = list(booking.places.values_list("pk", flat=True))
        said, did, _ = desk.does(address(booking, "withdraw"), reason="moving away", places=places)
        each = [as_amount(amounts(text)[0].strip("$")) for label, text in said.items() if label.startswith("If ")]
        assert shown(total(each)) == did.credited == "$152.00"

    def test_what_accepting_an_offer_charges(self, desk, october, by):
        full = [courses.book_party(
            course=october.course, people=family(12, name=f"F{n}"), cohorts=[october], on=NOW, by=by
        ) for n in range(3)]  # fmt: skip
        waiting = courses.book_party(
            course=october.course, people=family(12, name="Wait"), cohorts=[october], on=NOW, by=by
        )
        courses.withdraw(booking=full[0], on=NOW, reason="camp", by=by)
        assert Booking.objects.get(pk=waiting.pk).state == PlaceState.OFFERED
        said, did, _ = desk.does(address(waiting, "accept"))
        assert said["Fee to be charged"] == did.charged == "$126.00"

    def test_new_seats_that_are_offered_name_who_has_no_address(self, desk, october, by):
        october.capacity = 1
        october.save()
        for name, email in (("Ida", "ida@example.org"), ("Eva", "eva@example.org"), ("Odo", "")):
            people = family(12, name=name, email=email)
            courses.book_party(course=october.course, people=people, cohorts=[october], on=NOW, by=by)
        url = reverse("admin:courses_cohort_change", args=[october.pk])
        form = form_of(desk.client.get(url), capacity="3")
        answer = agreed(desk.client, url, form, follow=True).content.decode()
        assert "2 waiting bookings were offered 2 seats. 1 letter goes out. No e-mail address is known of Odo" in answer


class TestMemberships:
    @pytest.fixture
    def plan(self, book):
        made = factories.plan("228.00", shares=[(factories.association(), "71.00")])
        made.refund = Refund.MONTHS
        made.save()
        return made

    @pytest.fixture
    def member(self, plan, by):
        child = family(12)[0]
        return membership.take_out_membership(person=child, plan=plan, starts_on=NOW, on=NOW, by=by)

    def test_what_a_member_gets_back_who_leaves(self, desk, member, scheme, by):
        claimed(member.charge, scheme, by)
        clock.set_today(date(2026, 10, 11))
        said, did, _ = desk.does(address(member, "end"), reason="moving away", on="2026-10-11")
        told = said["If today were the last day"]
        assert amounts(told)[0] == did.credited == "$128.00"
        assert amounts(told)[1:] == ["$15.92"]  # eleven of twelve months of 157.00 are 143.92
        assert told.endswith("more if the department refuses the voucher")
        charging.refuse_voucher(voucher=Voucher.objects.get(), on=clock.today(), reason="no such child", by=by)
        assert shown(fees.credited(Charge.objects.get(pk=member.charge_id))) == "$143.92"

    def test_what_cancelling_a_membership_takes_back(self, desk, member, scheme, by):
        claimed(member.charge, scheme, by)
        said, did, _ = desk.does(address(member, "cancel"), reason="wrong child")
        assert amounts(said["Of its fee"])[0] == did.credited == "$128.00"

    @pytest.mark.parametrize("price", ["300.00", "150.00"])
    def test_what_a_change_of_plan_costs_or_gives_back(self, desk, member, scheme, by, price):
        item = factories.price(member.plan.fee_item.kind, price, "memberships", code="other").item
        other = Plan.objects.create(name="Other", fee_item=item)
        claimed(member.charge, scheme, by)
        clock.set_today(date(2026, 10, 12))
        said, did, _ = desk.does(address(member, "change-plan"), plan=other.pk, reason="asked", on="2026-10-12")
        assert amounts(said["To Other from today"])[0] == (did.charged if price == "300.00" else did.credited)

    def test_what_renewing_a_family_charges(self, desk, member, plan, by):
        ledger.open_year(first_day=date(2027, 7, 1), by=by)
        household, plan.sibling_percent = member.person.household, 10
        plan.save()
        other = factories.PersonFactory(household=household)
        membership.take_out_membership(person=other, plan=plan, starts_on=NOW, on=NOW, by=by)
        clock.set_today(member.ends_on - timedelta(days=5))
        said, did, _ = desk.does(address(household, "renew"))
        assert said["Charged in all"] == did.charged == "$440.30"
        assert {row.working for row in Membership.objects.filter(starts_on__gt=member.ends_on)} < set(said.values())


class TestFees:
    @pytest.fixture
    def voucher(self, scheme, by):
        child = family(12)[0]
        price = factories.price(amount="126.00", code="course")
        charge = charging.charge(household=child.household, person=child, price=price, on=NOW, starts_on=NOW, by=by)
        return claimed(charge, scheme, by)

    @pytest.mark.parametrize("credit", ["", "150.00"])
    def test_what_a_family_owes_once_its_voucher_is_refused(self, desk, voucher, by, credit):
        household = voucher.charge.household
        if credit:
            charging.record_receipt(household=household, amount=as_amount(credit), method=Method.CARD, on=NOW, by=by)
        said, did, _ = desk.does(address(voucher, "refuse"), reason="no such child")
        assert said[f"Then {household}"] == fees.balance_in_words(household)
        assert said["Letters"].startswith(f"{did.letters_by_address()[0]} letter goes out")

    def test_what_a_family_owes_once_its_voucher_is_not_claimed(self, desk, scheme, by, owing):
        voucher = charging.accept_voucher(scheme=scheme, charge=owing[0], code="SV2", on=NOW, by=by)
        said, did, _ = desk.does(address(voucher, "release"), reason="wrong child")
        assert said[f"Then {owing[0].household}"] == fees.balance_in_words(owing[0].household)
        assert "Letters" not in said
        assert did.letters == []

    def test_what_a_family_owes_once_its_voucher_is_given_back(self, desk, voucher, by):
        VoucherScheme.objects.update(gives_back="whole")
        charging.record_lodgement_paid(lodgement=voucher.lodgement, on=clock.today(), by=by)
        keep = {"keep": as_amount(50)}
        charging.take_back(charge=voucher.charge, on=clock.today(), reason="left", by=by, **keep)
        asked = {"invoice": "INV 7", "pay_to": "012-003 4500123", "reason": "the child left"}
        said, did, _ = desk.does(address(voucher, "give-back"), **asked)
        household = voucher.charge.household
        assert said["Owed back"] == "$100.00"
        assert said[f"Then {household}"] == fees.balance_in_words(household)
        assert said["Letters"].startswith(f"{did.letters_by_address()[0]} letter goes out")

    def test_what_a_voucher_pays_once_it_is_not_given_back_after_all(self, desk, voucher, by):
        VoucherScheme.objects.update(gives_back="whole")
        today = {"on": clock.today(), "by": by}
        charging.record_lodgement_paid(lodgement=voucher.lodgement, **today)
        charging.take_back(charge=voucher.charge, reason="left", keep=as_amount(50), **today)
        asked = {"invoice": "INV 7", "pay_to": "012-003 4500123", "reason": "the child left"}
        back = charging.give_back(voucher=voucher, **asked, **today)
        said, _, _ = desk.does(address(back, "undo"), reason="their mistake")
        household = voucher.charge.household
        voucher.refresh_from_db()
        assert said["The voucher pays"] == "$100.00" == shown(voucher.amount)
        assert said[f"Then {household}"] == fees.balance_in_words(household)

    @pytest.fixture
    def owing(self, by):
        price = factories.price(amount="50.00", code="club shirt")
        people = [family(12, name="Ida")[0], family(12, name="Odo", email="")[0]]
        return [
            charging.charge(household=each.household, person=each, price=price, on=NOW, starts_on=NOW, by=by)
            for each in people
        ]

    def test_how_many_letters_go_to_those_who_owe(self, desk, owing):
        said, did, answer = desk.does(reverse("admin:fees_charge_send-statements"))
        assert did.letters_by_address() == (1, ["Odo family"])
        assert said["Letters"] in answer
        assert said["Letters"].startswith("1 letter goes out. No e-mail address is known of Odo family")

    def test_one_family_without_an_address_is_not_told_that_a_letter_goes_out(self, desk, owing):
        _, did, answer = desk.does(address(owing[1].household, "send-statement"))
        assert did.letters_by_address() == (0, ["Odo family"])
        assert "No letters go out. No e-mail address is known of Odo family" in answer


TESTED = {
    "courses.booking accept", "courses.cohort cancel", "fees.charge send-statements", "fees.voucher refuse",
    "fees.giveback undo",
    "fees.voucher give-back", "fees.voucher release", "membership.membership cancel",
    "membership.membership change-plan", "membership.membership end", "roll.household renew",
}  # fmt: skip


def test_every_page_that_promises_is_held_to_it_above():
    promising = {
        f"{screen.named_as} {page.slug}"
        for screen in screens()
        for page in (*screen.all_pages, *screen.all_list_pages)
        if isinstance(page, VerbPage) and type(page).promises is not VerbPage.promises
    }
    assert promising == TESTED


def test_what_a_verb_refuses_today_is_said_in_place_of_the_promise(desk, scheme, by):
    child = family(12)[0]
    plan = factories.plan()
    member = membership.take_out_membership(person=child, plan=plan, starts_on=NOW, on=NOW, by=by)
    membership.take_out_membership(person=child, plan=plan, starts_on=date(2027, 9, 12), on=NOW, by=by)
    said = facts_of(desk.client.get(address(member, "end")))
    assert "follows from 12 Sep 2027" in said["If it were done today"]
