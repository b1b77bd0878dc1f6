"""A department's answer in a file, read by the columns of its template and held against the claim, row by row.

Nothing is written here. A row is known by the club's own reference, else by the key of the voucher, else by the
child's name and day of birth; in which of these a department answers is common practice, no source.
"""

import csv
import io
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.fees.claimfile import reference_of
from clubdesk.fees.models import ANSWERS, ClaimColumn, Holds, Lodgement, Voucher, VoucherState
from clubdesk.fees.selectors import vouchers_of
from clubdesk.ledger.spreadsheets import HEAD_WITHIN, MOST_BYTES, Sheet, as_day, is_sum, sheets_of
from clubdesk.money import as_amount, nil, read_amount, shown, total
from clubdesk.tables import in_file

MARKED = re.compile(r"'[=+\-@]")
KNOWN_BY = ({Holds.REFERENCE}, {Holds.KEY}, {Holds.NAME, Holds.BORN}, {Holds.GIVEN, Holds.FAMILY, Holds.BORN})
"""Each of these tells one voucher of a claim from the others."""


@dataclass
class AnswerRow:
    """What a row of the answer says: what was paid, or why the voucher was refused; `is_old` where the book has it."""

    number: int
    cells: Sequence[str]
    given: Mapping[str, str]
    voucher: Voucher | None = None
    paid: Money | None = None
    reason: str = ""
    fault: str = ""
    is_old: bool = False

    @property
    def is_new(self) -> bool:
        """Whether it answers something that the book does not have yet."""
        return not self.fault and not self.is_old and bool(self.paid or self.reason)

    @property
    def what(self) -> str:
        """What would happen, or why nothing does."""
        if self.fault:
            return self.fault
        if self.is_old:
            return "the book has this answer already"
        if self.voucher and self.paid is not None:
            short = self.voucher.claimed - self.paid
            less = f", {shown(short)} less than was claimed: the family owes it and is told" if short > nil() else ""
            return f"paid, {shown(self.paid)}{less}"
        return f"refused: {self.reason}; the family owes it and is told" if self.reason else "no answer yet"


@dataclass
class Answer:
    """All that a file answers of a claim. `left_out` are rows that name no voucher; `unanswered` is in no row."""

    headings: Sequence[str]
    rows: list[AnswerRow]
    left_out: list[int] = field(default_factory=list)
    unanswered: list[Voucher] = field(default_factory=list)

    @property
    def faulty(self) -> list[AnswerRow]:
        return [row for row in self.rows if row.fault]

    @property
    def new(self) -> list[AnswerRow]:
        return [row for row in self.rows if row.is_new]

    @property
    def paid(self) -> dict[int, Money]:
        """What is newly paid of which voucher, by its id."""
        return {row.voucher.pk: row.paid for row in self.new if row.voucher and row.paid is not None}

    @property
    def refused(self) -> dict[int, str]:
        return {row.voucher.pk: row.reason for row in self.new if row.voucher and row.paid is None}

    @property
    def in_all(self) -> Money:
        """What the department pays by all good rows, as its payment should come to; old rows too."""
        return total(row.paid for row in self.rows if row.paid is not None and not row.fault)


def read_answer(lodgement: Lodgement, content: bytes) -> Answer:
    """What the file says of each voucher of the claim. Raises Refused where the template does not fit it."""
    if len(content) > MOST_BYTES:
        raise Refused("The file is too large; leave other sheets and pictures out.")
    columns = list(lodgement.scheme.claim_columns.all())
    if not any(column.holds in ANSWERS for column in columns):
        raise Refused(
            f"Say on the page of {lodgement.scheme} first which columns of the department’s file hold its answer."
        )
    sheet, head, held = _headed(sheets_of(content), columns)
    headings = next(cells for number, cells in sheet.rows if number == head)
    vouchers = list(vouchers_of(lodgement).select_related("person", "scheme"))
    known = _Known(vouchers)
    answer = Answer(headings, [])
    for number, cells in sheet.rows:
        if number <= head:
            continue
        given = {holds: _plain(cells[place]) for place, holds in held.items() if place < len(cells)}
        if is_sum(cells) or not any(given.get(holds) for way in KNOWN_BY for holds in way):
            answer.left_out.append(number)
            continue
        row = AnswerRow(number, cells, given)
        row.voucher, row.fault = known.find(given)
        if not row.fault:
            _judge(row, lodgement)
        answer.rows.append(row)
    seen: dict[int, int] = {}
    for row in answer.rows:
        if row.voucher and seen.setdefault(row.voucher.pk, row.number) != row.number:
            row.fault = f"this voucher stands in row {seen[row.voucher.pk]} too."
    answer.unanswered = [each for each in vouchers if each.state == VoucherState.LODGED and each.pk not in seen]
    return answer


