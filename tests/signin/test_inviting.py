"""Adding a person: one page, an invitation, their own choice; the first administrator; and roles that were changed."""

import re
import uuid

import pytest
from allauth.mfa.totp.internal.auth import format_hotp_value, hotp_value, yield_hotp_counters_from_time
from django.contrib.auth.models import Group, Permission, User
from django.core import mail
from django.core.management import call_command
from django.urls import reverse

from clubdesk.desk import services
from clubdesk.desk.models import ActRecord
from clubdesk.desk.roles import make_roles
from clubdesk.desk.services import start_books_with_administrator
from clubdesk.errors import Refused
from clubdesk.rooms import COORDINATOR, RANGE_HELPER
from clubdesk.verbs import shell_user
from tests.worlds.day_one import YEAR_START

pytestmark = pytest.mark.django_db


@pytest.fixture
def send(client, keeper, settings, django_capture_on_commit_callbacks):
    """The administrator fills in the page; returns what the letter's link is."""
    settings.SECOND_STEP = False
    client.force_login(keeper)

    def sent(email="ada@example.org", role=RANGE_HELPER, name="Ada Solano"):
        form = {"name": name, "email": email, "key": str(uuid.uuid4())}
        form["role"] = Group.objects.get(name=role).pk if role else ""
        with django_capture_on_commit_callbacks(execute=True):
            answer = client.post(reverse("admin:auth_user_add"), form)
        assert answer.status_code == 302, answer.content.decode()
        client.logout()
        return link_in(mail.outbox[-1].body)

    return sent


def link_in(text):
    return re.search(r"http://127\.0\.0\.1:8000(/invitation/\S+)", text)[1]


def test_one_page_a_letter_and_a_password_of_their_own(client, send):
    link = send()
    assert "“" not in mail.outbox[0].subject
    assert mail.outbox[0].to == ["ada@example.org"]
    assert client.post(link, {"password": "1234"}).status_code == 422
    assert client.post(link, {"password": "a-long-one-77"}).status_code == 302
    assert client.get("/").status_code == 200
    user = User.objects.get(email="ada@example.org")
    assert (user.get_full_name(), [str(each) for each in user.groups.all()]) == ("Ada Solano", [RANGE_HELPER])
    client.logout()
    assert client.post("/login/", {"login": "ada@example.org", "password": "a-long-one-77"}).status_code == 302


def test_who_has_just_chosen_a_password_adds_the_second_step_at_once(client, send):
    client.post(send(), {"password": "a-long-one-77"})
    page = client.get("/second-step/totp/activate/")
    assert "six digits that the app shows" in page.content.decode()
    code = format_hotp_value(hotp_value(page.context["form"].secret, next(yield_hotp_counters_from_time())))
    codes = client.post("/second-step/totp/activate/", {"code": code}, follow=True)
    assert len(re.findall(r"\b\d{8}\b", codes.content.decode())) == 10
    assert 'href="/">I have kept them: go on' in codes.content.decode()


def test_or_a_code_by_mail_each_time(client, send):
    client.post(send(), {"act": "code"})
    assert client.get("/").status_code == 200
    client.logout()
    client.post("/login/code/", {"email": "ada@example.org"})
    assert mail.outbox[-1].to == ["ada@example.org"]
    assert not User.objects.get(email="ada@example.org").has_usable_password()


def test_an_invitation_serves_once_and_a_new_one_ends_it(client, send, keeper):
    link = send()
    services.invite_again(user=User.objects.get(email="ada@example.org"), by=keeper)
    assert "another has taken its place" in client.get(link).content.decode()
    other = send("ben@example.org")
    client.post(other, {"act": "code"})
    answer = client.get(other)
    assert (answer.status_code, "was used" in answer.content.decode()) == (404, True)
    assert "not complete" in client.get(f"{other[:-3]}/").content.decode()


