"""The ledger's nouns: book, accounts, funds, parties, years, entries, postings, stored month balances."""

import uuid
from datetime import date

from django.conf import settings
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q
from djmoney.money import Money

from clubdesk.clock import long_day
from clubdesk.evidence import evidence_path
from clubdesk.ledger.states import UNLOCK
from clubdesk.money import Cents, nil, shown


class Kind(models.TextChoices):
    ASSET = "asset", "Asset"
    LIABILITY = "liability", "Liability"
    EQUITY = "equity", "Equity"
    INCOME = "income", "Income"
    EXPENSE = "expense", "Expense"


YEARLY_KINDS = (Kind.INCOME, Kind.EXPENSE)
DEBIT_KINDS = (Kind.ASSET, Kind.EXPENSE)


class Role(models.TextChoices):
    """How code finds an account, so that a club can renumber and rename its chart freely."""

    BANK = "bank", "Bank"
    TILL = "till", "Till"
    CARD_TAKINGS = "card_takings", "Card takings"
    FEES_OWED = "fees_owed", "Fees owed"
    VOUCHERS_OWED = "vouchers_owed", "Vouchers owed"
    ALLOWANCE = "allowance", "Allowance for fees not expected"
    PREPAYMENTS = "prepayments", "Prepayments"
    STOCK = "stock", "Stock of course materials"
    SUSPENSE = "suspense", "Not explained yet"
    GST = "gst", "GST owed"
    GST_COLLECTED = "gst_collected", "GST collected"
    GST_PAID = "gst_paid", "GST paid"
    EQUIPMENT = "equipment", "Equipment at cost"
    DEPRECIATED = "depreciated", "Accumulated depreciation"
    FEES_IN_ADVANCE = "fees_in_advance", "Fees in advance"
    AFFILIATION_PAYABLE = "affiliation_payable", "Affiliation payable"
    REFUNDS_PAYABLE = "refunds_payable", "Refunds payable"
    OTHER_PAYABLES = "other_payables", "Other payables"
    ACCUMULATED = "accumulated", "Accumulated funds"
    MEMBERSHIPS = "memberships", "Memberships"
    COURSES = "courses", "Beginner courses"
    HIRE = "hire", "Equipment hire"
    VISITORS = "visitors", "Visitor fees"
    CONTAINERS = "containers", "Container refunds"
    DONATIONS = "donations", "Donations and fundraising"
    INTEREST = "interest", "Bank interest"
    GRANTS = "grants", "Grants"
    ENTRY_REFUNDS = "entry_refunds", "Entry-fee refunds"
    BANK_FEES = "bank_fees", "Bank and card fees"
    CASH_OVER_SHORT = "cash_over_short", "Cash over and short"
    CASH_ROUNDING = "cash_rounding", "Cash rounding"
    WRITTEN_OFF = "written_off", "Fees written off"
    DEPRECIATION = "depreciation", "Depreciation"
    DISPOSALS = "disposals", "Loss or gain on equipment"
    TRANSFERS = "transfers", "Transfers between funds"


TAX_ROLES = (Role.GST, Role.GST_COLLECTED, Role.GST_PAID)
"""The accounts that a chart has only where the club is registered."""


class TaxBasis(models.TextChoices):
    """In which return the GST of a supply falls: by its invoice or first payment, or as it is paid.

    Source: A New Tax System (Goods and Services Tax) Act 1999 (Cth), s 29-5 (supplies) and s 29-10 (purchases).
    """

    ACCRUALS = "accruals", "By the day something is charged or bought (accruals)"
    CASH = "cash", "By the day money comes in or goes out (cash)"


class TaxCode(models.TextChoices):
    """What GST there is in a price or a bill; only where the club is registered."""

    NONE = "none", "Nothing to do with GST"
    TAXABLE = "taxable", "GST is in the amount"
    FREE = "free", "GST-free"


class FundRole(models.TextChoices):
    """The two funds that code knows, by their codes."""

    GENERAL = "general", "General fund"
    ENTRY = "entry", "Entry fund"


GENESIS = "0" * 64