def as_file(answer: Answer, rows: Sequence[AnswerRow]) -> bytes:
    """Rows of the answer as a CSV with the reason beside each, to be put right and read again."""
    file = io.StringIO(newline="")
    writer = csv.writer(file, lineterminator="\r\n")
    width = len(answer.headings)
    writer.writerow([*map(in_file, answer.headings), "why it was not taken"])
    for row in rows:
        cells = [*row.cells, *[""] * (width - len(row.cells))]
        writer.writerow([*map(in_file, cells[:width]), row.fault])
    return file.getvalue().encode("utf-8-sig")


def _headed(sheets: Sequence[Sheet], columns: Sequence[ClaimColumn]) -> tuple[Sheet, int, dict[int, str]]:
    """The sheet, the row that heads it, and what each of its places holds: where most headings are known."""
    holds = {_bare(column.heading): column.holds for column in columns}
    best: tuple[Sheet, int, dict[int, str]] | None = None
    for sheet in sheets:
        for number, cells in sheet.rows[:HEAD_WITHIN]:
            held = {place: holds[_bare(cell)] for place, cell in enumerate(cells) if _bare(cell) in holds}
            if best is None or len(held) > len(best[2]):
                best = (sheet, number, held)
    assert best is not None, "a file that was read has a row"
    found = set(best[2].values())
    if not found & set(ANSWERS) or not any(way <= found for way in KNOWN_BY):
        wanted = ", ".join(f"“{column.heading}”" for column in columns if column.holds in _OF_USE)
        raise Refused(f"No row of the file heads its columns as the template of the scheme does: {wanted}.")
    for told in (*ANSWERS, Holds.REFERENCE, Holds.KEY):
        if list(best[2].values()).count(told) > 1:
            raise Refused(f"Two columns of the file would be “{Holds(told).label}”; leave one out of it.")
    return best


_OF_USE = {*ANSWERS, *(holds for way in KNOWN_BY for holds in way)}


def _bare(heading: str) -> str:
    return re.sub(r"[^0-9a-z]", "", heading.casefold())


def _plain(text: str) -> str:
    """The text without the mark that keeps a spreadsheet from taking it for a formula, and without double blanks."""
    return " ".join((text[1:] if MARKED.match(text) else text).split())


