"""What the desk tells of itself: who signs in, and what looks at all rooms at once."""

from clubdesk.desk import home, search
from clubdesk.desk.admin import ErasePage, FamilyFilePage
from clubdesk.rooms import AUDITOR, ListOf, Menu, PageOn, Room, SitePage, Tab

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
    roles={AUDITOR: ("view_signinrecord",)},
    adds=(PageOn("roll.household", page=FamilyFilePage()), PageOn("roll.person", page=ErasePage())),
    pages=(SitePage("find/", "find", search.find), SitePage("everything/", "everything", home.everything)),
)
