from typing import Any

from django.core.management import call_command
from django.core.management.base import CommandParser
from django.db import connection

from clubdesk.desk import services
from clubdesk.rooms import ROLES
from clubdesk.shell import VerbCommand, day
from clubdesk.verbs import shell_user


class Command(VerbCommand):
    help = "Begin a club's books in an empty database: chart, funds, roles, first year and the first sign-in."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--club", required=True, metavar="NAME")
        parser.add_argument("--year-start", required=True, metavar="DATE", help="first day of the first year")

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", verbosity=0)
        super().handle(*args, **options)

    def run(self, *, club: str, year_start: str, **options: Any) -> None:
        book = services.start_books(club_name=club, year_start=day(year_start), by=shell_user())
        self.stdout.write(f"The books of {book} are open from {year_start}, in {connection.settings_dict['NAME']}.")
        self.stdout.write("First sign-ins; each password is shown this once, change it after signing in:")
        for role in ("", *ROLES):
            user, password = services.add_user(username=role.lower().replace(" ", "-") or "keeper", role=role)
            work = role or "adds people and their roles under “Sign-ins and roles”"
            self.stdout.write(f"  {user.username:<14} {password:<14} {work}")
        self.stdout.write("Next: python manage.py runserver, then open http://127.0.0.1:8000/")