def test_the_same_address_is_not_invited_twice(send, keeper):
    send()
    with pytest.raises(Refused, match="signs in with ada@example.org already"):
        services.invite(name="Ada", email="ADA@example.org", role=None, by=keeper)


def test_only_an_administrator_makes_one(coordinator, keeper):
    coordinator.user_permissions.add(*Permission.objects.filter(codename__in=("add_user", "change_user")))
    coordinator = User.objects.get(pk=coordinator.pk)
    with pytest.raises(Refused, match="Only an administrator"):
        services.invite(name="Ada", email="ada@example.org", role=None, by=coordinator)
    with pytest.raises(Refused, match="Only an administrator"):
        services.forget_second_step(user=keeper, by=coordinator)


def test_the_page_of_somebody_shows_no_permissions_and_changes_their_role(client, keeper, range_helper, settings):
    settings.SECOND_STEP = False
    client.force_login(keeper)
    page = reverse("admin:auth_user_change", args=[range_helper.pk])
    text = client.get(page).content.decode()
    assert "Administrator" in text
    assert ("user_permissions" in text, "is_staff" in text, "id_password" in text) == (False, False, False)
    roles = [Group.objects.get(name=COORDINATOR).pk]
    form = {"first_name": "Tomas", "last_name": "", "email": "tomas@example.org", "groups": roles, "is_active": "on"}
    assert client.post(page, form).status_code == 302
    assert [str(each) for each in range_helper.groups.all()] == [COORDINATOR]
    acts = ActRecord.objects.filter(actor=keeper, object_pk=str(range_helper.pk)).order_by("pk")
    assert {act.object_repr for act in acts} == {str(range_helper)}
    changed = [(name, change) for act in acts for name, change in act.changes.items()]
    assert ("groups", {"type": "m2m", "operation": "add", "objects": [COORDINATOR]}) in changed
    assert ("groups", {"type": "m2m", "operation": "delete", "objects": [RANGE_HELPER]}) in changed


@pytest.mark.world("empty")
def test_books_begin_with_one_administrator_and_no_password(client, settings):
    settings.SECOND_STEP = True
    started = start_books_with_administrator(club_name="Reedbank", year_start=YEAR_START, by=shell_user())
    assert [str(each) for each in User.objects.filter(is_staff=True)] == ["administrator"]
    assert not started.administrator.has_usable_password()
    client.post(link_in(started.link), {"password": "a-long-one-77"})
    assert client.get("/").url == "/second-step/"


def test_a_role_that_an_administrator_changed_survives_a_migration(book):
    role = Group.objects.get(name=RANGE_HELPER)
    taken = Permission.objects.get(codename="view_person")
    given = Permission.objects.get(codename="view_household")
    role.permissions.remove(taken)
    role.permissions.add(given)
    call_command("migrate", verbosity=0)
    make_roles()
    assert taken not in role.permissions.all()
    assert given in role.permissions.all()


def test_what_the_rooms_say_newly_is_given_and_what_they_say_no_more_is_taken_away(book, monkeypatch):
    role = Group.objects.get(name=RANGE_HELPER)
    before = set(role.permissions.all())
    from clubdesk.desk import roles

    said = roles.permissions_of
    swapped = {"roll.view_person": "roll.view_household"}
    monkeypatch.setattr(roles, "permissions_of", lambda name: {swapped.get(each, each) for each in said(name)})
    make_roles()
    after = set(Group.objects.get(name=RANGE_HELPER).permissions.all())
    assert {each.codename for each in before ^ after} == {"view_person", "view_household"}


def test_whoever_has_lost_everything_gets_a_link_at_the_machine(client, keeper, capsys):
    call_command("let_in", "keeper")
    client.post(link_in(capsys.readouterr().out), {"password": "a-long-one-77"})
    assert client.get("/").url == "/second-step/"
    with pytest.raises(Refused, match="Nobody signs in as nobody"):
        services.let_in_again(username="nobody", by=shell_user())
