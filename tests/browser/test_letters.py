"""Letters in Chromium: the page where the club says one in its own words, and how letters read on a phone."""

import pytest
from playwright.sync_api import expect

from clubdesk.lettering import written
from clubdesk.mail import selectors
from clubdesk.mail.looks import as_html
from clubdesk.mail.models import LetterText
from tests.browser.test_scenes import accessible, fits

WIDEST = 600
LINK = "https://reedbank.example/open/eyJndWFyZGlhbiI6MTIsInZlcnNpb24iOjF9:1tabcd:cHJldmlldyBvZiBhIGxvbmcgdG9rZW4/"


def test_a_letter_is_said_in_the_clubs_own_words(site):
    page = site("coordinator")
    page.goto("/mail/texts/")
    assert fits(page)
    assert accessible(page) == []
    page.get_by_role("link", name="A family has booked").click()
    looks = page.frame_locator("iframe[name=look]")
    expect(looks.get_by_text("Thank you for booking.")).to_be_visible()
    assert fits(page)
    assert accessible(page) == []
    text = page.get_by_label("Text", exact=True)
    text.fill(text.input_value().replace("Thank you for booking.", "Great that you come!"))
    page.get_by_role("button", name="See how it looks").click()
    expect(looks.get_by_text("Great that you come!")).to_be_visible()
    page.get_by_role("button", name="See it as plain text").click()
    expect(looks.locator("pre")).to_contain_text("Great that you come!")
    page.get_by_role("button", name="Save the text").click()
    expect(page.get_by_text("Saved. The next letters of this kind are written so")).to_be_visible()
    text = page.get_by_label("Text", exact=True)
    text.fill(text.input_value().replace("{{ link }}", ""))
    page.get_by_role("button", name="Save the text").click()
    expect(page.get_by_role("alert")).to_contain_text("The text lacks {{ link }}")
    assert fits(page)
    page.goto("/mail/texts/courses.booked/")
    page.get_by_role("button", name="Put the first text back").click()
    expect(page.get_by_text("The first text is back")).to_be_visible()
    expect(looks.get_by_text("Thank you for booking.")).to_be_visible()
    assert LetterText.objects.count() == 2


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_letter_is_read_on_a_phone_and_on_a_laptop(chromium, size, scheme):
    width, height = size
    page = chromium.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    kinds = selectors.kinds().values()
    assert len(kinds) > 30
    for kind in kinds:
        page.set_content(as_html(*written(kind, selectors.first_wording(kind), kind.examples), LINK))
        assert fits(page), kind.key
        assert accessible(page) == [], kind.key
        assert page.locator(".card").bounding_box()["width"] <= WIDEST
        for act in page.locator(".act").all():
            assert act.bounding_box()["height"] >= 44
    assert asked == []
    page.close()
