"""The book itself, its chart of accounts, its funds, and whoever owes or is owed."""

from datetime import date

from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Q

from clubdesk.money import Cents, nil


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
    TILL = "till", "Cash box"
    CARD_TAKINGS = "card_takings", "Card takings"
    FEES_OWED = "fees_owed", "Fees owed"
    VOUCHERS_OWED = "vouchers_owed", "Vouchers owed"
    ALLOWANCE = "allowance", "Allowance for fees not expected"
    PREPAYMENTS = "prepayments", "Prepayments"
    STOCK = "stock", "Stock of course materials"
    SUSPENSE = "suspense", "Not matched yet"
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
    HIRE = "hire", "Gear hire"
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
    """The one row that says whose book this is, and whom families ask; locking it puts posting in a queue.

    Its head, the number and digest of the last sealed entry, is kept by the database.
    """

    club_name = models.CharField("club", max_length=120)
    currency = models.CharField(max_length=3)
    contact_name = models.CharField("who answers families", max_length=60, blank=True)
    contact_email = models.EmailField("e-mail for families", blank=True)
    contact_phone = models.CharField("phone for families", max_length=30, blank=True)
    also_paid = models.CharField(
        "how else families pay", max_length=80, blank=True, default="at the range by card or in cash",
        help_text="As in “You can also pay at the range by card or in cash.” Blank for no other way.",
    )  # fmt: skip
    pay_days = models.PositiveSmallIntegerField(
        "days to pay", default=14, validators=[MinValueValidator(1), MaxValueValidator(90)],
        help_text="By when families pay what they are asked for, where nothing else says so.",
    )  # fmt: skip
    letters_an_hour = models.PositiveSmallIntegerField(
        "letters an hour", null=True, blank=True, validators=[MinValueValidator(10)],
        help_text="As many as your mail server takes; the rest goes out later, news last. Blank: as many as there are.",
    )  # fmt: skip
    is_demo = models.BooleanField("demo", default=False, editable=False)
    gst_from = models.DateField("registered for GST from", null=True, blank=True, editable=False)
    gst_basis = models.CharField(
        "basis of its GST returns", max_length=8, choices=TaxBasis.choices, default=TaxBasis.ACCRUALS, editable=False
    )
    last_number = models.PositiveIntegerField(default=0, editable=False)
    last_digest = models.CharField(max_length=64, default=GENESIS, editable=False)

    class Meta:
        verbose_name = "club"
        verbose_name_plural = "the club, as families reach it"
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

    @property
    def contact(self) -> str:
        """Whom families ask and how they reach them, “Jo Bell, jo@club.example, 0400 000 000”; blank for nobody."""
        return ", ".join(filter(None, (self.contact_name, self.contact_email, self.contact_phone)))


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
    is_money = models.BooleanField("is money", default=False, help_text="Bank, cash box or card takings.")
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
    HOUSEHOLD = "household", "Family"
    DEPARTMENT = "department", "Government department"
    ASSOCIATION = "association", "Association"
    SUPPLIER = "supplier", "Supplier"


class Party(models.Model):
    """Whoever owes the club or is owed by it."""

    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=12, choices=PartyKind.choices)
    merged_into = models.ForeignKey("self", models.PROTECT, null=True, blank=True, editable=False, related_name="+")

    class Meta:
        ordering = ["name", "pk"]
        verbose_name = "person or organisation"
        verbose_name_plural = "people and organisations"

    def __str__(self) -> str:
        return self.name

    @property
    def now(self) -> "Party":
        """Who stands for it: another, once the two turned out to be one."""
        return self.merged_into.now if self.merged_into else self
