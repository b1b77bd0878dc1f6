"""Screens of the mail room."""

from typing import Any

from django import forms
from django.contrib import admin
from django.http import HttpRequest

from clubdesk.mail import selectors, services
from clubdesk.mail.models import LINK, Message, MessageState
from clubdesk.screens import RoomAdmin, VerbForm, VerbPage


class SendAgainForm(VerbForm):
    to = forms.ChoiceField(label="To", help_text="Another address? Put it on the household’s page first.")

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        found = selectors.addresses_of(self.target)
        self.fields["to"].choices = [(each, each) for each in found]  # type: ignore[attr-defined]


class SendAgainPage(VerbPage):
    slug = "send-again"
    title = "Send this letter"
    button = "Send the letter"
    permission = "mail.change_message"
    form_class = SendAgainForm

    def initial(self, request: HttpRequest, target: Message) -> dict[str, Any]:
        return {"to": target.to.lower()}

    def applies(self, target: Message) -> bool:
        return target.state in (MessageState.FAILED, MessageState.NO_ADDRESS)

    def facts(self, target: Message) -> list[tuple[str, Any]]:
        return [("Subject", target.subject), ("What happened", target.outcome or target.get_state_display())]

    def perform(self, *, target: Message, by: Any, to: str, key: Any) -> Message:
        return services.send_again(message=target, to=to, by=by)

    def done(self, result: Message) -> str:
        return f"It goes out to {result.to}."


@admin.register(Message)
class MessageAdmin(RoomAdmin):
    list_display = ["subject", "to", "state", "written_at", "outcome"]
    list_filter = ["state"]
    search_fields = ["to", "subject", "household__name"]
    search_help_text = "An address, a subject or a family"
    fields = ["to", "household", "subject", "text", "state", "written_at", "tries", "sent_at", "outcome"]
    readonly_fields = fields
    pages = [SendAgainPage()]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    @admin.display(description="Letter")
    def text(self, message: Message) -> str:
        return message.body.replace(LINK, "(the family’s own link, shown only to them)")
