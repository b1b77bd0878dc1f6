"""Questions about letters."""

from datetime import datetime, timedelta

from django.db.models import QuerySet

from clubdesk.mail.models import Message, MessageState

INTERRUPTED_AFTER = timedelta(minutes=15)


def due(at: datetime) -> QuerySet[Message]:
    """Letters to be sent or tried again by `at`, oldest first."""
    return Message.objects.filter(state=MessageState.WAITING, next_try_at__lte=at).order_by("next_try_at", "pk")


def addresses_of(message: Message) -> list[str]:
    """Where the letter may go: the e-mail addresses of its household's guardians."""
    if message.household is None:
        return []
    return [each.email.lower() for each in message.household.guardians.exclude(email="")]


def interrupted(at: datetime) -> QuerySet[Message]:
    """Letters whose sending began and never ended; whether they went out is not known."""
    return Message.objects.filter(state=MessageState.SENDING, tried_at__lt=at - INTERRUPTED_AFTER)
