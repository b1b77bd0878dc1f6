import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import clubdesk.evidence
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
            name="Expense",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("decided_on", models.DateField(blank=True, null=True)),
                ("decision_reason", models.CharField(blank=True, max_length=200)),
                ("paid_on", models.DateField(blank=True, null=True)),
                ("payment_reference", models.CharField(blank=True, max_length=60)),
                (
                    "times_returned",
                    models.PositiveSmallIntegerField(default=0, verbose_name="payments returned by the bank"),
                ),
                ("what", models.CharField(max_length=120, verbose_name="what for")),
                ("amount", clubdesk.money.Cents()),
                ("spent_on", models.DateField()),
                ("receipt", models.FileField(upload_to=clubdesk.evidence.evidence_path)),
                ("receipt_type", models.CharField(max_length=20)),
                ("receipt_digest", models.CharField(max_length=64)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("recorded", "Waiting for a decision"),
                            ("approved", "Approved"),
                            ("declined", "Declined"),
                            ("paid", "Paid"),
                        ],
                        default="recorded",
                        max_length=8,
                    ),
                ),
                (
                    "account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ledger.account"
                    ),
                ),
                (
                    "decided_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "fund",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ledger.fund"),
                ),
                (
                    "household",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="expenses",
                        to="roll.household",
                        verbose_name="volunteer’s household",
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
                "ordering": ["-spent_on", "-pk"],
                "permissions": [("decide_expense", "Can approve or decline a volunteer’s expense")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ("recorded", "approved", "paid", "declined"))),
                        name="expenses_state_is_one",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("state", "declined"), _negated=True),
                        fields=("receipt_digest",),
                        name="expenses_one_claim_a_receipt",
                    ),
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="expenses_above_nil"),
                    models.CheckConstraint(
                        condition=models.Q(("what", ""), _negated=True), name="expenses_say_what_for"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("decided_by", None),
                            models.Q(("decided_by", models.F("recorded_by")), _negated=True),
                            _connector="OR",
                        ),
                        name="expenses_nobody_decides_what_they_recorded",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("decided_by", None), ("state", "recorded")),
                            models.Q(
                                ("decided_by__isnull", False),
                                ("decided_on__isnull", False),
                                ("state__in", ("approved", "declined", "paid")),
                            ),
                            _connector="OR",
                        ),
                        name="expenses_decision_has_a_person_and_a_day",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "declined"), _negated=True),
                            models.Q(("decision_reason", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="expenses_declined_with_a_reason",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("paid_on__isnull", False), ("state", "paid")),
                            models.Q(models.Q(("state", "paid"), _negated=True), ("paid_on", None)),
                            _connector="OR",
                        ),
                        name="expenses_paid_has_a_day",
                    ),
                ],
            },
        ),
    ]
