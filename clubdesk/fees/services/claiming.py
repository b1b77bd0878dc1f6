"""Files of voucher claims as they were sent to the department; and how a file of a claim is kept."""

import hashlib
import uuid
from collections.abc import Iterable
from datetime import date

from django.contrib.auth.models import User
from django.core.files.base import ContentFile
from django.db.models import Max
from djmoney.money import Money

from clubdesk.errors import Refused
from clubdesk.fees import claimfile, selectors
from clubdesk.fees.models import ClaimFile, FileKind, Lodgement, Voucher
from clubdesk.ledger import services as ledger
from clubdesk.money import total
from clubdesk.verbs import part, verb


@verb(permission="fees.add_lodgement", title="Make the department’s file")
def make_claim_file(*, lodgement: Lodgement, on: date, by: User, key: uuid.UUID | None = None) -> ClaimFile:
    """The claim as the department's own template has it, kept under a number of its own.

    Where it would say what the last one says, that is given. Raises Refused where the template is not laid out, and
    once a number of a child in the claim was erased.
    """
    document = locked(lodgement)
    if found := ledger.written(ClaimFile, key):
        return found
    if not document.scheme.claim_columns.filter(in_claim=True).exists():
        raise Refused(f"Lay out the columns of the department’s template on the page of {document.scheme} first.")
    if document.part_of_id:
        raise Refused(
            f"{document} was paid by itself; the file is that of the whole claim, number {document.part_of_id}."
        )
    return write_claim_file(lodgement=document, on=on, by=by, key=key)


@part
def write_claim_file(*, lodgement: Lodgement, on: date, by: User, key: uuid.UUID | None = None) -> ClaimFile:
    """The same of a claim that is locked and whose scheme has a template."""
    columns = list(lodgement.scheme.claim_columns.all())
    rows = selectors.vouchers_of(lodgement).select_related("person", "charge__price__item", "lodgement")
    vouchers = list(rows)
    if not vouchers:
        raise Refused(f"No voucher is left in {lodgement}; there is nothing to send.")
    if any(voucher.code_erased_on for voucher in vouchers):
        raise Refused(f"A number in {lodgement} was erased since it was answered; its file cannot be made again.")
    cells = claimfile.cells_of(columns, vouchers)
    told = claimfile.told_digest(columns, cells)
    last = lodgement.files.filter(kind=FileKind.SENT).order_by("-number").first()
    if last and last.told_digest == told and not last.erased_on:
        return last
    content, content_type = claimfile.written(lodgement.scheme.claims_as, columns, cells)
    claimed = total(voucher.claimed for voucher in vouchers)
    return stored(lodgement, FileKind.SENT, content, content_type, told, len(vouchers), claimed, on, by, key)


def claims_of(vouchers: Iterable[Voucher]) -> set[int]:
    """The numbers of the claims that they were sent with, and of the whole ones where a part was paid by itself."""
    claims = [each.lodgement for each in vouchers if each.lodgement]
    return {each.pk for each in claims} | {each.part_of_id for each in claims if each.part_of_id}


def forget_files(lodgements: Iterable[int], on: date) -> int:
    """Take away the files of claims in which something was erased; that they were made stays. How many went."""
    rows = ClaimFile.objects.select_for_update(of=("self",), no_key=True).filter(lodgement__in=set(lodgements))
    gone = list(rows.filter(erased_on=None).order_by("pk"))
    for document in gone:
        document.file.delete(save=False)
        document.file, document.erased_on = "", on
        document.save(update_fields=["file", "erased_on"])
    return len(gone)


def locked(lodgement: Lodgement) -> Lodgement:
    """The claim's own row, locked and read anew."""
    rows = Lodgement.objects.select_for_update(of=("self",), no_key=True).select_related("scheme__department")
    return rows.get(pk=lodgement.pk)


def stored(
    lodgement: Lodgement, kind: FileKind, content: bytes, content_type: str, told: str, rows: int, amount: Money,
    on: date, by: User, key: uuid.UUID | None,
) -> ClaimFile:  # fmt: skip
    """Keep a file of a claim under its next number."""
    before = lodgement.files.filter(kind=kind).aggregate(last=Max("number"))["last"] or 0
    document = ClaimFile(
        key=key or uuid.uuid4(), lodgement=lodgement, kind=kind, number=before + 1, made_on=on, rows=rows,
        amount=amount, told_digest=told, file_type=content_type, file_digest=hashlib.sha256(content).hexdigest(),
        recorded_by=by,
    )  # fmt: skip
    document.file.save("claim", ContentFile(content), save=False)
    document.save()
    return document
