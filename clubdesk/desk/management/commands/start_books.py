from collections.abc import Iterable
from typing import Any

from django.core.management import call_command
from django.db import connection

from clubdesk import statics
from clubdesk.desk import services
from clubdesk.desk.services import Started
from clubdesk.shell import Argument, Typed, VerbCommand, day


class Command(VerbCommand[Started]):
    help = "Begin a club's books in an empty database: chart, funds, roles, first year and the first administrator."
    verb = services.start_books_with_administrator
    takes = (
        Argument("--club", {"club_name": str}, "NAME"),
        Argument("--year-start", {"year_start": day}, "DATE", "first day of the first year"),
    )

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", verbosity=0)
        statics.gather()
        super().handle(*args, **options)

    def told(self, result: Started, typed: Typed) -> Iterable[str]:
        yield f"The books of {result.book} are open from {typed['year_start']}, in {connection.settings_dict['NAME']}."
        yield "Next: python manage.py runserver, then open this link, and choose within a week how you sign in:"
        yield f"  {result.link}"
        yield f"You are “{result.administrator.username}”, and invite everybody else under “Sign-ins and roles”."
