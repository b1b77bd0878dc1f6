"""How a department wants its vouchers claimed: the columns of its template, and the files that went there and back."""

from django.db import models
from django.db.models import Q

from clubdesk.evidence import evidence_path
from clubdesk.fees.models.schemes import VoucherScheme
from clubdesk.fees.models.vouchers import Lodgement
from clubdesk.ledger.models import Document
from clubdesk.money import Cents


class Holds(models.TextChoices):
    """What a column of the department's template holds; of the last three, what its answer says."""

    GIVEN = "given", "Given name of the child"
    FAMILY = "family", "Family name of the child"
    NAME = "name", "Given and family name of the child"
    BORN = "born", "Date of birth of the child"
    KEY = "key", "Voucher code, or number of the child"
    FEE = "fee", "The fee"
    AMOUNT = "amount", "What is claimed"
    REFERENCE = "reference", "The club’s own reference of the voucher"
    CLAIM = "claim", "The number of the claim"
    ACTIVITY = "activity", "What the fee is for"
    STARTS = "starts", "Day on which that starts"
    ACCEPTED = "accepted", "Day on which the voucher was taken"
    ISSUED = "issued", "Day on which the voucher was issued"
    FIXED = "fixed", "The same text in each row"
    BLANK = "blank", "Nothing"
    PAID = "paid", "Answer: what was paid"
    DECISION = "decision", "Answer: whether it was paid"
    REASON = "reason", "Answer: why it was refused"


ANSWERS = (Holds.PAID, Holds.DECISION, Holds.REASON)


class DaysAs(models.TextChoices):
    """How a day is written; the value is what strftime makes of it."""

    ISO = "%Y-%m-%d", "2014-03-09"
    SLASHES = "%d/%m/%Y", "09/03/2014"
    DASHES = "%d-%m-%Y", "09-03-2014"
    DOTS = "%d.%m.%Y", "09.03.2014"
    WORDS = "%d %b %Y", "09 Mar 2014"
    DIGITS = "%Y%m%d", "20140309"


class ClaimColumn(models.Model):
    """A column of a department's own template, as the treasurer laid it out once."""

    scheme = models.ForeignKey(VoucherScheme, models.PROTECT, related_name="claim_columns")
    place = models.PositiveSmallIntegerField(help_text="1 for the first column from the left.")
    heading = models.CharField(max_length=80, help_text="As it stands in the template.")
    holds = models.CharField(max_length=9, choices=Holds.choices)
    text = models.CharField(max_length=80, blank=True, help_text="Where it is the same text in each row.")
    days_as = models.CharField("days written as", max_length=8, choices=DaysAs.choices, default=DaysAs.ISO)
    in_claim = models.BooleanField(
        "stands in the claim", default=True, help_text="No tick: it comes with the department’s answer alone."
    )

    class Meta:
        ordering = ["scheme", "place"]
        verbose_name = "column of the department’s template"
        verbose_name_plural = "columns of the department’s template"
        constraints = [
            models.UniqueConstraint(
                fields=["scheme", "place"],
                name="fees_claim_column_has_its_place",
                violation_error_message="Another column of the scheme has this place already.",
            ),
            models.UniqueConstraint(
                fields=["scheme", "heading"],
                name="fees_claim_column_heads_once",
                violation_error_message="Another column of the scheme has this heading already.",
            ),
            models.CheckConstraint(
                condition=Q(place__range=(1, 60)),
                name="fees_claim_column_within_a_sheet",
                violation_error_message="A column has a place from 1 to 60.",
            ),
            models.CheckConstraint(
                condition=Q(holds="fixed") & ~Q(text="") | ~Q(holds="fixed") & Q(text=""),
                name="fees_claim_column_says_its_text",
                violation_error_message="Write the text of a column that has the same in each row, and of no other.",
            ),
            models.CheckConstraint(
                condition=~Q(heading=""), name="fees_claim_column_has_a_heading",
                violation_error_message="Write the heading as it stands in the template.",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return self.heading


class FileKind(models.TextChoices):
    SENT = "sent", "Claim"
    ANSWER = "answer", "Answer"


class ClaimFile(Document):
    """A file of a voucher claim: as it was sent to the department, or as the department answered.

    It is retained until a number in it is erased; its digest, its rows and its sum stay.
    """

    lodgement = models.ForeignKey(Lodgement, models.PROTECT, related_name="files", verbose_name="voucher claim")
    kind = models.CharField(max_length=6, choices=FileKind.choices)
    number = models.PositiveSmallIntegerField()
    made_on = models.DateField("of the day")
    rows = models.PositiveIntegerField()
    amount = Cents("claimed or paid")
    told_digest = models.CharField(max_length=64, editable=False)
    """SHA-256 of what its cells say, whatever a workbook says besides."""
    file = models.FileField(upload_to=evidence_path, blank=True)
    file_type = models.CharField(max_length=80)
    file_digest = models.CharField(max_length=64)
    erased_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "file of a voucher claim"
        verbose_name_plural = "files of voucher claims"
        constraints = [
            models.UniqueConstraint(
                fields=["lodgement", "kind", "number"],
                name="fees_claim_file_numbered_once",
                violation_error_message="Another file of this claim has this number already.",
            ),
            models.UniqueConstraint(
                fields=["lodgement", "file_digest"],
                condition=Q(kind="answer"),
                name="fees_claim_answer_kept_once",
                violation_error_message="This answer was read already.",
            ),
            models.CheckConstraint(condition=Q(amount__gte=0), name="fees_claim_file_not_below_nil"),
            models.CheckConstraint(
                condition=Q(erased_on=None) & ~Q(file="") | Q(erased_on__isnull=False, file=""),
                name="fees_claim_file_is_there_or_erased",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.lodgement_id}-{self.number}"
