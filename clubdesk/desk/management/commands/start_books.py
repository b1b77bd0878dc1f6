from collections.abc import Iterable
from typing import Any

from django.core.management import call_command
from django.db import connection

from clubdesk import statics
from clubdesk.desk import services
from clubdesk.desk.services import Started
from clubdesk.shell import Argument, Typed, VerbCommand, day


class Command(VerbCommand[Started]):
    help = "Begin a club's books in an empty database: chart, funds, roles, first year and the first sign-in."
    verb = services.start_books_with_sign_ins
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
        yield "First sign-ins; each password is shown this once, change it after signing in:"
        for user, password, role in result.sign_ins:
            work = role or "adds people and their roles under “Sign-ins and roles”"
            yield f"  {user.username:<14} {password:<14} {work}"
        yield "Next: python manage.py runserver, then open http://127.0.0.1:8000/"
