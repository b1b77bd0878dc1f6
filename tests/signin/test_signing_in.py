"""Signing in: how often one may try, a forgotten password, a code by mail, the second step, idleness, the record."""

import re
import time
from datetime import timedelta

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from django.contrib import admin
from django.contrib.auth.models import Group
from django.core import mail
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from clubdesk.desk import services
from clubdesk.desk.models import ActRecord, CacheRow, Seen, SignInRecord
from clubdesk.desk.signin import sessions
from clubdesk.ledger.models import Book
from clubdesk.rooms import TREASURER, second_step
from clubdesk.verbs import shell_user
from tests.worlds.day_one import PASSWORD

pytestmark = pytest.mark.django_db
WRONG, TOO_MANY = "do not belong together", "Too many wrong passwords"


def seen(user=None):
    rows = SignInRecord.objects.exclude(what=Seen.ROLE).order_by("pk")
    return [each.what for each in (rows.filter(user=user) if user else rows)]


def is_in(client):
    return client.get("/").status_code == 200


class TestPasswords:
    def test_the_right_one_lets_in_and_is_written_down(self, client, sign_in, range_helper):
        assert sign_in(range_helper).url == "/"
        assert is_in(client)
        assert seen(range_helper) == [Seen.SIGNED_IN]
        client.post("/logout/")
        assert not is_in(client)
        assert seen(range_helper) == [Seen.SIGNED_IN, Seen.SIGNED_OUT]

    def test_after_thirty_wrong_ones_the_right_one_does_not_let_in(
        self, client, sign_in, range_helper, kept_in_the_database
    ):
        said = [sign_in(range_helper, "wrong").content.decode() for _ in range(30)]
        assert [WRONG in each for each in said[:5]] == [True] * 5
        assert all(TOO_MANY in each for each in said[5:])
        assert TOO_MANY in sign_in(range_helper).content.decode()
        assert not is_in(client)
        assert seen(range_helper) == [Seen.REFUSED] * 5 + [Seen.TOO_MANY] * 26
        assert CacheRow.objects.exists()

    def test_whose_name_it_is_hears_of_it_once(self, sign_in, range_helper):
        range_helper.email = "helper@example.org"
        range_helper.save()
        for _ in range(9):
            sign_in(range_helper, "wrong")
        assert [each.subject for each in mail.outbox] == ["Fletchbook: Wrong passwords for your sign-in"]

    def test_one_address_tries_no_names_in_turn(self, sign_in, book):
        said = [sign_in(f"name{number}", "wrong").content.decode() for number in range(31)]
        assert [TOO_MANY in each for each in said] == [False] * 30 + [True]

    def test_another_name_from_another_address_is_not_kept_out(self, client, sign_in, range_helper, approver):
        for _ in range(6):
            sign_in(range_helper, "wrong")
        assert sign_in(approver, REMOTE_ADDR="203.0.113.9").status_code == 302

    def test_what_nobody_is_called_is_not_written_down(self, sign_in, book):
        sign_in("my-secret-password", "range-helper")
        record = SignInRecord.objects.get(what=Seen.REFUSED)
        assert (record.user, record.words) == (None, "")

    def test_whoever_left_does_not_come_in(self, client, sign_in, range_helper):
        range_helper.is_active = False
        range_helper.save()
        sign_in(range_helper)
        assert not is_in(client)

    def test_nobody_signs_up(self, client, book):
        assert "By invitation" in client.get("/signup/").content.decode()
        client.post("/signup/", {"username": "new", "password1": PASSWORD})
        assert not is_in(client)

    def test_there_is_no_other_page_to_sign_in(self, client, rf, book):
        assert client.get("/").url == "/login/?next=/"
        assert 'name="login"' in client.get(reverse("admin:login")).content.decode()
        assert admin.site.login(rf.get("/login/", {"next": "/find/"})).url == "/login/?next=/find/"


class TestByMail:
    @pytest.fixture
    def helper(self, range_helper):
        range_helper.email = "helper@example.org"
        range_helper.save()
        return range_helper

    def test_a_forgotten_password(self, client, sign_in, helper):
        client.post("/password/reset/", {"email": helper.email})
        (address,) = re.findall(r"http://testserver(/password/reset/key/\S+)", mail.outbox[0].body)
        page = client.get(address, follow=True).request["PATH_INFO"]
        client.post(page, {"password1": "a-new-one-77", "password2": "a-new-one-77"})
        assert Seen.PASSWORD in seen(helper)
        assert sign_in(helper, "a-new-one-77").status_code == 302
        assert client.get(address, follow=True).status_code == 200

    def test_an_unknown_address_is_answered_alike_and_gets_nothing(self, client, helper):
        known = client.post("/password/reset/", {"email": helper.email})
        unknown = client.post("/password/reset/", {"email": "nobody@example.org"})
        assert (known.status_code, known.url) == (unknown.status_code, unknown.url)
        assert [each.to for each in mail.outbox] == [[helper.email]]

    def test_a_code_in_place_of_a_password(self, client, helper):
        client.post("/login/code/", {"email": helper.email})
        code = re.search(r"^\s*([A-Z0-9]{3,}-?[A-Z0-9]{2,})\s*$", mail.outbox[0].body, re.M)[1]
        client.post("/login/code/confirm/", {"code": "WRONG1"})
        assert not is_in(client)
        client.post("/login/code/confirm/", {"code": code})
        assert is_in(client)
        assert seen(helper) == [Seen.REFUSED, Seen.SIGNED_IN]

    def test_a_mail_server_that_is_down_stops_no_page(self, client, helper, settings):
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1
        assert client.post("/password/reset/", {"email": helper.email}).status_code == 302


