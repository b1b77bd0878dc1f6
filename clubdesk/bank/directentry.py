"""The Direct Entry credit file: pure, no database.

Source: the industry's fixed format for batch payments, as Australian banks publish it. Records of 120 characters ended
by CR LF: one of type 0, one of type 1 a payment, one of type 7 with the totals. What a bank asks for beyond that (the
user id, a balancing debit) it tells the club.
"""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from clubdesk.errors import Refused

LENGTH = 120
CREDIT, DEBIT = "50", "13"
ALLOWED = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789 ()&',-./+$!%*#=:?[]_^@")
MOST_CENTS = 9_999_999_999
BSB = re.compile(r"[0-9]{3}-[0-9]{3}")
ACCOUNT = re.compile(r"[0-9]{2,9}")
NO_BANKS = ("000-000", "999-999")
"""No bank has the first; the second marks the last record of a file."""

# Letters that do not come apart into a plain letter and a mark. From memory.
SPELT = str.maketrans(
    {"ß": "ss", "ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "đ": "d", "Đ": "D", "ð": "d", "Ð": "D", "þ": "th", "Þ": "Th",
     "æ": "ae", "Æ": "Ae", "œ": "oe", "Œ": "Oe", "ı": "i", "’": "'", "‘": "'", "–": "-", "—": "-"}
)  # fmt: skip


@dataclass(frozen=True)
class Sender:
    """The club as its bank knows it: its own account, the bank's three letters, the user name and six-digit id.

    `balanced` where the bank wants a last debit of the club's own account that brings the file to nil.
    """

    bsb: str
    account: str
    bank: str
    user_name: str
    user_id: str
    remitter: str
    balanced: bool = False


@dataclass(frozen=True)
class Payment:
    """What one account gets, in cents."""

    bsb: str
    account: str
    title: str
    reference: str
    cents: int


def in_file(text: str, longest: int) -> str:
    """The text in the letters that the file allows, accents taken off, cut to what the field holds."""
    apart = unicodedata.normalize("NFKD", text.translate(SPELT))
    plain = "".join(letter for letter in apart if not unicodedata.combining(letter))
    allowed = "".join(letter if letter in ALLOWED else " " for letter in plain)
    return " ".join(allowed.split())[:longest].rstrip()


def no_such_account(bsb: str, account: str) -> str:
    """Why money cannot go to this BSB and number, though both are of the right form; blank where it can."""
    if bsb in NO_BANKS:
        return f"No bank has the BSB {bsb}; ask for the right one."
    if account and not account.strip("0"):
        return "An account number is never all zeros; ask for the right one."
    return ""


def write(sender: Sender, payments: Sequence[Payment], *, description: str, on: date) -> bytes:
    """The whole file. Raises Refused for what a bank would not take, naming the payee."""
    if not payments:
        raise Refused("There is nothing to pay in this file.")
    for payment in payments:
        _refuse_unpayable(payment)
    if no_account := no_such_account(sender.bsb, sender.account):
        raise Refused(f"The club’s own account: {no_account}")
    cents = sum(payment.cents for payment in payments)
    if cents > MOST_CENTS:
        raise Refused("The payments come to more than one file can hold; make several runs.")
    debited = cents if sender.balanced else 0
    records = [_first(sender, description, on), *(_detail(sender, payment, CREDIT) for payment in payments)]
    if sender.balanced:
        own = Payment(sender.bsb, sender.account, sender.user_name, description, cents)
        records.append(_detail(sender, own, DEBIT))
    records.append(_last(cents, debited, len(records) - 1))
    content = "".join(f"{record}\r\n" for record in records).encode("ascii")
    if found := faults(content):
        raise Refused(f"The file would not be taken by a bank: {found[0]}")
    return content


def _refuse_unpayable(payment: Payment) -> None:
    who = payment.title or "A payee"
    if not in_file(payment.title, 32):
        raise Refused(f"{who}: the account name has no letter that a payment file allows.")
    if not BSB.fullmatch(payment.bsb) or not ACCOUNT.fullmatch(payment.account):
        raise Refused(f"{who}: a BSB is six digits like 123-456, an account number two to nine digits.")
    if no_account := no_such_account(payment.bsb, payment.account):
        raise Refused(f"{who}: {no_account}")
    if not 0 < payment.cents <= MOST_CENTS:
        raise Refused(f"{who}: an amount in a file is above 0.00 and below a hundred million.")


