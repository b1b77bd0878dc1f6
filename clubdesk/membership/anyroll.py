"""A roll as a club keeps it today, in any spreadsheet: what each column is, and its rows as the roll's own file wants.

Columns are known by what they are called, else by what stands in them; whoever brings the file in puts that right.
Dates, amounts and names are read as people write them, the day before the month. How people head columns and write
names is common practice, no source.
"""

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from dateutil import parser as dates

from clubdesk import clock
from clubdesk.errors import Refused
from clubdesk.ledger.files import Row, rows_of_text
from clubdesk.membership.rollfile import COLUMNS, OPTIONAL, sheets_of_workbook
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
    "given_name": "givenname givennames firstname first given forename christianname",
    "family_name": "familyname surname lastname last",
    "birth_date": "birthdate dateofbirth dob born birthday",
    "household": "household family home familygroup",
    "guardian": "guardian guardians parent parents parentguardian mother father carer contact contactname parentname",
    "email": "email mail emailaddress parentemail parentsemail guardianemail contactemail",
    "phone": "phone mobile telephone tel cell phonenumber mobilenumber contactnumber parentphone parentmobile",
    "plan": "plan membership membershiptype type category class membershipcategory",
    "expiry": "expiry expires expirydate until validuntil validto paidto paiduntil memberuntil enddate renewaldate",
    "opening_balance": "openingbalance balance owes owing amountowing amountdue due outstanding arrears",
    "balance_for": "balancefor owedfor",
}
FIELD_OF = {word: field for field, words in CALLED.items() for word in words.split()}
HEAD_WITHIN, LOOKED_AT = 20, 60
MOST_OF = 0.7
"""So much of a column must look like something for the column to be taken for it; a choice of ours."""
NOTHING = {"", "-", "–", "—", "n/a", "na", "nil", "none", "tba", "?"}
PARTICLES = {"van", "von", "de", "der", "den", "del", "della", "di", "da", "la", "le", "ter", "ten", "du", "dos", "al"}
DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{2}|\d{4})")
AMOUNT = re.compile(r"(?P<open>\()?(?P<sign>[-−–])?\$?(?P<digits>\d[\d,]*(\.\d{1,2})?)\)?")
SUM_WORDS = ("total", "sum", "count", "grand total")
GROWN_UP = 18
FAR = timedelta(days=800)


@dataclass(frozen=True)
class Sheet:
    """One sheet of a file: its name, and the rows that hold anything with their numbers."""

    name: str
    rows: tuple[tuple[int, list[str]], ...]


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


def sheets_of(content: bytes) -> list[Sheet]:
    """The sheets of a workbook, or a CSV of any separator and encoding as one. Raises Refused for anything else."""
    if content[:2] == b"PK":
        found = [Sheet(name, tuple(rows)) for name, rows in sheets_of_workbook(content) if rows]
    else:
        found = [Sheet("The file", tuple(_rows_of_text(_decoded(content))))]
    if not any(sheet.rows for sheet in found):
        raise Refused("The file is empty; choose the one in which the roll is.")
    return found


def _decoded(content: bytes) -> str:
    if b"\0" in content[:4000] and content[:2] not in (b"\xff\xfe", b"\xfe\xff"):
        raise Refused("row 1: the file holds binary data; save it as XLSX or CSV.")
    encodings = ("utf-16",) if content[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise Refused("row 1: the file is no text that can be read; save it as XLSX or as CSV in UTF-8.")


def _rows_of_text(text: str) -> Iterable[tuple[int, list[str]]]:
    lines = text.splitlines()[:HEAD_WITHIN]
    delimiter = max(",;\t|", key=lambda each: sum(line.count(each) for line in lines))
    return rows_of_text(io.StringIO(text.replace("\r\n", "\n").replace("\r", "\n")), delimiter=delimiter)


# What a file itself says of its shape


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
        "opening_balance": sum(bool(AMOUNT.fullmatch(text)) and ("$" in text or "." in text) for text in texts),
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
        row = _row(number, given, owed_for)
        if row and not _is_sum(cells):
            rows.append(row)
        else:
            left_out.append(number)
    if not rows:
        raise Refused("No row names anybody; say which column holds the names.")
    return LaidOut(as_csv(rows), tuple(left_out))


def _is_sum(cells: Sequence[str]) -> bool:
    return next((cell for cell in cells if cell), "").casefold().rstrip(":").startswith(SUM_WORDS)


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


def as_day(text: str) -> date | None:
    """A date as people write it, the day before the month; None for anything else or what leaves a part out."""
    text = DOTTED.sub(r"\1/\2/\3", text.strip())
    if not re.search(r"\d", text) or len(text) > 40 or re.fullmatch(r"[\d\s]+", text):
        return None
    day_first = not re.match(r"\d{4}", text)
    try:
        found = {dates.parse(text, dayfirst=day_first, default=datetime(*start)).date() for start in STARTS}  # noqa: DTZ001
    except (ValueError, OverflowError):
        return None
    return found.pop() if len(found) == 1 else None


STARTS = ((2000, 1, 1), (2004, 2, 2))
"""A part that the text leaves out comes from these, and so differs."""


def as_amount_text(text: str) -> str:
    """An amount as the roll's file writes it, without sign of the currency; as it stands where it is none."""
    found = AMOUNT.fullmatch(text.replace(" ", ""))
    if not found:
        return text
    digits = found["digits"].replace(",", "")
    below = found["sign"] or found["open"]
    return f"-{digits}" if below and float(digits) else digits


def as_csv(rows: Sequence[Row], reasons: Mapping[int, str] | None = None) -> bytes:
    """Rows of the roll's own columns as a CSV in which each stands at its own line; with reasons one below another."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow([*ALL, "reason"] if reasons else ALL)
    line = 1
    for row in rows:
        while not reasons and (line := line + 1) < row.number:
            file.write("\n")
        cells = [row[name] for name in ALL]
        writer.writerow([*cells, reasons.get(row.number, "")] if reasons else cells)
    return file.getvalue().encode("utf-8-sig")
