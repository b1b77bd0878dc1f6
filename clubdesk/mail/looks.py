"""How a letter looks to whoever reads HTML, made of its plain text and of nothing else: no picture, nothing fetched."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from django.template.loader import render_to_string

from clubdesk.mail.models import LINK

LABELLED = re.compile(r"([^:]{2,32}): (\S.*)")
FEWEST_ROWS = 2


@dataclass(frozen=True)
class Block:
    """A paragraph: its lines, what of it stands in rows of two, and whether the family's link is in it.

    `lines` come before the rows or the link, `after` follows the link.
    """

    lines: tuple[str, ...] = ()
    rows: tuple[tuple[str, str], ...] = ()
    is_link: bool = False
    after: tuple[str, ...] = ()


def blocks(body: str) -> Iterator[Block]:
    """The paragraphs of a letter's text in which `{link}` stands where the link goes."""
    for paragraph in re.split(r"\n{2,}", body.strip()):
        before, link, after = paragraph.partition(LINK)
        lines = _lines(before)
        if link:
            yield Block(lines, is_link=True, after=_lines(after.replace(LINK, "")))
            continue
        head = lines[:1] if lines and not LABELLED.fullmatch(lines[0]) else ()
        found = [LABELLED.fullmatch(line) for line in lines[len(head) :]]
        rows = tuple((each[1], each[2]) for each in found if each)
        is_table = len(rows) >= FEWEST_ROWS and len(rows) == len(found)
        yield Block(head, rows) if is_table else Block(lines)


def _lines(text: str) -> tuple[str, ...]:
    return tuple(line.strip() for line in text.splitlines() if line.strip())


def as_html(subject: str, body: str, link: str, leads_to: str = "") -> str:
    """A whole document whose last paragraph, which says who writes and whom to ask, is the foot.

    `leads_to` is where the link leads in one that is only looked at, where it leads nowhere.
    """
    found = list(blocks(body))
    foot = found.pop() if len(found) > 1 and not found[-1].is_link and not found[-1].rows else Block()
    shown = {"subject": subject, "blocks": found, "foot": foot, "link": link, "leads_to": leads_to or link}
    return render_to_string("mail/letter.html", shown)
