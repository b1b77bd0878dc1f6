"""What the roll tells of itself."""

from clubdesk.roll.audiences import AUDIENCES
from clubdesk.roll.demo import SCENES
from clubdesk.roll.finding import FINDS
from clubdesk.roll.personal import PERSONAL, TOLD
from clubdesk.roll.selectors import names_that_stand_twice
from clubdesk.rooms import (
    APPROVER,
    AUDITOR,
    COORDINATOR,
    RANGE_HELPER,
    SEE_ALL,
    TREASURER,
    ListOf,
    Menu,
    Recorded,
    Room,
    Tab,
    Waits,
)
from clubdesk.waiting import waiting

ROOM = Room(
    label="roll",
    purpose="Families, their guardians and their people: who comes, and who pays.",
    tab=Tab.FAMILIES,
    on_home=10,
    menu=(
        ListOf("Household"),
        ListOf("Person"),
        ListOf("Merge", place=Menu.SETTING, unsearched="few, and found from the pages of those who were merged"),
    ),
    waits=(
        Waits(
            "name and birth date that two people have",
            "names and birth dates that two people have",
            "roll.add_merge",
            "admin:roll_person_changelist",
            lambda on: waiting(names_that_stand_twice(), line="Merge them, or leave two who are two."),
            query="twice=yes",
        ),
    ),
    second_step=("erase_person",),
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
            "add_merge",
            "change_merge",
        ),
        RANGE_HELPER: ("view_person",),
        APPROVER: ("view_person",),
        TREASURER: (SEE_ALL, "erase_person", "add_merge", "change_merge"),
        AUDITOR: (SEE_ALL,),
    },
    recorded=(
        Recorded("roll.Household", leaves=("party", "merged_into")),
        Recorded("roll.Guardian", said={"link_version": "ended the links"}),
        Recorded("roll.Person", leaves=("erased_on", "merged_into")),
    ),
    audiences=AUDIENCES,
    personal=PERSONAL,
    told=TOLD,
    finds=FINDS,
    no_sheet="a merge says whose the records are that other sheets show; its entry stands in the journal",
    demo=SCENES,
)
