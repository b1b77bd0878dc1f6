"""A family's own page: what every room says on it, how to pay, what it weighs, and that nobody else stands on it."""

import re
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import services as courses
from clubdesk.courses.models import Certificate
from clubdesk.entryfund import services as entryfund
from clubdesk.evidence import Evidence
from clubdesk.fees import services as fees
from clubdesk.fees.models import Method
from clubdesk.ledger.models import Book
from clubdesk.mail.models import Message
from clubdesk.membership import services as membership
from clubdesk.membership.models import LeaveRequest
from clubdesk.money import as_amount
from clubdesk.rangeday import services as rangeday
from clubdesk.rangeday.models import Gear, Paid
from clubdesk.roll.models import Consent
from clubdesk.roll.selectors import payment_reference
from tests import factories, families

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)
MOST_BYTES = 30_000


class Family:
    """A family with whatever a page can show of so many children."""

    def __init__(self, club, name, children):
        self.home = factories.HouseholdFactory(
            name=f"{name} family", guardian=f"Ida {name}", email=f"{name}@example.org"
        )
        self.people = [
            factories.PersonFactory(
                household=self.home,
                given_name=f"{name}{number}",
                family_name=name,
                birth_date=date(2013, 3, 1 + number),
            )
            for number in range(children)
        ]
        Consent.objects.create(household=self.home, given_by=f"Ida {name}", wording=f"I agree for {name}.")
        for child in self.people:
            self.takes_part(club, child)
        courses.book_party(course=club.full.course, people=self.people, cohorts=[club.full], on=NOW, by=club.by)
        fees.record_receipt(household=self.home, amount=as_amount(20), method=Method.CARD, on=NOW, by=club.by)
        membership.ask_to_leave(household=self.home, people=self.people[:1], reason=f"{name} moves", on=NOW, by=club.by)

    def takes_part(self, club, child):
        membership.take_out_membership(person=child, plan=club.plan, starts_on=club.start, on=club.start, by=club.by)
        rangeday.sign_on(range_day=club.day, person=child, gear=Gear.HIRE, paid=Paid.ACCOUNT, by=club.by)
        evidence = Evidence(f"receipt of {child}".encode(), "application/pdf")
        entryfund.record_claim(
            person=child, event=club.event, amount=as_amount(60), evidence=evidence, on=NOW, by=club.by
        )


class Club:
    def __init__(self, by):
        self.by, self.start = by, date(2026, 7, 6)
        factories.hire()
        self.plan, self.day, self.event = factories.plan(), factories.range_day(on=NOW), factories.event()
        self.open = factories.cohort(capacity=99, first=date(2026, 10, 4))
        self.full = factories.cohort(capacity=1, first=date(2026, 11, 1))
        other = factories.PersonFactory()
        courses.book_party(course=self.full.course, people=[other], cohorts=[self.full], on=NOW, by=by)
        Book.objects.update(contact_name="Kim Bell", contact_email="kim@example.org", contact_phone="08 7010 0100")


@pytest.fixture
def club(by):
    factories.paid_into()
    return Club(by)


def page(client, family):
    return client.get(families.page_of(client, family.home)).content.decode()


def words(text):
    return " ".join(re.sub(r"<[^>]*>", " ", re.sub(r"<(script|svg).*?</\1>", "", text, flags=re.S)).split())


def asked(client, family):
    families.page_of(client, family.home)
    with CaptureQueriesContext(
        connection,
    ) as queries:
        assert client.get("/account/").status_code == 200
    return len(queries)


def test_it_says_all_that_stands_of_each_child_and_how_to_pay(club, client):
    family = Family(club, "Quoll", 2)
    said = words(page(client, family))
    for sentence in (
        "To pay",
        "Member until 5 July 2027",
        "You asked on 12 Sep 2026 to leave; we will write to you.",
        "Waits for Beginner course",
        "Number 1 in the queue",
        "1 range day in the last three months, gear hired 1 time",
        "Entry fee back, State clout championship, $60.00",
        "Sent on 12 Sep 2026. Waiting for a decision",
        "Account name Reedbank Archers Inc",
        "BSB 012-003",
        "Account number 4500123",
        f"Reference {payment_reference(family.home)}",
        "You can also pay at the range by card or in cash.",
        "If you cannot pay it at once, please tell us before: we can agree on parts.",
        "Questions? Kim Bell kim@example.org 08 7010 0100",
        "Agreed to by Ida Quoll",
        "born 1 Mar 2013",
    ):
        assert sentence in said, sentence


