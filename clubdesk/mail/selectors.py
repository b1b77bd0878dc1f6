"""Questions about letters."""

from collections.abc import Collection, Iterable
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


def without_letter(abouts: Collection[str]) -> set[str]:
    """What of it no letter tells yet."""
    return set(abouts) - set(Message.objects.filter(about__in=abouts).values_list("about", flat=True))


def unwritten(letters: Collection[Message]) -> list[Message]:
    """Those of the drafts of which no letter tells yet."""
    wanted = without_letter([each.about for each in letters])
    return [each for each in letters if each.about in wanted]


def interrupted(at: datetime) -> QuerySet[Message]:
    """Letters whose sending began and never ended; whether they went out is not known."""
    return Message.objects.filter(state=MessageState.SENDING, tried_at__lt=at - INTERRUPTED_AFTER)


def reached_in_words(messages: Iterable[Message]) -> str:
    """Who has a letter, and who must be told otherwise: “2 letters go out. No e-mail address: Mirabar family.”"""
    letters = list(messages)
    without = [each for each in letters if each.state == MessageState.NO_ADDRESS]
    count = len(letters) - len(without)
    sentences = [f"{count or 'No'} letter{'' if count == 1 else 's'} {'goes' if count == 1 else 'go'} out."]
    if without:
        names = ", ".join(sorted({_how_to_reach(each) for each in without}))
        sentences.append(f"No e-mail address is known of {names}: tell them yourself.")
    return " ".join(sentences)


def _how_to_reach(message: Message) -> str:
    if message.household is None:
        return "somebody"
    phones = [each.phone for each in message.household.guardians.all() if each.phone]
    return f"{message.household}{f' ({phones[0]})' if phones else ''}"
