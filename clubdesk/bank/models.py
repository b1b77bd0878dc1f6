"""Bank accounts, what goes out of them in payment runs, card takings settled into them, and their statements."""

from datetime import datetime

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q
from djmoney.money import Money

from clubdesk.bank.directentry import no_such_account
from clubdesk.bank.states import PAYMENT, RUN
from clubdesk.clock import day_text
from clubdesk.entryfund.models import EntryClaim
from clubdesk.expenses.models import Expense
from clubdesk.fees.models import Repayment
from clubdesk.ledger.models import Account, Document, Fund, Party, Posting
from clubdesk.money import Cents, nil
from clubdesk.roll.models import Household

BSB_FORM = RegexValidator(r"^[0-9]{3}-[0-9]{3}\Z", "A BSB is six digits like 123-456.")
ACCOUNT_FORM = RegexValidator(r"^[0-9]{2,9}\Z", "An account number is two to nine digits, without spaces.")


class BankAccount(models.Model):
    name = models.CharField(max_length=60, unique=True)
    account = models.OneToOneField(
        Account, models.PROTECT, related_name="bank_account", limit_choices_to={"is_money": True}
    )
    bsb = models.CharField("BSB", max_length=7, blank=True, validators=[BSB_FORM])
    account_number = models.CharField(max_length=9, blank=True, validators=[ACCOUNT_FORM])
    bank_letters = models.CharField(
        "bank’s three letters", max_length=3, blank=True, validators=[RegexValidator(r"^[A-Z]{3}\Z", "Three capitals.")]
    )
    user_name = models.CharField("name in payment files", max_length=26, blank=True)
    user_id = models.CharField(
        "user id for payment files",
        max_length=6,
        blank=True,
        validators=[RegexValidator(r"^[0-9]{6}\Z", "Six digits.")],
        help_text="The bank gives the club its user id and three letters when it signs up for Direct Entry.",
    )
    remitter = models.CharField("name on payees’ statements", max_length=16, blank=True)
    csv_mapping = models.JSONField(null=True, blank=True, editable=False)
    balanced = models.BooleanField(
        "files end with a debit of this account", default=False, help_text="As the bank asks for it."
    )

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        if no_account := no_such_account(self.bsb, self.account_number):
            raise ValidationError(no_account)

    @property
    def makes_files(self) -> bool:
        """Whether all is known that a Direct Entry file needs."""
        return all((self.bsb, self.account_number, self.bank_letters, self.user_name, self.user_id, self.remitter))


class BankDetails(Document):
    """Where a household's money goes. Each change is a row of its own; the last one holds."""

    household = models.ForeignKey(Household, models.PROTECT, related_name="bank_details")
    title = models.CharField("account name", max_length=60)
    bsb = models.CharField("BSB", max_length=7, validators=[BSB_FORM])
    account_number = models.CharField(max_length=9, validators=[ACCOUNT_FORM])
    noted_on = models.DateField()
    reason = models.CharField(max_length=150)

    class Meta:
        ordering = ["-pk"]
        verbose_name_plural = "bank details"
        permissions = [("see_bankdetails", "Can see bank details in full")]
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="bank_details_change_with_a_reason")]

    def __str__(self) -> str:
        return f"Bank details of {self.household}, {day_text(self.noted_on)}"

    @property
    def masked(self) -> str:
        """Enough to recognise the account by, not enough to use it."""
        return f"{self.title}, account ending in {self.account_number[-3:]}"

    @property
    def in_full(self) -> str:
        return f"{self.title}, {self.bsb}, {self.account_number}"


class HowPaid(models.TextChoices):
    FILE = "file", "One Direct Entry file"
    SINGLE = "single", "Single transfers"


class RunState(models.TextChoices):
    MADE = "made", "Waits to be released"
    RELEASED = "released", "Released"
    WITHDRAWN = "withdrawn", "Withdrawn"


