"""Begins a book in the database of the environment and prints the cookies of a treasurer who is signed in to it."""

import sys

import django

django.setup()

from allauth.mfa.models import Authenticator  # noqa: E402 - models need the settings
from django.core.management import call_command  # noqa: E402
from django.test import Client  # noqa: E402

from clubdesk import clock  # noqa: E402
from clubdesk.desk import services as desk  # noqa: E402
from clubdesk.rooms import TREASURER  # noqa: E402
from clubdesk.verbs import shell_user  # noqa: E402

call_command("migrate", verbosity=0)
desk.start_books(club_name="Reedbank Archers", year_start=clock.today().replace(day=1), by=shell_user())
user, _ = desk.add_user(username="treasurer", role=TREASURER, password="not-asked-for-here")
Authenticator.objects.create(user=user, type=Authenticator.Type.TOTP, data={"secret": "x"})
browser = Client(headers={"host": sys.argv[1], "x-forwarded-proto": "https"})
browser.force_login(user)
print("; ".join(f"{name}={morsel.value}" for name, morsel in browser.cookies.items()))