def test_each_fee_says_by_when_and_what_is_late_says_so(club, client):
    child = factories.PersonFactory(household=factories.HouseholdFactory(guardian="Ida", email="ida@example.org"))
    membership.take_out_membership(person=child, plan=club.plan, starts_on=club.start, on=club.start, by=club.by)
    club.open.course.pay_days = 30
    club.open.course.save()
    courses.book_party(course=club.open.course, people=[child], cohorts=[club.open], on=NOW, by=club.by)
    families.page_of(client, child.household)
    said = words(client.get("/account/").content.decode())
    assert "was due 20 Jul 2026 $228.00" in said
    assert "by 12 Oct 2026 $126.00" in said
    assert "Please pay $354.00 in all, each fee by its day." in said


def test_an_offer_is_answered_first_and_a_certificate_opens(club, client):
    family = Family(club, "Quoll", 1)
    (child,) = family.people
    with clock.on(NOW):
        club.full.capacity = 2
        club.full.save()
        courses.offer_free_seats(course=club.full.course, on=NOW, by=club.by)
    said = words(page(client, family))
    assert "answer by" in said.split("To pay")[0]
    assert f"A place for {child.given_name}: Beginner course" in said
    assert "You owe the fee once you accept." in said
    place = child.places.get()
    courses.accept_offer(booking=place.booking, on=NOW, by=club.by)
    made = Certificate.objects.create(place=place, number="100000000012", completed_on=NOW, recorded_by=club.by)
    text = page(client, family)
    address = reverse("book:own_certificate", args=[place.booking_id, made.pk])
    assert address in text
    assert client.get(address).headers["Content-Type"] == "application/pdf"


def test_it_asks_the_book_as_often_for_one_child_as_for_many_and_in_a_club_of_any_size(club, client):
    one, many = Family(club, "Quoll", 1), Family(club, "Heron", 5)
    counted = [asked(client, each) for each in (one, many)]
    for number in range(12):
        Family(club, f"Other{number}", 2)
    counted += [asked(client, each) for each in (one, many)]
    assert len(set(counted)) == 1, counted


def test_all_of_it_weighs_less_than_thirty_thousand_bytes(club, client, settings):
    text = page(client, Family(club, "Quoll", 4))
    linked = re.findall(r'(?:href|src)="/static/(desk/[^"]+\.(?:css|js|svg))"', text)
    assert len(linked) == 5, linked
    files = sum((settings.BASE_DIR / "clubdesk/desk/static" / each).stat().st_size for each in linked)
    assert len(text.encode()) + files < MOST_BYTES, (len(text.encode()), files)


def test_it_works_without_a_script(club, client):
    text = page(client, Family(club, "Quoll", 1))
    buttons = re.findall(r"<button[^>]*>", text)
    assert len(buttons) == 5
    assert [each for each in buttons if " hidden" not in each] == [], "a button that only a script works stays hidden"
    assert "<script>" not in text
    assert "style=" not in text


def test_nothing_of_another_family_stands_on_it_or_opens_by_any_address(club, client):
    own, other = Family(club, "Quoll", 2), Family(club, "Heron", 2)
    text = page(client, own)
    assert "Quoll" in text
    assert "Heron" not in text
    assert payment_reference(other.home) not in text
    booking, claim = other.home.bookings.get(), other.home.entry_claims.first()
    receipt = other.home.receipts.get()
    for address in (
        reverse("book:own", args=[booking.pk]),
        reverse("claims:answer", args=[claim.pk]),
        reverse("account:receipt", args=[receipt.number]),
    ):
        assert client.get(address).status_code == 404, address
        assert client.post(address).status_code == 404, address
    for address in ("/account/", "/account/statement/", "/known/", "/claims/", "/leaving/"):
        for asks in ("", f"?household={other.home.pk}", f"?person={other.people[0].pk}"):
            answer = client.get(address + asks)
            assert b"Heron" not in answer.content


