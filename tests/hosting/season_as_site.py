"""A whole season of the site's work as the user that the environment names: verbs, a night, every check."""

import sys
from datetime import date

import django

django.setup()

from django.core.management import call_command  # noqa: E402 - models need the settings

from clubdesk import clock  # noqa: E402
from clubdesk.ledger.invariants import check_all  # noqa: E402
from clubdesk.ledger.models import JournalEntry  # noqa: E402
from tests.worlds import day_one, one_of_each, season  # noqa: E402

with clock.on(day_one.TODAY):
    if sys.argv[1] == "begin":
        call_command("migrate", verbosity=0)
        day_one.start(None)
    else:
        season.grow(12)
        one_of_each.grow()
        call_command("nightly", date=str(date(2026, 9, 13)), backup_to=sys.argv[2])
        call_command("send_mail")
        assert [fault for result in check_all() for fault in result.faults] == []
        print(JournalEntry.objects.count(), "entries")
