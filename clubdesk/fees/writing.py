"""What every letter to a family has: a greeting, its own link, news of the club's account, and whom to ask."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time

from django.utils import timezone

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.fees.asking import NEW_FOR, paid_into
from clubdesk.ledger.models import Book
from clubdesk.ledger.selectors import book
from clubdesk.lettering import HOW_TO_PAY, KEEP_IT, Field, LetterKind, Linked, Wording, written
from clubdesk.mail.models import LINK, Message
from clubdesk.mail.selectors import first_wording, wording
from clubdesk.mail.services import draft, write
from clubdesk.paying import PaidInto
from clubdesk.roll.models import Guardian, Household
from clubdesk.roll.selectors import guardian_to_write_to


def drafted(
    household: Household, kind: LetterKind, values: Mapping[str, str], of: Book, says: Wording, *,
    about: str, link_path: str = "", guardian: Guardian | None = None, news: str = "",
) -> Message:  # fmt: skip
    """A letter to the family's guardian as it would be written by the text `says`; nothing is saved.

    `values` are those of the kind's own fields; its link leads to `link_path`, and `news` say that the account is new.
    """
    guardian = guardian or guardian_to_write_to(household)
    more = {
        "guardian": guardian.name if guardian else household.name,
        "new_account": news,
        "club": of.club_name,
        "contact": of.contact,
        **({"link": LINK} if kind.linked else {}),
    }
    subject, body = written(kind, says, {**values, **more})
    return draft(
        about=about,
        to=guardian.email if guardian else "",
        subject=subject,
        body=body,
        household=household,
        link_path=link_path,
    )


def write_letter(
    household: Household, kind: LetterKind, values: Mapping[str, str], *,
    about: str, link_path: str = "", guardian: Guardian | None = None,
) -> Message:  # fmt: skip
    """Write a letter of a kind with the change it tells of, in the club's own words where it has some.

    One that asks for money says by itself that the account is new; in any other the first since says so.
    """
    news = "" if values.get(HOW_TO_PAY.name) else news_of_account(household, paid_into(), clock.today())
    return write(
        drafted(
            household, kind, values, book(), wording(kind), about=about, link_path=link_path, guardian=guardian,
            news=news,
        )
    )  # fmt: skip


def in_words(
    household: Household, paragraphs: Sequence[str], of: Book, *, about: str, subject: str, link_path: str = "",
    leads: str = "", keep: str = KEEP_IT, guardian: Guardian | None = None, news: str = "",
) -> Message:  # fmt: skip
    """A letter in words of its own, which somebody wrote for this once, as it would be written; nothing is saved.

    What every letter has stands around them; `leads` says what its link is for, `keep` why it is kept to themselves.
    """
    kind = LetterKind(
        "", "", "", subject="{{ subject }}", says="{{ words }}",
        fields=(Field("subject", "", ""), Field("words", "", "")), linked=Linked(leads, keep) if link_path else None,
    )  # fmt: skip
    values = {"subject": subject, "words": "\n\n".join(filter(None, paragraphs))}
    return drafted(
        household, kind, values, of, first_wording(kind), about=about, link_path=link_path, guardian=guardian, news=news
    )  # fmt: skip


def write_to(
    household: Household, paragraphs: Sequence[str], *, about: str, subject: str,
    link_path: str = "", leads: str = "", keep: str = KEEP_IT, guardian: Guardian | None = None,
) -> Message:  # fmt: skip
    """Write such a letter with the change it tells of."""
    news = news_of_account(household, paid_into(), clock.today())
    return write(
        in_words(
            household, paragraphs, book(), about=about, subject=subject, link_path=link_path, leads=leads, keep=keep,
            guardian=guardian, news=news,
        )
    )  # fmt: skip


def news_of_account(household: Household, account: PaidInto | None, on: date) -> str:
    """That the club has another account, for a family's first letter since; blank where it was told, or it is old."""
    if account is None or account.since is None or on - account.since > NEW_FOR:
        return ""
    changed = timezone.make_aware(datetime.combine(account.since, time()))
    if household.messages.filter(written_at__gte=changed).exclude(about__startswith="news ").exists():
        return ""
    where = ", ".join(each.text for each in account.lines)
    return f"Our bank account is a new one since {long_day(account.since)}. Please pay into it from now on: {where}."
