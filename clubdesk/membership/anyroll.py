"""A roll as a club keeps it today, in any spreadsheet: what each column is, and its rows as the roll's own file wants.

Columns are known by what they are called, else by what stands in them; whoever brings the file in puts that right.
Dates, amounts and names are read as people write them, the day before the month. How people head columns and write
names is common practice, no source.
"""

import csv
import hashlib
import io
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.ledger.files import Row
from clubdesk.ledger.spreadsheets import HEAD_WITHIN, Sheet, as_day, is_sum, sheets_of
from clubdesk.membership.models import Plan
from clubdesk.membership.names import PARTICLES, tidy
from clubdesk.membership.rollfile import COLUMNS, NUMBERED, OPTIONAL, WRONG, as_it_came, plan_called
from clubdesk.money import read_amount
from clubdesk.roll.models import age_on

ALL = (*COLUMNS, *OPTIONAL)
FIELDS = {
    "name": "whole name",
    "given_name": "given name",
    "family_name": "family name",
    "birth_date": "date of birth",
    "household": "family, where it is called otherwise",
    "guardian": "guardian",
    "email": "e-mail",
    "phone": "phone",
    "plan": "membership plan",
    "expiry": "member until",
    "opening_balance": "owes",
    "balance_for": "owed for",
}
CALLED = {
    "name": "name fullname child junior archer athlete member membername participant",
    "given_name": "givenname givennames firstname firstnames first given forename christianname",
    "family_name": "familyname surname lastname last",
    "birth_date": "birthdate dateofbirth dob born birthday",
    "household": "household family home familygroup",
    "guardian": (
        "guardian guardians parent parents parentguardian parentorguardian parentcarer mother father carer guardianname"
        " contact contactname parentname"
    ),
    "email": "email mail emailaddress parentemail parentsemail guardianemail contactemail",
    "phone": "phone mobile telephone tel cell phonenumber mobilenumber contactnumber parentphone parentmobile",
    "plan": "plan membership membershiptype type category class membershipcategory",
    "expiry": (
        "expiry expires expirydate until validuntil validto paidto paiduntil paidtill memberuntil membertill enddate"
        " renewaldate"
    ),
    "opening_balance": "openingbalance balance owes owing amountowing amountdue due outstanding arrears",
    "balance_for": "balancefor owedfor",
}
FIELD_OF = {word: field for field, words in CALLED.items() for word in words.split()}
LOOKED_AT = 60
MOST_OF = 0.7
"""So much of a column must look like something for the column to be taken for it; a choice of ours."""
NOTHING = {"", "-", "–", "—", "n/a", "na", "nil", "none", "tba", "?"}
GROWN_UP = 18
FAR = timedelta(days=800)


@dataclass(frozen=True)
class Layout:
    """How a sheet is read: the row that heads its columns, 0 for none, and what each column is, blank for nothing."""

    sheet: str
    head: int
    columns: tuple[str, ...]


@dataclass(frozen=True)
class LaidOut:
    """The rows as a roll's own file has them, and the numbers of those that name nobody."""

    content: bytes
    left_out: tuple[int, ...]


# What a file itself says of its shape


def sheets_in(content: bytes) -> list[Sheet]:
    """The sheets of a file without what was put beside its rows when they were given back to be put right."""
    sheets = [replace(sheet, rows=tuple(as_it_came(sheet.rows))) for sheet in sheets_of(content)]
    if not any(sheet.rows for sheet in sheets):
        raise Refused("The file is empty; choose another.")
    return sheets


def propose(sheets: Sequence[Sheet], wanted: str = "") -> Layout:
    """The sheet that looks most like a roll, or the one wanted, and what each of its columns is likely to be."""
    of = [sheet for sheet in sheets if sheet.name == wanted] or [sheet for sheet in sheets if sheet.rows]
    sheet, head, heads = max((_headed(sheet) for sheet in of), key=lambda found: (_known(found[2]), len(found[0].rows)))
    body = [cells for number, cells in sheet.rows if number > head][:LOOKED_AT]
    width = max(len(cells) for _, cells in sheet.rows)
    columns = [FIELD_OF.get(_bare(text), "") for text in [*heads, *[""] * (width - len(heads))]]
    columns = [field if field not in columns[:place] else "" for place, field in enumerate(columns)]
    for place, field in enumerate(columns):
        guess = "" if field else _by_content([cells[place] for cells in body if place < len(cells) and cells[place]])
        if guess and guess not in columns:
            columns[place] = guess
    if "given_name" in columns and "name" in columns:
        columns[columns.index("name")] = "" if "family_name" in columns else "family_name"
    return Layout(sheet.name, head, tuple(columns))


