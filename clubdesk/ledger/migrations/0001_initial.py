import uuid

import django.core.validators
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import clubdesk.evidence
import clubdesk.money


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "__first__"),
    ]

    operations = [
        migrations.CreateModel(
            name="Party",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=120)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("household", "Household"),
                            ("department", "Government department"),
                            ("association", "Association"),
                            ("supplier", "Supplier"),
                        ],
                        max_length=12,
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "parties",
                "ordering": ["name", "pk"],
            },
        ),
        migrations.CreateModel(
            name="Account",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "code",
                    models.CharField(
                        max_length=4,
                        unique=True,
                        validators=[
                            django.core.validators.RegexValidator("^\\d{4}$", "An account code is four digits.")
                        ],
                    ),
                ),
                ("name", models.CharField(max_length=80)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("asset", "Asset"),
                            ("liability", "Liability"),
                            ("equity", "Equity"),
                            ("income", "Income"),
                            ("expense", "Expense"),
                        ],
                        max_length=10,
                    ),
                ),
                (
                    "role",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("bank", "Bank"),
                            ("till", "Till"),
                            ("card_takings", "Card takings"),
                            ("fees_owed", "Fees owed"),
                            ("vouchers_owed", "Vouchers owed"),
                            ("allowance", "Allowance for fees not expected"),
                            ("prepayments", "Prepayments"),
                            ("stock", "Stock of course materials"),
                            ("suspense", "Not explained yet"),
                            ("gst", "GST"),
                            ("equipment", "Equipment at cost"),
                            ("depreciated", "Accumulated depreciation"),
                            ("fees_in_advance", "Fees in advance"),
                            ("affiliation_payable", "Affiliation payable"),
                            ("refunds_payable", "Refunds payable"),
                            ("other_payables", "Other payables"),
                            ("accumulated", "Accumulated funds"),
                            ("memberships", "Memberships"),
                            ("courses", "Beginner courses"),
                            ("hire", "Equipment hire"),
                            ("visitors", "Visitor fees"),
                            ("containers", "Container refunds"),
                            ("donations", "Donations and fundraising"),
                            ("interest", "Bank interest"),
                            ("grants", "Grants"),
                            ("entry_refunds", "Entry-fee refunds"),
                            ("bank_fees", "Bank and card fees"),
                            ("cash_over_short", "Cash over and short"),
                            ("cash_rounding", "Cash rounding"),
                            ("written_off", "Fees written off"),
                            ("depreciation", "Depreciation"),
                            ("disposals", "Loss or gain on equipment"),
                            ("transfers", "Transfers between funds"),
                        ],
                        help_text="What Fletchbook itself uses this account for; leave blank for one of the club's own.",
                        max_length=30,
                        null=True,
                        unique=True,
                    ),
                ),
                (
                    "needs_party",
                    models.BooleanField(
                        default=False,
                        help_text="Each line must say who owes or is owed.",
                        verbose_name="names who owes",
                    ),
                ),
                (
                    "is_money",
                    models.BooleanField(
                        default=False, help_text="Bank, till or card takings.", verbose_name="is money"
                    ),
                ),
                (
                    "tax_code",
                    models.CharField(
                        choices=[
                            ("none", "Nothing to do with GST"),
                            ("taxable", "GST is in the amount"),
                            ("free", "GST-free"),
                        ],
                        default="none",
                        help_text="Of an expense account: whether the bills on it have GST in them.",
                        max_length=7,
                        verbose_name="GST",
                    ),
                ),
            ],
            options={
                "ordering": ["code"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["asset", "liability", "equity", "income", "expense"])),
                        name="ledger_account_kind",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("is_money", False), ("kind", "asset"), _connector="OR"),
                        name="ledger_account_money_is_asset",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Book",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("club_name", models.CharField(max_length=120, verbose_name="club")),
                ("currency", models.CharField(max_length=3)),
                ("is_demo", models.BooleanField(default=False, editable=False, verbose_name="demo")),
                ("last_number", models.PositiveIntegerField(default=0, editable=False)),
                (
                    "last_digest",
                    models.CharField(
                        default="0000000000000000000000000000000000000000000000000000000000000000",
                        editable=False,
                        max_length=64,
                    ),
                ),
            ],
            options={
                "constraints": [models.CheckConstraint(condition=models.Q(("pk", 1)), name="ledger_book_is_one_row")],
            },
        ),
        migrations.CreateModel(
            name="FinancialYear",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("first_day", models.DateField(unique=True)),
                ("last_day", models.DateField(unique=True)),
                ("locked_through", models.DateField(blank=True, editable=False, null=True)),
                ("closed_at", models.DateTimeField(blank=True, editable=False, null=True, verbose_name="closed")),
                (
                    "closed_by",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-first_day"],
                "permissions": [
                    ("lock_month", "Can lock a month"),
                    ("close_year", "Can close a financial year"),
                    ("export_year", "Can export the treasurer's workbook"),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("last_day__gt", models.F("first_day"))), name="ledger_year_order"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("closed_at", None), ("locked_through", models.F("last_day")), _connector="OR"
                        ),
                        name="ledger_closed_is_locked",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Fund",
            fields=[
                ("code", models.SlugField(max_length=20, primary_key=True, serialize=False)),
                ("name", models.CharField(max_length=60, unique=True)),
                (
                    "restricted",
                    models.BooleanField(
                        default=False, help_text="May only be spent on its purpose and never overdrawn."
                    ),
                ),
                ("balance", clubdesk.money.Cents(default=clubdesk.money.nil, editable=False)),
            ],
            options={
                "ordering": ["restricted", "code"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("restricted", False), ("balance__gte", 0), _connector="OR"),
                        name="ledger_fund_not_overdrawn",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Journal",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("date", models.DateField()),
                ("narration", models.CharField(max_length=300)),
                (
                    "origin",
                    models.CharField(
                        choices=[
                            ("hand", "By hand"),
                            ("file", "From a file"),
                            ("opening", "Opening trial balance"),
                            ("accrual", "Accrual"),
                            ("prepayment", "Prepayment"),
                            ("stock", "Stock counted"),
                            ("provision", "Fees not expected"),
                            ("depreciation", "Depreciation"),
                            ("disposal", "Equipment disposed of"),
                            ("gst", "GST of a period"),
                        ],
                        default="hand",
                        max_length=12,
                    ),
                ),
                ("reference", models.CharField(blank=True, max_length=60)),
                ("reverse_on", models.DateField(blank=True, null=True, verbose_name="undone by itself on")),
                (
                    "receipt",
                    models.FileField(blank=True, upload_to=clubdesk.evidence.evidence_path, verbose_name="document"),
                ),
                ("receipt_type", models.CharField(blank=True, max_length=20)),
                ("receipt_digest", models.CharField(blank=True, max_length=64)),
                ("file_digest", models.CharField(blank=True, editable=False, max_length=64)),
                (
                    "undone_reason",
                    models.CharField(blank=True, editable=False, max_length=150, verbose_name="why undone"),
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
                "ordering": ["-pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("origin", "file")),
                        fields=("file_digest", "reference"),
                        name="ledger_journal_file_read_once",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("reverse_on", None), ("reverse_on__gt", models.F("date")), _connector="OR"),
                        name="ledger_journal_reversed_later",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="JournalEntry",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.PositiveIntegerField(unique=True)),
                ("date", models.DateField()),
                ("narration", models.CharField(max_length=300)),
                ("source_type", models.CharField(max_length=60)),
                ("source_id", models.PositiveBigIntegerField()),
                ("purpose", models.CharField(max_length=40)),
                ("is_closing", models.BooleanField(default=False, verbose_name="closing entry")),
                ("posted_at", models.DateTimeField()),
                ("previous_digest", models.CharField(max_length=64)),
                ("digest", models.CharField(max_length=64)),
                ("sealed", models.BooleanField(default=False)),
                (
                    "posted_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "reverses",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reversed_by",
                        to="ledger.journalentry",
                    ),
                ),
                (
                    "year",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="entries", to="ledger.financialyear"
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "journal entries",
                "ordering": ["-number"],
                "indexes": [models.Index(fields=["date"], name="ledger_jour_date_d1775e_idx")],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("source_type", "source_id", "purpose"), name="ledger_entry_posts_once"
                    ),
                    models.CheckConstraint(condition=models.Q(("number__gte", 1)), name="ledger_entry_number_from_one"),
                ],
            },
        ),
        migrations.CreateModel(
            name="MonthBalance",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("month_end", models.DateField()),
                ("balance", clubdesk.money.Cents(default=clubdesk.money.nil)),
                ("closing", clubdesk.money.Cents(default=clubdesk.money.nil)),
                (
                    "account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ledger.account"
                    ),
                ),
                (
                    "fund",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ledger.fund"),
                ),
                (
                    "party",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ledger.party"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("month_end", "account", "fund", "party"), name="ledger_month_balance_of_party_once"
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("party", None)),
                        fields=("month_end", "account", "fund"),
                        name="ledger_month_balance_once",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Posting",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("amount", clubdesk.money.Cents()),
                (
                    "account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="postings", to="ledger.account"
                    ),
                ),
                (
                    "entry",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="postings", to="ledger.journalentry"
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
                        related_name="postings",
                        to="ledger.party",
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("amount", 0), _negated=True), name="ledger_posting_not_nil"
                    )
                ],
            },
        ),
    ]
