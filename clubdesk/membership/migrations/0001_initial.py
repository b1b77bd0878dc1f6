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
        ("fees", "0001_initial"),
        ("ledger", "0001_initial"),
        ("roll", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="FamilyCap",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("valid_from", models.DateField(unique=True)),
                ("amount", clubdesk.money.Cents()),
            ],
            options={
                "ordering": ["-valid_from"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="membership_cap_above_nil")
                ],
            },
        ),
        migrations.CreateModel(
            name="Plan",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=60, unique=True)),
                ("months", models.PositiveSmallIntegerField(default=12, help_text="What the price is for.")),
                (
                    "season_ends_month",
                    models.PositiveSmallIntegerField(
                        blank=True,
                        choices=[
                            (1, "January"),
                            (2, "February"),
                            (3, "March"),
                            (4, "April"),
                            (5, "May"),
                            (6, "June"),
                            (7, "July"),
                            (8, "August"),
                            (9, "September"),
                            (10, "October"),
                            (11, "November"),
                            (12, "December"),
                        ],
                        help_text="Every membership ends with this month, and the fee is for the months begun. Blank: each lasts its months from the day it starts.",
                        null=True,
                        verbose_name="season ends with",
                    ),
                ),
                (
                    "whole_shares",
                    models.BooleanField(
                        default=False,
                        help_text="However short the season is.",
                        verbose_name="associations take their whole share",
                    ),
                ),
                (
                    "sibling_percent",
                    models.PositiveSmallIntegerField(
                        default=0,
                        help_text="Off the club's own part, for each of a household but the first.",
                        verbose_name="sibling discount in per cent",
                    ),
                ),
                ("youngest", models.PositiveSmallIntegerField(blank=True, null=True, verbose_name="youngest age")),
                (
                    "oldest",
                    models.PositiveSmallIntegerField(
                        blank=True, help_text="On the first day.", null=True, verbose_name="oldest age"
                    ),
                ),
                (
                    "refund",
                    models.CharField(
                        choices=[("nothing", "Nothing"), ("months", "The club's part of the whole months left")],
                        default="nothing",
                        max_length=8,
                        verbose_name="who leaves early gets back",
                    ),
                ),
                (
                    "remind_days",
                    models.PositiveSmallIntegerField(
                        default=30,
                        help_text="So many days before the end the household is reminded to renew.",
                        validators=[django.core.validators.MaxValueValidator(366)],
                        verbose_name="days of notice",
                    ),
                ),
                (
                    "grace_days",
                    models.PositiveSmallIntegerField(
                        default=30,
                        help_text="So many days after the end it can still be renewed; then it has lapsed.",
                        validators=[django.core.validators.MaxValueValidator(366)],
                        verbose_name="days of grace",
                    ),
                ),
                (
                    "fee_item",
                    models.ForeignKey(
                        limit_choices_to={"kind": "membership"},
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="fees.feeitem",
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("months__gte", 1)), name="membership_plan_has_months"),
                    models.CheckConstraint(
                        condition=models.Q(("sibling_percent__lte", 100)), name="membership_discount_at_most_all"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("season_ends_month", None),
                            models.Q(("season_ends_month__gte", 1), ("season_ends_month__lte", 12)),
                            _connector="OR",
                        ),
                        name="membership_season_ends_in_a_month",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("season_ends_month", None), ("months__lte", 12), _connector="OR"),
                        name="membership_season_within_a_year",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("grace_days__lte", 366), ("remind_days__lte", 366)),
                        name="membership_renewed_within_a_year",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Membership",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("starts_on", models.DateField()),
                ("ends_on", models.DateField()),
                ("months", models.PositiveSmallIntegerField(default=12)),
                ("fee", clubdesk.money.Cents(default=clubdesk.money.nil)),
                (
                    "passed_on",
                    clubdesk.money.Cents(default=clubdesk.money.nil, verbose_name="of it to the associations"),
                ),
                ("working", models.CharField(blank=True, max_length=200, verbose_name="how the fee came about")),
                ("sibling", models.BooleanField(default=False, verbose_name="with the sibling discount")),
                ("ended_on", models.DateField(blank=True, null=True, verbose_name="left on")),
                ("cancelled_on", models.DateField(blank=True, null=True)),
                ("end_reason", models.CharField(blank=True, max_length=150, verbose_name="why")),
                (
                    "changed_from",
                    models.ForeignKey(
                        blank=True,
                        help_text="The plan before.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="membership.membership",
                    ),
                ),
                (
                    "charge",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="membership",
                        to="fees.charge",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="memberships", to="roll.person"
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
                    "plan",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="memberships", to="membership.plan"
                    ),
                ),
            ],
            options={
                "ordering": ["-starts_on", "-pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("ends_on__gte", models.F("starts_on"))), name="membership_order"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("fee__gte", models.F("passed_on")), ("passed_on__gte", 0)),
                        name="membership_fee_covers_what_is_passed_on",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("cancelled_on", None)),
                        fields=("person", "starts_on"),
                        name="membership_once_from_a_day",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("cancelled_on", None)),
                        fields=("changed_from",),
                        name="membership_changed_once",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Remittance",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("amount", clubdesk.money.Cents()),
                ("through", models.DateField(null=True, verbose_name="for fees started by")),
                ("paid_on", models.DateField()),
                (
                    "association",
                    models.ForeignKey(
                        limit_choices_to={"kind": "association"},
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="ledger.party",
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
                "verbose_name": "affiliation remittance",
                "ordering": ["-paid_on", "-pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="membership_remits_above_nil")
                ],
            },
        ),
        migrations.CreateModel(
            name="RemittanceLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("amount", clubdesk.money.Cents()),
                (
                    "remittance",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="membership.remittance"
                    ),
                ),
                (
                    "share",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="remittance_lines",
                        to="fees.chargeshare",
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.UniqueConstraint(fields=("remittance", "share"), name="membership_remits_a_share_once"),
                    models.CheckConstraint(
                        condition=models.Q(("amount", 0), _negated=True), name="membership_remits_something"
                    ),
                ],
            },
        ),
    ]
