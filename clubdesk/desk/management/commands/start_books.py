from django.core.management import call_command

from clubdesk.desk import services
from clubdesk.ledger.services import shell_user
from clubdesk.shell import VerbCommand, day


class Command(VerbCommand):
    help = "Begin a club's books in an empty database: chart, funds, roles, first year and the first sign-in."

    def add_arguments(self, parser):
        parser.add_argument("--club", required=True, metavar="NAME")
        parser.add_argument("--year-start", required=True, metavar="DATE", help="first day of the first year")

    def handle(self, *args, **options):
        call_command("migrate", verbosity=0)
        super().handle(*args, **options)

    def run(self, *, club: str, year_start: str, **options):
        book = services.start_books(club_name=club, year_start=day(year_start), by=shell_user())
        user, password = services.add_user(username="keeper")
        self.stdout.write(
            f"The books of {book} are open from {year_start}.\n"
            f"First sign-in: {user.username} / {password} (shown this once; change it after signing in).\n"
            "Next: python manage.py runserver, then add the club's people under “Sign-ins and roles”."
        )