class Book(models.Model):
    """The one row that says whose book this is; locking it puts posting in a queue.

    Its head, the number and digest of the last sealed entry, is kept by the database.
    """

    club_name = models.CharField("club", max_length=120)
    currency = models.CharField(max_length=3)
    is_demo = models.BooleanField("demo", default=False, editable=False)
    gst_from = models.DateField("registered for GST from", null=True, blank=True, editable=False)
    gst_basis = models.CharField(
        "basis of its GST returns", max_length=8, choices=TaxBasis.choices, default=TaxBasis.ACCRUALS, editable=False
    )
    last_number = models.PositiveIntegerField(default=0, editable=False)
    last_digest = models.CharField(max_length=64, default=GENESIS, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="ledger_book_is_one_row"),
            models.CheckConstraint(
                condition=Q(gst_basis__in=[basis.value for basis in TaxBasis]), name="ledger_book_gst_basis"
            ),
        ]

    def __str__(self) -> str:
        return self.club_name

    def is_registered_on(self, day: date) -> bool:
        """Whether the club is registered for GST on that day."""
        return self.gst_from is not None and self.gst_from <= day


class Account(models.Model):
    code = models.CharField(
        max_length=4, unique=True, validators=[RegexValidator(r"^\d{4}$", "An account code is four digits.")]
    )
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    role = models.CharField(
        max_length=30,
        choices=Role.choices,
        unique=True,
        null=True,
        blank=True,
        help_text="What Fletchbook itself uses this account for; leave blank for one of the club's own.",
    )
    needs_party = models.BooleanField(
        "names who owes", default=False, help_text="Each line must say who owes or is owed."
    )
    is_money = models.BooleanField("is money", default=False, help_text="Bank, till or card takings.")
    tax_code = models.CharField(
        "GST", max_length=7, choices=TaxCode.choices, default=TaxCode.NONE,
        help_text="Whether what is earned or bought on it has GST in it.",
    )  # fmt: skip

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=[kind.value for kind in Kind]), name="ledger_account_kind"),
            models.CheckConstraint(condition=Q(is_money=False) | Q(kind="asset"), name="ledger_account_money_is_asset"),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class Fund(models.Model):
    """Money kept apart for a purpose. `balance` is its assets less its liabilities, kept by the database."""

    code = models.SlugField(max_length=20, primary_key=True)
    name = models.CharField(max_length=60, unique=True)
    restricted = models.BooleanField(default=False, help_text="May only be spent on its purpose and never overdrawn.")
    balance = Cents(default=nil, editable=False)

    class Meta:
        ordering = ["restricted", "code"]
        constraints = [
            models.CheckConstraint(condition=Q(restricted=False) | Q(balance__gte=0), name="ledger_fund_not_overdrawn")
        ]

    def __str__(self) -> str:
        return self.name


class PartyKind(models.TextChoices):
    HOUSEHOLD = "household", "Household"
    DEPARTMENT = "department", "Government department"
    ASSOCIATION = "association", "Association"
    SUPPLIER = "supplier", "Supplier"


class Party(models.Model):
    """Whoever owes the club or is owed by it."""

    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=12, choices=PartyKind.choices)

    class Meta:
        ordering = ["name", "pk"]
        verbose_name_plural = "parties"

    def __str__(self) -> str:
        return self.name


class FinancialYear(models.Model):
    first_day = models.DateField(unique=True)
    last_day = models.DateField(unique=True)
    locked_through = models.DateField(null=True, blank=True, editable=False)
    closed_at = models.DateTimeField("closed", null=True, blank=True, editable=False)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, editable=False, related_name="+"
    )

    class Meta:
        ordering = ["-first_day"]
        constraints = [
            models.CheckConstraint(condition=Q(last_day__gt=F("first_day")), name="ledger_year_order"),
            models.CheckConstraint(
                condition=Q(closed_at=None) | Q(locked_through=F("last_day")), name="ledger_closed_is_locked"
            ),
        ]
        permissions = [
            ("lock_month", "Can lock a month"),
            ("close_year", "Can close a financial year"),
            ("export_year", "Can export the treasurer's workbook"),
        ]

    def __str__(self) -> str:
        return f"Year to {long_day(self.last_day)}"

    @property
    def is_closed(self) -> bool:
        return self.closed_at is not None


