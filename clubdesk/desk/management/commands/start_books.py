from collections.abc import Iterable
from typing import Any

from django.core.management import call_command
from django.core.management.base import CommandParser
from django.db import connection

from clubdesk import statics
from clubdesk.desk import demo, services
from clubdesk.desk.services import Started
from clubdesk.errors import Refused
from clubdesk.shell import Argument, Typed, VerbCommand, day


class Command(VerbCommand[Started]):
    help = "Begin a club's books in an empty database: chart, funds, roles, first year and the first administrator."
    verb = services.start_books_with_administrator
    takes = (
        Argument("--club", {"club_name": str}, "NAME"),
        Argument("--year-start", {"year_start": day}, "DATE", "first day of the first year"),
    )

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "--in-place-of-the-demo", action="store_true", help="throw a demo book away first; no other is touched"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", verbosity=0)
        if options.pop("in_place_of_the_demo"):
            self.throw_the_demo_away()
        statics.gather()
        super().handle(*args, **options)

    def throw_the_demo_away(self) -> None:
        try:
            demo.refuse_a_real_book()
            demo.empty()
        except Refused as refusal:
            self.fail(refusal.messages)

    def told(self, result: Started, typed: Typed) -> Iterable[str]:
        yield f"The books of {result.book} are open from {typed['year_start']}, in {connection.settings_dict['NAME']}."
        yield "Next: python manage.py runserver, then open this link, and choose within a week how you sign in:"
        yield f"  {result.link}"
        yield f"You are “{result.administrator.username}”, and invite everybody else under “Sign-ins and roles”."
