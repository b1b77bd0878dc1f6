"""A department's answer to a voucher claim, taken from the file in which it came."""

import hashlib
import uuid
from datetime import date

from django.contrib.auth.models import User

from clubdesk.errors import Refused
from clubdesk.fees.answerfile import read_answer
from clubdesk.fees.models import ClaimFile, FileKind, Lodgement
from clubdesk.fees.services.claiming import locked, stored
from clubdesk.fees.services.vouchers import answer_lodgement
from clubdesk.handing import CSV, XLSX
from clubdesk.verbs import verb


@verb(permission="fees.change_lodgement", title="Read the department’s answer from a file")
def take_answer(
    *, lodgement: Lodgement, content: bytes, on: date, by: User, only_good: bool = False, key: uuid.UUID | None = None
) -> ClaimFile:
    """Record what a file of the department answers, and keep the file. What the book has already stays as it is.

    Raises Refused for rows that cannot be taken, unless `only_good` are wanted, and where nothing in it is new.
    """
    document = locked(lodgement)
    digest = hashlib.sha256(content).hexdigest()
    kept = document.files.filter(kind=FileKind.ANSWER, file_digest=digest).first()
    answer = read_answer(document, content)
    if answer.faulty and not only_good:
        raise Refused([f"row {row.number}: {row.fault}" for row in answer.faulty])
    if not answer.new:
        if kept:
            return kept
        raise Refused("Nothing in this file is new: the book has each answer in it already.")
    answer_lodgement(lodgement=document, paid=answer.paid, refused=answer.refused, on=on, by=by)
    if kept:
        return kept
    kind = XLSX if content[:2] == b"PK" else CSV
    return stored(document, FileKind.ANSWER, content, kind, digest, len(answer.rows), answer.in_all, on, by, key)
