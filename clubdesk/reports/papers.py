"""The statements on paper: a PDF whose every page carries the seal."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from reportlab.platypus import Flowable

from clubdesk import paper
from clubdesk.clock import long_day
from clubdesk.ledger.models import Fund
from clubdesk.ledger.selectors import book, club_name
from clubdesk.moment import one_moment
from clubdesk.money import shown
from clubdesk.reports.committee import CommitteePage, committee_page
from clubdesk.reports.seal import Stamp, seal_of_span, signed_pdf
from clubdesk.reports.selectors import Figures
from clubdesk.reports.statements import BASES, BASIS_NAMES, Row, Statement, of_basis
from clubdesk.tables import Column, Table

PORTRAIT, LANDSCAPE = 174.0, 261.0
LEAST_LABEL, FIGURE = 36.0, 25.0
CAUTION = (
    "These figures follow from the club’s own records. What the club must publish, and who audits it, is for the law of"
    " its place, its rules and a licensed accountant or auditor to say."
)


def is_wide(statements: Sequence[Statement]) -> bool:
    return max(len(each.columns) for each in statements) > 7


def statement_table(statement: Statement, width: float) -> Flowable:
    count = len(statement.columns)
    figure = min(FIGURE, (width - LEAST_LABEL) / max(count, 1))

    def column(place: int, title: str) -> Column[Row]:
        return Column(title, lambda row: row.figures[place] if place < len(row.figures) else None, "amount", figure)

    columns = {"label": Column[Row]("", lambda row: row.label, width=width - figure * count)}
    columns |= {f"{place}": column(place, title) for place, title in enumerate(statement.columns)}
    table = Table(statement.title, columns, statement.rows, strong=lambda row: row.kind in ("heading", "total"))
    return paper.table(table, _size(count))


def _size(columns: int) -> float:
    return 8.5 if columns < 8 else 6.0


def story(club_name: str, span: str, statements: Sequence[Statement]) -> list[Flowable]:
    wide = is_wide(statements)
    found: list[Flowable] = [paper.text(club_name, paper.HEADING), paper.text(span)]
    for statement in statements:
        table = statement_table(statement, LANDSCAPE if wide else PORTRAIT)
        found += [
            paper.gap(),
            paper.room_for(table),
            paper.text(statement.title, paper.STRONG),
            paper.text(statement.note),
            paper.gap(2),
            table,
        ]
    return [*found, paper.gap(), paper.text(CAUTION)]


def statements_pdf(club_name: str, span: str, statements: Sequence[Statement], mark: str, keywords: str) -> bytes:
    """The statements to print. `keywords` say what was asked, so that the file can be checked against the book."""
    paper.use_fonts()
    return paper.pdf(
        "Statements",
        club_name,
        story(club_name, span, statements),
        mark=mark,
        keywords=keywords,
        landscape=is_wide(statements),
    )


@dataclass(frozen=True)
class StatementsAsked:
    """Which statements a paper holds, so that it can be made again from the book and compared.

    `known` is the last entry that the book had as it was made: what was put right later is not in it.
    """

    basis: str
    first: date
    last: date
    fund: Fund | None = None
    known: int = 0

    MARK = "fletchbook statements"

    @property
    def about(self) -> str:
        return f"{self.MARK} {self.basis} {self.first} {self.last} {self.fund.pk if self.fund else '-'} {self.known}"

    @property
    def words(self) -> str:
        return f"{BASIS_NAMES[self.basis]}, {self.span}"

    @property
    def span(self) -> str:
        return f"{span_in_words(self.first, self.last)}{f', {self.fund}' if self.fund else ''}"

    @one_moment()
    def pdf(self, made_on: date) -> bytes:
        """The paper from the book as it stands now."""
        now = replace(self, known=book().last_number)
        return signed_pdf(now.stamped(Stamp(made_on, seal_of_span(self.first, self.last))))

    def stamped(self, stamp: Stamp) -> bytes:
        """The same with the stamp of an earlier making, not signed."""
        found = of_basis(self.basis, Figures(self.first, self.last, self.fund), self.known)
        return statements_pdf(club_name(), self.span, found, stamp.in_words, stamp.unsigned(self.about))


@dataclass(frozen=True)
class CommitteeAsked:
    """Which page for the committee a paper is."""

    first: date
    last: date

    MARK = "fletchbook committee"

    @property
    def about(self) -> str:
        return f"{self.MARK} {self.first} {self.last}"

    @property
    def words(self) -> str:
        return f"For the committee, {span_in_words(self.first, self.last)}"

    @one_moment()
    def pdf(self, made_on: date) -> bytes:
        """The page from the book as it stands now."""
        return signed_pdf(self.stamped(Stamp(made_on, seal_of_span(self.first, self.last))))

    def stamped(self, stamp: Stamp) -> bytes:
        """The same with the stamp of an earlier making, not signed."""
        page, keywords = committee_page(self.first, self.last), stamp.unsigned(self.about)
        return committee_pdf(page, club_name(), stamp.in_words, keywords)


def asked_of(about: str) -> StatementsAsked | CommitteeAsked | None:
    """What a PDF says that it is about; None where it is nothing of ours."""
    words = about.split()
    try:
        if words[:2] == CommitteeAsked.MARK.split():
            return CommitteeAsked(date.fromisoformat(words[2]), date.fromisoformat(words[3]))
        if words[:2] == StatementsAsked.MARK.split() and words[2] in BASES:
            fund = Fund.objects.filter(pk=words[5]).first()
            first, last = date.fromisoformat(words[3]), date.fromisoformat(words[4])
            return StatementsAsked(words[2], first, last, fund, int(words[6]) if len(words) > 6 else 0)
    except (IndexError, ValueError):
        return None
    return None


def committee_pdf(page: CommitteePage, club: str, mark: str, keywords: str) -> bytes:
    """The committee's page on one sheet of A4."""
    paper.use_fonts()
    facts = "  ·  ".join(
        f"{label}: {shown(value) if isinstance(value, Decimal) else value}" for label, value in page.facts
    )
    found: list[Flowable] = [
        paper.text(f"{club}: for the committee", paper.HEADING),
        paper.text(f"{span_in_words(page.first, page.last)}.  {facts}"),
    ]
    for left, right in zip(page.tables[::2], page.tables[1::2], strict=True):
        found += [paper.gap(3), paper.side_by_side(_titled(left), _titled(right), PORTRAIT)]
    for chart, data in page.charts:
        keys = (
            ""
            if len(chart.parts) == 1
            else f" ({', '.join(f'{c} {p}' for c, p in zip(PLAINLY, chart.parts, strict=False))})"
        )
        found += [paper.gap(2), paper.text(f"{chart.title}{keys}", paper.STRONG), paper.drawing(chart, 82)]
        found.append(_small_table(data, PORTRAIT))
    return paper.pdf("For the committee", club, [paper.on_one_page(found)], mark=mark, keywords=keywords)


