"""Verbs of writing to many."""

import uuid
from datetime import date

from django.conf import settings
from django.contrib.auth.models import User
from django.db import transaction

from clubdesk.care.models import Kind
from clubdesk.care.selectors import newest
from clubdesk.errors import Refused
from clubdesk.guards import one_at_a_time
from clubdesk.ledger.selectors import book
from clubdesk.ledger.services import written
from clubdesk.mail.fields import refuse_unknown
from clubdesk.mail.models import Message
from clubdesk.mail.services import deliver_soon, write_message
from clubdesk.news import letters, selectors
from clubdesk.news.models import Concern, Writing
from clubdesk.news.selectors import To
from clubdesk.roll.models import Guardian
from clubdesk.roll.services import agree_to_news
from clubdesk.verbs import verb


def refuse_unclear(subject: str, text: str) -> None:
    """Raise Refused where there is nothing to send, or a field that nobody could fill in."""
    if not subject.strip() or not text.strip():
        raise Refused("Write a subject and a text.")
    refuse_unknown(subject, letters.FIELDS)
    refuse_unknown(text, letters.FIELDS)


@verb(permission="news.add_writing", title="Write to families")
def write_to_many(
    *, to: To, subject: str, text: str, concern: Concern, on: date, by: User, key: uuid.UUID | None = None
) -> Writing:
    """Write one letter to each of the families, with all its children whom it concerns; they go out afterwards.

    News goes to guardians who have not ended it. A family that had the very same letter within a week gets no second
    one. Raises Refused for an unknown field, and where nobody would be reached.
    """
    one_at_a_time("news")
    if found := written(Writing, key):
        return found
    subject, text = subject.strip(), text.strip()
    refuse_unclear(subject, text)
    reached = selectors.reached(to, subject, text, concern == Concern.NEWS, on)
    if not reached.by_mail and not reached.without:
        raise Refused("There is nobody to write to: see below who had it already, or wants no news.")
    document = Writing.objects.create(
        key=key or uuid.uuid4(), written_on=on, subject=subject, text=text, concern=concern, audience=to.words[:200],
        letters=len(reached.by_mail), without_address=len(reached.without), declined=len(reached.declined),
        had_it=len(reached.had_it), recorded_by=by,
    )  # fmt: skip
    families = [*reached.by_mail, *reached.without]
    made = letters.drafts(families, subject, text, concern == Concern.NEWS, book(), on)
    for family, letter in zip(families, made, strict=True):
        letter.about = selectors.about(document, family.household.pk)
    Message.objects.bulk_create(made)
    if settings.MAIL_GOES_OUT_BY_ITSELF:
        transaction.on_commit(deliver_soon)
    return document


@verb(permission="roll.change_guardian", title="Send news again")
def take_up_news(*, guardian: Guardian, by: User) -> Guardian:
    """They want the club's news, and agree to the words that count now. Said again it changes nothing."""
    text = newest(Kind.NEWS)
    return agree_to_news(guardian=guardian, wording=text.text, version=text.version, by=by)


@verb(permission="news.add_writing", title="Send a test to yourself")
def send_sample(*, subject: str, text: str, by: User, key: uuid.UUID) -> Message:
    """The letter to whoever writes it, with invented children. Raises Refused where they have no e-mail."""
    refuse_unclear(subject, text)
    if not by.email:
        raise Refused("Your own sign-in has no e-mail address; ask an administrator to add it.")
    title, body = letters.sample(subject, text, book(), by.first_name or by.get_username())
    return write_message(about=f"news test {key}", to=by.email, subject=title, body=body)
