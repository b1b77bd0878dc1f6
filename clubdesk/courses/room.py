"""What the room of courses tells of itself."""

from clubdesk.courses import selectors, views
from clubdesk.courses.admin.families import (
    BookFamilyPage,
    MovePage,
    ReachCheckPage,
    bookings_section,
    reach_checks_section,
)
from clubdesk.courses.cards import CARDS
from clubdesk.courses.demo import SCENES
from clubdesk.courses.finding import FINDS
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
    ),
    cards=CARDS,
    each_night=NIGHTS,
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
    personal=PERSONAL,
    merging=MERGING,
    told=TOLD,
    holds_back=(has_a_place,),
    sheets=SHEETS,
    finds=FINDS,
    adds=(
        PageOn("roll.person", page=ReachCheckPage(), section=reach_checks_section),
        PageOn("roll.person", page=MovePage()),
        PageOn("roll.household", page=BookFamilyPage(), section=bookings_section),
    ),
    pages=(
        SitePage("courses/cohort/<int:pk>/sheet/", "course_sheet", views.sheet, "courses.view_cohort"),
        SitePage(
            "courses/certificate/<int:pk>/pdf/", "course_certificate", views.certificate, "courses.view_certificate"
        ),
    ),
    demo=SCENES,
)