def test_a_child_who_moved_away_takes_what_is_the_first_familys_along_to_nobody(club, client):
    """The booking is the family's who booked; the child's new family does not read it."""
    own, other = Family(club, "Quoll", 2), Family(club, "Heron", 1)
    moved = own.people[0]
    moved.household = other.home
    moved.save()
    assert f"/book/own/{own.home.bookings.get().pk}/" not in page(client, other)


class TestAskingToLeave:
    @pytest.fixture
    def home(self, club):
        home = factories.HouseholdFactory(name="Mirabar family", guardian="Ida", email="ida@example.org")
        self.ada, self.bela = (factories.PersonFactory(household=home, given_name=name) for name in ("Ada", "Bela"))
        return home

    def test_it_reaches_the_coordinator_who_answers_by_letter(self, home, client, coordinator):
        families.page_of(client, home, "/leaving/")
        answer = client.post("/leaving/", {"people": [self.ada.pk], "reason": "moving away"})
        assert (answer.status_code, answer.url) == (302, "/account/")
        request = LeaveRequest.objects.get()
        assert (request.person, request.reason, request.asked_on) == (self.ada, "moving away", NOW)
        assert "You asked on 12 Sep 2026 to leave" in words(client.get("/account/").content.decode())
        client.force_login(coordinator)
        assert "Request to leave" in client.get("/").content.decode()
        url = reverse("admin:membership_leaverequest_answer", args=[request.pk])
        key = client.get(url).context["form"]["key"].value()
        client.post(url, {"key": key, "answer": "Her membership ends on 30 September."})
        letter = Message.objects.latest("pk")
        assert "Her membership ends on 30 September." in letter.body
        assert "Request to leave" not in client.get("/").content.decode()

    def test_asked_twice_it_is_one_request(self, home, client):
        families.page_of(client, home, "/leaving/")
        for _ in range(2):
            client.post("/leaving/", {"people": [self.ada.pk], "reason": ""})
        assert LeaveRequest.objects.count() == 1

    @pytest.mark.parametrize("typed", [{}, {"people": ["7000000"]}, {"people": ["x"]}])
    def test_nobody_chosen_or_nobody_of_ours_is_refused_with_what_was_typed(self, home, client, typed):
        families.page_of(client, home, "/leaving/")
        answer = client.post("/leaving/", typed | {"reason": "moving away"})
        assert answer.status_code == 422
        assert "moving away" in answer.content.decode()
        assert not LeaveRequest.objects.exists()

    def test_another_familys_child_is_not_asked_for(self, home, client, by):
        other = factories.PersonFactory()
        families.page_of(client, home, "/leaving/")
        assert client.post("/leaving/", {"people": [other.pk], "reason": ""}).status_code == 422
        with pytest.raises(Exception, match="Only your own family"):
            membership.ask_to_leave(household=home, people=[other], reason="", on=NOW, by=by)


def test_before_the_book_knows_an_account_the_page_says_how_else_to_pay(by, client):
    child = factories.PersonFactory(household=factories.HouseholdFactory(guardian="Ida", email="ida@example.org"))
    fees.charge(household=child.household, price=factories.price(), on=NOW, starts_on=NOW, by=by)
    families.page_of(client, child.household)
    said = words(client.get("/account/").content.decode())
    assert "Transfers cannot be taken yet." in said
    assert "at the range by card or in cash" in said
    assert "BSB" not in said


def test_a_part_of_an_arrangement_is_asked_for_by_its_day(club, client):
    child = factories.PersonFactory(household=factories.HouseholdFactory(guardian="Ida", email="ida@example.org"))
    fees.charge(household=child.household, price=factories.price(code="once"), on=NOW, starts_on=NOW, by=club.by)
    parts = [(NOW + timedelta(days=days), as_amount(63)) for days in (10, 40)]
    fees.agree_parts(household=child.household, parts=parts, on=NOW, by=club.by)
    families.page_of(client, child.household)
    said = words(client.get("/account/").content.decode())
    assert "Please pay $63.00 by 22 September 2026." in said
