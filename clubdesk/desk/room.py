"""What the desk tells of itself: who signs in, and what looks at all rooms at once."""

from datetime import date

from django.contrib.auth.models import User

from clubdesk import uploads
from clubdesk.desk import health, history, home, search, style, words
from clubdesk.desk.admin import ErasePage, FamilyFilePage
from clubdesk.desk.models import Regular, Upkeep
from clubdesk.desk.personal import PERSONAL
from clubdesk.desk.signin.sealing import seal_anew
from clubdesk.families import Act, Part
from clubdesk.rooms import (
    AUDITOR,
    TREASURER,
    Card,
    Done,
    First,
    ListOf,
    Menu,
    Night,
    PageOn,
    Recorded,
    Room,
    SitePage,
    Tab,
)


def _forget_uploads(on: date, by: User) -> Done:
    """Files that forms were sent with and that nobody sent again."""
    uploads.forget()
    return Done()


def _seal_secrets_anew(on: date, by: User) -> Done:
    """Those that an earlier key of the site had sealed."""
    return Done(count=seal_anew())


ROOM = Room(
    label="desk",
    purpose="Who may sign in, and what each role may do.",
    tab=Tab.SITE,
    on_home=100,
    menu=(
        ListOf("User", Menu.SETTING, app="auth"),
        ListOf("Group", Menu.SETTING, app="auth"),
        ListOf("SignInRecord", Menu.SETTING),
        ListOf("ActRecord", Menu.SETTING),
    ),
    first_things=(
        First(
            20,
            "Who signs in",
            "Each volunteer by name, e-mail and role; an invitation lets them choose how to sign in.",
            "auth.add_user",
            "admin:auth_user_add",
            lambda: User.objects.filter(is_active=True).order_by("pk")[1:2],
        ),
        First(
            110,
            "A backup each night",
            "Whoever keeps the machine sets it up as README says, and tries to restore it once; the first ticks this.",
            "auth.add_user",
            "admin:site_kept",
            lambda: Upkeep.objects.filter(what=Regular.BACKUP),
        ),
    ),
    each_night=(Night("", _forget_uploads), Night("", _seal_secrets_anew)),
    today=health.today,
    cards=(
        Card(
            health.KEPT,
            "desk.view_upkeep",
            health.how_it_is_kept,
            more="Nights and backups",
            page="admin:site_kept",
        ),
    ),
    of_family=lambda home, people, on: Part(acts=(Act("Dates, and our calendar", page="dates:own"),)),
    roles={
        AUDITOR: ("view_signinrecord", "view_actrecord", "view_upkeep"),
        TREASURER: ("view_upkeep",),
    },
    personal=PERSONAL,
    recorded=(
        Recorded("auth.User", leaves=("password", "last_login", "date_joined", "is_staff"), sets=("groups",)),
        Recorded("auth.Group", sets=("permissions",)),
    ),
    adds=(PageOn("roll.household", page=FamilyFilePage()), PageOn("roll.person", page=ErasePage())),
    pages=(
        SitePage("find/", "find", search.find),
        SitePage("everything/", "everything", home.everything),
        SitePage("words/", "words", words.words),
        SitePage("site/kept/", "site_kept", health.kept, "desk.view_upkeep"),
        SitePage("style/", "style", style.style),
        SitePage("history/<str:label>/<path:pk>/", "history", history.history),
    ),
)
