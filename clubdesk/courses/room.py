"""What the room of courses tells of itself."""

from clubdesk.courses import selectors, views
from clubdesk.courses.admin.families import (
    BookFamilyPage,
    MovePage,
    ReachCheckPage,
    WatchedPage,
    bookings_section,
    reach_checks_section,
)
from clubdesk.courses.audiences import AUDIENCES, to_come
from clubdesk.courses.cards import CARDS, to_watch
from clubdesk.courses.dates import dates, dates_of
from clubdesk.courses.demo import SCENES
from clubdesk.courses.finding import FINDS
from clubdesk.courses.letter_kinds import LETTERS
from clubdesk.courses.merging import MERGING
from clubdesk.courses.models import Booking, Course, PlaceState
from clubdesk.courses.nights import NIGHTS
from clubdesk.courses.own import of_family
from clubdesk.courses.personal import PERSONAL, TOLD, has_a_place
from clubdesk.courses.sheets import SHEETS
from clubdesk.rooms import (
    AUDITOR,
    COORDINATOR,
    SEE_ALL,
    TREASURER,
    Entry,
    First,
    ListOf,
    Menu,
    PageOn,
    Recorded,
    Room,
    SitePage,
    Tab,
    Waits,
)
from clubdesk.waiting import waiting

ROOM = Room(
    label="courses",
    purpose="Beginner courses: who has a place, who is next, and what waits until it starts.",
    tab=Tab.COURSES,
    on_home=20,
    menu=(
        Entry(
            "Book a course place",
            "admin:courses_booking_add",
            "courses.add_place",
            Menu.SCENE,
            tried="Pick a child of the roll or write down a new family. Where all is full, it waits in its turn.",
        ),
        ListOf("Booking"),
        ListOf("Cohort"),
        ListOf("Place"),
        ListOf("Certificate"),
        ListOf("Course", Menu.SETTING),
    ),
    first_things=(
        First(
            60,
            "Beginner courses",
            "A course with its fee and its first dates; families can book it from then on.",
            "courses.add_course",
            "admin:courses_course_add",
            lambda: Course.objects.all(),
        ),
    ),
    waits=(
        Waits(
            "offer open, waiting for an answer",
            "offers open, waiting for an answer",
            permission="courses.change_place",
            page="admin:courses_booking_changelist",
            query="state__exact=offered",
            now=lambda on: waiting(
                Booking.objects.filter(state=PlaceState.OFFERED),
                by="offer_lapses_on",
                line="Unanswered, the place goes to whoever waits next.",
            ),
            on_others=True,
        ),
        Waits(
            "booking on a waitlist",
            "bookings on waitlists",
            permission="courses.change_place",
            page="admin:courses_booking_changelist",
            query="state__exact=waiting",
            now=lambda on: waiting(
                Booking.objects.filter(state=PlaceState.WAITING),
                since="booked_on",
                line="They are offered a place by themselves when one is free.",
            ),
            on_others=True,
        ),
        Waits(
            "booking that can make none of the dates: ask again",
            "bookings that can make none of the dates: ask again",
            permission="courses.change_place",
            page="admin:courses_booking_changelist",
            query="dates=none",
            now=lambda on: waiting(selectors.bound_to_no_date(on), since="booked_on"),
        ),
        Waits(
            "child to watch at the range: draw check",
            "children to watch at the range: draw checks",
            permission="courses.add_reachcheck",
            page="admin:draw_checks",
            now=to_watch,
        ),
    ),
    cards=CARDS,
    each_night=NIGHTS,
    letters=LETTERS,
    roles={
        COORDINATOR: (
            SEE_ALL,
            "add_course",
            "change_course",
            "add_cohort",
            "change_cohort",
            "add_place",
            "change_place",
            "add_reachcheck",
            "add_refundstep",
            "change_refundstep",
            "delete_refundstep",
        ),
        TREASURER: (SEE_ALL,),
        AUDITOR: (SEE_ALL,),
    },
    of_family=of_family,
    audiences=AUDIENCES,
    to_come=to_come,
    dates=dates,
    dates_of=dates_of,
    recorded=(Recorded("courses.Course"), Recorded("courses.RefundStep"), Recorded("courses.Cohort")),
    personal=PERSONAL,
    merging=MERGING,
    told=TOLD,
    holds_back=(has_a_place,),
    sheets=SHEETS,
    finds=FINDS,
    adds=(
        PageOn("roll.person", page=ReachCheckPage(), section=reach_checks_section, is_main=True),
        PageOn("roll.person", page=WatchedPage()),
        PageOn("roll.person", page=MovePage()),
        PageOn("roll.household", page=BookFamilyPage(), section=bookings_section, is_main=True),
    ),
    pages=(
        SitePage("courses/draw-checks/", "draw_checks", views.draw_checks, "courses.view_place"),
        SitePage("courses/cohort/<int:pk>/sheet/", "course_sheet", views.sheet, "courses.view_cohort"),
        SitePage(
            "courses/certificate/<int:pk>/pdf/", "course_certificate", views.certificate, "courses.view_certificate"
        ),
    ),
    demo=SCENES,
)
