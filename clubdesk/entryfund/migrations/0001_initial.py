import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import clubdesk.entryfund.models
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
            name="CalendarLink",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(help_text="Whom it is for, such as: families, coaches.", max_length=60)),
                (
                    "secret",
                    models.CharField(
                        default=clubdesk.entryfund.models._secret, editable=False, max_length=40, unique=True
                    ),
                ),
                (
                    "ended_on",
                    models.DateField(blank=True, help_text="From this day the address answers nobody.", null=True),
                ),
            ],
            options={
                "ordering": ["name", "pk"],
            },
        ),
        migrations.CreateModel(
            name="BagCount",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("counted_on", models.DateField()),
                ("bags", models.PositiveIntegerField()),
                (
                    "containers",
                    models.PositiveIntegerField(
                        help_text="In all bags together, as you judge it.", verbose_name="containers, about"
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
                "verbose_name": "count of bags waiting",
                "verbose_name_plural": "counts of bags waiting",
                "ordering": ["-counted_on", "-pk"],
            },
        ),
        migrations.CreateModel(
            name="EntryClaim",
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
                ("amount", clubdesk.money.Cents()),
                ("receipt_amount", clubdesk.money.Cents(blank=True, null=True, verbose_name="the receipt says")),
                ("entry_shown", models.BooleanField(default=True, verbose_name="the entry is shown")),
                ("by_family", models.BooleanField(default=False, verbose_name="sent by the family")),
                ("claimed_on", models.DateField()),
                ("receipt", models.FileField(upload_to=clubdesk.evidence.evidence_path)),
                ("receipt_type", models.CharField(max_length=20)),
                ("receipt_digest", models.CharField(max_length=64)),
                ("upload_digest", models.CharField(blank=True, editable=False, max_length=64)),
                ("question", models.CharField(blank=True, max_length=200)),
                ("answer", models.CharField(blank=True, max_length=200)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("recorded", "Waiting for a decision"),
                            ("asked", "More is asked for"),
                            ("approved", "Approved"),
                            ("declined", "Declined"),
                            ("paid", "Paid"),
                        ],
                        default="recorded",
                        max_length=8,
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
                    "household",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="entry_claims", to="roll.household"
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="entry_claims", to="roll.person"
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
                "ordering": ["-claimed_on", "-pk"],
                "permissions": [("decide_entryclaim", "Can approve or decline an entry claim")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ("recorded", "asked", "approved", "paid", "declined"))),
                        name="entryfund_claim_state_is_one",
                    ),
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="entryfund_claim_above_nil"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("decided_by", None),
                            models.Q(("decided_by", models.F("recorded_by")), _negated=True),
                            _connector="OR",
                        ),
                        name="entryfund_nobody_decides_what_they_recorded",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("decided_by", None), ("state__in", ("recorded", "asked"))),
                            models.Q(
                                ("decided_by__isnull", False),
                                ("decided_on__isnull", False),
                                ("state__in", ("approved", "declined", "paid")),
                            ),
                            _connector="OR",
                        ),
                        name="entryfund_decision_has_a_person_and_a_day",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "asked"), _negated=True),
                            models.Q(("question", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="entryfund_asked_what",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "declined"), _negated=True),
                            models.Q(("decision_reason", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="entryfund_declined_with_a_reason",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("paid_on__isnull", False), ("state", "paid")),
                            models.Q(models.Q(("state", "paid"), _negated=True), ("paid_on", None)),
                            _connector="OR",
                        ),
                        name="entryfund_paid_has_a_day",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="MoreEvidence",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("file", models.FileField(upload_to=clubdesk.evidence.evidence_path)),
                ("file_type", models.CharField(max_length=20)),
                ("file_digest", models.CharField(max_length=64)),
                (
                    "claim",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="more", to="entryfund.entryclaim"
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
                "verbose_name_plural": "more evidence",
                "ordering": ["pk"],
            },
        ),
        migrations.CreateModel(
            name="StateEvent",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=80)),
                (
                    "discipline",
                    models.CharField(
                        choices=[("clout", "Clout"), ("field", "Field"), ("target", "Target"), ("indoor", "Indoor")],
                        max_length=6,
                    ),
                ),
                ("held_on", models.DateField(verbose_name="first day")),
                (
                    "ends_on",
                    models.DateField(
                        blank=True, help_text="Blank: it lasts one day.", null=True, verbose_name="last day"
                    ),
                ),
                ("entries_close", models.DateField()),
                (
                    "fee",
                    clubdesk.money.Cents(
                        help_text="For every age class that has none of its own below.", verbose_name="entry fee"
                    ),
                ),
                ("refund_up_to", clubdesk.money.Cents(blank=True, help_text="Blank: the whole entry fee.", null=True)),
                ("refunded", models.BooleanField(default=True, help_text="Whether the entry fund refunds this event.")),
                (
                    "oldest_class",
                    models.CharField(
                        choices=[
                            ("Under 14", "Under 14"),
                            ("Under 16", "Under 16"),
                            ("Under 18", "Under 18"),
                            ("Under 21", "Under 21"),
                        ],
                        default="Under 21",
                        max_length=8,
                        verbose_name="oldest class refunded",
                    ),
                ),
            ],
            options={
                "ordering": ["-held_on"],
                "constraints": [
                    models.UniqueConstraint(fields=("name", "held_on"), name="entryfund_event_once_a_day"),
                    models.CheckConstraint(
                        condition=models.Q(("entries_close__lte", models.F("held_on"))), name="entryfund_event_order"
                    ),
                    models.CheckConstraint(condition=models.Q(("fee__gt", 0)), name="entryfund_event_fee_above_nil"),
                    models.CheckConstraint(
                        condition=models.Q(("ends_on", None), ("ends_on__gte", models.F("held_on")), _connector="OR"),
                        name="entryfund_event_ends_after_it_starts",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("refund_up_to", None), ("refund_up_to__gt", 0), _connector="OR"),
                        name="entryfund_event_refund_above_nil",
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="entryclaim",
            name="event",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="claims", to="entryfund.stateevent"
            ),
        ),
        migrations.CreateModel(
            name="ContainerReturn",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("returned_on", models.DateField()),
                ("containers", models.PositiveIntegerField(help_text="As counted by the club.")),
                ("amount", clubdesk.money.Cents(help_text="As the depot's receipt says.")),
                (
                    "paid_into",
                    models.CharField(choices=[("bank", "The bank"), ("till", "The till, in cash")], max_length=4),
                ),
                ("depot_receipt", models.CharField(blank=True, max_length=60, verbose_name="depot receipt number")),
                (
                    "receipt",
                    models.FileField(
                        blank=True, upload_to=clubdesk.evidence.evidence_path, verbose_name="depot receipt"
                    ),
                ),
                ("receipt_type", models.CharField(blank=True, max_length=20)),
                ("receipt_digest", models.CharField(blank=True, max_length=64)),
                ("cancelled_on", models.DateField(blank=True, null=True)),
                ("cancel_reason", models.CharField(blank=True, max_length=150)),
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
                "ordering": ["-returned_on", "-pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="entryfund_return_above_nil"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("cancelled_on", None), models.Q(("cancel_reason", ""), _negated=True), _connector="OR"
                        ),
                        name="entryfund_return_cancelled_with_a_reason",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="FundTransfer",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("amount", clubdesk.money.Cents()),
                ("moved_on", models.DateField()),
                (
                    "minute",
                    models.CharField(
                        help_text="The meeting and its minute, as the club names them.",
                        max_length=150,
                        verbose_name="decided",
                    ),
                ),
                (
                    "from_fund",
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
                (
                    "to_fund",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ledger.fund"),
                ),
            ],
            options={
                "ordering": ["-moved_on", "-pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="entryfund_moves_above_nil"),
                    models.CheckConstraint(
                        condition=models.Q(("from_fund", models.F("to_fund")), _negated=True),
                        name="entryfund_moves_between_two_funds",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("minute", ""), _negated=True), name="entryfund_moved_by_a_decision"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="EventFee",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "age_class",
                    models.CharField(
                        choices=[
                            ("Under 14", "Under 14"),
                            ("Under 16", "Under 16"),
                            ("Under 18", "Under 18"),
                            ("Under 21", "Under 21"),
                        ],
                        max_length=8,
                    ),
                ),
                ("amount", clubdesk.money.Cents(verbose_name="entry fee")),
                (
                    "event",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="fees", to="entryfund.stateevent"
                    ),
                ),
            ],
            options={
                "verbose_name": "fee of an age class",
                "verbose_name_plural": "fees of age classes",
                "ordering": ["pk"],
                "constraints": [
                    models.UniqueConstraint(fields=("event", "age_class"), name="entryfund_one_fee_a_class"),
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="entryfund_class_fee_above_nil"),
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="entryclaim",
            constraint=models.UniqueConstraint(
                condition=models.Q(("state", "declined"), _negated=True),
                fields=("person", "event"),
                name="entryfund_one_claim_a_junior_and_event",
            ),
        ),
    ]