def _headed(sheet: Sheet) -> tuple[Sheet, int, list[str]]:
    """The sheet with the row that heads it: the first of those that name the most columns."""
    number, cells = max(sheet.rows[:HEAD_WITHIN], key=lambda row: (_known(row[1]), -row[0]))
    return (sheet, number, cells) if _known(cells) else (sheet, 0, [])


def _known(cells: Sequence[str]) -> int:
    return len({FIELD_OF[_bare(cell)] for cell in cells if _bare(cell) in FIELD_OF})


def _bare(head: str) -> str:
    return re.sub(r"[^a-z]", "", head.casefold())


def _by_content(texts: Sequence[str]) -> str:
    """What a column is by what stands in it; blank where that says nothing."""
    today = clock.today()
    days = [day for text in texts if (day := as_day(text))]
    looks = {
        "email": sum("@" in text for text in texts),
        "birth_date": sum(day < today - FAR for day in days),
        "expiry": sum(abs(day - today) <= FAR for day in days),
        "phone": sum(len(re.sub(r"\D", "", text)) >= 8 for text in texts) - len(days),
        "opening_balance": sum(_is_amount(text) and ("$" in text or "." in text) for text in texts),
    }
    best = max(looks, key=lambda field: looks[field])
    return best if texts and looks[best] >= MOST_OF * len(texts) else ""


# A row as the roll's own file has it


def laid_out(sheets: Sequence[Sheet], layout: Layout, owed_for: str = "") -> LaidOut:
    """The rows of the sheet by its layout, in a CSV of the roll's own columns, each at its own line.

    What names nobody, as a total, is left out. `owed_for` is what a debt is for where no column says it.
    """
    sheet = next((each for each in sheets if each.name == layout.sheet), None)
    if sheet is None:
        raise Refused("That sheet is not in the file any more; choose the file again.")
    rows, left_out = [], []
    for number, cells in sheet.rows:
        if number <= layout.head:
            continue
        given = {field: cells[place] for place, field in enumerate(layout.columns) if field and place < len(cells)}
        row = _row(line_of(number, layout), given, owed_for)
        if row and not is_sum(cells):
            rows.append(row)
        else:
            left_out.append(number)
    if not rows:
        raise Refused("No row names anybody; say which column holds the names.")
    return LaidOut(as_csv(rows), tuple(left_out))


def _row(number: int, given: Mapping[str, str], owed_for: str) -> Row | None:
    """The row in the roll's own columns; None where it names nobody."""
    plain = {field: "" if text.casefold() in NOTHING else " ".join(text.split()) for field, text in given.items()}
    first, last = _name(plain)
    if not (first or last):
        return None
    row = dict.fromkeys(ALL, "") | {field: text for field, text in plain.items() if field in ALL}
    born = as_day(plain.get("birth_date", ""))
    if born and born > clock.today():
        born = born.replace(year=born.year - 100)
    until = as_day(plain.get("expiry", ""))
    row |= {"given_name": first, "family_name": last, "household": row["household"] or last}
    row["birth_date"] = born.isoformat() if born else plain.get("birth_date", "")
    row["expiry"] = until.isoformat() if until else plain.get("expiry", "")
    row["phone"] = row["phone"].removesuffix(".0")
    row["opening_balance"] = as_amount_text(plain.get("opening_balance", ""))
    if row["opening_balance"] and not row["balance_for"] and not row["opening_balance"].startswith("-"):
        row["balance_for"] = owed_for
    if (row["email"] or row["phone"]) and not row["guardian"]:
        is_adult = born and age_on(born, clock.today()) >= GROWN_UP
        row["guardian"] = f"{first} {last}".strip() if is_adult else f"{row['household']} family"
    return Row(number, row)


def _name(plain: Mapping[str, str]) -> tuple[str, str]:
    """Given and family name, also where both stand in one column: “Mirabar, Ada”, “Ada van Mirabar”."""
    first, last, whole = (plain.get(field, "") for field in ("given_name", "family_name", "name"))
    if first or last or not whole:
        return first, last
    if "," in whole:
        last, _, first = (part.strip() for part in whole.partition(","))
        return first, last
    words = whole.split()
    place = next((at for at, word in enumerate(words) if at and word in PARTICLES), len(words) - 1)
    return " ".join(words[:place]), " ".join(words[place:])


def as_amount_text(text: str) -> str:
    """An amount as the roll's file writes it, without sign of the currency; as it stands where it is none."""
    try:
        return f"{read_amount(text):f}" if text.strip() else text
    except Refused:
        return text