class JournalEntry(models.Model):
    """One balanced entry. Written once, sealed, and never changed; a mistake is put right by its reversal."""

    number = models.PositiveIntegerField(unique=True)
    date = models.DateField()
    year = models.ForeignKey(
        FinancialYear, models.PROTECT, null=True, blank=True, related_name="entries",
        help_text="None for what was there before the first year.",
    )  # fmt: skip
    narration = models.CharField(max_length=300)
    source_type = models.CharField(max_length=60)
    source_id = models.PositiveBigIntegerField()
    purpose = models.CharField(max_length=40)
    reverses = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="reversed_by")
    is_closing = models.BooleanField("closing entry", default=False)
    posted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    posted_at = models.DateTimeField()
    previous_digest = models.CharField(max_length=64)
    digest = models.CharField(max_length=64)
    sealed = models.BooleanField(default=False)

    class Meta:
        ordering = ["-number"]
        verbose_name_plural = "journal entries"
        constraints = [
            models.UniqueConstraint(
                fields=["source_type", "source_id", "purpose"],
                name="ledger_entry_posts_once",
                violation_error_message="This was posted already.",
            ),
            models.CheckConstraint(condition=Q(number__gte=1), name="ledger_entry_number_from_one"),
        ]
        indexes = [models.Index(fields=["date"])]

    def __str__(self) -> str:
        return f"Entry {self.number}"


class Posting(models.Model):
    """A line of an entry: debit positive, credit negative."""

    entry = models.ForeignKey(JournalEntry, models.PROTECT, related_name="postings")
    account = models.ForeignKey(Account, models.PROTECT, related_name="postings")
    fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    party = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="postings")
    amount = Cents()

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=~Q(amount=0), name="ledger_posting_not_nil")]

    def __str__(self) -> str:
        return f"{self.account} {shown(self.amount)}"

    @property
    def debit(self) -> Money:
        debit: Money = max(self.amount, nil())
        return debit

    @property
    def credit(self) -> Money:
        credit: Money = max(-self.amount, nil())
        return credit