class _Known:
    """The vouchers of a claim by what a row may know them by."""

    def __init__(self, vouchers: Sequence[Voucher]):
        self.by_reference = {reference_of(each): each for each in vouchers}
        self.by_key, self.by_child = defaultdict(list), defaultdict(list)
        for each in vouchers:
            self.by_key[_digits_first(each.code)].append(each)
            self.by_child[_name(str(each.person)), each.person.birth_date].append(each)

    def find(self, given: Mapping[str, str]) -> tuple[Voucher | None, str]:
        """The voucher that a row is about, or why there is none, as a sentence."""
        if reference := given.get(Holds.REFERENCE, "").upper():
            found = self.by_reference.get(reference)
            return self._checked(found, given) if found else (None, f"no voucher of this claim is {reference}.")
        if key := given.get(Holds.KEY):
            return self._only(self.by_key.get(_digits_first(key), []), given, f"no voucher of this claim is {key}.")
        named = given.get(Holds.NAME) or f"{given.get(Holds.GIVEN, '')} {given.get(Holds.FAMILY, '')}"
        born = as_day(given.get(Holds.BORN, ""))
        if born is None:
            return None, "no reference, no key and no day of birth: nothing says which voucher this is."
        why = f"nobody of that name and day of birth is in this claim: {named}."
        return self._only(self.by_child.get((_name(named), born), []), given, why)

    def _only(self, found: list[Voucher], given: Mapping[str, str], why: str) -> tuple[Voucher | None, str]:
        if len(found) > 1:
            return None, (
                f"{len(found)} vouchers of this claim are known by this; add a column for the club’s own reference to "
                "the template."
            )
        return self._checked(found[0], given) if found else (None, why)

    def _checked(self, found: Voucher, given: Mapping[str, str]) -> tuple[Voucher | None, str]:
        """Whether the row names the voucher's own child, where it names one: columns may have been sorted apart."""
        said = given.get(Holds.NAME) or f"{given.get(Holds.GIVEN, '')} {given.get(Holds.FAMILY, '')}".strip()
        whole = Holds.NAME in given or {Holds.GIVEN, Holds.FAMILY} <= given.keys()
        if said and whole and _name(said) != _name(str(found.person)):
            return None, f"the row names {said}, and this is the voucher of {found.person}; check what was sorted."
        return found, ""


def _digits_first(key: str) -> str:
    """A key however it was typed: a spreadsheet drops blanks, small letters and the zeros before a number."""
    bare = "".join(key.split()).upper().removesuffix(".0")
    return bare.lstrip("0") if bare.isdigit() else bare


def _name(text: str) -> str:
    return " ".join(text.split()).casefold()


def _judge(row: AnswerRow, lodgement: Lodgement) -> None:
    """Read what was paid, or why not, and hold it against the voucher as the book has it."""
    assert row.voucher is not None
    try:
        row.paid, row.reason = _answered(row, lodgement)
    except Refused as refusal:
        row.fault = refusal.sentence
        return
    if row.paid is None and not row.reason:
        return
    voucher = row.voucher
    if row.paid is not None and row.paid > voucher.claimed:
        row.fault = f"{shown(voucher.claimed)} was claimed; {shown(row.paid)} cannot be paid for it."
    elif voucher.state in (VoucherState.PAID, VoucherState.RETURNED):
        row.is_old = row.paid == voucher.paid_in
        row.fault = "" if row.is_old else f"the book has it as paid, {shown(voucher.paid_in)}."
    elif voucher.state == VoucherState.REFUSED:
        row.is_old = row.paid is None
        row.fault = "" if row.is_old else f"the book has it as refused: {voucher.end_reason}."


def _answered(row: AnswerRow, lodgement: Lodgement) -> tuple[Money | None, str]:
    """What was paid, or nothing and the reason; neither where there is no answer yet."""
    typed, reason = row.given.get(Holds.PAID, ""), row.given.get(Holds.REASON, "")
    paid = _amount(typed)
    word = row.given.get(Holds.DECISION, "")
    if not word:
        if paid == nil() and not reason:
            raise Refused("it was paid nothing, and no reason stands beside it; write one.")
        return (paid, "") if paid else (None, reason)
    assert row.voucher is not None
    if _is_among(word, lodgement.scheme.paid_words):
        if paid == nil():
            raise Refused(f"“{word}” and {typed} do not go together; check the row.")
        return paid or row.voucher.claimed, ""
    if _is_among(word, lodgement.scheme.refused_words):
        if paid:
            raise Refused(f"“{word}” and {typed} do not go together; check the row.")
        return None, reason or word
    raise Refused(
        f"“{word}” is no word for paid or refused; say which it is on the page of {lodgement.scheme}, or ask the "
        "department."
    )


def _amount(typed: str) -> Money | None:
    if not typed:
        return None
    amount = as_amount(read_amount(typed))
    if amount < nil():
        raise Refused(f"“{typed}” is below zero; what was paid is not.")
    return amount


def _is_among(word: str, words: str) -> bool:
    return _name(word) in {_name(each) for each in words.split(",") if each.strip()}
