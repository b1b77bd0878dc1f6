"""What the room of the entry fund tells of itself."""

from datetime import date

from django.contrib.auth.models import User

from clubdesk.entryfund import services, views
from clubdesk.entryfund.audiences import AUDIENCES
from clubdesk.entryfund.cards import CARDS
from clubdesk.entryfund.closing import CHECKS
from clubdesk.entryfund.dates import dates, dates_of
from clubdesk.entryfund.demo import SCENES
from clubdesk.entryfund.finding import FINDS
from clubdesk.entryfund.letters import LETTERS
from clubdesk.entryfund.merging import MERGING
from clubdesk.entryfund.models import ClaimState, EntryClaim
from clubdesk.entryfund.own import of_family
from clubdesk.entryfund.personal import PERSONAL, TOLD, owed
from clubdesk.entryfund.selectors import amounts_to_decide
from clubdesk.entryfund.sheets import SHEETS
from clubdesk.entryfund.streams import PAYS_INTO, STREAMS
from clubdesk.rooms import (
    APPROVER,
    AUDITOR,
    COORDINATOR,
    SEE_ALL,
    TREASURER,
    Done,
    Entry,
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


def _remind(on: date, by: User) -> Done:
    return Done(len(services.remind_entries(on=on)))


ROOM = Room(
    label="entryfund",
    purpose="Containers in, state entry fees refunded; nobody decides about their own.",
    tab=Tab.ENTRY_FUND,
    on_home=50,
    menu=(
        Entry(
            "Decide entry-fee refunds",
            "admin:claim_queue",
            "entryfund.decide_entryclaim",
            Menu.SCENE,
            is_likely=lambda on: bool(amounts_to_decide()),
            tried="Look at receipts and checks, tick those that pass and approve them: the fund shows what is left.",
        ),
        ListOf("EntryClaim"),
        ListOf("StateEvent"),
        ListOf("ContainerReturn"),
        ListOf("BagCount", unsearched="Only the newest count holds."),
        ListOf("FundTransfer"),
        Entry("How the fund stands", "admin:fund_statement", "entryfund.view_entryclaim"),
        Entry("Minutes of decisions", "admin:claim_minutes", "entryfund.view_entryclaim"),
    ),
    waits=(
        Waits(
            "refund request to decide",
            "refund requests to decide",
            permission="entryfund.view_entryclaim",
            page="admin:entryfund_entryclaim_changelist",
            query="state__exact=recorded",
            now=lambda on: waiting(
                EntryClaim.objects.filter(state=ClaimState.RECORDED),
                since="claimed_on",
                line="Nobody decides for their own family, or what they recorded themselves.",
            ),
            does="entryfund.decide_entryclaim",
        ),
    ),
    cards=CARDS,
    each_night=(Night("families reminded", _remind),),
    second_step=("decide_entryclaim",),
    letters=LETTERS,
    roles={
        COORDINATOR: (
            SEE_ALL,
            "add_containerreturn",
            "add_stateevent",
            "change_stateevent",
            "add_eventfee",
            "change_eventfee",
            "delete_eventfee",
            "add_entryclaim",
        ),
        APPROVER: (
            "view_stateevent",
            "view_containerreturn",
            "view_entryclaim",
            "view_moreevidence",
            "decide_entryclaim",
        ),
        TREASURER: (SEE_ALL, "add_fundtransfer"),
        AUDITOR: (SEE_ALL,),
    },
    of_family=of_family,
    audiences=AUDIENCES,
    dates=dates,
    dates_of=dates_of,
    recorded=(Recorded("entryfund.StateEvent"), Recorded("entryfund.EventFee")),
    personal=PERSONAL,
    merging=MERGING,
    told=TOLD,
    holds_back=(owed,),
    pays_into=PAYS_INTO,
    streams=STREAMS,
    finds=FINDS,
    before_close=CHECKS,
    sheets=SHEETS,
    pages=(
        SitePage("entryfund/queue/", "claim_queue", views.queue, "entryfund.decide_entryclaim"),
        SitePage("entryfund/minutes/", "claim_minutes", views.minutes, "entryfund.view_entryclaim"),
        SitePage("entryfund/statement/", "fund_statement", views.statement, "entryfund.view_entryclaim"),
    ),
    demo=SCENES,
)
