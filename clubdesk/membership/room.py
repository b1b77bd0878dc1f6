"""What the room of memberships tells of itself."""

from clubdesk.membership import admin, rollviews, services, views
from clubdesk.membership.audiences import AUDIENCES
from clubdesk.membership.cards import CARDS, families_to_renew
from clubdesk.membership.coming import due_of_associations
from clubdesk.membership.demo import SCENES
from clubdesk.membership.letters import LETTERS
from clubdesk.membership.merging import MERGING
from clubdesk.membership.models import LeaveRequest, LeaveState, Plan
from clubdesk.membership.own import dates_of, of_family
from clubdesk.membership.personal import PERSONAL, TOLD
from clubdesk.membership.sheets import SHEETS
from clubdesk.roll.models import Person
from clubdesk.rooms import (
    AUDITOR,
    COORDINATOR,
    SEE_ALL,
    TREASURER,
    Done,
    Entry,
    First,
    ListOf,
    Menu,
    Night,
    PageOn,
    Recorded,
    Room,
    SitePage,
    Tab,
    Waits,
)
from clubdesk.waiting import waiting

ROOM = Room(
    label="membership",
    purpose="Who is a member and until when, and what the associations are owed for it.",
    tab=Tab.FAMILIES,
    on_home=30,
    menu=(
        ListOf("Membership"),
        ListOf("LeaveRequest", unsearched="There are few, and each is answered."),
        Entry("Renewals", "admin:renewals", "membership.view_membership"),
        Entry("Affiliation, member by member", "admin:affiliation", "membership.view_remittance"),
        ListOf("Remittance"),
        ListOf("Plan", Menu.SETTING),
        ListOf("FamilyCap", Menu.SETTING),
        Entry("Import a roll", "admin:import_roll", "roll.add_household", Menu.SETTING),
    ),
    first_things=(
        First(
            50,
            "Membership plans",
            "What a junior and an adult pay a year, what of it associations get, and what a sibling is let off.",
            "membership.add_plan",
            "admin:membership_plan_begin",
            lambda: Plan.objects.all(),
        ),
        First(
            90,
            "The roll",
            "Families and their people, from the spreadsheet that you keep today, with what they owe.",
            "roll.add_household",
            "admin:import_roll",
            lambda: Person.objects.all(),
        ),
    ),
    waits=(
        Waits(
            "family to renew",
            "families to renew",
            permission="membership.add_membership",
            page="admin:renewals",
            now=families_to_renew,
        ),
        Waits(
            "request to leave",
            "requests to leave",
            permission="membership.change_membership",
            page="admin:membership_leaverequest_changelist",
            query="state__exact=asked",
            now=lambda on: waiting(
                LeaveRequest.objects.filter(state=LeaveState.ASKED),
                since="asked_on",
                line="End the membership, then answer the family.",
            ),
        ),
    ),
    cards=CARDS,
    comes_due=(due_of_associations,),
    each_night=(Night("families reminded", lambda on, by: Done(len(services.remind_renewals(on=on)))),),
    letters=LETTERS,
    roles={
        COORDINATOR: (SEE_ALL, "add_membership", "change_membership"),
        TREASURER: (SEE_ALL, "add_plan", "change_plan", "add_familycap", "change_familycap", "add_remittance"),
        AUDITOR: (SEE_ALL,),
    },
    audiences=AUDIENCES,
    dates_of=dates_of,
    recorded=(Recorded("membership.Plan"), Recorded("membership.FamilyCap")),
    personal=PERSONAL,
    merging=MERGING,
    told=TOLD,
    of_family=of_family,
    sheets=SHEETS,
    adds=(
        PageOn("roll.person", section=admin.memberships_section),
        PageOn("roll.household", page=admin.RenewPage(), section=admin.household_section, is_main=True),
        PageOn("roll.household", page=admin.PriceLink()),
    ),
    pages=(
        SitePage("roll/import/", "import_roll", rollviews.import_roll, "roll.add_household"),
        SitePage("membership/renewals/", "renewals", views.renewals, "membership.view_membership"),
        SitePage("membership/affiliation/", "affiliation", views.affiliation, "membership.view_remittance"),
        SitePage("roll/household/<int:pk>/price/", "membership_price", views.price, "membership.view_membership"),
    ),
    demo=SCENES,
)
