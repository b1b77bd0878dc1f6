"""What the roll tells of itself."""

from clubdesk.roll.demo import SCENES
from clubdesk.roll.finding import FINDS
from clubdesk.roll.personal import PERSONAL, TOLD
from clubdesk.rooms import APPROVER, AUDITOR, COORDINATOR, RANGE_HELPER, SEE_ALL, TREASURER, ListOf, Room, Tab

ROOM = Room(
    label="roll",
    purpose="Households, their guardians and their people: who comes, and who pays.",
    tab=Tab.FAMILIES,
    on_home=10,
    menu=(ListOf("Household"), ListOf("Person")),
    roles={
        COORDINATOR: (
            SEE_ALL,
            "add_household",
            "change_household",
            "add_guardian",
            "change_guardian",
            "delete_guardian",
            "add_person",
            "change_person",
        ),
        RANGE_HELPER: ("view_person",),
        APPROVER: ("view_person",),
        TREASURER: (SEE_ALL, "erase_person"),
        AUDITOR: (SEE_ALL,),
    },
    personal=PERSONAL,
    told=TOLD,
    finds=FINDS,
    demo=SCENES,
)
