"""What every letter to a family has: a greeting, its own link, news of the club's account, and whom to ask."""

from collections.abc import Sequence
from datetime import date, datetime, time

from django.utils import timezone

from clubdesk import clock
from clubdesk.clock import long_day
from clubdesk.fees.asking import NEW_FOR, paid_into
from clubdesk.ledger.models import Book
from clubdesk.ledger.selectors import book
from clubdesk.mail.models import LINK, Message
from clubdesk.mail.services import draft, write
from clubdesk.paying import PaidInto
from clubdesk.roll.models import Guardian, Household
from clubdesk.roll.selectors import guardian_to_write_to

KEEP_IT = "Whoever has this link can read it, so please keep it to yourselves."


def signature(of: Book) -> str:
    """The end of every letter: the club, and whom to ask."""
    return f"{of.club_name}\n{of.contact}" if of.contact else of.club_name


def drafted(
    household: Household, paragraphs: Sequence[str], of: Book, *, about: str, subject: str, link_path: str = "",
    leads: str = "", keep: str = KEEP_IT, guardian: Guardian | None = None,
) -> Message:  # fmt: skip
    """A letter to the family's guardian as it would be written; nothing is saved.

    `leads` says what its link, to `link_path`, is for, and `keep` why it is kept to themselves.
    """
    guardian = guardian or guardian_to_write_to(household)
    said = [
        f"Hello {guardian.name if guardian else household.name},",
        *paragraphs,
        f"{leads}\n{LINK}\n{keep}" if link_path else "",
        signature(of),
    ]
    return draft(
        about=about,
        to=guardian.email if guardian else "",
        subject=subject,
        body="\n\n".join(filter(None, said)) + "\n",
        household=household,
        link_path=link_path,
    )


def write_to(
    household: Household, paragraphs: Sequence[str], *, about: str, subject: str, asks: bool = False,
    link_path: str = "", leads: str = "", keep: str = KEEP_IT, guardian: Guardian | None = None,
) -> Message:  # fmt: skip
    """Write it with the change it tells of. One that `asks` for money says by itself that the account is new."""
    news = "" if asks else news_of_account(household, paid_into(), clock.today())
    letter = drafted(
        household, [*paragraphs, news], book(), about=about, subject=subject, link_path=link_path, leads=leads,
        keep=keep, guardian=guardian,
    )  # fmt: skip
    return write(letter)


def news_of_account(household: Household, account: PaidInto | None, on: date) -> str:
    """That the club has another account, for a family's first letter since; blank where it was told, or it is old."""
    if account is None or account.since is None or on - account.since > NEW_FOR:
        return ""
    changed = timezone.make_aware(datetime.combine(account.since, time()))
    if household.messages.filter(written_at__gte=changed).exists():
        return ""
    where = ", ".join(each.text for each in account.lines)
    return f"Our bank account is a new one since {long_day(account.since)}. Please pay into it from now on: {where}."
