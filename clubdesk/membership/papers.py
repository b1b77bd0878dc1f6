"""The list that goes to an association with what the club remits."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from clubdesk import paper
from clubdesk.fees.models import ChargeShare
from clubdesk.membership.models import Remittance
from clubdesk.membership.owed import Due
from clubdesk.tables import Column, Columns, Table, pick, together


@dataclass(frozen=True)
class MemberFee:
    """One member's fee in the list: the association's share of it, and what is still to pay (or was paid)."""

    given_name: str
    family_name: str
    born: str
    household: str
    fee: str
    started: date
    share: Decimal
    to_pay: Decimal

    @property
    def member(self) -> str:
        return f"{self.given_name} {self.family_name}".strip() or self.household


def _member_fee(share: ChargeShare, stands: Decimal, to_pay: Decimal) -> MemberFee:
    charge, person = share.charge, share.charge.person
    return MemberFee(
        given_name=person.given_name if person else "",
        family_name=person.family_name if person else "",
        born=person.birth_date.isoformat() if person else "",
        household=charge.household.name,
        fee=str(charge.price.item) if charge.price else charge.description,
        started=charge.starts_on,
        share=stands,
        to_pay=to_pay,
    )


def due_lines(due: Iterable[Due]) -> list[MemberFee]:
    """What is still to pay, member by member."""
    return [_member_fee(each.share, each.stands, each.owed) for each in due if each.owed]


def lines_of(remittance: Remittance) -> list[MemberFee]:
    """What a remittance was for."""
    rows = remittance.lines.select_related(
        "share__charge__person", "share__charge__household", "share__charge__price__item"
    )
    return [_member_fee(row.share, row.share.amount.amount, row.amount.amount) for row in rows]


COLUMNS: Columns[MemberFee] = {
    "given_name": Column("Given name", lambda row: row.given_name),
    "family_name": Column("Family name", lambda row: row.family_name),
    "member": Column("Member", lambda row: row.member, width=62),
    "born": Column("Born", lambda row: row.born, width=28, in_files="date of birth"),
    "household": Column("Family", lambda row: row.household),
    "fee": Column("Fee", lambda row: row.fee),
    "started": Column("Income on", lambda row: row.started, "date", 30),
    "share": Column("Share", lambda row: row.share, "amount", 27),
    "to_pay": Column("To pay", lambda row: row.to_pay, "amount", 27),
}
ON_PAGE = ("member", "to_pay", "share", "started", "born", "fee")
ON_PAPER = ("member", "born", "started", "share", "to_pay")
IN_FILES = ("given_name", "family_name", "born", "household", "fee", "started", "share", "to_pay")


def affiliation_table(rows: Sequence[MemberFee], names: Sequence[str]) -> Table[MemberFee]:
    """The list with these columns, and what is to pay together."""
    feet = [together("Together", COLUMNS, rows, "to_pay")]
    return Table("Affiliation", pick(COLUMNS, *names), rows, feet, empty="Nothing is to be paid.")


def affiliation_pdf(title: str, rows: Sequence[MemberFee], club_name: str) -> bytes:
    paper.use_fonts()
    story = [
        paper.text(club_name, paper.HEADING),
        paper.text(title, paper.STRONG),
        paper.gap(),
        paper.table(affiliation_table(rows, ON_PAPER)),
        paper.gap(),
        paper.text("Below 0.00: passed on before and credited since, to be deducted."),
    ]
    return paper.pdf(title, club_name, story)
