import uuid

import django.core.validators
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import clubdesk.money


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "__first__"),
        ("entryfund", "0001_initial"),
        ("expenses", "0001_initial"),
        ("fees", "0001_initial"),
        ("ledger", "0001_initial"),
        ("roll", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="BankAccount",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=60, unique=True)),
                (
                    "bsb",
                    models.CharField(
                        blank=True,
                        max_length=7,
                        validators=[
                            django.core.validators.RegexValidator(
                                "^[0-9]{3}-[0-9]{3}\\Z", "A BSB is six digits like 123-456."
                            )
                        ],
                        verbose_name="BSB",
                    ),
                ),
                (
                    "account_number",
                    models.CharField(
                        blank=True,
                        max_length=9,
                        validators=[
                            django.core.validators.RegexValidator(
                                "^[0-9]{2,9}\\Z", "An account number is two to nine digits, without spaces."
                            )
                        ],
                    ),
                ),
                (
                    "bank_letters",
                    models.CharField(
                        blank=True,
                        max_length=3,
                        validators=[django.core.validators.RegexValidator("^[A-Z]{3}\\Z", "Three capitals.")],
                        verbose_name="bank’s three letters",
                    ),
                ),
                ("user_name", models.CharField(blank=True, max_length=26, verbose_name="name in payment files")),
                (
                    "user_id",
                    models.CharField(
                        blank=True,
                        help_text="The bank gives the club its user id and three letters when it signs up for Direct Entry.",
                        max_length=6,
                        validators=[django.core.validators.RegexValidator("^[0-9]{6}\\Z", "Six digits.")],
                        verbose_name="user id for payment files",
                    ),
                ),
                ("remitter", models.CharField(blank=True, max_length=16, verbose_name="name on payees’ statements")),
                ("csv_mapping", models.JSONField(blank=True, editable=False, null=True)),
                (
                    "balanced",
                    models.BooleanField(
                        default=False,
                        help_text="As the bank asks for it.",
                        verbose_name="files end with a debit of this account",
                    ),
                ),
                (
                    "account",
                    models.OneToOneField(
                        limit_choices_to={"is_money": True},
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="bank_account",
                        to="ledger.account",
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
            },
        ),
        migrations.CreateModel(
            name="BankDetails",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("title", models.CharField(max_length=60, verbose_name="account name")),
                (
                    "bsb",
                    models.CharField(
                        max_length=7,
                        validators=[
                            django.core.validators.RegexValidator(
                                "^[0-9]{3}-[0-9]{3}\\Z", "A BSB is six digits like 123-456."
                            )
                        ],
                        verbose_name="BSB",
                    ),
                ),
                (
                    "account_number",
                    models.CharField(
                        max_length=9,
                        validators=[
                            django.core.validators.RegexValidator(
                                "^[0-9]{2,9}\\Z", "An account number is two to nine digits, without spaces."
                            )
                        ],
                    ),
                ),
                ("noted_on", models.DateField()),
                ("reason", models.CharField(max_length=150)),
                (
                    "household",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bank_details", to="roll.household"
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "bank details",
                "ordering": ["-pk"],
                "permissions": [("see_bankdetails", "Can see bank details in full")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("reason", ""), _negated=True), name="bank_details_change_with_a_reason"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="BankRule",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=60, unique=True)),
                ("contains", models.CharField(max_length=60, verbose_name="the words contain")),
                (
                    "way",
                    models.CharField(
                        choices=[("in", "Money in"), ("out", "Money out")], max_length=3, verbose_name="which way"
                    ),
                ),
                ("least", clubdesk.money.Cents(blank=True, null=True, verbose_name="at least")),
                ("most", clubdesk.money.Cents(blank=True, null=True, verbose_name="at most")),
                ("in_use", models.BooleanField(default=True)),
                (
                    "account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.account",
                        verbose_name="goes to the account",
                    ),
                ),
                (
                    "fund",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ledger.fund"),
                ),
                (
                    "party",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.party",
                    ),
                ),
            ],
            options={
                "verbose_name": "rule for bank lines",
                "verbose_name_plural": "rules for bank lines",
                "ordering": ["name"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("contains", ""), _negated=True), name="bank_rule_contains_something"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("least", None), ("most", None), ("least__lte", models.F("most")), _connector="OR"
                        ),
                        name="bank_rule_range_in_order",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="CardSettlement",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("settled_on", models.DateField()),
                ("takings", clubdesk.money.Cents(help_text="What the readers took, before the fee.")),
                ("fee", clubdesk.money.Cents(default=clubdesk.money.nil)),
                (
                    "recorded_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-settled_on", "-pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("takings__gt", 0)), name="bank_settles_above_nil"),
                    models.CheckConstraint(
                        condition=models.Q(("fee__gte", 0), ("fee__lt", models.F("takings"))),
                        name="bank_fee_within_takings",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Clearing",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                (
                    "how_sure",
                    models.CharField(
                        choices=[
                            ("certain", "Certain"),
                            ("likely", "Likely"),
                            ("possible", "Possible"),
                            ("by_hand", "By hand"),
                        ],
                        max_length=8,
                    ),
                ),
                ("reasons", models.CharField(max_length=300)),
                ("complete", models.BooleanField(default=False, editable=False)),
                ("undone_on", models.DateField(blank=True, null=True)),
                ("undo_reason", models.CharField(blank=True, max_length=150)),
                (
                    "bank_account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="clearings", to="bank.bankaccount"
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "undone_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("undone_on", None),
                            models.Q(models.Q(("undo_reason", ""), _negated=True), ("undone_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="bank_clearing_undone_with_a_reason",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="ClearedPosting",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("stands", models.BooleanField(default=True)),
                (
                    "posting",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="clearings", to="ledger.posting"
                    ),
                ),
                (
                    "clearing",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="postings", to="bank.clearing"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("stands", True)), fields=("posting",), name="bank_a_posting_is_cleared_once"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="PaymentRun",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("number", models.PositiveIntegerField(editable=False, unique=True)),
                (
                    "method",
                    models.CharField(
                        choices=[("file", "One Direct Entry file"), ("single", "Single transfers")],
                        max_length=6,
                        verbose_name="how",
                    ),
                ),
                ("made_on", models.DateField()),
                ("pay_on", models.DateField(verbose_name="the bank pays on")),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("made", "Waits to be released"),
                            ("released", "Released"),
                            ("withdrawn", "Withdrawn"),
                        ],
                        default="made",
                        max_length=9,
                    ),
                ),
                ("released_on", models.DateField(blank=True, null=True)),
                ("withdraw_reason", models.CharField(blank=True, max_length=150)),
                (
                    "bank_account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="runs", to="bank.bankaccount"
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "released_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-number"],
                "permissions": [("release_paymentrun", "Can release a payment run")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ("made", "released", "withdrawn"))),
                        name="bank_run_state_is_one",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("released_by", None),
                            models.Q(("released_by", models.F("recorded_by")), _negated=True),
                            _connector="OR",
                        ),
                        name="bank_nobody_releases_what_they_made",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "made"), _negated=True), ("released_by", None), _connector="OR"
                        ),
                        name="bank_a_run_made_is_not_released",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "released"), _negated=True),
                            models.Q(("released_by__isnull", False), ("released_on__isnull", False)),
                            _connector="OR",
                        ),
                        name="bank_released_has_a_person_and_a_day",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "withdrawn"), _negated=True),
                            models.Q(("withdraw_reason", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="bank_withdrawn_with_a_reason",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="PaymentItem",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("amount", clubdesk.money.Cents()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("waiting", "Not paid yet"),
                            ("paid", "Paid"),
                            ("returned", "Returned by the bank"),
                            ("refused", "Not made by the bank"),
                            ("left_out", "Left out"),
                        ],
                        default="waiting",
                        max_length=8,
                    ),
                ),
                ("paid_on", models.DateField(blank=True, null=True)),
                ("ended_on", models.DateField(blank=True, null=True, verbose_name="returned or left out on")),
                ("reason", models.CharField(blank=True, max_length=150)),
                (
                    "claim",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="payments",
                        to="entryfund.entryclaim",
                    ),
                ),
                (
                    "details",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="payments",
                        to="bank.bankdetails",
                    ),
                ),
                (
                    "expense",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="payments",
                        to="expenses.expense",
                    ),
                ),
                (
                    "household",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="payments", to="roll.household"
                    ),
                ),
                (
                    "repayment",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="payment",
                        to="fees.repayment",
                    ),
                ),
                (
                    "run",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="items", to="bank.paymentrun"
                    ),
                ),
            ],
            options={
                "verbose_name": "payment",
                "ordering": ["pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ("waiting", "paid", "returned", "refused", "left_out"))),
                        name="bank_payment_state_is_one",
                    ),
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="bank_payment_above_nil"),
                    models.CheckConstraint(
                        condition=models.Q(("claim", None), ("expense", None), _connector="OR"),
                        name="bank_payment_for_one_thing",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("repayment", None), models.Q(("claim", None), ("expense", None)), _connector="OR"
                        ),
                        name="bank_repayment_is_of_a_credit",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("paid_on__isnull", False), ("state__in", ("paid", "returned"))),
                            models.Q(("paid_on", None), ("state__in", ("waiting", "refused", "left_out"))),
                            _connector="OR",
                        ),
                        name="bank_payment_paid_has_a_day",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("state__in", ("waiting", "paid")), models.Q(("reason", ""), _negated=True), _connector="OR"
                        ),
                        name="bank_payment_ended_with_a_reason",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("state__in", ("waiting", "paid"))),
                        fields=("claim",),
                        name="bank_a_claim_is_paid_once",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("state__in", ("waiting", "paid"))),
                        fields=("expense",),
                        name="bank_an_expense_is_paid_once",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("claim", None), ("expense", None), ("state", "waiting")),
                        fields=("household",),
                        name="bank_a_credit_waits_in_one_run",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="PaymentFile",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("file_digest", models.CharField(max_length=64)),
                (
                    "recorded_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "run",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="files", to="bank.paymentrun"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.CreateModel(
            name="Reconciliation",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("month_end", models.DateField()),
                ("statement_balance", clubdesk.money.Cents(verbose_name="the statement says")),
                ("deposits", clubdesk.money.Cents(default=clubdesk.money.nil, verbose_name="deposits not credited")),
                ("payments", clubdesk.money.Cents(default=clubdesk.money.nil, verbose_name="payments not presented")),
                ("book_balance", clubdesk.money.Cents(verbose_name="the book says")),
                ("signed_on", models.DateField(verbose_name="signed off on")),
                ("reopened_on", models.DateField(blank=True, null=True)),
                ("reopen_reason", models.CharField(blank=True, max_length=150)),
                (
                    "bank_account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reconciliations",
                        to="bank.bankaccount",
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "reopened_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-month_end", "-pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("reopened_on", None)),
                        fields=("bank_account", "month_end"),
                        name="bank_a_month_is_signed_off_once",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("reopened_on", None),
                            models.Q(models.Q(("reopen_reason", ""), _negated=True), ("reopened_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="bank_reopened_with_a_reason",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="StatementImport",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("file_name", models.CharField(max_length=120, verbose_name="file")),
                ("file_digest", models.CharField(max_length=64)),
                ("form", models.CharField(max_length=4)),
                ("first_day", models.DateField()),
                ("last_day", models.DateField()),
                ("opening", clubdesk.money.Cents(blank=True, null=True, verbose_name="opening balance")),
                ("closing", clubdesk.money.Cents(blank=True, null=True, verbose_name="closing balance")),
                ("brought", models.PositiveIntegerField(verbose_name="lines brought in")),
                ("known", models.PositiveIntegerField(verbose_name="lines known before")),
                ("note", models.CharField(blank=True, max_length=250)),
                (
                    "bank_account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="imports", to="bank.bankaccount"
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "verbose_name": "statement file",
                "ordering": ["-pk"],
            },
        ),
        migrations.CreateModel(
            name="StatementLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("bank_id", models.CharField(blank=True, max_length=80, verbose_name="the bank’s own number")),
                ("balance", clubdesk.money.Cents(blank=True, null=True, verbose_name="balance after it")),
                ("date", models.DateField()),
                ("amount", clubdesk.money.Cents(help_text="Money in positive, money out negative.")),
                ("text", models.CharField(max_length=200)),
                (
                    "bank_account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="bank.bankaccount"
                    ),
                ),
                (
                    "brought_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="lines",
                        to="bank.statementimport",
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-date", "-pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount", 0), _negated=True), name="bank_line_not_nil")
                ],
            },
        ),
        migrations.CreateModel(
            name="ClearedLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("stands", models.BooleanField(default=True)),
                (
                    "clearing",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="bank.clearing"
                    ),
                ),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="clearings", to="bank.statementline"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("stands", True)), fields=("line",), name="bank_a_line_is_cleared_once"
                    )
                ],
            },
        ),
    ]