def _first(sender: Sender, description: str, on: date) -> str:
    return (
        f"0{'':17}01{in_file(sender.bank, 3):3}{'':7}{in_file(sender.user_name, 26):26}{sender.user_id:0>6}"
        f"{in_file(description, 12):12}{on:%d%m%y}{'':40}"
    )


def _detail(sender: Sender, payment: Payment, code: str) -> str:
    return (
        f"1{payment.bsb}{payment.account:>9} {code}{payment.cents:010}{in_file(payment.title, 32):32}"
        f"{in_file(payment.reference, 18):18}{sender.bsb}{sender.account:>9}{in_file(sender.remitter, 16):16}{0:08}"
    )


def _last(credited: int, debited: int, count: int) -> str:
    return f"7999-999{'':12}{credited - debited:010}{credited:010}{debited:010}{'':24}{count:06}{'':40}"


# Each position of each record: first, last (from 1), name, and the form that stands there.
BLANK, DIGITS, DATE = " *", "[0-9]+", "(0[1-9]|[12][0-9]|3[01])(0[1-9]|1[0-2])[0-9]{2}"
FORMS: dict[str, tuple[tuple[int, int, str, str], ...]] = {
    "0": (
        (1, 1, "type", "0"), (2, 18, "blank", BLANK), (19, 20, "reel", "01"), (21, 23, "bank", "[A-Z]{3}"),
        (24, 30, "blank", BLANK), (31, 56, "user name", r"\S.*"), (57, 62, "user id", DIGITS),
        (63, 74, "description", r"\S.*"), (75, 80, "date", DATE), (81, 120, "blank", BLANK),
    ),
    "1": (
        (1, 1, "type", "1"), (2, 8, "BSB", BSB.pattern), (9, 17, "account", " *[0-9]{2,9}"), (18, 18, "indicator", " "),
        (19, 20, "code", f"{CREDIT}|53|{DEBIT}"), (21, 30, "cents", DIGITS), (31, 62, "account title", r"\S.*"),
        (63, 80, "reference", r"\S.*"), (81, 87, "trace BSB", BSB.pattern), (88, 96, "trace account", " *[0-9]{2,9}"),
        (97, 112, "remitter", r"\S.*"), (113, 120, "withholding tax", "0+"),
    ),
    "7": (
        (1, 1, "type", "7"), (2, 8, "BSB", "999-999"), (9, 20, "blank", BLANK), (21, 30, "net total", DIGITS),
        (31, 40, "credit total", DIGITS), (41, 50, "debit total", DIGITS), (51, 74, "blank", BLANK),
        (75, 80, "count", DIGITS), (81, 120, "blank", BLANK),
    ),
}  # fmt: skip


def faults(content: bytes) -> list[str]:
    """What is wrong with a file, each with its line and positions; empty where nothing is."""
    try:
        text = content.decode("ascii")
    except UnicodeDecodeError as error:
        return [f"byte {error.start + 1} is no plain letter."]
    if not text.endswith("\r\n"):
        return ["the last record is not ended by CR LF."]
    records = text.removesuffix("\r\n").split("\r\n")
    found = [fault for number, record in enumerate(records, 1) for fault in _faults_of(number, record)]
    kinds = "".join(record[:1] for record in records)
    if not re.fullmatch("01+7", kinds):
        found.append("the records are not one of type 0, then type 1, then one of type 7.")
    return found or _faults_of_totals(records)


def _faults_of(number: int, record: str) -> list[str]:
    where = f"line {number}"
    if len(record) != LENGTH:
        return [f"{where} has {len(record)} characters in place of {LENGTH}."]
    if record[0] not in FORMS:
        return [f"{where} is of no known type."]
    if strange := sorted(set(record) - ALLOWED):
        return [f"{where} holds “{strange[0]}”, which is not allowed."]
    return [
        f"{where}, {first} to {last}: “{record[first - 1 : last]}” is no {name}."
        for first, last, name, form in FORMS[record[0]]
        if not re.fullmatch(form, record[first - 1 : last])
    ]


def _faults_of_totals(records: Sequence[str]) -> list[str]:
    details, last = records[1:-1], records[-1]
    credited = sum(int(record[20:30]) for record in details if record[18:20] != DEBIT)
    debited = sum(int(record[20:30]) for record in details if record[18:20] == DEBIT)
    stated = (int(last[20:30]), int(last[30:40]), int(last[40:50]), int(last[74:80]))
    if stated != (abs(credited - debited), credited, debited, len(details)):
        return ["the totals of the last record are not those of the payments."]
    return []
