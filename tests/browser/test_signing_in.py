"""Signing in, as people do it: wrong passwords, a new one by mail, an invitation, a passkey, a lost phone."""

import re

import pytest
from django.core import mail
from playwright.sync_api import expect

from clubdesk.desk import services
from clubdesk.verbs import shell_user
from tests.browser.test_scenes import accessible, fits
from tests.worlds.day_one import PASSWORD

NEW = "a-long-one-77"


@pytest.fixture
def in_earnest(settings):
    settings.SECOND_STEP = True


@pytest.fixture
def visitor(chromium, live_server, size, people, in_earnest, settings):
    """Somebody at the page to sign in, whose machine has a lock for passkeys."""
    settings.SITE_URL = live_server.url
    width, height = size
    context = chromium.new_context(viewport={"width": width, "height": height}, base_url=live_server.url)
    page = context.new_page()
    problems = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    lock = page.context.new_cdp_session(page)
    lock.send("WebAuthn.enable")
    options = {"protocol": "ctap2", "transport": "internal", "automaticPresenceSimulation": True}
    options |= {"hasResidentKey": True, "hasUserVerification": True, "isUserVerified": True}
    lock.send("WebAuthn.addVirtualAuthenticator", {"options": options})
    page.goto("/login/")
    yield page
    context.close()
    assert problems == []


def looks_right(page):
    assert fits(page)
    assert accessible(page) == []


def types(page, name, password=PASSWORD):
    page.get_by_label("Username or e-mail").fill(name)
    page.get_by_label("Password", exact=True).fill(password)
    page.get_by_role("button", name="Sign in", exact=True).click()


def signed_in(page):
    expect(page.locator("details.me")).to_be_visible()


def link_in_mail():
    return re.search(r"https?://\S+", mail.outbox[-1].body)[0]


def test_wrong_passwords_and_then_a_new_one_by_mail(visitor, people):
    people["helper"].email = "helper@example.org"
    people["helper"].save()
    looks_right(visitor)
    for _ in range(6):
        types(visitor, "range-helper", "wrong")
    expect(visitor.get_by_role("alert")).to_contain_text("Too many wrong passwords")
    looks_right(visitor)
    visitor.get_by_role("link", name="I have forgotten my password").click()
    looks_right(visitor)
    visitor.get_by_label("E-mail").fill("helper@example.org")
    visitor.locator("main button.default").click()
    expect(visitor.get_by_role("heading", name="Look into your mail")).to_be_visible()
    visitor.goto(link_in_mail())
    looks_right(visitor)
    for field in visitor.locator("input[type=password]").all():
        field.fill(NEW)
    visitor.locator("main button.default").click()
    expect(visitor.get_by_role("heading", name="The password is saved")).to_be_visible()
    visitor.goto("/login/")
    types(visitor, "helper@example.org", NEW)
    signed_in(visitor)


def test_an_invited_treasurer_adds_a_passkey_and_signs_in_by_it(visitor, people):
    from django.contrib.auth.models import Group

    role = Group.objects.get(name="Treasurer")
    services.invite(name="Ada Solano", email="ada@example.org", role=role, by=shell_user())
    visitor.goto(link_in_mail())
    looks_right(visitor)
    visitor.get_by_label("Password", exact=True).fill(NEW)
    visitor.get_by_role("button", name="Use this password").click()
    expect(visitor.get_by_role("heading", name="Your second step")).to_be_visible()
    looks_right(visitor)
    visitor.get_by_role("link", name="Add a passkey").click()
    if "reauthenticate" in visitor.url:
        looks_right(visitor)
        visitor.get_by_label("Password").fill(NEW)
        visitor.locator("main button.default").click()
    looks_right(visitor)
    visitor.get_by_label("Name").fill("Phone")
    visitor.locator("#mfa_webauthn_add").click()
    visitor.wait_for_url(lambda url: "add" not in url)
    looks_right(visitor)
    visitor.goto("/")
    signed_in(visitor)
    visitor.locator("details.me summary").click()
    visitor.get_by_role("button", name="Log out").click()
    expect(visitor.get_by_role("heading", name="Sign in")).to_be_visible()
    visitor.get_by_role("button", name="Sign in with a passkey").click()
    signed_in(visitor)
    visitor.goto("/sessions/")
    looks_right(visitor)


def test_a_lost_phone_by_a_recovery_code(visitor, people):
    from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
    from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret

    TOTP.activate(people["treasurer"], generate_totp_secret())
    code = RecoveryCodes.activate(people["treasurer"]).get_unused_codes()[0]
    types(visitor, "treasurer")
    looks_right(visitor)
    visitor.locator("input[name=code]").fill("000000")
    visitor.get_by_role("button", name="Sign in", exact=True).click()
    expect(visitor.locator(".errorlist")).to_be_visible()
    visitor.locator("input[name=code]").fill(code)
    visitor.get_by_role("button", name="Sign in", exact=True).click()
    signed_in(visitor)
    looks_right(visitor)