class PaymentRun(Document):
    """What the treasurer pays together; nothing of it goes out until a second person has released it."""

    number = models.PositiveIntegerField(unique=True, editable=False)
    bank_account = models.ForeignKey(BankAccount, models.PROTECT, related_name="runs")
    method = models.CharField("how", max_length=6, choices=HowPaid.choices)
    made_on = models.DateField()
    pay_on = models.DateField("the bank pays on")
    state = models.CharField(max_length=9, choices=RunState.choices, default=RunState.MADE)
    released_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    released_on = models.DateField(null=True, blank=True)
    withdraw_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-number"]
        permissions = [("release_paymentrun", "Can release a payment run")]
        constraints = [
            RUN.constraint("bank_run_state_is_one"),
            models.CheckConstraint(
                condition=Q(released_by=None) | ~Q(released_by=F("recorded_by")),
                name="bank_nobody_releases_what_they_made",
            ),
            models.CheckConstraint(
                condition=~Q(state="made") | Q(released_by=None), name="bank_a_run_made_is_not_released"
            ),
            models.CheckConstraint(
                condition=~Q(state="released") | Q(released_by__isnull=False, released_on__isnull=False),
                name="bank_released_has_a_person_and_a_day",
            ),
            models.CheckConstraint(
                condition=~Q(state="withdrawn") | ~Q(withdraw_reason=""), name="bank_withdrawn_with_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"Payment run {self.number}"


class ItemState(models.TextChoices):
    WAITING = "waiting", "Not paid yet"
    PAID = "paid", "Paid"
    RETURNED = "returned", "Returned by the bank"
    REFUSED = "refused", "Not made by the bank"
    LEFT_OUT = "left_out", "Left out"


class PaymentItem(models.Model):
    """A refund, an expense or a credit that a run pays to a household; its own document posts it."""

    run = models.ForeignKey(PaymentRun, models.PROTECT, related_name="items")
    household = models.ForeignKey(Household, models.PROTECT, related_name="payments")
    claim = models.ForeignKey(EntryClaim, models.PROTECT, null=True, blank=True, related_name="payments")
    expense = models.ForeignKey(Expense, models.PROTECT, null=True, blank=True, related_name="payments")
    repayment = models.OneToOneField(Repayment, models.PROTECT, null=True, blank=True, related_name="payment")
    details = models.ForeignKey(BankDetails, models.PROTECT, null=True, blank=True, related_name="payments")
    amount = Cents()
    state = models.CharField(max_length=8, choices=ItemState.choices, default=ItemState.WAITING)
    paid_on = models.DateField(null=True, blank=True)
    ended_on = models.DateField("returned or left out on", null=True, blank=True)
    reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["pk"]
        verbose_name = "payment"
        constraints = [
            PAYMENT.constraint("bank_payment_state_is_one"),
            models.CheckConstraint(condition=Q(amount__gt=0), name="bank_payment_above_nil"),
            models.CheckConstraint(condition=Q(claim=None) | Q(expense=None), name="bank_payment_for_one_thing"),
            models.CheckConstraint(
                condition=Q(repayment=None) | Q(claim=None, expense=None), name="bank_repayment_is_of_a_credit"
            ),
            models.CheckConstraint(
                condition=Q(state__in=("paid", "returned"), paid_on__isnull=False)
                | Q(state__in=("waiting", "refused", "left_out"), paid_on=None),
                name="bank_payment_paid_has_a_day",
            ),
            models.CheckConstraint(
                condition=Q(state__in=("waiting", "paid")) | ~Q(reason=""), name="bank_payment_ended_with_a_reason"
            ),
            models.UniqueConstraint(
                fields=["claim"],
                condition=Q(state__in=("waiting", "paid")),
                name="bank_a_claim_is_paid_once",
                violation_error_message="This refund stands in another payment run already.",
            ),
            models.UniqueConstraint(
                fields=["expense"],
                condition=Q(state__in=("waiting", "paid")),
                name="bank_an_expense_is_paid_once",
                violation_error_message="This expense stands in another payment run already.",
            ),
            models.UniqueConstraint(
                fields=["household"],
                condition=Q(state="waiting", claim=None, expense=None),
                name="bank_a_credit_waits_in_one_run",
                violation_error_message="This family’s credit stands in another payment run already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.what} to {self.household}"

    @property
    def asked_for_at(self) -> datetime:
        """When what it is for was recorded; of a credit, when the run was made."""
        return (self.claim or self.expense or self.run).recorded_at

    @property
    def document(self) -> EntryClaim | Expense | Repayment | None:
        """What posts the payment; none yet for a credit that is not repaid."""
        return self.claim or self.expense or self.repayment

    @property
    def is_credit(self) -> bool:
        return self.claim_id is None and self.expense_id is None

    @property
    def what(self) -> str:
        if self.claim_id:
            return f"Entry fee refund {self.claim_id}"
        return f"Expense {self.expense_id}" if self.expense_id else "Credit"

    @property
    def reference(self) -> str:
        """What stands on the payee's statement; at most 18 characters."""
        if self.claim_id:
            return f"ENTRY FEE {self.claim_id}"
        return f"EXPENSE {self.expense_id}" if self.expense_id else f"CREDIT {self.household_id}"


class PaymentFile(Document):
    """That the file of a run was made: the first time, or again. It is the same each time."""

    run = models.ForeignKey(PaymentRun, models.PROTECT, related_name="files")
    file_digest = models.CharField(max_length=64)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"File of {self.run}"


class CardSettlement(Document):
    """Card takings paid into the bank by the card company, less its fee."""

    settled_on = models.DateField()
    takings = Cents(help_text="What the readers took, before the fee.")
    fee = Cents(default=nil)

    class Meta:
        ordering = ["-settled_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(takings__gt=0), name="bank_settles_above_nil"),
            models.CheckConstraint(condition=Q(fee__gte=0, fee__lt=F("takings")), name="bank_fee_within_takings"),
        ]

    def __str__(self) -> str:
        return f"Card takings settled on {day_text(self.settled_on)}"

    @property
    def paid_in(self) -> Money:
        paid_in: Money = self.takings - self.fee
        return paid_in

    @property
    def entries_called_for(self) -> set[str]:
        return {"settled"}


class StatementImport(Document):
    """A statement brought in from a file, and how many of its lines were new."""

    bank_account = models.ForeignKey(BankAccount, models.PROTECT, related_name="imports")
    file_name = models.CharField("file", max_length=120)
    file_digest = models.CharField(max_length=64)
    form = models.CharField(max_length=4)
    first_day = models.DateField()
    last_day = models.DateField()
    opening = Cents("opening balance", null=True, blank=True)
    closing = Cents("closing balance", null=True, blank=True)
    brought = models.PositiveIntegerField("lines brought in")
    known = models.PositiveIntegerField("lines known before")
    note = models.CharField(max_length=250, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "statement file"

    def __str__(self) -> str:
        return f"{self.file_name}, {day_text(self.first_day)} to {day_text(self.last_day)}"


class StatementLine(Document):
    """A line of a bank statement: money in positive, money out negative. It posts nothing; it is explained."""

    bank_account = models.ForeignKey(BankAccount, models.PROTECT, related_name="lines")
    brought_by = models.ForeignKey(StatementImport, models.PROTECT, null=True, blank=True, related_name="lines")
    bank_id = models.CharField("the bank’s own number", max_length=80, blank=True)
    balance = Cents("balance after it", null=True, blank=True)
    date = models.DateField()
    amount = Cents(help_text="Money in positive, money out negative.")
    text = models.CharField(max_length=200)

    class Meta:
        ordering = ["-date", "-pk"]
        constraints = [models.CheckConstraint(condition=~Q(amount=0), name="bank_line_not_nil")]

    def __str__(self) -> str:
        return f"{day_text(self.date)}, {self.text}"


class HowSure(models.TextChoices):
    CERTAIN = "certain", "Certain"
    LIKELY = "likely", "Likely"
    POSSIBLE = "possible", "Possible"
    BY_HAND = "by_hand", "By hand"


class Clearing(Document):
    """That lines of a statement and entries of the ledger are the same money, and why. It posts nothing.

    It is complete once the database has found both sides to be the same sum. Undone it frees both, and stays. Two
    entries that the bank never shows may be matched with each other: from `settled_on` they are on their way no more.
    """

    bank_account = models.ForeignKey(BankAccount, models.PROTECT, related_name="clearings")
    how_sure = models.CharField(max_length=8, choices=HowSure.choices)
    reasons = models.CharField(max_length=300)
    complete = models.BooleanField(default=False, editable=False)
    settled_on = models.DateField("no longer on their way from", null=True, blank=True)
    why_never = models.CharField("why the bank never shows them", max_length=150, blank=True)
    undone_on = models.DateField(null=True, blank=True)
    undone_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    undo_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(undone_on=None) | ~Q(undo_reason="") & Q(undone_by__isnull=False),
                name="bank_clearing_undone_with_a_reason",
            )
        ]

    def __str__(self) -> str:
        return f"Clearing {self.pk}"


class ClearedLine(models.Model):
    clearing = models.ForeignKey(Clearing, models.PROTECT, related_name="lines")
    line = models.ForeignKey(StatementLine, models.PROTECT, related_name="clearings")
    stands = models.BooleanField(default=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["line"],
                condition=Q(stands=True),
                name="bank_a_line_is_cleared_once",
                violation_error_message="This line is matched already.",
            )
        ]

    def __str__(self) -> str:
        return str(self.line)


class ClearedPosting(models.Model):
    clearing = models.ForeignKey(Clearing, models.PROTECT, related_name="postings")
    posting = models.ForeignKey(Posting, models.PROTECT, related_name="clearings")
    stands = models.BooleanField(default=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["posting"],
                condition=Q(stands=True),
                name="bank_a_posting_is_cleared_once",
                violation_error_message="That entry is matched with another line already.",
            )
        ]

    def __str__(self) -> str:
        return str(self.posting)


class Way(models.TextChoices):
    IN = "in", "Money in"
    OUT = "out", "Money out"


class BankRule(models.Model):
    """What the treasurer says of lines that come again and again, such as fees and interest."""

    name = models.CharField(max_length=60, unique=True)
    contains = models.CharField("the words contain", max_length=60)
    way = models.CharField("which way", max_length=3, choices=Way.choices)
    least = Cents("at least", null=True, blank=True)
    most = Cents("at most", null=True, blank=True)
    account = models.ForeignKey(Account, models.PROTECT, related_name="+", verbose_name="goes to the account")
    fund = models.ForeignKey(Fund, models.PROTECT, related_name="+")
    party = models.ForeignKey(Party, models.PROTECT, null=True, blank=True, related_name="+")
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]
        verbose_name = "rule for bank lines"
        verbose_name_plural = "rules for bank lines"
        constraints = [
            models.CheckConstraint(condition=~Q(contains=""), name="bank_rule_contains_something"),
            models.CheckConstraint(
                condition=Q(least=None) | Q(most=None) | Q(least__lte=F("most")), name="bank_rule_range_in_order"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        if self.account_id and self.account.is_money:
            raise ValidationError({"account": "A rule goes to income, expense or another account, not to the bank."})
        if self.account_id and self.account.needs_party and self.party_id is None:
            raise ValidationError({"party": f"{self.account} needs to say who owes or is owed."})
        if self.least is not None and self.most is not None and self.least > self.most:
            raise ValidationError({"most": "At most is less than at least."})

    def catches(self, text: str, amount: Money) -> bool:
        """Whether the rule speaks of a line with these words and this amount, money out negative."""
        size = abs(amount)
        return (
            (amount > nil()) == (self.way == Way.IN)
            and self.contains.casefold() in text.casefold()
            and (self.least is None or size >= self.least)
            and (self.most is None or size <= self.most)
        )


class Reconciliation(Document):
    """A month of a bank account, signed off: the bank's balance and the book's agree but for what is on its way.

    `deposits` the bank has not credited yet and `payments` it has not made yet, both above nil; `recorded_later` is
    what the month's own entries lack of it, money in positive, since it was recorded or undone in a later month. While
    it stands, nothing of the account that is dated in the month or before can change.
    """

    bank_account = models.ForeignKey(BankAccount, models.PROTECT, related_name="reconciliations")
    month_end = models.DateField()
    statement_balance = Cents("the statement says")
    deposits = Cents("deposits not credited", default=nil)
    payments = Cents("payments not presented", default=nil)
    book_balance = Cents("the book says")
    recorded_later = Cents(default=nil)
    signed_on = models.DateField("signed off on")
    reopened_on = models.DateField(null=True, blank=True)
    reopened_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    reopen_reason = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-month_end", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["bank_account", "month_end"],
                condition=Q(reopened_on=None),
                name="bank_a_month_is_signed_off_once",
                violation_error_message="This month is signed off already.",
            ),
            models.CheckConstraint(
                condition=Q(reopened_on=None) | ~Q(reopen_reason="") & Q(reopened_by__isnull=False),
                name="bank_reopened_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.bank_account}, {self.month_end:%B %Y}"
