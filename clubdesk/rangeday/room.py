"""What the room of range days tells of itself."""

from datetime import date, timedelta

from django.conf import settings
from django.contrib.auth.models import User

from clubdesk.clock import months_later
from clubdesk.rangeday import coming, looks, reading, selectors, services, views, visits
from clubdesk.rangeday.audiences import AUDIENCES, to_come
from clubdesk.rangeday.cards import CARDS, is_range_day, missed_lately
from clubdesk.rangeday.cards import today as range_today
from clubdesk.rangeday.closing import CHECKS
from clubdesk.rangeday.dates import dates, dates_of
from clubdesk.rangeday.demo import SCENES
from clubdesk.rangeday.expecting import banked
from clubdesk.rangeday.finding import FINDS
from clubdesk.rangeday.merging import MERGING
from clubdesk.rangeday.models import Kit, SafetyText
from clubdesk.rangeday.own import of_family
from clubdesk.rangeday.personal import PERSONAL, TOLD
from clubdesk.rangeday.sheets import SHEETS
from clubdesk.rangeday.streams import PAYS_INTO, STREAMS
from clubdesk.rooms import (
    AUDITOR,
    COORDINATOR,
    RANGE_HELPER,
    SEE_ALL,
    TREASURER,
    Done,
    Entry,
    First,
    HomePart,
    ListOf,
    Menu,
    Night,
    Recorded,
    Room,
    SitePage,
    Tab,
    Waits,
)
from clubdesk.waiting import waiting

DAYS_OF_PHONES = 7
"""As long as a phone keeps what it has not sent."""


def forget_visitors(on: date, by: User) -> Done:
    services.forget_waiting(before=on)
    services.forget_phones(before=on - timedelta(days=DAYS_OF_PHONES))
    services.forget_visitors(before=months_later(on, -12 * settings.KEEP_RECORDS_YEARS))
    return Done()


ROOM = Room(
    label="rangeday",
    purpose="Who signed on, what gear was hired, how it was paid, and the cash box at the end of the day.",
    tab=Tab.RANGE,
    on_home=40,
    menu=(
        Entry(
            "Record hire today",
            "admin:today",
            "rangeday.add_signon",
            Menu.SCENE,
            is_likely=is_range_day,
            tried="Type a few letters of a name, then tap. Switch the network off and go on: nothing is lost.",
        ),
        Entry("Who comes", "admin:range_coming", "care.change_persontoring"),
        ListOf("RangeDay", unsearched="Found by its day, above the list."),
        ListOf("SignOn"),
        ListOf("Tap"),
        ListOf("Kit"),
        ListOf("Banking", unsearched="It holds days and figures; the statement’s line is found."),
        ListOf("ClosedDays", Menu.SETTING),
        ListOf("SafetyText", Menu.SETTING),
        ListOf("OwnGearCost", Menu.SETTING),
    ),
    today=range_today,
    waits=(
        Waits(
            "range day not counted yet",
            "range days not counted yet",
            permission="rangeday.close_rangeday",
            page="admin:rangeday_rangeday_changelist",
            query="standing=uncounted",
            now=lambda on: waiting(
                selectors.uncounted(on), by="date", line="Two people count the cash box before it leaves the range."
            ),
        ),
        Waits(
            "question from a phone at the range",
            "questions from phones at the range",
            permission="rangeday.close_rangeday",
            page="admin:rangeday_tap_changelist",
            query="state__exact=question",
            now=lambda on: waiting(selectors.questions(), since="tapped_at"),
        ),
        Waits(
            "child who came and for whom nobody can be rung",
            "children who came and for whom nobody can be rung",
            permission="care.change_persontoring",
            page="admin:nobody_to_ring",
            now=lambda on: waiting(
                looks.came_and_nobody_can_be_rung(on), line="Name somebody to ring, or write a guardian’s phone."
            ),
        ),
        Waits(
            "archer new from a course, not back yet",
            "archers new from a course, not back yet",
            permission="care.change_persontoring",
            page="admin:range_coming",
            now=lambda on: waiting(
                coming.not_back_from_a_course(on), since="completed_on", line="A word from somebody they know helps."
            ),
        ),
        Waits(
            "regular who is missed lately",
            "regulars who are missed lately",
            permission="care.change_persontoring",
            page="admin:range_coming",
            now=missed_lately,
        ),
    ),
    opens=selectors.next_open_day,
    cards=CARDS,
    home_parts=(HomePart("rangeday/waiting.html", "rangeday.add_signon"),),
    each_night=(Night("", forget_visitors),),
    first_things=(
        First(
            70,
            "The club’s kit",
            "Each bow and guard by its number, so that it can be handed out and comes back.",
            "rangeday.add_kit",
            "admin:rangeday_kit_add",
            lambda: Kit.objects.all(),
        ),
        First(
            75,
            "The range’s safety rules",
            "What every visitor is told before shooting, in the club’s own words.",
            "rangeday.add_safetytext",
            "admin:rangeday_safetytext_add",
            lambda: SafetyText.objects.all(),
        ),
    ),
    roles={
        COORDINATOR: (
            SEE_ALL,
            "add_rangeday",
            "add_signon",
            "change_signon",
            "close_rangeday",
            "add_banking",
            "add_closeddays",
            "change_closeddays",
            "add_safetytext",
            "change_safetytext",
            "add_owngearcost",
            "change_owngearcost",
            "add_kit",
            "change_kit",
            "add_kitcheck",
        ),
        RANGE_HELPER: (
            "view_rangeday",
            "add_rangeday",
            "view_signon",
            "add_signon",
            "change_signon",
            "view_kit",
            "add_kitcheck",
        ),
        TREASURER: (SEE_ALL, "close_rangeday", "add_banking"),
        AUDITOR: (SEE_ALL,),
    },
    of_family=of_family,
    audiences=AUDIENCES,
    to_come=to_come,
    dates=dates,
    dates_of=dates_of,
    recorded=(
        Recorded("rangeday.RangeDay", leaves=("closed_on", "called_off_on", "called_off_reason")),
        Recorded("rangeday.ClosedDays"),
        Recorded("rangeday.SafetyText"),
        Recorded("rangeday.OwnGearCost"),
        Recorded("rangeday.Kit", leaves=("state",)),
    ),
    personal=PERSONAL,
    merging=MERGING,
    told=TOLD,
    pays_into=PAYS_INTO,
    streams=STREAMS,
    expects=(banked,),
    finds=FINDS,
    before_close=CHECKS,
    sheets=SHEETS,
    pages=(
        SitePage("today/", "today", views.today, "rangeday.add_signon"),
        SitePage("range/<int:pk>/", "range_sheet", views.sheet, "rangeday.add_signon"),
        SitePage("range/<int:pk>/taps/", "range_taps", views.taps, "rangeday.add_signon", is_bare=True),
        SitePage("range/<int:pk>/care/<int:person>/", "range_care", looks.care, "care.look_healthnote", is_bare=True),
        SitePage("range/nobody-to-ring/", "nobody_to_ring", looks.nobody_to_ring, "care.change_persontoring"),
        SitePage("range/<int:pk>/visitors/", "range_visitors", visits.code, "rangeday.add_signon"),
        SitePage("range-worker.js", "range_worker", views.worker, is_bare=True),
        SitePage("range/figures/", "range_figures", views.figures_page, "rangeday.view_tillcount"),
        SitePage("range/coming/", "range_coming", reading.page, "care.change_persontoring"),
        SitePage("range/tin/", "range_tin", views.tin_page, "rangeday.view_tillcount"),
    ),
    demo=SCENES,
)
