"""What the desk tells of itself: who signs in, and what looks at all rooms at once."""

from django.contrib.auth.models import User

from clubdesk.desk import home, search
from clubdesk.desk.admin import ErasePage, FamilyFilePage
from clubdesk.rooms import AUDITOR, First, ListOf, Menu, PageOn, Room, SitePage, Tab

ROOM = Room(
    label="desk",
    purpose="Who may sign in, and what each role may do.",
    tab=Tab.SITE,
    on_home=100,
    menu=(
        ListOf("User", Menu.SETTING, app="auth"),
        ListOf("Group", Menu.SETTING, app="auth"),
        ListOf("SignInRecord", Menu.SETTING),
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
    ),
    roles={AUDITOR: ("view_signinrecord",)},
    adds=(PageOn("roll.household", page=FamilyFilePage()), PageOn("roll.person", page=ErasePage())),
    pages=(SitePage("find/", "find", search.find), SitePage("everything/", "everything", home.everything)),
)