PLAINLY = ("green:", "red:", "grey:")


def _titled(table: Table[Any]) -> list[Flowable]:
    """A table with its title and note, half a page wide."""
    found = [paper.text(table.title, paper.STRONG), _small_table(table, PORTRAIT / 2 - 3)]
    return [*found, paper.text(table.note, paper.IN_SIZE[7.5][paper.TEXT])] if table.note else found


def _small_table(table: Table[Any], width: float) -> Flowable:
    """A table of the page in small letters; figures of twelve months in whole dollars."""
    count = len(table.columns)
    many = count > 6
    first = 22.0 if many else width * (0.28 if count > 3 else 0.5)
    for place, name in enumerate(table.columns):
        table = table.changed(name, width=(width - first) / (count - 1) if place else first)
        if many:
            table = table.changed(name, value=_in_whole_dollars(table.columns[name].value))
    return paper.table(table, 6.0 if many else 7.5)


def _in_whole_dollars(value: Callable[[Any], object]) -> Callable[[Any], object]:
    def whole(row: Any) -> object:
        figure = value(row)
        if not isinstance(figure, Decimal):
            return figure
        return shown(figure.quantize(Decimal(1), ROUND_HALF_UP)).removesuffix(".00")

    return whole


def span_in_words(first: date, last: date) -> str:
    return f"{long_day(first)} to {long_day(last)}"
