"""Letters in the club's own words: changed, looked at, put back; and how each looks as HTML."""

import re
from datetime import date
from email import message_from_bytes, policy
from html.parser import HTMLParser

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from clubdesk.courses import services as courses
from clubdesk.courses.letter_kinds import BOOKED
from clubdesk.errors import Refused
from clubdesk.fees.writing import write_to
from clubdesk.lettering import KEEP_IT, Wording, written
from clubdesk.mail import selectors, services
from clubdesk.mail.looks import as_html
from clubdesk.mail.models import LetterText, Message
from tests import factories
from tests.forms import form_of
from tests.mail.letterbox import running

pytestmark = pytest.mark.django_db
NOW = date(2026, 9, 12)
OWN = BOOKED.body.replace("Thank you for booking.", "Great that you come, {{ guardian|upper }}!")


@pytest.fixture
def booked(by):
    cohort = factories.cohort(capacity=9)

    def book():
        home = factories.HouseholdFactory(guardian="Ida", email="ida@example.org")
        child = factories.PersonFactory(household=home, given_name="Ada")
        courses.book_place(person=child, cohort=cohort, by=by, on=NOW)
        return Message.objects.latest("pk")

    return book


def change(by, body=OWN, subject="{{ course }}: hooray", kind=BOOKED, **more):
    return services.change_letter(kind=kind.key, subject=subject, body=body, by=by, **more)


class TestTexts:
    def test_the_next_letters_are_written_in_the_clubs_own_words(self, booked, by):
        before = booked()
        change(by)
        after = booked()
        assert (before.subject, after.subject) == ("Beginner course: your booking", "Beginner course: hooray")
        assert "Great that you come, IDA!" in after.body
        without = [re.sub(r"[Rr]eference is \d+", "", each.body) for each in (before, after)]
        assert without[1] == without[0].replace("Thank you for booking.", "Great that you come, IDA!")
        assert Message.objects.get(pk=before.pk).body == before.body

    def test_put_back_they_read_as_they_came_and_the_text_is_kept(self, booked, by):
        change(by)
        services.put_back(kind=BOOKED.key, by=by)
        assert booked().subject == "Beginner course: your booking"
        assert [each.subject for each in LetterText.objects.all()] == ["", "{{ course }}: hooray"]
        services.put_back(kind=BOOKED.key, by=by)
        assert LetterText.objects.count() == 2

    def test_the_same_text_again_adds_nothing(self, by):
        assert change(by) == change(by, body=OWN.replace("\n", "\r\n") + "\r\n")
        assert LetterText.objects.count() == 1

    def test_what_lacks_its_link_is_refused_and_nothing_is_kept(self, by):
        with pytest.raises(Refused, match="The text lacks {{ link }}: the family’s own link"):
            change(by, body=OWN.replace("{{ link }}", ""))
        with pytest.raises(Refused, match="The text lacks {{ how_to_pay }}"):
            change(by, body=OWN.replace("{{ how_to_pay }}", ""))
        assert not LetterText.objects.exists()

    def test_what_somebody_else_changed_meanwhile_is_not_overwritten(self, by):
        seen = change(by, seen=0).pk
        with pytest.raises(Refused, match="Somebody has changed this letter since you opened the page"):
            change(by, subject="Other", seen=0)
        assert change(by, subject="Other", seen=seen).subject == "Other"

    def test_the_first_text_is_put_back_and_not_typed(self, by):
        with pytest.raises(Refused, match="to have it again, put it back"):
            change(by, body=BOOKED.body, subject=BOOKED.subject)
        with pytest.raises(Refused, match="has the text that came with the program already"):
            services.put_back(kind=BOOKED.key, by=by)

    def test_a_letter_that_there_is_not(self, by):
        with pytest.raises(Refused, match="There is no such letter"):
            services.change_letter(kind="courses.nothing", subject="a", body="b", by=by)

    def test_a_text_that_does_not_fit_any_more_gives_way_to_the_first(self, booked, by):
        """A newer program may know other fields; a letter goes out in any case."""
        LetterText.objects.create(kind=BOOKED.key, subject="Hi", body="{{ a_field_that_was }}", changed_by=by)
        assert booked().subject == "Beginner course: your booking"
        (worded,) = [each for each in selectors.all_worded() if each.kind == BOOKED]
        assert not worded.fits

    def test_the_database_keeps_every_text(self, by):
        text = change(by)
        for act in (lambda: LetterText.objects.update(subject="x"), text.delete):
            with pytest.raises(IntegrityError, match="A text of a letter is never"), transaction.atomic():
                act()
        with pytest.raises(IntegrityError, match="mail_text_is_whole_or_put_back"), transaction.atomic():
            LetterText.objects.create(kind=BOOKED.key, subject="x", body="", changed_by=by)


