"""A family's link: whose it is, how long it works, what ends it, and what it leaves in the address."""

from datetime import timedelta
from types import SimpleNamespace

import pytest
from django.urls import reverse
from django.utils import timezone

from clubdesk.errors import Refused
from clubdesk.mail import services as mail
from clubdesk.mail.models import Message
from clubdesk.roll import links, services
from clubdesk.roll.models import Guardian
from tests import factories, families

pytestmark = pytest.mark.django_db
ENDED, AGAIN = "This link was ended", "Open the link again"


@pytest.fixture
def home(book):
    return factories.HouseholdFactory(name="Mirabar family", guardian="Ida", email="ida@example.org")


@pytest.fixture
def ida(home):
    return home.guardians.get()


@pytest.fixture
def later(monkeypatch):
    """Lets time pass, for links and for what a browser keeps."""

    def passes(**passed):
        at = timezone.now() + timedelta(**passed)
        monkeypatch.setattr("clubdesk.roll.links.timezone.now", lambda: at)
        monkeypatch.setattr("django.core.signing.time", SimpleNamespace(time=at.timestamp))

    return passes


def explains(client, address, sentence):
    """The address answers with why it does not work, and nothing else."""
    answer = client.get(address)
    text = answer.content.decode()
    assert (answer.status_code, sentence in text) == (404, True), text
    assert "Mirabar" not in text
    assert "To pay" not in text


def test_the_token_is_out_of_the_address_at_once(client, home):
    answer = client.get(families.link(home))
    assert (answer.status_code, answer.url) == (302, "/account/")
    assert "no-store" in answer.headers["Cache-Control"]
    kept = answer.cookies[links.COOKIE]
    assert (kept["httponly"], kept["samesite"], kept["max-age"]) == (True, "Lax", "")
    assert "Mirabar family" in client.get("/account/").content.decode()


def test_without_a_link_a_page_says_how_it_opens(client, home):
    for page in ("/account/", "/account/statement/", "/claims/", "/book/own/1/"):
        explains(client, page, AGAIN)


def test_an_address_that_is_not_complete_says_so(client, home):
    explains(client, families.link(home)[:-3] + "/", "The address is not complete")


def test_links_of_earlier_versions_say_that_they_ended(client, home):
    for old in ("/account/1:abcdefghijklmnopqrstuvwxyz0123456789/", "/claims/1:abc/", "/book/own/1:abc/certificate/2/"):
        explains(client, old, "Links of this kind have ended")


class TestWhatEndsALink:
    """Both the link and the page that was opened by it before."""

    @pytest.fixture
    def opened(self, client, home):
        families.page_of(client, home)
        return families.link(home)

    def test_another_email(self, client, ida, opened):
        ida.email = "ida@new.example.org"
        ida.save()
        explains(client, "/account/", ENDED)
        explains(client, opened, ENDED)

    def test_another_email_written_by_another_program(self, client, ida, opened):
        Guardian.objects.filter(pk=ida.pk).update(email="ida@new.example.org")
        explains(client, opened, ENDED)
        Guardian.objects.filter(pk=ida.pk).update(email="ida@example.org")
        explains(client, opened, ENDED)

    def test_a_new_name_or_phone_does_not(self, client, ida, opened):
        ida.name, ida.phone = "Ida Mirabar", "08 7010 0000"
        ida.save()
        assert client.get("/account/").status_code == 200

    def test_the_guardian_is_removed(self, client, ida, opened):
        ida.delete()
        explains(client, "/account/", ENDED)
        explains(client, opened, ENDED)

    def test_the_family_is_erased(self, client, home, opened):
        services.forget_household(home)
        explains(client, "/account/", ENDED)
        explains(client, opened, ENDED)

    def test_the_button(self, client, home, opened, coordinator):
        client.force_login(coordinator)
        page = reverse("admin:roll_household_end-links", args=[home.pk])
        assert client.post(page, {"key": "1b4e28ba-2fa1-11d2-883f-0016d3cca427"}).status_code == 302
        explains(client, opened, ENDED)
        assert client.get(families.link(home)).status_code == 302

    def test_age(self, client, home, opened, later, settings):
        later(days=settings.FAMILY_LINK_DAYS - 1)
        assert client.get(opened).status_code == 302
        later(days=2)
        explains(client, opened, f"worked for {settings.FAMILY_LINK_DAYS} days")

    def test_a_page_closes_after_two_hours_unless_it_is_looked_at(self, client, home, opened, later):
        later(hours=1.5)
        assert client.get("/account/").status_code == 200
        later(hours=1.5)
        assert client.get("/account/").status_code == 200
        later(hours=2.1)
        explains(client, "/account/", AGAIN)
        assert client.get(opened).status_code == 302

    def test_no_old_version_comes_back(self, ida, by):
        stale = Guardian.objects.get(pk=ida.pk)
        services.end_links(household=ida.household, by=by)
        stale.name = "Ida Mirabar"
        with pytest.raises(Exception, match="ended meanwhile"):
            stale.save()


def test_two_guardians_have_each_their_own(client, home, ida):
    ulf = Guardian.objects.create(household=home, name="Ulf", email="ulf@example.org")
    hers, his = links.path_for(ida, "/account/"), links.path_for(ulf, "/account/")
    ulf.delete()
    explains(client, his, ENDED)
    assert client.get(hers).status_code == 302


def test_a_link_opens_no_other_familys_booking(client, home):
    assert client.get(links.path_for(home.guardians.get(), "/book/own/1/")).url == "/book/own/1/"
    assert client.get("/book/own/1/").status_code == 404


class TestLetters:
    @pytest.fixture
    def letter(self, home):
        return mail.write_message(
            about="a test",
            to="ida@example.org",
            subject="Yours",
            body="Open {link}",
            household=home,
            link_path="/account/",
        )

    def test_each_letter_brings_a_new_link_made_as_it_goes_out(self, letter, home, by, mailoutbox):
        services.end_links(household=home, by=by)
        mail.deliver()
        token = mailoutbox[0].body.split("/open/")[1].strip("/")
        assert links.guardian_of(links.read(token)[0]).email == "ida@example.org"

    def test_a_letter_to_an_address_that_is_nobodys_any_more_stays(self, letter, ida, by, mailoutbox):
        ida.email = "ida@new.example.org"
        ida.save()
        mail.deliver()
        letter.refresh_from_db()
        assert (letter.state, mailoutbox) == ("failed", [])
        assert "no guardian's any more" in letter.outcome
        mail.send_again(message=letter, to=ida.email, by=by)
        mail.deliver()
        assert (mailoutbox[0].to, Message.objects.get().state) == ([ida.email], "sent")


def test_only_a_pass_that_we_signed_is_one(client, home, ida):
    client.cookies[links.COOKIE] = f"{ida.pk}.{ida.link_version}.9999999999"
    explains(client, "/account/", AGAIN)
    with pytest.raises(Refused, match="not complete"):
        links.read("1:2:3")
