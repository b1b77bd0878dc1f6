from clubdesk import clock
from clubdesk.desk import services
from clubdesk.ledger import selectors
from clubdesk.ledger.services import shell_user
from clubdesk.shell import VerbCommand, day


class Command(VerbCommand):
    help = "Do what time alone changes: offers lapse, fees of what has started become income. Safe to run twice."

    def add_arguments(self, parser):
        parser.add_argument("--date", metavar="DATE", help="default: today")

    def run(self, *, date: str | None, **options):
        selectors.book()
        night = services.nightly(on=day(date) if date else clock.today(), by=shell_user())
        self.stdout.write(f"{night.lapsed} offers lapsed, {night.recognised} fees became income.")
        for sentence in night.refused:
            self.stdout.write(f"Not yet: {sentence}")
