"""Screens of the mail room."""

from django import forms
from django.contrib import admin
from django.http import HttpRequest

from clubdesk.mail import selectors, services
from clubdesk.mail.models import LINK, Message, MessageState
from clubdesk.screens.fields import VerbForm
from clubdesk.screens.rooms import RoomAdmin
from clubdesk.screens.verbs import Facts, VerbPage


class SendAgainForm(VerbForm[Message]):
    to = forms.ChoiceField(label="To", help_text="Another address? Put it on the family’s page first.")

    def prepare(self) -> None:
        field = self.fields["to"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(each, each) for each in selectors.addresses_of(self.target)]


class SendAgainPage(VerbPage[Message, Message]):
    slug = "send-again"
    verb = services.send_again
    target = "message"
    button = "Send the letter"
    form_class = SendAgainForm

    def initial(self, request: HttpRequest, target: Message) -> dict[str, object]:
        return {"to": target.to.lower()}

    def applies(self, target: Message) -> bool:
        return target.state in (MessageState.FAILED, MessageState.NO_ADDRESS)

    def facts(self, target: Message) -> Facts:
        return [("Subject", target.subject), ("What happened", target.outcome or target.get_state_display())]

    def done(self, target: Message, result: Message) -> str:
        return f"It goes out to {result.to}."


class TestLetterPage(VerbPage[None, Message]):
    slug = "test"
    verb = services.send_test_letter
    intro = "To your own address; its state then says whether it went out, or what the mail server said."
    button = "Send it"

    def done(self, target: None, result: Message) -> str:
        return f"Written to {result.to}; look here in a minute whether it went out."


@admin.register(Message)
class MessageAdmin(RoomAdmin[Message]):
    list_display = ("subject", "to", "state", "written_at", "outcome")
    list_filter = ("state", "is_news")
    search_fields = ("to", "subject", "household__name", "household__guardians__name")
    search_help_text = "An e-mail, a subject, a family or guardian"
    fields = ("to", "household", "subject", "text", "state", "written_at", "tries", "sent_at", "outcome")
    readonly_fields = fields
    pages = (SendAgainPage(),)
    list_pages = (TestLetterPage(),)

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Message | None = None) -> bool:
        return False

    @admin.display(description="Letter")
    def text(self, message: Message) -> str:
        return message.body.replace(LINK, "(the family’s own link, shown only to them)")
