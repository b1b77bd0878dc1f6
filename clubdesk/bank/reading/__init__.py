"""Bank statements as files: OFX, ISO 20022 camt.053 and CSV, read into the same plain lines. Pure, no database."""

from clubdesk.bank.reading.camt import read_camt
from clubdesk.bank.reading.delimited import Mapping, propose, read_delimited
from clubdesk.bank.reading.lines import MOST_BYTES, ReadLine, ReadStatement
from clubdesk.bank.reading.ofx import read_ofx
from clubdesk.errors import Refused

__all__ = ["Form", "Mapping", "ReadLine", "ReadStatement", "form_of", "propose", "read"]


class Form:
    """What a file is, judged by its content."""

    OFX, CAMT, CSV = "ofx", "camt", "csv"


def form_of(content: bytes) -> str:
    """What the file is. Raises Refused for one that is empty, too large or no text."""
    if len(content) > MOST_BYTES:
        raise Refused(f"The file is larger than {MOST_BYTES // 1024 // 1024} MB; export fewer months at a time.")
    start = content[:4000].lstrip(b"\xef\xbb\xbf \t\r\n")
    if not start:
        raise Refused("The file is empty.")
    if start[:9].upper() == b"OFXHEADER" or b"<?OFX" in start or start[:5].upper() == b"<OFX>":
        return Form.OFX
    if start[:1] == b"<":
        return Form.CAMT
    if b"\0" in content or start[:4] in (b"%PDF", b"PK\x03\x04"):
        raise Refused("The file is no statement that can be read; export it as OFX, camt.053 or CSV.")
    return Form.CSV


def read(content: bytes, *, currency: str, mapping: Mapping | None = None) -> ReadStatement:
    """The lines of a statement, the oldest first, its balances checked.

    A CSV file is read by `mapping`, or by what it itself proposes. Raises Refused with a sentence a fault.
    """
    form = form_of(content)
    if form == Form.OFX:
        found = read_ofx(content, currency)
    elif form == Form.CAMT:
        found = read_camt(content, currency)
    else:
        found = read_delimited(content, mapping or propose(content))
    return found.checked()
