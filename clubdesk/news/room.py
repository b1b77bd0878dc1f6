"""What the news room tells of itself."""

from clubdesk.news import admin, views
from clubdesk.news.demo import SCENES
from clubdesk.news.own import of_family
from clubdesk.rooms import AUDITOR, COORDINATOR, SEE_ALL, TREASURER, Entry, ListOf, PageOn, Room, SitePage, Tab

ROOM = Room(
    label="news",
    purpose="What the club writes to many families at once.",
    tab=Tab.FAMILIES,
    on_home=24,
    menu=(Entry("Write to families", "admin:write_to_families", "news.add_writing"), ListOf("Writing")),
    roles={COORDINATOR: (SEE_ALL, "add_writing"), TREASURER: (SEE_ALL,), AUDITOR: (SEE_ALL,)},
    no_sheet="it moves no money",
    of_family=of_family,
    adds=(
        PageOn("roll.household", page=admin.EndNewsPage(), section=admin.news_section),
        PageOn("roll.household", page=admin.TakeUpNewsPage(), action=admin.action_for("", "")),
        PageOn("roll.household", page=admin.WriteToFamilyStep()),
        PageOn("courses.cohort", page=admin.WriteStep("cohort")),
        PageOn("rangeday.rangeday", page=admin.WriteStep("signed-on")),
        PageOn("entryfund.stateevent", page=admin.WriteStep("event")),
        PageOn("roll.person", action=admin.action_for("household", "pk")),
        PageOn("membership.membership", action=admin.action_for("person__household", "person")),
        PageOn("courses.booking", action=admin.action_for("household", "places__person")),
        PageOn("courses.place", action=admin.action_for("booking__household", "person")),
        PageOn("rangeday.signon", action=admin.action_for("person__household", "person")),
    ),
    demo=SCENES,
    pages=(SitePage("news/write/", "write_to_families", views.write, "news.add_writing"),),
)
