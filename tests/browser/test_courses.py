"""Courses in a real browser: parents book without JavaScript too, the coordinator runs the cohort from its page."""

from datetime import date

import pytest
from playwright.sync_api import expect

from clubdesk import clock
from clubdesk.courses import services
from clubdesk.courses.models import Booking, Certificate
from clubdesk.verbs import shell_user
from tests import factories, families
from tests.browser.test_scenes import accessible, fits, pick, sound
from tests.worlds.day_one import TODAY


@pytest.fixture(params=["with JavaScript", "without JavaScript"])
def visitor(request, chromium, live_server, size, people):
    """Somebody who is not signed in, on a phone or a laptop."""
    width, height = size
    context = chromium.new_context(
        viewport={"width": width, "height": height},
        locale="en-AU",
        base_url=live_server.url,
        has_touch=width < 500,
        java_script_enabled=request.param == "with JavaScript",
    )
    page = context.new_page()
    page.scripted = request.param == "with JavaScript"
    yield page
    context.close()


def looks_right(page):
    """It fits the screen and is accessible, where a script can be asked."""
    if page.scripted:
        assert fits(page)
        assert accessible(page) == []
    return True


def fill_in(page, email):
    page.get_by_label("Your given name").fill("Ida")
    page.get_by_label("Your family name").fill("Mirabar")
    page.get_by_label("Your e-mail").fill(email)
    page.get_by_label("Your phone").fill("08 7010 0001")
    page.get_by_label("Given name", exact=True).fill("Ada")
    page.get_by_label("Family name", exact=True).fill("Mirabar")
    page.get_by_label("Date of birth", exact=True).fill("2014-05-05")