class TestTheSecondStep:
    def test_who_needs_one(self, keeper, treasurer, approver, coordinator, range_helper):
        from clubdesk.desk.signin.second import needs_one

        assert all(needs_one(each) for each in (keeper, treasurer, approver, coordinator))
        assert not needs_one(range_helper)
        assert "bank.release_paymentrun" in second_step()

    def test_without_one_nothing_opens_but_where_it_is_added(self, client, sign_in, treasurer):
        sign_in(treasurer)
        for page in ("/", "/roll/household/", "/reports/"):
            assert client.get(page).url == "/second-step/"
        page = client.get("/second-step/").content.decode()
        assert "signing in takes a second step" in page
        assert "Add a passkey" in page

    def test_with_an_app_the_code_is_asked_and_a_wrong_one_is_refused(self, client, sign_in, treasurer, with_app):
        code = with_app(treasurer)
        assert sign_in(treasurer).url == "/second-step/authenticate/"
        assert not is_in(client)
        client.post("/second-step/authenticate/", {"code": "000000"})
        assert not is_in(client)
        client.post("/second-step/authenticate/", {"code": code()})
        assert is_in(client)
        assert seen(treasurer) == [Seen.REFUSED, Seen.SIGNED_IN]

    def test_a_lost_phone_a_recovery_code_serves_once(self, client, sign_in, treasurer, with_app):
        with_app(treasurer)
        code = RecoveryCodes.activate(treasurer).get_unused_codes()[0]
        for works in (True, False):
            sign_in(treasurer)
            client.post("/second-step/authenticate/", {"code": code})
            assert is_in(client) is works
            client.post("/logout/")

    def test_a_lost_phone_without_codes_an_administrator_takes_the_step_away(
        self, client, sign_in, treasurer, keeper, coordinator, with_app
    ):
        with_app(treasurer)
        services.forget_second_step(user=treasurer, by=keeper)
        sign_in(treasurer)
        assert client.get("/").url == "/second-step/"

    def test_passkeys_are_listed_by_their_names(self, client, sign_in, range_helper):
        sign_in(range_helper)
        for name in ("Phone at the range", "Laptop"):
            Authenticator.objects.create(user=range_helper, type=Authenticator.Type.WEBAUTHN, data={"name": name})
        page = client.get(reverse("mfa_list_webauthn")).content.decode()
        assert page.count("not used yet") == 2
        assert "Phone at the range" in page

    def test_a_helper_needs_none(self, client, sign_in, range_helper):
        sign_in(range_helper)
        assert is_in(client)

    def test_the_demo_asks_for_none_and_says_so(self, client, sign_in, treasurer):
        Book.objects.update(is_demo=True)
        assert "none asks for a second step" in client.get("/login/").content.decode()
        sign_in(treasurer)
        assert is_in(client)


class TestAskedAgain:
    @pytest.fixture
    def signed_in(self, client, sign_in, treasurer, with_app):
        code = with_app(treasurer)
        sign_in(treasurer)
        client.post("/second-step/authenticate/", {"code": code()})
        return client

    @pytest.mark.parametrize("page", ["/reports/2027/workbook/", "/reports/2027/audit-pack/"])
    def test_before_the_export_of_the_year(self, signed_in, page):
        assert signed_in.get(page).url.startswith("/reauthenticate/?next=")
        assert signed_in.post(f"/reauthenticate/?next={page}", {"password": PASSWORD}).url == page
        assert signed_in.get(page).status_code == 200

    def test_anew_after_ten_minutes(self, signed_in, monkeypatch):
        page = "/reports/2027/workbook/"
        signed_in.post(f"/reauthenticate/?next={page}", {"password": PASSWORD})
        later = time.time() + 601
        monkeypatch.setattr("allauth.account.internal.flows.reauthentication.time.time", lambda: later)
        assert signed_in.get(page).status_code == 302

    def test_every_page_of_a_release_of_bank_details_and_of_erasing(self):
        asks = {
            f"{name}.{page.slug}"
            for name, screen in ((model._meta.label_lower, each) for model, each in admin.site._registry.items())
            for page in getattr(screen, "all_pages", ())
            if getattr(page, "asks_again", False)
        }
        assert asks == {
            "bank.accountchange.agree", "bank.bankaccount.another-account", "bank.paymentrun.release",
            "roll.household.bank-details", "roll.person.erase",
            "auth.user.invite-again", "auth.user.end-sessions", "auth.user.forget-second-step",
        }  # fmt: skip


