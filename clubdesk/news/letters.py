"""What families are written to by the club of its own accord: a text with fields, filled in for each family."""

from collections.abc import Mapping, Sequence
from datetime import date

from django.urls import reverse

from clubdesk.audiences import ToCome
from clubdesk.fees.letters import ACCOUNT
from clubdesk.fees.writing import in_words
from clubdesk.ledger.models import Book
from clubdesk.mail.fields import filled, in_a_row, paragraphs
from clubdesk.mail.models import Message
from clubdesk.news.selectors import Family, dates_in_words, next_dates

FIELDS = {
    "children": "the given names of their children whom it concerns",
    "guardian": "the guardian’s name",
    "family": "the family’s name",
    "club": "the club’s name",
    "next dates": "what is to come for these children, a line a day",
}
ENDS_NEWS = "You get our news because you are with the club. To end it, open this and tap once:"
SAMPLE = {"children": "Ada and Ben", "family": "the Sample family", "next dates": "Sunday, 4 October: a sample date"}


def drafts(families: Sequence[Family], subject: str, text: str, is_news: bool, of: Book, on: date) -> list[Message]:
    """The letters as they would be written, in the order of the families; nothing is saved."""
    people = {person.pk for family in families for person in family.people}
    dates = next_dates(people, on) if "{next dates}" in text else {}
    return [_draft(family, subject, text, is_news, of, dates) for family in families]


def _draft(
    family: Family, subject: str, text: str, is_news: bool, of: Book, dates: Mapping[int, Sequence[ToCome]]
) -> Message:
    home, guardian = family.household, family.guardian
    values = {
        "children": in_a_row([person.given_name for person in family.people]) or home.name,
        "guardian": guardian.name if guardian else home.name,
        "family": home.name,
        "club": of.club_name,
        "next dates": dates_in_words(family.people, dates) if dates else "no dates yet",
    }
    letter = in_words(
        home, paragraphs(filled(text, values)), of, about="", subject=filled(subject, values), guardian=guardian,
        **(
            {"link_path": reverse("news:own"), "leads": ENDS_NEWS, "keep": ""}
            if is_news
            else {"link_path": reverse("account:own"), "leads": ACCOUNT}
        ),
    )  # fmt: skip
    letter.is_news = is_news
    return letter


def sample(subject: str, text: str, of: Book, name: str) -> tuple[str, str]:
    """Subject and text of a test to whoever writes: with invented children, since it belongs to no family."""
    values = {**SAMPLE, "guardian": name, "club": of.club_name}
    said = "\n\n".join(paragraphs(filled(text, values)))
    end = "(Here stands the family’s own link.)"
    return f"Test: {filled(subject, values)}", f"Hello {name},\n\n{said}\n\n{end}\n\n{of.club_name}\n"
