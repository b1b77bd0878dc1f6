import uuid

import django.db.models.deletion
import django.db.models.expressions
from django.conf import settings
from django.db import migrations, models

import clubdesk.money


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "__first__"),
        ("ledger", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Equipment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("name", models.CharField(max_length=120)),
                ("bought_on", models.DateField()),
                ("cost", clubdesk.money.Cents()),
                ("residual", clubdesk.money.Cents(default=clubdesk.money.nil, verbose_name="worth at the end")),
                ("years", models.PositiveSmallIntegerField(verbose_name="years of use")),
                (
                    "brought_in",
                    clubdesk.money.Cents(
                        default=clubdesk.money.nil,
                        help_text="What the opening trial balance has of it already.",
                        verbose_name="depreciated before this book",
                    ),
                ),
                (
                    "withdrawn_on",
                    models.DateField(blank=True, editable=False, null=True, verbose_name="typed wrongly, taken out on"),
                ),
                ("withdraw_reason", models.CharField(blank=True, editable=False, max_length=150, verbose_name="why")),
                (
                    "fund",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ledger.fund"),
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
                "verbose_name_plural": "equipment",
                "ordering": ["bought_on", "pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("cost__gt", 0)), name="yearend_equipment_cost_above_nil"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("residual__gte", 0), ("residual__lt", models.F("cost"))),
                        name="yearend_equipment_loses_worth",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("years__gte", 1), ("years__lte", 50)), name="yearend_equipment_years"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("brought_in__gte", 0),
                            (
                                "brought_in__lte",
                                django.db.models.expressions.CombinedExpression(
                                    models.F("cost"), "-", models.F("residual")
                                ),
                            ),
                        ),
                        name="yearend_equipment_brought_in_within_cost",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Disposal",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("gone_on", models.DateField()),
                ("reason", models.CharField(max_length=150)),
                ("proceeds", clubdesk.money.Cents(default=clubdesk.money.nil, verbose_name="money received for it")),
                (
                    "journal",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="disposal", to="ledger.journal"
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
                    "equipment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="disposals", to="yearend.equipment"
                    ),
                ),
            ],
            options={
                "ordering": ["gone_on", "pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("proceeds__gte", 0)), name="yearend_disposal_proceeds_not_below_nil"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="DepreciationLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("until", models.DateField()),
                ("amount", clubdesk.money.Cents()),
                (
                    "journal",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="depreciation", to="ledger.journal"
                    ),
                ),
                (
                    "equipment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="depreciation", to="yearend.equipment"
                    ),
                ),
            ],
            options={
                "ordering": ["until", "pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="yearend_depreciation_above_nil")
                ],
            },
        ),
        migrations.CreateModel(
            name="GstReturn",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("first_day", models.DateField()),
                ("last_day", models.DateField()),
                ("collected", clubdesk.money.Cents(default=clubdesk.money.nil, verbose_name="GST in sales")),
                ("credits", clubdesk.money.Cents(default=clubdesk.money.nil, verbose_name="GST in bills")),
                (
                    "journal",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="gst_return", to="ledger.journal"
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
                "verbose_name": "GST of a period",
                "verbose_name_plural": "GST by period",
                "ordering": ["-last_day", "-pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("last_day__gt", models.F("first_day"))), name="yearend_gst_period_order"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="BudgetMonth",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("month", models.DateField()),
                ("amount", clubdesk.money.Cents()),
                (
                    "account",
                    models.ForeignKey(
                        limit_choices_to={"kind__in": ["income", "expense"]},
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.account",
                    ),
                ),
                (
                    "year",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="budget", to="ledger.financialyear"
                    ),
                ),
            ],
            options={
                "verbose_name": "budget of a month",
                "verbose_name_plural": "budget by month",
                "ordering": ["account", "month"],
                "constraints": [
                    models.UniqueConstraint(fields=("account", "month"), name="yearend_budget_once_a_month"),
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="yearend_budget_above_nil"),
                    models.CheckConstraint(
                        condition=models.Q(("month__day", 1)), name="yearend_budget_month_by_its_first_day"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Comparative",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("year_end", models.DateField()),
                ("amount", clubdesk.money.Cents()),
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
            ],
            options={
                "verbose_name": "figure of the year before",
                "verbose_name_plural": "figures of the year before",
                "ordering": ["-year_end", "account", "fund"],
                "constraints": [
                    models.UniqueConstraint(fields=("year_end", "account", "fund"), name="yearend_comparative_once"),
                    models.CheckConstraint(
                        condition=models.Q(("amount", 0), _negated=True), name="yearend_comparative_not_nil"
                    ),
                ],
            },
        ),
    ]
