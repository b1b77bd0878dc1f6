"""What the room of whom to ring and what to know tells of itself."""

from clubdesk.care import admin, services, views
from clubdesk.care.demo import SCENES
from clubdesk.care.letters import LETTERS
from clubdesk.care.merging import MERGING
from clubdesk.care.own import of_family
from clubdesk.care.personal import PERSONAL, TOLD
from clubdesk.rooms import (
    AUDITOR,
    COORDINATOR,
    RANGE_HELPER,
    Done,
    ListOf,
    Menu,
    Night,
    PageOn,
    Room,
    SitePage,
    Tab,
)

ROOM = Room(
    label="care",
    purpose="Whom to ring for a child, what a helper must know, who may collect, and what families agreed to.",
    tab=Tab.FAMILIES,
    on_home=15,
    menu=(
        ListOf("Look"),
        ListOf("AgreementText", Menu.SETTING),
    ),
    each_night=(
        Night(
            "families asked whether whom to ring is still right", lambda on, by: Done(services.ask_to_confirm(on=on))
        ),
        Night("families asked anew whether they agree", lambda on, by: Done(services.ask_anew(on=on))),
        Night("health notes deleted that are no longer needed", lambda on, by: Done(services.forget_who_left(on=on))),
    ),
    roles={
        COORDINATOR: (
            "view_persontoring",
            "change_persontoring",
            "view_healthnote",
            "change_healthnote",
            "look_healthnote",
            "view_agreement",
            "add_agreement",
            "view_agreementtext",
            "add_agreementtext",
            "view_look",
        ),
        RANGE_HELPER: ("look_healthnote",),
        AUDITOR: ("view_look", "view_agreementtext"),
    },
    letters=LETTERS,
    personal=PERSONAL,
    told=TOLD,
    merging=MERGING,
    of_family=of_family,
    no_sheet="what families agreed to and what is known of their health is no figure, and the auditor does not see it",
    adds=(
        PageOn("roll.person", page=admin.ContactsPage(), section=admin.care_section, is_main=True),
        PageOn("roll.person", page=admin.AgreePage(), is_main=True),
    ),
    pages=(
        SitePage("roll/person/<int:pk>/health/", "care_health", views.health, "care.view_healthnote", is_bare=True),
    ),
    demo=SCENES,
)