class TestIdleness:
    def test_after_some_hours_of_nothing_the_session_ends(self, client, sign_in, range_helper, monkeypatch, settings):
        sign_in(range_helper)
        began, hours = time.time(), settings.IDLE_HOURS * 3600
        monkeypatch.setattr(sessions.time, "time", lambda: began + hours - 60)
        assert is_in(client)
        monkeypatch.setattr(sessions.time, "time", lambda: began + 2 * hours - 120)
        assert is_in(client)
        monkeypatch.setattr(sessions.time, "time", lambda: began + 3 * hours)
        assert "signed out after" in client.get("/", follow=True).content.decode()

    def test_a_browser_with_the_sessions_cookie_alone_counts_from_the_sign_in(self, client, sign_in, range_helper):
        sign_in(range_helper)
        thief = Client()
        thief.cookies["sessionid"] = client.cookies["sessionid"].value
        thief.cookies[sessions.COOKIE] = "99999999999"
        assert is_in(thief)
        session = client.session
        session[sessions.SINCE] = 1
        session.save()
        assert not is_in(thief)

    def test_the_sheet_of_a_range_day_keeps_a_day(self, client, sign_in, range_helper, monkeypatch, settings):
        from tests import factories

        sheet = reverse("admin:range_sheet", args=[factories.range_day().pk])
        sign_in(range_helper)
        began = time.time()
        monkeypatch.setattr(sessions.time, "time", lambda: began + 23 * 3600)
        assert client.get(sheet).status_code == 200
        monkeypatch.setattr(sessions.time, "time", lambda: began + 25 * 3600)
        assert client.get(sheet).status_code == 302

    def test_sessions_are_listed_and_ended_everywhere(self, client, sign_in, range_helper, keeper):
        sign_in(range_helper, HTTP_USER_AGENT="Phone")
        other = Client()
        other.post("/login/", {"login": "range-helper", "password": PASSWORD}, HTTP_USER_AGENT="Laptop")
        page = client.get("/sessions/").content.decode()
        assert ("Phone" in page, "Laptop" in page) == (True, True)
        client.post("/sessions/")
        assert (is_in(client), is_in(other)) == (True, False)
        assert services.end_sessions(user=range_helper, by=keeper) == 1
        assert not is_in(client)


class TestTheRecord:
    def test_the_auditor_reads_it_and_a_helper_does_not(self, client, auditor, range_helper, sign_in):
        sign_in(auditor, "wrong")
        page = reverse("admin:desk_signinrecord_changelist")
        client.force_login(auditor)
        assert "Refused" in client.get(page).content.decode()
        client.force_login(range_helper)
        assert client.get(page).status_code == 403

    def test_nobody_changes_it(self, sign_in, range_helper):
        sign_in(range_helper)
        for act in (lambda: SignInRecord.objects.update(what="refused"), lambda: SignInRecord.objects.all().delete()):
            with pytest.raises(IntegrityError, match="never"), transaction.atomic():
                act()

    def test_a_role_that_was_given_or_taken_away_is_a_change_like_any_other(self, range_helper):
        records, acts = SignInRecord.objects.count(), ActRecord.objects.count()
        role = Group.objects.get(name=TREASURER)
        range_helper.groups.add(role)
        role.user_set.remove(range_helper)
        range_helper.is_superuser = True
        range_helper.save()
        assert SignInRecord.objects.count() == records
        assert [each.changes for each in ActRecord.objects.order_by("pk")[acts:]] == [
            {"groups": {"type": "m2m", "operation": "add", "objects": [TREASURER]}},
            {"who signs in": {"type": "m2m", "operation": "delete", "objects": [str(range_helper)]}},
            {"is_superuser": [False, True]},
        ]


def test_an_invitation_is_a_week_old_at_most(client, keeper, monkeypatch):
    from clubdesk.desk.signin import invitations

    user = services.invite(name="Ada", email="ada@example.org", role=None, by=shell_user())
    link = invitations.link_of(user).removeprefix("http://127.0.0.1:8000")
    assert client.get(link).status_code == 200
    monkeypatch.setattr(invitations, "WORKS_FOR", timedelta(seconds=-1))
    assert "more than a week old" in client.get(link).content.decode()


def test_a_demo_is_not_served_to_the_open_internet(client, settings, book):
    settings.PUBLIC_HOSTS = ["club.example"]
    assert client.get("/login/").status_code == 200
    Book.objects.update(is_demo=True)
    for page in ("/login/", "/book/", "/"):
        answer = client.get(page)
        assert (answer.status_code, "invented" in answer.content.decode()) == (403, True)
