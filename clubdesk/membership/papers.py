"""The list that goes to an association with what the club remits."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from clubdesk import paper
from clubdesk.clock import day_text
from clubdesk.fees.models import ChargeShare
from clubdesk.ledger.selectors import ZERO
from clubdesk.membership.models import Remittance
from clubdesk.membership.selectors import Due
from clubdesk.money import shown


@dataclass(frozen=True)
class Line:
    """One member's fee in the list: the association's share of it, and what is still to pay (or was paid)."""

    given_name: str
    family_name: str
    born: str
    household: str
    fee: str
    started: date
    share: Decimal
    to_pay: Decimal


def _line(share: ChargeShare, stands: Decimal, to_pay: Decimal) -> Line:
    charge, person = share.charge, share.charge.person
    return Line(
        given_name=person.given_name if person else "",
        family_name=person.family_name if person else "",
        born=person.birth_date.isoformat() if person else "",
        household=charge.household.name,
        fee=str(charge.price.item) if charge.price else charge.description,
        started=charge.starts_on,
        share=stands,
        to_pay=to_pay,
    )


def due_lines(due: Iterable[Due]) -> list[Line]:
    """What is still to pay, member by member."""
    return [_line(each.share, each.stands, each.owed) for each in due if each.owed]


def lines_of(remittance: Remittance) -> list[Line]:
    """What a remittance was for."""
    rows = remittance.lines.select_related(
        "share__charge__person", "share__charge__household", "share__charge__price__item"
    )
    return [_line(row.share, row.share.amount.amount, row.amount.amount) for row in rows]


def affiliation_pdf(title: str, rows: Sequence[Line], club_name: str) -> bytes:
    paper.use_fonts()
    table = [
        (f"{row.given_name} {row.family_name}".strip() or row.household, row.born, day_text(row.started),
         shown(row.share), shown(row.to_pay))
        for row in rows
    ]  # fmt: skip
    table.append(("Together", "", "", "", shown(sum((row.to_pay for row in rows), ZERO))))
    columns = ["Member", "Born", "Income on", "Share", "To pay"]
    story = [
        paper.text(club_name, paper.HEADING),
        paper.text(title, paper.STRONG),
        paper.gap(),
        paper.table(columns, table, [62, 28, 30, 27, 27], {3, 4}),
        paper.gap(),
        paper.text("Below nil: remitted before and taken back since, to be deducted."),
    ]
    return paper.pdf(title, club_name, story)
