import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import clubdesk.money


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "__first__"),
        ("ledger", "0001_initial"),
        ("roll", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Arrangement",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("agreed_on", models.DateField()),
                ("note", models.CharField(blank=True, max_length=150)),
                ("ended_on", models.DateField(blank=True, null=True)),
                (
                    "household",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="arrangements", to="roll.household"
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
                "verbose_name": "payment arrangement",
                "ordering": ["-agreed_on", "-pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("ended_on", None)),
                        fields=("household",),
                        name="fees_one_standing_arrangement",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="ArrangementPart",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("due_on", models.DateField()),
                ("amount", clubdesk.money.Cents()),
                (
                    "arrangement",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="parts", to="fees.arrangement"
                    ),
                ),
            ],
            options={
                "ordering": ["due_on", "pk"],
                "constraints": [
                    models.UniqueConstraint(fields=("arrangement", "due_on"), name="fees_one_part_a_day"),
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="fees_part_above_nil"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Charge",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("description", models.CharField(max_length=150)),
                ("amount", clubdesk.money.Cents()),
                ("charged_on", models.DateField()),
                ("starts_on", models.DateField()),
                ("recognised_on", models.DateField(blank=True, null=True)),
                (
                    "taken_back_on",
                    models.DateField(
                        blank=True,
                        help_text="From this day no more than `kept` is owed, whatever becomes of its vouchers.",
                        null=True,
                    ),
                ),
                (
                    "kept",
                    clubdesk.money.Cents(
                        default=clubdesk.money.nil, help_text="What the club keeps of a fee that was taken back."
                    ),
                ),
                (
                    "household",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="charges", to="roll.household"
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="charges",
                        to="roll.person",
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
                "ordering": ["-charged_on", "-pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="fees_charge_above_nil"),
                    models.CheckConstraint(
                        condition=models.Q(("kept__gte", 0), ("kept__lte", models.F("amount"))),
                        name="fees_charge_keeps_a_part",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ChargeCredit",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("amount", clubdesk.money.Cents()),
                ("credited_on", models.DateField()),
                ("reason", models.CharField(max_length=150)),
                ("from_advance", models.BooleanField(default=False, verbose_name="before it started")),
                (
                    "charge",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="credits", to="fees.charge"
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
                "ordering": ["-credited_on", "-pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="fees_credit_above_nil")
                ],
            },
        ),
        migrations.CreateModel(
            name="ChargeShare",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("amount", clubdesk.money.Cents()),
                (
                    "account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ledger.account"
                    ),
                ),
                (
                    "charge",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="shares", to="fees.charge"
                    ),
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
                "ordering": ["pk"],
                "constraints": [
                    models.UniqueConstraint(fields=("charge", "account", "party"), name="fees_charge_share_once"),
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="fees_charge_share_above_nil"),
                ],
            },
        ),
        migrations.CreateModel(
            name="FeeItem",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.SlugField(max_length=30, unique=True)),
                ("name", models.CharField(max_length=80)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("membership", "Membership"),
                            ("course", "Course"),
                            ("hire", "Gear hire, member"),
                            ("visitor", "Visitor with gear"),
                            ("beside", "Parent beside a child"),
                            ("other", "Other"),
                        ],
                        max_length=12,
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
                        max_length=7,
                        verbose_name="GST",
                    ),
                ),
                (
                    "income_account",
                    models.ForeignKey(
                        limit_choices_to={"kind": "income"},
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.account",
                    ),
                ),
            ],
            options={
                "ordering": ["kind", "name"],
            },
        ),
        migrations.CreateModel(
            name="FeePrice",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("valid_from", models.DateField()),
                ("valid_until", models.DateField(blank=True, null=True)),
                ("amount", clubdesk.money.Cents()),
                (
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="prices", to="fees.feeitem"
                    ),
                ),
            ],
            options={
                "ordering": ["item", "-valid_from"],
                "constraints": [
                    models.UniqueConstraint(fields=("item", "valid_from"), name="fees_price_one_from_a_day"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("valid_until", None), ("valid_until__gte", models.F("valid_from")), _connector="OR"
                        ),
                        name="fees_price_order",
                    ),
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="fees_price_above_nil"),
                ],
            },
        ),
        migrations.AddField(
            model_name="charge",
            name="price",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="charges",
                to="fees.feeprice",
            ),
        ),
        migrations.CreateModel(
            name="FeeShare",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("amount", clubdesk.money.Cents()),
                (
                    "account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ledger.account"
                    ),
                ),
                (
                    "party",
                    models.ForeignKey(
                        blank=True,
                        limit_choices_to={"kind": "association"},
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.party",
                    ),
                ),
                (
                    "price",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="shares", to="fees.feeprice"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.UniqueConstraint(fields=("price", "account", "party"), name="fees_share_once"),
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="fees_share_above_nil"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Lodgement",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("lodged_on", models.DateField()),
                ("paid_on", models.DateField(blank=True, null=True)),
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
                "ordering": ["-lodged_on", "-pk"],
            },
        ),
        migrations.CreateModel(
            name="OpeningBalances",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("as_at", models.DateField()),
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
                "verbose_name": "opening balances",
                "verbose_name_plural": "opening balances",
                "ordering": ["-pk"],
            },
        ),
        migrations.AddField(
            model_name="charge",
            name="opening",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="charges",
                to="fees.openingbalances",
            ),
        ),
        migrations.CreateModel(
            name="Receipt",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("number", models.PositiveIntegerField(editable=False, unique=True)),
                (
                    "method",
                    models.CharField(
                        choices=[
                            ("cash", "Cash"),
                            ("card", "Card"),
                            ("transfer", "Bank transfer"),
                            ("brought", "Brought in"),
                        ],
                        max_length=8,
                    ),
                ),
                ("amount", clubdesk.money.Cents()),
                (
                    "rounding",
                    clubdesk.money.Cents(
                        default=clubdesk.money.nil,
                        help_text="Settled but not handed over; negative where more was handed over.",
                        verbose_name="cash rounding",
                    ),
                ),
                ("received_on", models.DateField()),
                ("reference", models.CharField(blank=True, max_length=60)),
                ("cancelled_on", models.DateField(blank=True, null=True)),
                ("cancel_reason", models.CharField(blank=True, max_length=150)),
                (
                    "household",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="receipts", to="roll.household"
                    ),
                ),
                (
                    "opening",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="receipts",
                        to="fees.openingbalances",
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
                "ordering": ["-received_on", "-pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="fees_receipt_above_nil"),
                    models.CheckConstraint(
                        condition=models.Q(("method", "cash"), ("rounding", 0), _connector="OR"),
                        name="fees_only_cash_is_rounded",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("cancelled_on", None), ("method", "brought"), ("opening__isnull", False)),
                            models.Q(models.Q(("method", "brought"), _negated=True), ("opening", None)),
                            _connector="OR",
                        ),
                        name="fees_receipt_is_paid_or_was_brought_in",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("rounding__gt", models.Value(-5)), ("rounding__lt", models.Value(5))),
                        name="fees_rounding_below_five_cents",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Repayment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("amount", clubdesk.money.Cents()),
                ("paid_on", models.DateField()),
                ("reference", models.CharField(blank=True, max_length=60)),
                ("returned_on", models.DateField(blank=True, null=True, verbose_name="returned by the bank on")),
                ("return_reason", models.CharField(blank=True, max_length=150)),
                (
                    "household",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="repayments", to="roll.household"
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
                "verbose_name": "credit repaid",
                "verbose_name_plural": "credits repaid",
                "ordering": ["-paid_on", "-pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="fees_repayment_above_nil"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("returned_on", None), models.Q(("return_reason", ""), _negated=True), _connector="OR"
                        ),
                        name="fees_repayment_returned_with_a_reason",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Allocation",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("amount", clubdesk.money.Cents()),
                ("used_on", models.DateField()),
                ("freed_on", models.DateField(blank=True, null=True)),
                (
                    "charge",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="allocations",
                        to="fees.charge",
                    ),
                ),
                (
                    "receipt",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="allocations", to="fees.receipt"
                    ),
                ),
                (
                    "repayment",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="allocations",
                        to="fees.repayment",
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="fees_allocation_above_nil"),
                    models.CheckConstraint(
                        condition=models.Q(("freed_on", None), ("freed_on__gte", models.F("used_on")), _connector="OR"),
                        name="fees_allocation_freed_after_use",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("charge", None), ("repayment__isnull", False)),
                            models.Q(("charge__isnull", False), ("repayment", None)),
                            _connector="OR",
                        ),
                        name="fees_allocation_has_one_target",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="VoucherScheme",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=80, unique=True)),
                ("youngest", models.PositiveSmallIntegerField(blank=True, null=True, verbose_name="youngest age")),
                ("oldest", models.PositiveSmallIntegerField(blank=True, null=True, verbose_name="oldest age")),
                ("pays_memberships", models.BooleanField(default=True, verbose_name="pays memberships")),
                ("pays_courses", models.BooleanField(default=True, verbose_name="pays courses")),
                ("pays_other", models.BooleanField(default=True, verbose_name="pays other fees")),
                (
                    "per_year",
                    models.PositiveSmallIntegerField(default=1, verbose_name="vouchers a child and calendar year"),
                ),
                (
                    "code_form",
                    models.CharField(
                        blank=True,
                        help_text="# stands for a digit, @ for a letter, all else for itself, as in SV########. Blank: any code.",
                        max_length=30,
                        verbose_name="form of its codes",
                    ),
                ),
                (
                    "department",
                    models.ForeignKey(
                        limit_choices_to={"kind": "department"},
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.party",
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("per_year__gte", 1)), name="fees_voucher_scheme_has_one")
                ],
            },
        ),
        migrations.CreateModel(
            name="Voucher",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("code", models.CharField(max_length=30)),
                ("calendar_year", models.PositiveSmallIntegerField(editable=False)),
                ("amount", clubdesk.money.Cents()),
                (
                    "short_by",
                    clubdesk.money.Cents(
                        default=clubdesk.money.nil,
                        help_text="What the department paid less than was claimed; the family owes it.",
                    ),
                ),
                ("accepted_on", models.DateField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("accepted", "Accepted"),
                            ("lodged", "Lodged"),
                            ("paid", "Paid"),
                            ("refused", "Refused"),
                            ("released", "Not claimed"),
                        ],
                        default="accepted",
                        max_length=8,
                    ),
                ),
                ("ended_on", models.DateField(blank=True, null=True, verbose_name="refused or released on")),
                ("end_reason", models.CharField(blank=True, max_length=150, verbose_name="why")),
                (
                    "charge",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="vouchers", to="fees.charge"
                    ),
                ),
                (
                    "lodgement",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="vouchers",
                        to="fees.lodgement",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="vouchers", to="roll.person"
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
                    "scheme",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="vouchers", to="fees.voucherscheme"
                    ),
                ),
            ],
            options={
                "ordering": ["-accepted_on", "-pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ("accepted", "lodged", "paid", "refused", "released"))),
                        name="fees_voucher_state_is_one",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("state__in", ("refused", "released")), _negated=True),
                        fields=("scheme", "code"),
                        name="fees_voucher_code_once",
                    ),
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="fees_voucher_above_nil"),
                    models.CheckConstraint(
                        condition=models.Q(("short_by__gte", 0)), name="fees_voucher_short_not_below_nil"
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="lodgement",
            name="scheme",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="lodgements", to="fees.voucherscheme"
            ),
        ),
        migrations.CreateModel(
            name="VoucherValue",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("calendar_year", models.PositiveSmallIntegerField()),
                ("amount", clubdesk.money.Cents()),
                (
                    "scheme",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="values", to="fees.voucherscheme"
                    ),
                ),
            ],
            options={
                "ordering": ["-calendar_year"],
                "constraints": [
                    models.UniqueConstraint(fields=("scheme", "calendar_year"), name="fees_voucher_value_once_a_year"),
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="fees_voucher_value_above_nil"),
                ],
            },
        ),
        migrations.CreateModel(
            name="WriteOff",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("amount", clubdesk.money.Cents()),
                ("written_off_on", models.DateField()),
                ("reason", models.CharField(max_length=150)),
                ("cancelled_on", models.DateField(blank=True, null=True)),
                ("cancel_reason", models.CharField(blank=True, max_length=150)),
                (
                    "charge",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="write_offs", to="fees.charge"
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
                "ordering": ["-written_off_on", "-pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="fees_write_off_above_nil")
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="charge",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("opening", None), ("price__isnull", False)),
                    models.Q(("opening__isnull", False), ("price", None), ("starts_on", models.F("charged_on"))),
                    _connector="OR",
                ),
                name="fees_charge_has_a_price_or_was_brought_in",
            ),
        ),
    ]