def test_parents_book_for_two_children_see_where_they_stand_and_accept_an_offer(visitor):
    cohort = factories.cohort(capacity=2)
    first = services.book_party(
        course=cohort.course,
        people=[factories.PersonFactory()],
        cohorts=[cohort],
        by=shell_user(),
        on=TODAY,
    )
    page = visitor
    page.goto("/book/")
    expect(page.get_by_text("last seats")).to_be_visible()
    assert looks_right(page)
    fill_in(page, "ida@example.org")
    page.get_by_role("button", name="Add another child").click()
    second = page.get_by_role("group", name="Child 2")
    second.get_by_label("Given name").fill("Bela")
    second.get_by_label("Date of birth").fill("2012-02-02")
    page.get_by_role("checkbox", name="From 2026-10-04").check()
    page.get_by_role("button", name="Book", exact=True).click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing was booked yet")
    expect(page.get_by_text("We can only book with your agreement.")).to_be_visible()
    assert looks_right(page)
    page.get_by_label("I am a parent or guardian of these children and agree").check()
    page.get_by_role("button", name="Book", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Thank you")
    assert looks_right(page)
    booking = Booking.objects.latest("pk")
    page.goto(families.link(booking.household, f"/book/own/{booking.pk}/"))
    expect(page.locator(".standing")).to_contain_text(
        "Ada and Bela wait for Beginner course, as number 1 in the queue."
    )
    assert looks_right(page)
    services.withdraw(booking=first, on=TODAY, reason="ill", by=shell_user())
    page.reload()
    expect(page.locator(".standing")).to_contain_text("Ada and Bela are offered places")
    page.get_by_role("button", name="Accept the offer").click()
    expect(page.locator(".standing")).to_contain_text("252.00 are still to pay.")
    page.get_by_role("link", name="Withdraw").click()
    page.get_by_label("Ada Mirabar").uncheck()
    assert looks_right(page)
    page.get_by_role("button", name="Yes, withdraw").click()
    expect(page.locator(".standing")).to_contain_text("Ada has a place")
    assert sound()


def test_the_parents_page_is_sent_by_keyboard_alone(visitor):
    factories.cohort()
    page = visitor
    page.goto("/book/")
    fill_in(page, "ida@example.org")
    page.get_by_role("checkbox", name="From 2026-10-04").focus()
    page.keyboard.press("Space")
    page.get_by_label("I am a parent or guardian").focus()
    page.keyboard.press("Space")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Thank you")


def test_the_coordinator_books_a_new_family_on_the_phone_with_one_screen(site, people):
    factories.cohort(capacity=1)
    page = site("coordinator")
    page.get_by_role("link", name="Book a course place").click()
    page.get_by_label("Or a new family: guardian’s name").fill("Ida Solano")
    page.get_by_label("Guardian’s phone").fill("08 7010 0002")
    page.get_by_label("Child’s given name").fill("Noor")
    page.get_by_label("Child’s family name").fill("Solano")
    page.get_by_label("Child’s date of birth").fill("2014-05-05")
    page.get_by_label("Beginner course, From 2026-10-04").check()
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Book the place").click()
    expect(page.locator(".messagelist")).to_contain_text("Noor has a place in Beginner course")
    assert sound()


def hold_and_certify(page, cohort):
    """Its sessions are held, and whoever came gets a certificate."""
    clock.set_today(date(2026, 10, 26))
    try:
        for day in ("2026-10-04", "2026-10-11", "2026-10-18"):
            page.goto(f"/courses/cohort/{cohort.pk}/attendance/?session={day}")
            expect(page.locator("legend")).to_contain_text("Who came on Sunday")
            page.get_by_label("Ada").check()
            assert fits(page)
            page.get_by_role("button", name="Save who came").click()
            expect(page.locator(".messagelist")).to_contain_text("1 came")
        page.get_by_role("link", name="Issue certificates").click()
        page.get_by_role("button", name="Issue the certificates").click()
        expect(page.get_by_role("link", name="Certificate", exact=True)).to_be_visible()
        page.get_by_role("link", name="Sheet to print").click()
        expect(page.locator(".sheet")).to_contain_text("Cato")
        assert fits(page)
        assert accessible(page) == []
    finally:
        clock.set_today(TODAY)


def test_a_cohort_is_run_from_its_page(site, people):
    cohort = factories.cohort(capacity=2)
    households = [
        factories.HouseholdFactory(name=f"{name} family", guardian="G", email="g@example.org") for name in "AB"
    ]
    names = ("Ada", "Bela")
    for household, name in zip(households, names, strict=True):
        child = factories.PersonFactory(household=household, given_name=name)
        services.book_place(person=child, cohort=cohort, by=people["coordinator"], on=TODAY)
    waiting = factories.PersonFactory(given_name="Cato", household=factories.HouseholdFactory(name="C family"))
    services.book_place(person=waiting, cohort=cohort, by=people["coordinator"], on=TODAY)
    page = site("coordinator")
    path = f"/courses/cohort/{cohort.pk}/change/"
    page.goto(path)
    expect(page.locator("#content")).to_contain_text("2 of 2 seats taken: 2 held, 0 offered")
    expect(page.locator("#content")).to_contain_text("1 booking waits for Beginner course")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("link", name="Record their payment").first.click()
    page.get_by_role("button", name="Record the receipt").click()
    page.goto(path)
    expect(page.get_by_role("link", name="Record their payment")).to_have_count(1)
    page.get_by_role("link", name="Bela").click()
    page.get_by_role("link", name="Withdraw this place").click()
    page.get_by_label("Reason").fill("moving away")
    page.get_by_role("button", name="Withdraw the place").click()
    page.goto(path)
    page.get_by_role("link", name="They say yes").click()
    page.get_by_role("button", name="Accept the offer").click()
    expect(page.locator(".messagelist")).to_contain_text("Cato has a place")
    assert accessible(page) == []
    hold_and_certify(page, cohort)
    assert Certificate.objects.count() == 1
    assert sound()


def test_pages_of_the_course_are_legible_and_fit(site, people):
    cohort = factories.cohort(capacity=1)
    for _ in range(3):
        place = services.book_place(person=factories.PersonFactory(), cohort=cohort, by=people["coordinator"], on=TODAY)
    wrong = {}
    page = site("coordinator")
    booking = place.booking_id
    for path in (
        f"/courses/course/{cohort.course_id}/change/",
        f"/courses/booking/{booking}/change/",
        f"/courses/booking/{booking}/withdraw/",
        f"/courses/booking/{booking}/move/",
        f"/courses/booking/{booking}/cohorts/",
        f"/courses/cohort/{cohort.pk}/cancel/",
        f"/roll/person/{place.person_id}/reach-check/",
        f"/roll/household/{place.person.household_id}/book-course/",
        "/courses/booking/",
        "/courses/cohort/",
        "/mail/message/",
        "/courses/certificate/",
        "/book/certificate/",
    ):
        page.goto(path)
        found = accessible(page) + ([] if fits(page) else ["sticks out sideways"])
        if found:
            wrong[path] = found
    assert wrong == {}


def test_the_waitlist_is_put_in_another_order_from_its_page(site, people):
    cohort = factories.cohort(capacity=1)
    for name in ("Ada", "Bela", "Cato"):
        child = factories.PersonFactory(given_name=name, household=factories.HouseholdFactory(name=f"{name} family"))
        place = services.book_place(person=child, cohort=cohort, by=people["coordinator"], on=TODAY)
    page = site("coordinator")
    page.goto(f"/courses/booking/{place.booking_id}/change/")
    page.get_by_role("link", name="Change the order").click()
    pick(page, "In front of", "Bela", "Bela")
    page.get_by_label("Reason").fill("promised in June")
    page.get_by_role("button", name="Move").click()
    expect(page.locator("#content")).to_contain_text("Number 1 on the waitlist")
    expect(page.locator("#content")).to_contain_text("Moved in front of booking 2: promised in June")
