"""What the mail room tells of itself."""

from clubdesk.mail import views
from clubdesk.mail.models import Message, MessageState
from clubdesk.mail.personal import PERSONAL, TOLD
from clubdesk.rooms import (
    AUDITOR,
    COORDINATOR,
    SEE_ALL,
    TREASURER,
    Entry,
    First,
    ListOf,
    Menu,
    Room,
    SitePage,
    Tab,
    Waits,
)
from clubdesk.waiting import waiting


def _waits(state: MessageState, one: str, many: str, *, news: bool = True) -> Waits:
    """Letters in a state; but for news where nothing is lost if somebody is not reached."""
    which = {"state": state} if news else {"state": state, "is_news": False}
    return Waits(
        one,
        many,
        permission="mail.change_message",
        page="admin:mail_message_changelist",
        query=f"state__exact={state}{'' if news else '&is_news__exact=0'}",
        now=lambda on: waiting(Message.objects.filter(**which), since="written_at"),
    )


ROOM = Room(
    label="mail",
    purpose="What the club wrote to families, and whether it went out.",
    tab=Tab.FAMILIES,
    on_home=25,
    menu=(
        ListOf("Message"),
        Entry("Texts of letters", "admin:letter_texts", "mail.view_lettertext", Menu.SETTING),
    ),
    waits=(
        _waits(MessageState.FAILED, "letter that could not be sent", "letters that could not be sent"),
        _waits(
            MessageState.NO_ADDRESS, "letter without an e-mail address", "letters without an e-mail address", news=False
        ),
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
    pages=(
        SitePage("mail/texts/", "letter_texts", views.texts, "mail.view_lettertext"),
        SitePage("mail/texts/<str:key>/", "letter_text", views.text, "mail.view_lettertext"),
        SitePage("mail/texts/<str:key>/look/", "letter_look", views.look, "mail.view_lettertext"),
    ),
    roles={COORDINATOR: (SEE_ALL, "change_message", "change_lettertext"), TREASURER: (SEE_ALL,), AUDITOR: (SEE_ALL,)},
    personal=PERSONAL,
    told=TOLD,
)
