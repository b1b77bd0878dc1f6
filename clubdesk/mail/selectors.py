"""Questions about letters."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Max, QuerySet

from clubdesk.lettering import LetterKind, Wording, faults
from clubdesk.mail.models import LetterText, Message, MessageState
from clubdesk.rooms import in_order

INTERRUPTED_AFTER = timedelta(minutes=15)
AN_HOUR = timedelta(hours=1)


def due(at: datetime) -> QuerySet[Message]:
    """Letters to be sent or tried again by `at`, oldest first; news after all others."""
    rows = Message.objects.filter(state=MessageState.WAITING, next_try_at__lte=at)
    return rows.order_by("is_news", "next_try_at", "pk")


def is_hour_full(limit: int, is_news: bool, at: datetime) -> bool:
    """Whether the mail server takes no further letter in this hour; news leaves a tenth of it to other letters."""
    tried = Message.objects.filter(tried_at__gt=at - AN_HOUR)
    taken = tried.exclude(state__in=(MessageState.WAITING, MessageState.UNWANTED)).count()
    return taken >= (limit - limit // 10 if is_news else limit)


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


def kinds() -> dict[str, LetterKind]:
    """Every kind of letter by its key, in the order of the rooms."""
    return {kind.key: kind for room in in_order() for kind in room.letters}


def own_text(kind: LetterKind) -> LetterText | None:
    """The latest text that the club gave the kind, or with which it put the first one back."""
    return LetterText.objects.filter(kind=kind.key).first()


def wording(kind: LetterKind) -> Wording:
    """The text by which letters of the kind are written now.

    It is the club's own, unless a newer program has other fields and the text does not fit them: a letter goes out in
    any case, and with its link and amount.
    """
    return _that_fits(kind, own_text(kind))


def _that_fits(kind: LetterKind, own: LetterText | None) -> Wording:
    said = own.wording if own else None
    return said if said and not faults(kind, said) else first_wording(kind)


def first_wording(kind: LetterKind) -> Wording:
    """The text that comes with the program."""
    return Wording(kind.subject, kind.body)


@dataclass(frozen=True)
class Worded:
    """How a kind of letter is worded: the club's own text since when, and whether it still fits."""

    kind: LetterKind
    own: LetterText | None
    fits: bool


def all_worded() -> list[Worded]:
    """Every kind with the club's own text, where there is one."""
    latest = LetterText.objects.order_by().values("kind").annotate(latest=Max("pk")).values("latest")
    owns = {each.kind: each for each in LetterText.objects.filter(pk__in=latest).select_related("changed_by")}
    return [_worded(kind, owns.get(key)) for key, kind in kinds().items()]


def _worded(kind: LetterKind, own: LetterText | None) -> Worded:
    said = own.wording if own else None
    return Worded(kind, own if said else None, said is None or not faults(kind, said))