def _is_amount(text: str) -> bool:
    try:
        read_amount(text)
    except Refused:
        return False
    return True


# What somebody says of the rows, and what is proposed


NO_MEMBERSHIP = "none"
UNTIL = "until"
"""Under it stands, beside the signs of plans, until when those are members who have a plan and no last day."""


def sign_of(text: str) -> str:
    """By what a value of the plan column is known when it comes again, without keeping what stood there."""
    return hashlib.sha256(text.casefold().encode()).hexdigest()[:16]


def unknown_plans(rows: Sequence[Row], plans: Mapping[str, Plan]) -> list[tuple[str, int]]:
    """What stands for a plan and is none of the club's, as it came first, with the number of its rows; most first.

    Blank stands for those that are members until a day and have no plan.
    """
    texts = [row["plan"] for row in rows if _needs_plan(row, plans)]
    first = {sign_of(text): text for text in reversed(texts)}
    return [(first[sign], count) for sign, count in Counter(map(sign_of, texts)).most_common()]


def with_plans(rows: Sequence[Row], plans: Mapping[str, Plan], said: Mapping[str, str]) -> list[Row]:
    """The rows with the plan that was said for what is none: its number by the sign of the text, or no membership."""
    names = {str(plan.pk): plan.name for plan in plans.values()}
    found = []
    for row in rows:
        chosen = said.get(sign_of(row["plan"]), "") if _needs_plan(row, plans) else ""
        if chosen == NO_MEMBERSHIP:
            found.append(_changed(row, plan="", expiry=""))
        else:
            found.append(_changed(row, plan=names[chosen]) if chosen in names else row)
    return found


def undated(rows: Sequence[Row], plans: Mapping[str, Plan]) -> list[Row]:
    """The rows that have a plan of the club's, and no last day."""
    return [row for row in rows if row["plan"] and not row["expiry"] and plan_called(row["plan"], plans)]


def with_last_day(rows: Sequence[Row], plans: Mapping[str, Plan], until: str) -> list[Row]:
    """The rows, those that have a plan and no last day with the one that was said; blank where none was."""
    without = {row.number for row in undated(rows, plans)} if until else set()
    return [_changed(row, expiry=until) if row.number in without else row for row in rows]


def _needs_plan(row: Row, plans: Mapping[str, Plan]) -> bool:
    return bool(row["plan"] or row["expiry"]) and plan_called(row["plan"], plans) is None


def tidied(row: Row) -> tuple[Row, str]:
    """The row with names as they are written, and in words whose were not; blank where all were."""
    given, family, guardian, home = (row[each] for each in ("given_name", "family_name", "guardian", "household"))
    made = _changed(
        row,
        given_name=tidy(given, beside=family),
        family_name=tidy(family, is_family=True),
        guardian=tidy(guardian),
        household=tidy(home, is_family=True),
    )
    said = []
    if (made["given_name"], made["family_name"]) != (given, family):
        said.append(f"written as {made['given_name']} {made['family_name']}".strip())
    if made["guardian"] != guardian and guardian.casefold() != f"{home} family".casefold():
        said.append(f"guardian written as {made['guardian']}")
    return made, ", ".join(said)


def _changed(row: Row, **cells: str) -> Row:
    return Row(row.number, row.cells | cells)


# Rows as a file


def as_csv(rows: Sequence[Row]) -> bytes:
    """Rows of the roll's own columns as a CSV in which each stands at its own line."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(ALL)
    line = 1
    for row in rows:
        while (line := line + 1) < row.number:
            file.write("\n")
        writer.writerow([" ".join(row[name].split()) for name in ALL])
    return file.getvalue().encode("utf-8-sig")


def to_put_right(sheet: Sheet, layout: Layout, reasons: Mapping[int, str]) -> bytes:
    """The rows that have a reason, as they stand below the headings of the sheet, with their numbers and reasons."""
    file, width = io.StringIO(), len(layout.columns)
    writer = csv.writer(file, lineterminator="\n")
    heads = next((cells for number, cells in sheet.rows if number == layout.head), [])
    writer.writerow([*_wide(heads, width), NUMBERED, WRONG])
    for number, cells in sheet.rows:
        if number > layout.head and (reason := reasons.get(line_of(number, layout))):
            writer.writerow([*_wide(cells, width), number, reason])
    return file.getvalue().encode("utf-8-sig")


def line_of(number: int, layout: Layout) -> int:
    """The line at which a row of the sheet stands in the roll's own file, which always has headings."""
    return number if layout.head else number + 1


def _wide(cells: Sequence[str], width: int) -> list[str]:
    return [*cells, *[""] * (width - len(cells))]
