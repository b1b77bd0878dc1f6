"""What the room of range days tells of itself."""

from datetime import date

from django.conf import settings
from django.contrib.auth.models import User

from clubdesk.clock import months_later
from clubdesk.rangeday import selectors, services, views
from clubdesk.rangeday.cards import CARDS, is_range_day
from clubdesk.rangeday.cards import today as range_today
from clubdesk.rangeday.closing import CHECKS
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
    Room,
    SitePage,
    Tab,
    Waits,
)
from clubdesk.waiting import waiting


def forget_visitors(on: date, by: User) -> Done:
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
        ),
        ListOf("RangeDay", unsearched="Found by its day, above the list."),
        ListOf("SignOn"),
        ListOf("Tap"),
        ListOf("Kit"),
        ListOf("Banking", unsearched="It holds days and figures; the statement’s line is found."),
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
    ),
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
        SitePage("range-worker.js", "range_worker", views.worker, is_bare=True),
        SitePage("range/figures/", "range_figures", views.figures_page, "rangeday.view_tillcount"),
        SitePage("range/tin/", "range_tin", views.tin_page, "rangeday.view_tillcount"),
    ),
    demo=SCENES,
)
