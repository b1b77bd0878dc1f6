"""What the room of a safe day tells of itself."""

from clubdesk.rooms import (
    AUDITOR,
    COORDINATOR,
    RANGE_HELPER,
    SEE_ALL,
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
from clubdesk.safety import cards, personal, selectors, services, views
from clubdesk.safety.admin import checks, days, roster, staying
from clubdesk.safety.closing import CHECKS
from clubdesk.safety.demo import SCENES
from clubdesk.safety.letters import LETTERS
from clubdesk.safety.merging import MERGING
from clubdesk.safety.models import DayRules
from clubdesk.safety.services.opening import before_signing_on, lacking
from clubdesk.waiting import waiting

ROOM = Room(
    label="safety",
    purpose="Who is on duty with which checks, who came alone and who collected them, incidents and near misses.",
    tab=Tab.RANGE,
    on_home=42,
    menu=(
        Entry("Who is on duty", "admin:safety_roster", "safety.view_turn"),
        Entry("Record an incident or near miss", "admin:safety_incident_add", "safety.add_incident"),
        ListOf("Turn"),
        ListOf("VolunteerCheck"),
        ListOf("Stay"),
        ListOf("Incident", unsearched="Few read it, by its day; nobody is looked for in it."),
        ListOf("Opening", unsearched="Found by its day, above the list."),
        ListOf("DayRules", Menu.SETTING),
    ),
    waits=(
        Waits(
            "range day with too few on duty",
            "range days with too few on duty",
            permission="safety.add_turn",
            page="admin:safety_roster",
            now=cards.too_few,
        ),
        Waits(
            "turn on duty that somebody asks to swap",
            "turns on duty that somebody asks to swap",
            permission="safety.change_turn",
            page="admin:safety_turn_changelist",
            query="when=swap",
            now=lambda on: waiting(selectors.swaps_asked(on), by="range_day__date"),
        ),
        Waits(
            "check of a volunteer that lapses soon",
            "checks of volunteers that lapse soon",
            permission="safety.add_volunteercheck",
            page="admin:safety_volunteercheck_changelist",
            now=lambda on: waiting(selectors.lapsing(on), by="expires_on", line="See the new one before that day."),
        ),
        Waits(
            "child of whom nobody noted who collected them",
            "children of whom nobody noted who collected them",
            permission="safety.change_stay",
            page="admin:safety_stay_changelist",
            query="left=no",
            now=lambda on: waiting(selectors.still_there(on), since="came_at"),
        ),
        Waits(
            "incident of which no guardian was told",
            "incidents of which no guardian was told",
            permission="safety.change_incident",
            page="admin:safety_incident_changelist",
            now=lambda on: waiting(selectors.not_told(on), since="happened_on"),
        ),
    ),
    cards=cards.CARDS,
    each_night=(
        Night("volunteers told that they are on duty", lambda on, by: Done(services.tell_turns(on=on))),
        Night("volunteers told that a check lapses", lambda on, by: Done(services.tell_lapsing(on=on))),
        Night("incidents forgotten whose years are over", lambda on, by: Done(services.forget_incidents(on=on))),
    ),
    first_things=(
        First(
            78,
            "The club’s rules for a safe day",
            "How many with a current check are on duty for how many children, and how long incidents are kept.",
            "safety.add_dayrules",
            "admin:safety_dayrules_add",
            lambda: DayRules.objects.all(),
        ),
    ),
    roles={
        COORDINATOR: (
            SEE_ALL,
            "add_turn",
            "change_turn",
            "add_volunteercheck",
            "change_volunteercheck",
            "add_opening",
            "add_stay",
            "change_stay",
            "add_weathernote",
            "add_incident",
            "change_incident",
            "add_dayrules",
            "change_dayrules",
        ),
        RANGE_HELPER: (
            "view_turn",
            "change_turn",
            "view_stay",
            "add_stay",
            "change_stay",
            "add_weathernote",
            "add_incident",
        ),
        AUDITOR: ("view_turn", "view_opening", "view_dayrules"),
    },
    letters=LETTERS,
    recorded=(Recorded("safety.DayRules"),),
    personal=personal.PERSONAL,
    told=personal.TOLD,
    stays=(personal.what_stays,),
    merging=MERGING,
    before_close=CHECKS,
    lacking=(lacking,),
    before_signing_on=(before_signing_on,),
    no_sheet="who is on duty and what went wrong is no figure, and whoever reads the workbook sees nothing of children",
    adds=(
        PageOn("rangeday.rangeday", page=roster.DutyPage(), section=days.duty_section),
        PageOn("rangeday.rangeday", page=days.OpenPage()),
        PageOn("rangeday.rangeday", page=staying.ArrivalPage(), section=staying.stays_section),
        PageOn("rangeday.rangeday", page=days.WeatherPage(), section=days.weather_section, is_main=True),
        PageOn("roll.person", section=checks.checks_section),
    ),
    pages=(SitePage("range/duty/", "safety_roster", views.roster, "safety.view_turn"),),
    demo=SCENES,
)
