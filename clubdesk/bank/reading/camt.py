"""ISO 20022 camt.053, any version: booked entries and the balances before and after them."""

import re
from decimal import Decimal
from typing import Any

from defusedxml.ElementTree import fromstring

from clubdesk.bank.reading.lines import ReadLine, ReadStatement, as_day, as_decimal, words
from clubdesk.errors import Refused
from clubdesk.ledger.files import Faults

BROKEN = "The XML file is broken, cut off or not allowed; export the statement from the bank again."
NAMESPACE = re.compile(r"\{urn:iso:std:iso:20022:tech:xsd:camt\.053\.\d{3}\.\d{2}\}Document")


def read_camt(content: bytes, currency: str) -> ReadStatement:
    """The one statement of a camt.053 file. Raises Refused with a sentence a fault."""
    try:
        root = fromstring(content, forbid_dtd=True)
    except Exception:  # whatever a parser does with bytes from outside, the answer is the same
        raise Refused(BROKEN) from None
    if not NAMESPACE.fullmatch(root.tag):
        raise Refused("The XML file is no camt.053 statement.")
    for each in root.iter():
        each.tag = each.tag.rpartition("}")[2]
    statements = root.findall("BkToCstmrStmt/Stmt")
    if len(statements) != 1:
        raise Refused("The camt.053 file must hold one statement; export one account and period at a time.")
    statement, faults = statements[0], Faults()
    account = statement.findtext("Acct/Ccy")
    own = {each.get("Ccy") for each in (*statement.findall("Ntry/Amt"), *statement.findall("Bal/Amt"))}
    for found in sorted((own | ({account} if account else set())) - {currency}, key=str):
        raise Refused(f"The statement is in {found or 'no currency'}; this book is kept in {currency}.")
    booked = [each for each in statement.findall("Ntry") if _status(each) == "BOOK"]
    lines = [_line(number, each, faults) for number, each in enumerate(booked, 1)]
    faults.refuse()
    return ReadStatement(
        "camt",
        tuple(line for line in lines if line),
        opening=_balance(statement, "OPBD", "PRCD"),
        closing=_balance(statement, "CLBD"),
    )


def _status(entry: Any) -> str:
    return (entry.findtext("Sts/Cd") or entry.findtext("Sts") or "").strip()


def _signed(each: Any) -> Decimal:
    """The amount of an entry or balance: CRDT is money in, DBIT money out."""
    amount, way = as_decimal(each.findtext("Amt") or ""), each.findtext("CdtDbtInd")
    if way not in ("CRDT", "DBIT"):
        raise ValueError("whether it came in or went out is not said")
    return amount if way == "CRDT" else -amount


def _balance(statement: Any, *codes: str) -> Decimal | None:
    for code in codes:
        for each in statement.findall("Bal"):
            if each.findtext("Tp/CdOrPrtry/Cd") == code:
                try:
                    return _signed(each)
                except ValueError as fault:
                    raise Refused(f"The balance {code}: {fault}.") from None
    return None


def _line(number: int, entry: Any, faults: Faults) -> ReadLine | None:
    try:
        said = (entry.findtext("BookgDt/Dt") or entry.findtext("BookgDt/DtTm") or "").strip()[:10]
        if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", said):
            raise ValueError(f"“{said}” is not a date")
        day = as_day(said, int(said[:4]), int(said[5:7]), int(said[8:]))
        amount = _signed(entry)
        if not amount:
            raise ValueError("the amount is 0.00")
    except ValueError as fault:
        faults.add(number, f"{fault}.")
        return None
    details = entry.findall("NtryDtls/TxDtls")
    parties = [
        each.findtext(path)
        for each in details
        for path in ("RltdPties/Dbtr/Nm", "RltdPties/Dbtr/Pty/Nm", "RltdPties/Cdtr/Nm", "RltdPties/Cdtr/Pty/Nm")
        if (amount > 0) == ("Dbtr" in path)
    ]
    remitted = [part.text for each in details for part in each.findall("RmtInf/Ustrd")]
    references = [each.findtext("Refs/EndToEndId") for each in details]
    text = words(*parties, *remitted, *(r for r in references if r != "NOTPROVIDED"), entry.findtext("AddtlNtryInf"))
    bank_id = entry.findtext("AcctSvcrRef") or next(
        (found for each in details if (found := each.findtext("Refs/AcctSvcrRef"))), ""
    )
    return ReadLine(number, day, amount, text, bank_id=(bank_id or "").strip()[:80])