def test_what_somebody_writes_for_once_has_what_every_letter_has(by):
    home = factories.HouseholdFactory(guardian="Ida", email="ida@example.org")
    said = ["Saturday is off: {{ guardian }} 35 degrees.", "", "See you in a week."]
    letter = write_to(
        home, said, about="heat", subject="Saturday is off", link_path=reverse("account:own"), leads="Your page:"
    )
    assert (letter.subject, letter.to) == ("Saturday is off", "ida@example.org")
    assert letter.body == (
        "Hello Ida,\n\nSaturday is off: {{ guardian }} 35 degrees.\n\nSee you in a week.\n\n"
        f"Your page:\n{{link}}\n{KEEP_IT}\n\nReedbank Archers\n"
    )


def test_only_who_may_changes_a_text(auditor):
    with pytest.raises(Refused, match="your sign-in may not do that"):
        change(auditor)


class TestPages:
    @pytest.fixture
    def desk(self, client, coordinator):
        client.force_login(coordinator)
        return client

    url = "/mail/texts/courses.booked/"

    def test_every_kind_stands_in_the_list_and_has_its_page(self, desk, by):
        change(by)
        page = desk.get(reverse("admin:letter_texts")).content.decode()
        assert page.count("In your own words since 12 Sep 2026.") == 1
        for key, kind in selectors.kinds().items():
            assert kind.title in page
            assert desk.get(f"/mail/texts/{key}/").status_code == 200
            assert "This is not a letter yet" not in desk.get(f"/mail/texts/{key}/look/").content.decode()

    def test_a_text_is_changed_on_its_page(self, desk):
        page = desk.get(self.url)
        answer = desk.post(self.url, form_of(page, subject="{{ course }}: hooray", body=OWN), follow=True)
        assert "Saved. The next letters of this kind are written so" in answer.content.decode()
        assert LetterText.objects.get().subject == "{{ course }}: hooray"
        answer = desk.post(self.url, {"put_back": "yes"}, follow=True)
        assert "The first text is back" in answer.content.decode()

    def test_a_long_sentence_is_saved_and_pointed_out(self, desk):
        body = OWN.replace("Great", "Great " + "and " * 25 + "great")
        answer = desk.post(self.url, form_of(desk.get(self.url), body=body), follow=True).content.decode()
        assert "“Great and and and and and …” has 32 words; 25 are read at once." in answer
        assert LetterText.objects.count() == 1

    def test_what_is_refused_stays_typed_with_a_sentence_a_fault(self, desk):
        body = "Hello {{ nobody }}\n{% load x %}"
        answer = desk.post(self.url, form_of(desk.get(self.url), body=body))
        said = answer.content.decode()
        assert answer.status_code == 422
        assert "Line 1: There is no field “nobody”." in said
        assert "Line 2: “load” cannot be used" in said
        assert "The text lacks {{ link }}" in said
        assert "Hello {{ nobody }}\n{% load x %}</textarea>" in said
        assert not LetterText.objects.exists()

    def test_what_was_typed_is_looked_at_before_it_is_saved(self, desk):
        typed = {"subject": "S", "body": OWN}
        looks = desk.post(f"{self.url}look/", typed)
        assert "Great that you come, IDA MIRABAR!" in looks.content.decode()
        assert "<pre>Hello Ida Mirabar,\n\nGreat" in desk.post(f"{self.url}look/?plain=1", typed).content.decode()
        refused = desk.post(f"{self.url}look/", {"subject": "S", "body": "<script>"}).content.decode()
        assert "The text lacks {{ link }}" in refused
        assert not LetterText.objects.exists()

    def test_a_preview_can_do_nothing(self, desk):
        looks = desk.post(f"{self.url}look/", {"subject": "S", "body": f"<script>alert(1)</script>{OWN}"})
        assert "<script>" not in looks.content.decode()
        assert "sandbox" in looks["Content-Security-Policy"]
        assert "default-src 'none'" in looks["Content-Security-Policy"]
        assert looks["X-Frame-Options"] == "SAMEORIGIN"
        page = desk.get(self.url)
        assert "unsafe-inline" not in page["Content-Security-Policy"]
        assert 'href="#"' in looks.content.decode()

    def test_who_only_looks_sees_no_form(self, client, auditor):
        client.force_login(auditor)
        page = client.get(self.url).content.decode()
        assert "<textarea" not in page
        assert "Thank you for booking." in page
        assert client.post(self.url, {"subject": "S", "body": OWN, "seen": "0"}).status_code == 422

    def test_a_page_of_no_letter_is_not_found(self, desk):
        assert desk.get("/mail/texts/courses.nothing/").status_code == 404


