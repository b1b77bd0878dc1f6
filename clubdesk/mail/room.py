"""What the mail room tells of itself."""

from clubdesk.mail.models import Message, MessageState
from clubdesk.mail.personal import PERSONAL, TOLD
from clubdesk.rooms import AUDITOR, COORDINATOR, SEE_ALL, TREASURER, First, ListOf, Room, Tab, Waits
from clubdesk.waiting import waiting


def _waits(state: MessageState, one: str, many: str) -> Waits:
    return Waits(
        one,
        many,
        permission="mail.change_message",
        page="admin:mail_message_changelist",
        query=f"state__exact={state}",
        now=lambda on: waiting(Message.objects.filter(state=state), since="written_at"),
    )


ROOM = Room(
    label="mail",
    purpose="What the club wrote to families, and whether it went out.",
    tab=Tab.FAMILIES,
    on_home=25,
    menu=(ListOf("Message"),),
    waits=(
        _waits(MessageState.FAILED, "letter that could not be sent", "letters that could not be sent"),
        _waits(MessageState.NO_ADDRESS, "letter without an e-mail address", "letters without an e-mail address"),
    ),
    first_things=(
        First(
            100,
            "Letters go out",
            "A test letter to yourself shows that the mail server is set up (EMAIL_URL in the settings).",
            "mail.change_message",
            "admin:mail_message_test",
            lambda: Message.objects.filter(state=MessageState.SENT),
        ),
    ),
    roles={COORDINATOR: (SEE_ALL, "change_message"), TREASURER: (SEE_ALL,), AUDITOR: (SEE_ALL,)},
    personal=PERSONAL,
    told=TOLD,
)
