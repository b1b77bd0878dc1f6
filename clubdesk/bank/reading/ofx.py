"""OFX 1.x (SGML) and 2.x (XML). Source: OFX 1.0.2 and 2.x, sections on STMTTRN, LEDGERBAL and CURDEF."""

import io
from typing import Any
from xml.sax.saxutils import unescape

from clubdesk.bank.reading.lines import ReadLine, ReadStatement, as_day, as_decimal, words
from clubdesk.errors import Refused
from clubdesk.ledger.files import Faults

BROKEN = "The OFX file is broken or cut off; export it from the bank again."
SEVERAL = "The OFX file holds several accounts; export one account at a time."


def read_ofx(content: bytes, currency: str) -> ReadStatement:
    """The one statement of an OFX file. Raises Refused with a sentence a fault."""
    if not content.rstrip().upper().endswith(b"</OFX>"):
        raise Refused(BROKEN)
    from ofxtools.Parser import OFXTree  # a sixth of what each process would load, for a file now and then

    tree = OFXTree()
    try:
        tree.parse(io.BytesIO(content))
    except Exception:  # whatever a parser does with bytes from outside, the answer is the same
        raise Refused(BROKEN) from None
    root = tree.getroot()
    if root is None:
        raise Refused(BROKEN)
    statements = [each for name in ("STMTRS", "CCSTMTRS") for each in root.iter(name)]
    if len(statements) > 1:
        raise Refused(SEVERAL)
    if not statements:
        raise Refused("The OFX file holds no statement of an account.")
    statement = statements[0]
    if (found := _text(statement, "CURDEF")) != currency:
        raise Refused(f"The statement is in {found or 'no currency'}; this book is kept in {currency}.")
    faults = Faults()
    lines = [_line(number, each, faults) for number, each in enumerate(statement.iter("STMTTRN"), 1)]
    faults.refuse()
    balance = statement.find("LEDGERBAL/BALAMT")
    try:
        closing = None if balance is None else as_decimal(balance.text or "")
    except ValueError as fault:
        raise Refused(f"The closing balance: {fault}.") from None
    # The ledger balance is of the moment of export, which may be after the last line: it is kept, and not held against
    # the lines, since the file has no opening balance.
    return ReadStatement("ofx", tuple(line for line in lines if line), closing=closing)


def _line(number: int, each: Any, faults: Faults) -> ReadLine | None:
    try:
        posted = _text(each, "DTPOSTED")
        if not (len(posted) >= 8 and posted[:8].isascii() and posted[:8].isdigit()):
            raise ValueError(f"“{posted[:20]}” is not a date")
        day = as_day(posted[:8], int(posted[:4]), int(posted[4:6]), int(posted[6:8]))
        amount = as_decimal(_text(each, "TRNAMT"))
        if not amount:
            raise ValueError("the amount is 0.00")
    except ValueError as fault:
        faults.add(number, f"{fault}.")
        return None
    said = words(_text(each, "NAME"), _text(each, "PAYEE/NAME"), _text(each, "MEMO"), _text(each, "CHECKNUM"))
    return ReadLine(number, day, amount, said, bank_id=_text(each, "FITID")[:80])


def _text(each: Any, path: str) -> str:
    found = each.find(path)
    return unescape(found.text or "", {"&nbsp;": " "}).strip() if found is not None else ""
