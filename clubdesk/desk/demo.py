"""The demo book: one whole financial year and the current one of an invented club, made by the verbs.

Everything is invented: Quandong Bend Archery Club stands in an invented river town of an unnamed state. People come
from Faker with a fixed seed, so that the same day gives the same book. What happens in it, each room tells by itself.
"""

from collections.abc import Callable, Iterator
from datetime import date
from typing import TYPE_CHECKING

from django.apps import apps
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection, models, transaction
from django.test.utils import override_settings

from clubdesk import clock, guards, rooms
from clubdesk.demoing import SEED, Demo
from clubdesk.desk.services import add_user, nightly, start_books
from clubdesk.errors import Refused
from clubdesk.ledger.models import Book
from clubdesk.mail import services as mail
from clubdesk.roll.models import Household
from clubdesk.upkeep import learn_sizes
from clubdesk.verbs import shell_user

if TYPE_CHECKING:
    from faker import Faker

CLUB = "Quandong Bend Archery Club"
PASSWORD = "quandong-bend"  # noqa: S105 - the demo's own, printed when it starts, on loopback only
NOWHERE = "django.core.mail.backends.dummy.EmailBackend"
SIGN_INS = {
    "coordinator": (rooms.COORDINATOR, "Ines Kallara"),
    "helper": (rooms.RANGE_HELPER, "Tomas Wirrin"),
    "approver": (rooms.APPROVER, "Petra Solano"),
    "treasurer": (rooms.TREASURER, "Hugo Marchetti"),
    "auditor": (rooms.AUDITOR, "Noor Ellery"),
    "secretary": (rooms.APPROVER, "Lena Castellan"),
}


def build(*, today: date, say: Callable[[str], None] = lambda text: None) -> Demo:
    """Put a fresh demo book into the database in place of an earlier demo; `say` is told each month that begins.

    Raises Refused for any other book, and where Faker is not installed.
    """
    refuse_a_real_book()
    fake = invented_people()
    empty()
    demo = Demo(today=today, fake=fake)
    with override_settings(EMAIL_BACKEND=NOWHERE, MAIL_GOES_OUT_BY_ITSELF=False):
        with transaction.atomic():
            begin(demo)
        for day in demo.days():
            if day.day == 1:
                say(f"{day:%B %Y}")
                learn_sizes()
            with clock.on(day), transaction.atomic():
                live(demo, day)
        with clock.on(today), transaction.atomic():
            leave(demo)
    return demo


def invented_people() -> "Faker":
    """Where the people come from. Raises Refused where the package is not installed: a club's own books need none."""
    try:
        from faker import Faker
    except ImportError:
        raise Refused(
            "The demo invents its people with Faker: pip install --require-hashes -r .lock/demo.txt."
        ) from None
    fake = Faker("en_AU")
    fake.seed_instance(SEED)
    return fake


def refuse_a_real_book() -> None:
    """Raise Refused where the database holds anything that no demo made."""
    book = Book.objects.first()
    if book and not book.is_demo:
        raise Refused(f"This database holds the books of {book}; the demo never touches a real club's books.")
    if not book and (Household.objects.exists() or User.objects.exists()):
        raise Refused("This database is not empty and holds no demo; give the demo a database of its own.")


def empty() -> None:
    """Take an earlier demo away, and every file that its documents kept."""
    columns = (column for model in apps.get_models() for column in model._meta.concrete_fields)
    for column in (column for column in columns if isinstance(column, models.FileField)):
        rows = column.model._default_manager.filter(**{f"{column.name}__gt": ""})
        for name in rows.values_list(column.name, flat=True):
            column.storage.delete(name)
    with transaction.atomic():
        guards.remove(connection)
        call_command("flush", interactive=False, verbosity=0)


def scenes() -> Iterator[rooms.Scene]:
    """What the rooms do in the demo, lowest floor first."""
    for room in rooms.in_order():
        yield from room.demo


def begin(demo: Demo) -> None:
    """The club before the demo's first day, and what is planned for both years."""
    start_books(club_name=CLUB, year_start=demo.last_year, by=shell_user(), is_demo=True)
    for name, (role, full_name) in SIGN_INS.items():
        demo.users[name], _ = add_user(username=name, role=role, password=PASSWORD, full_name=full_name)
    for scene in scenes():
        scene.begin(demo)
    for first_day in (demo.last_year, demo.this_year):
        for scene in scenes():
            scene.plan(demo, first_day)


def live(demo: Demo, day: date) -> None:
    """The night before, the letters that it wrote, what a day brings, and what was planned for it."""
    nightly(on=day, by=shell_user())
    mail.deliver()
    for scene in scenes():
        scene.daily(demo, day)
    demo.act(day)


def leave(demo: Demo) -> None:
    """What a visitor finds to do on the last day."""
    for scene in scenes():
        scene.leave(demo, demo.today)
    mail.deliver()