class Shown(HTMLParser):
    """What a document shows: its words, its links, its tags, and rows of two."""

    def __init__(self, html):
        super().__init__()
        self.words, self.links, self.tags = [], [], []
        self.feed(html.partition("<body")[2])

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag == "a":
            self.links.append(dict(attrs)["href"])

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


LINK = "https://reedbank.example/open/token/"


@pytest.mark.parametrize("key", selectors.kinds())
class TestLooks:
    @pytest.fixture
    def letter(self, key):
        kind = selectors.kinds()[key]
        return written(kind, selectors.first_wording(kind), kind.examples)

    def test_the_html_says_all_that_the_plain_text_says(self, letter, key):
        subject, body = letter
        shown = Shown(as_html(subject, body, LINK)).text
        words = re.sub(r"\s+", "", body.replace("{link}", LINK))
        without_colons = re.sub(r"[\s:]+", "", shown).replace("Openyourpage", "")
        assert without_colons.endswith(words.replace(":", "").replace("Openyourpage", ""))

    def test_it_fetches_nothing_and_has_no_script(self, letter, key):
        shown = Shown(as_html(*letter, LINK))
        assert not {"img", "script", "link", "iframe", "form"} & {tag for tag, _ in shown.tags}
        assert not [attrs for _, attrs in shown.tags if "src" in attrs or "background" in attrs]
        assert set(shown.links) <= {LINK, "mailto:kim@example.org"}

    def test_no_sentence_is_long(self, letter, key):
        sentences = re.split(r"[.?!:;]\s|\n", letter[1])
        assert max(len(each.split()) for each in sentences) <= 25


def test_what_a_family_typed_is_no_html():
    html = as_html("S", "Hello <b>Ida</b>,\n\n<img src=x> & co\n\nReedbank\nKim <kim@example.org>\n", "")
    assert "<img" not in html
    assert "&lt;b&gt;Ida&lt;/b&gt;" in html


def test_how_to_pay_stands_in_rows():
    kind = BOOKED
    html = as_html("S", written(kind, selectors.first_wording(kind), kind.examples)[1], LINK)
    cells = re.findall(r"<td[^>]*>(.*?)</td>", html)
    assert cells[:4] == ["Account name", "Reedbank Archers Inc", "BSB", "012-003"]
    assert html.count("<table") == 1


def test_a_text_may_have_its_link_within_a_sentence_and_at_its_end():
    html = as_html("S", "Hello\n\nKim\n\nOpen {link} now, or {link}\n", LINK)
    assert Shown(html).links == [LINK, LINK]
    assert Shown(html).text.endswith(f"Hello Kim Open Open your page {LINK} now, or")


@pytest.mark.django_db(transaction=True)
def test_every_kind_goes_through_a_mail_server(letterbox, port, by):
    home = factories.HouseholdFactory(guardian="Ida Mirabar", email="ida@example.org")
    for key, kind in selectors.kinds().items():
        subject, body = written(kind, Wording(kind.subject, kind.body), kind.examples)
        services.write_message(
            about=key, to="ida@example.org", subject=subject, body=body, household=home,
            link_path=reverse("account:own") if kind.linked else "",
        )  # fmt: skip
    with running(letterbox, port):
        assert services.deliver().sent == len(selectors.kinds())
    got = {mail["Subject"]: mail for mail in (message_from_bytes(raw, policy=policy.default) for raw in letterbox.raw)}
    assert len(letterbox.raw) == len(selectors.kinds())
    for letter in Message.objects.order_by("pk"):
        mail, linked = got[letter.subject], bool(letter.link_path)
        assert mail.get_content_type() == "multipart/alternative"
        assert [part.get_content_type() for part in mail.iter_parts()] == ["text/plain", "text/html"]
        plain, html = (part.get_content() for part in mail.iter_parts())
        assert (mail["To"], mail["From"]) == ("ida@example.org", "Reedbank Archers <courses@reedbank.example>")
        assert mail["Message-ID"].startswith("<letter-")
        for part in (plain, html):
            assert ("https://reedbank.example/open/" in part) == linked, letter.about
            assert "{link}" not in part
            assert max(map(len, part.splitlines())) < 990  # RFC 5321 section 4.5.3.1.6: a line has at most 1,000
        assert "/open/" not in letter.body
        assert plain.replace("\r\n", "\n").startswith("Hello Ida Mirabar,\n\n")
