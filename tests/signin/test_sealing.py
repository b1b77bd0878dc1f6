"""The secrets of apps and recovery codes stand sealed in the database, and outlive a change of the site's key."""

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP
from django.core.management import call_command

from clubdesk.desk.signin import sealing

pytestmark = pytest.mark.django_db
SECRET = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"


@pytest.fixture
def app(treasurer):
    TOTP.activate(treasurer, SECRET)
    return lambda: Authenticator.objects.get(user=treasurer, type=Authenticator.Type.TOTP)


def opened(row):
    return sealing.MFAAdapter().decrypt(row.data["secret"])


def test_the_database_holds_no_secret_as_it_is(app, treasurer):
    RecoveryCodes.activate(treasurer)
    held = str(list(Authenticator.objects.values_list("data", flat=True)))
    assert SECRET not in held
    assert held.count(sealing.SEALED) == 2
    assert opened(app()) == SECRET


def test_recovery_codes_are_the_same_each_time(treasurer):
    codes = RecoveryCodes.activate(treasurer)
    assert codes.generate_codes() == RecoveryCodes.activate(treasurer).generate_codes()


def test_another_key_of_the_site_reads_what_the_one_before_sealed(app, settings):
    before = settings.SECRET_KEY
    settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = "the site's new key", [before]
    assert opened(app()) == SECRET
    assert sealing.seal_anew() == 1
    settings.SECRET_KEY_FALLBACKS = []
    assert opened(app()) == SECRET
    assert sealing.seal_anew() == 0


def test_a_key_that_is_not_known_opens_nothing_and_takes_nothing_away(app, settings):
    before, held = settings.SECRET_KEY, app().data["secret"]
    settings.SECRET_KEY = "a key that came with nothing"
    assert SECRET not in {opened(app()), opened(app())}
    assert len({opened(app()) for _ in range(5)}) == 5
    assert sealing.seal_anew() == 0
    settings.SECRET_KEY = before
    assert app().data["secret"] == held
    assert opened(app()) == SECRET


def test_what_was_written_before_is_sealed_by_the_next_migrate_and_by_the_night(app, capsys):
    for command in (["migrate"], ["nightly"]):
        row = app()
        row.data["secret"] = SECRET
        row.save()
        assert opened(app()) == SECRET
        call_command(*command, verbosity=0)
        assert app().data["secret"].startswith(sealing.SEALED)
        assert opened(app()) == SECRET
