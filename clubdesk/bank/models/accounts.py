"""The club's bank accounts, who says where money comes into them, and where money to families goes."""

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q

from clubdesk.bank.directentry import no_such_account
from clubdesk.bank.states import ACCOUNT_CHANGE
from clubdesk.clock import day_text
from clubdesk.ledger.models import Account, Document
from clubdesk.roll.models import Household

BSB_FORM = RegexValidator(r"^[0-9]{3}-[0-9]{3}\Z", "A BSB is six digits like 123-456.")
ACCOUNT_FORM = RegexValidator(r"^[0-9]{2,9}\Z", "An account number is two to nine digits, without spaces.")


class BankAccount(models.Model):
    name = models.CharField(max_length=60, unique=True)
    account = models.OneToOneField(
        Account, models.PROTECT, related_name="bank_account", limit_choices_to={"is_money": True}
    )
    holder = models.CharField("account name", max_length=70, blank=True, editable=False)
    bsb = models.CharField("BSB", max_length=7, blank=True, editable=False, validators=[BSB_FORM])
    account_number = models.CharField(max_length=9, blank=True, editable=False, validators=[ACCOUNT_FORM])
    iban = models.CharField("IBAN", max_length=34, blank=True, editable=False)
    bic = models.CharField("BIC", max_length=11, blank=True, editable=False)
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
    def in_full(self) -> str:
        """Its number as a bank knows it; blank where the book has none."""
        return self.iban or " ".join(filter(None, (self.bsb, self.account_number)))

    @property
    def makes_files(self) -> bool:
        """Whether all is known that a Direct Entry file needs."""
        return all((self.bsb, self.account_number, self.bank_letters, self.user_name, self.user_id, self.remitter))


class ChangeState(models.TextChoices):
    ASKED = "asked", "Waits for a second person"
    AGREED = "agreed", "Agreed"
    DECLINED = "declined", "Declined"


class AccountChange(Document):
    """That money is to come into another account of the club's from now on: one asks, another agrees.

    The database lets the numbers of a bank account change only as the last change says that was agreed to.
    """

    bank_account = models.ForeignKey(BankAccount, models.PROTECT, related_name="changes")
    holder = models.CharField("account name", max_length=70)
    bsb = models.CharField("BSB", max_length=7, blank=True, validators=[BSB_FORM])
    account_number = models.CharField(max_length=9, blank=True, validators=[ACCOUNT_FORM])
    iban = models.CharField("IBAN", max_length=34, blank=True)
    bic = models.CharField("BIC", max_length=11, blank=True)
    replaces = models.CharField("in place of", max_length=40, blank=True)
    reason = models.CharField(max_length=150)
    asked_on = models.DateField()
    state = models.CharField(max_length=8, choices=ChangeState.choices, default=ChangeState.ASKED)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    decided_on = models.DateField(null=True, blank=True)
    answer = models.CharField("why declined", max_length=150, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = "change of the club’s account"
        verbose_name_plural = "changes of the club’s account"
        permissions = [("agree_accountchange", "Can agree to another account of the club")]
        constraints = [
            ACCOUNT_CHANGE.constraint("bank_account_change_state_is_one"),
            models.CheckConstraint(condition=~Q(reason=""), name="bank_account_change_has_a_reason"),
            models.CheckConstraint(
                condition=~Q(holder="")
                & (
                    Q(iban="", bic="") & ~Q(bsb="") & ~Q(account_number="") | ~Q(iban="") & Q(bsb="", account_number="")
                ),
                name="bank_account_change_names_one_account",
            ),
            models.CheckConstraint(
                condition=~Q(state="agreed")
                | Q(decided_by__isnull=False, decided_on__isnull=False) & ~Q(decided_by=F("recorded_by")),
                name="bank_account_change_is_agreed_to_by_another",
            ),
            models.CheckConstraint(
                condition=~Q(state="declined") | ~Q(answer="") & Q(decided_by__isnull=False, decided_on__isnull=False),
                name="bank_account_change_declined_with_a_reason",
            ),
            models.UniqueConstraint(
                fields=["bank_account"],
                condition=Q(state="asked"),
                name="bank_one_account_change_waits",
                violation_error_message="Somebody has asked for another account already; decide on that first.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.in_full} for {self.bank_account}"

    @property
    def in_full(self) -> str:
        return self.iban or f"{self.bsb} {self.account_number}"


class BankDetails(Document):
    """Where a household's money goes. Each change is a row of its own; the last one holds."""

    household = models.ForeignKey(Household, models.PROTECT, related_name="bank_details", verbose_name="family")
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
