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


def who(page, number):
    """The row of the form for one of those who come."""
    return page.get_by_role("group", name=f"Person {number}")


def choose(page, number, letters, name):
    """Choose somebody of the roll in a row, by a few letters."""
    who(page, number).locator(".select2-selection").click()
    page.locator("input.select2-search__field").fill(letters)
    page.locator(".select2-results__option", has_text=name).first.click()


def fill_in(page, email, *rows):
    page.get_by_label("Your name").fill("Ida Mirabar")
    page.get_by_label("Your e-mail").fill(email)
    page.get_by_label("Your phone").fill("08 7010 0001")
    for number, (name, born) in enumerate(rows, 1):
        if number > 1:
            page.get_by_role("button", name="Add another child or adult").click()
        row = who(page, number)
        row.get_by_label("Given name").fill(name)
        if number == 1:
            row.get_by_label("Family name").fill("Mirabar")
        expect(row.get_by_label("Family name")).to_have_value("Mirabar")
        row.get_by_label("Date of birth").fill(born)


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
    fill_in(page, "ida@example.org", ("Ada", "2014-05-05"), ("Bela", "2012-02-02"))
    page.get_by_role("checkbox", name="From 2026-10-04").check()
    page.get_by_role("button", name="Go on").click()
    expect(page.get_by_role("alert")).to_contain_text("Please put this right")
    expect(page.get_by_text("We can only book with your agreement.").last).to_be_visible()
    assert looks_right(page)
    page.get_by_label("I am a parent or guardian of each child above, and agree").check()
    page.get_by_role("button", name="Go on").click()
    expect(page.get_by_text("as number 1 in the queue")).to_be_visible()
    assert looks_right(page)
    page.get_by_role("button", name="Change something").click()
    expect(who(page, 2).get_by_label("Given name")).to_have_value("Bela")
    page.get_by_role("button", name="Go on").click()
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
    fill_in(page, "ida@example.org", ("Ada", "2014-05-05"))
    page.get_by_role("checkbox", name="From 2026-10-04").focus()
    page.keyboard.press("Space")
    page.get_by_label("I am a parent or guardian").focus()
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Nothing is booked yet.")).to_be_visible()
    page.get_by_role("button", name="Book", exact=True).focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Thank you")


def test_the_coordinator_books_a_family_of_three_on_the_phone_with_one_screen(site, people):
    cohort = factories.cohort(capacity=3)
    cato = factories.PersonFactory(given_name="Cato", family_name="Solano")
    page = site("coordinator")
    page.get_by_role("link", name="Book a course place").click()
    choose(page, 1, "Cat", "Cato Solano")
    for number, (name, born) in enumerate((("Noor", "2014-05-05"), ("Uma", "1985-06-06")), 2):
        page.get_by_role("button", name="Add another child or adult").click()
        who(page, number).get_by_label("Or given name").fill(name)
        who(page, number).get_by_label("Family name").fill("Solano")
        who(page, number).get_by_label("Date of birth").fill(born)
    page.get_by_label("Beginner course, From 2026-10-04").check()
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="See what becomes of it").click()
    expect(page.locator(".facts")).to_contain_text("Noor Solano, Uma Solano")
    expect(page.locator(".facts")).to_contain_text("$378.00")
    expect(who(page, 3).get_by_label("Or given name")).to_have_value("Uma")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Book the places").click()
    expect(page.locator(".messagelist")).to_contain_text("Cato, Noor and Uma have places in Beginner course")
    assert set(cohort.places.values_list("person__household", flat=True)) == {cato.household_id}
    assert sound()


def test_a_row_is_added_in_place_and_takes_the_finder_along(site, people):
    """With a script the page stays where it is, and the new row finds people of the roll like the first."""
    factories.cohort()
    factories.PersonFactory(given_name="Cato", family_name="Solano")
    page = site("coordinator")
    page.goto("/courses/booking/add/")
    page.evaluate("window.isTheSamePage = true")
    page.get_by_role("button", name="Add another child or adult").click()
    choose(page, 2, "Cat", "Cato Solano")
    assert page.evaluate("window.isTheSamePage")
    for _ in range(4):
        page.get_by_role("button", name="Add another child or adult").click()
    expect(page.get_by_role("group", name="Person 6")).to_be_visible()
    expect(page.get_by_role("button", name="Add another child or adult")).to_be_hidden()


def test_who_is_to_be_watched_is_recorded_with_one_tap(site, people):
    cohort = factories.cohort(capacity=2)
    young = factories.PersonFactory(given_name="Bo", birth_date=date(2018, 5, 5))
    services.book_place(person=young, cohort=cohort, by=people["coordinator"], on=TODAY)
    page = site("coordinator")
    page.goto("/courses/draw-checks/")
    expect(page.get_by_text("8 years old, waits for Beginner course")).to_be_visible()
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("button", name="Bo can draw: record it").click()
    expect(page.locator(".messagelist")).to_contain_text("Recorded: Draw check of Bo")
    expect(page.get_by_text("Nobody is to be watched.")).to_be_visible()
    assert Booking.objects.get().state == "offered"


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