class MonthBalance(models.Model):
    """What an account, fund and party stood at when a locked month ended, so that no report reads old postings.

    `balance` is cumulative from the first entry and leaves closing entries out; `closing` is the cumulative
    effect of the closing entries alone. Debit positive.
    """

    month_end = models.DateField()
    account = models.ForeignKey(Account, models.PROTECT, related_name="+")
    fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    party = models.ForeignKey(Party, models.PROTECT, null=True, related_name="+")
    balance = Cents(default=nil)
    closing = Cents(default=nil)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["month_end", "account", "fund", "party"],
                name="ledger_month_balance_of_party_once",
                violation_error_message="What that month stood at is stored already.",
            ),
            models.UniqueConstraint(
                fields=["month_end", "account", "fund"],
                condition=Q(party=None),
                name="ledger_month_balance_once",
                violation_error_message="What that month stood at is stored already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.month_end} {self.account_id}"


class Document(models.Model):
    """Something that happened, written down once by somebody. `key` makes writing it twice impossible."""

    key = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, editable=False, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    may_be_reversed = False
    """Whether its entry may stand reversed without the document itself saying so."""
    entries_follow_from: tuple[str, ...] | None = None
    """The columns that `entries_called_for` reads, where there are so many documents that no other should be read."""

    class Meta:
        abstract = True

    @property
    def entries_called_for(self) -> set[str]:
        """The purposes of the journal entries that this document's present state calls for."""
        return set()

    @property
    def why_undone(self) -> str:
        """Why its entries were reversed, as far as the document keeps a reason; the sealed entries hold none."""
        return str(getattr(self, "cancel_reason", ""))


class MonthLock(Document):
    """That months were locked, through `month_end`. Where they were not proven then, `lacking` says what of them was
    missing, a line each, and `reason` why they were locked all the same.
    """

    year = models.ForeignKey(FinancialYear, models.PROTECT, related_name="locks")
    month_end = models.DateField("locked through")
    locked_on = models.DateField()
    lacking = models.TextField("not proven", blank=True)
    reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "lock of months"
        verbose_name_plural = "locks of months"
        constraints = [
            models.CheckConstraint(condition=Q(lacking="") | ~Q(reason=""), name="ledger_unproven_lock_has_a_reason")
        ]

    def __str__(self) -> str:
        return f"Locked through {self.month_end:%B %Y}"


class UnlockState(models.TextChoices):
    ASKED = "asked", "Asked for"
    AGREED = "agreed", "Unlocked"
    DECLINED = "declined", "Declined"


class MonthUnlock(Document):
    """That a month which was locked by mistake is to be opened again, with every later one: one asks, another agrees.

    `stays_locked_through` is what remains locked then, none where nothing does; `done` the database notes itself.
    """

    year = models.ForeignKey(FinancialYear, models.PROTECT, related_name="unlocks")
    month_end = models.DateField("from the month to")
    stays_locked_through = models.DateField(null=True, blank=True)
    reason = models.CharField(max_length=150)
    asked_on = models.DateField()
    state = models.CharField(max_length=8, choices=UnlockState.choices, default=UnlockState.ASKED)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    decided_on = models.DateField(null=True, blank=True)
    answer = models.CharField("why declined", max_length=150, blank=True)
    done = models.BooleanField(default=False, editable=False)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "month to be unlocked"
        verbose_name_plural = "months to be unlocked"
        permissions = [("agree_monthunlock", "Can agree that a month is unlocked")]
        constraints = [
            UNLOCK.constraint("ledger_unlock_state_is_one"),
            models.CheckConstraint(condition=~Q(reason=""), name="ledger_unlock_has_a_reason"),
            models.CheckConstraint(
                condition=~Q(state="agreed")
                | Q(decided_by__isnull=False, decided_on__isnull=False) & ~Q(decided_by=F("recorded_by")),
                name="ledger_unlock_is_agreed_to_by_another",
            ),
            models.CheckConstraint(
                condition=~Q(state="declined") | ~Q(answer="") & Q(decided_by__isnull=False, decided_on__isnull=False),
                name="ledger_unlock_declined_with_a_reason",
            ),
            models.CheckConstraint(
                condition=Q(stays_locked_through=None) | Q(stays_locked_through__lt=F("month_end")),
                name="ledger_unlock_leaves_earlier_months",
            ),
            models.UniqueConstraint(
                fields=["year"],
                condition=Q(state="asked"),
                name="ledger_one_unlock_waits",
                violation_error_message="Somebody has asked to unlock a month of this year already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.month_end:%B %Y} to be unlocked"


class JournalOrigin(models.TextChoices):
    HAND = "hand", "By hand"
    FILE = "file", "From a file"
    OPENING = "opening", "Opening trial balance"
    ACCRUAL = "accrual", "Accrual"
    PREPAYMENT = "prepayment", "Prepayment"
    STOCK = "stock", "Stock counted"
    PROVISION = "provision", "Fees not expected"
    DEPRECIATION = "depreciation", "Depreciation"
    DISPOSAL = "disposal", "Equipment disposed of"
    GST = "gst", "GST of a period"
    CORRECTION = "correction", "Correction of an earlier year"


class Journal(Document):
    """A manual journal: what the treasurer writes by hand or imports from a file.

    On `reverse_on` it is undone by itself. `undone_reason` says why it was reversed, and can be erased.
    """

    date = models.DateField()
    narration = models.CharField(max_length=300)
    origin = models.CharField(max_length=12, choices=JournalOrigin.choices, default=JournalOrigin.HAND)
    reference = models.CharField(max_length=60, blank=True)
    reverse_on = models.DateField("undone by itself on", null=True, blank=True)
    receipt = models.FileField("document", upload_to=evidence_path, blank=True)
    receipt_type = models.CharField(max_length=20, blank=True)
    receipt_digest = models.CharField(max_length=64, blank=True)
    file_digest = models.CharField(max_length=64, blank=True, editable=False)
    corrects_year = models.ForeignKey(
        FinancialYear, models.PROTECT, null=True, blank=True, editable=False, related_name="+",
        verbose_name="corrects",
    )  # fmt: skip
    undone_reason = models.CharField("why undone", max_length=150, blank=True, editable=False)

    may_be_reversed = True

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["file_digest", "reference"],
                condition=Q(origin="file"),
                name="ledger_journal_file_read_once",
                violation_error_message="This entry of the file was brought in already.",
            ),
            models.CheckConstraint(
                condition=Q(reverse_on=None) | Q(reverse_on__gt=F("date")), name="ledger_journal_reversed_later"
            ),
            models.CheckConstraint(
                condition=Q(origin="correction", corrects_year__isnull=False)
                | (~Q(origin="correction") & Q(corrects_year=None)),
                name="ledger_journal_corrects_a_year",
            ),
        ]

    def __str__(self) -> str:
        return self.narration

    @property
    def entries_called_for(self) -> set[str]:
        return {"journal"}

    @property
    def why_undone(self) -> str:
        return self.undone_reason
