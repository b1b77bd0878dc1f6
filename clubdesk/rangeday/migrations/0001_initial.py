import uuid

import django.db.models.deletion
import django.db.models.functions.text
from django.conf import settings
from django.db import migrations, models

import clubdesk.money
import clubdesk.rangeday.models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "__first__"),
        ("fees", "0001_initial"),
        ("roll", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="SafetyText",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("in_force_from", models.DateField()),
                ("text", models.TextField(max_length=3000)),
            ],
            options={
                "verbose_name": "set of safety rules",
                "verbose_name_plural": "safety rules for visitors",
                "ordering": ["-in_force_from", "-pk"],
            },
        ),
        migrations.CreateModel(
            name="Kit",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(help_text="As it is written on the piece.", max_length=12)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("bow", "Bow"),
                            ("sight", "Sight"),
                            ("arrows", "Set of arrows"),
                            ("tab", "Finger tab"),
                            ("arm_guard", "Arm guard"),
                            ("chest_guard", "Chest guard"),
                            ("quiver", "Quiver"),
                            ("other", "Other"),
                        ],
                        max_length=11,
                    ),
                ),
                (
                    "description",
                    models.CharField(blank=True, help_text="Such as: 66 inch, 18 pounds, right hand.", max_length=80),
                ),
                (
                    "check_after",
                    models.PositiveSmallIntegerField(
                        blank=True,
                        help_text="Blank: only when somebody asks for it.",
                        null=True,
                        verbose_name="check after so many uses",
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("usable", "Fit for use"),
                            ("set_aside", "Set aside as unsafe"),
                            ("retired", "Retired"),
                        ],
                        default="usable",
                        editable=False,
                        max_length=9,
                    ),
                ),
            ],
            options={
                "verbose_name": "piece of kit",
                "verbose_name_plural": "kit",
                "ordering": ["kind", "number"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ("usable", "set_aside", "retired"))),
                        name="rangeday_kit_state_is_one",
                    ),
                    models.UniqueConstraint(
                        django.db.models.functions.text.Upper("number"),
                        name="rangeday_kit_number_once",
                        violation_error_message="A piece of kit carries this number already; write another on it.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="OwnGearCost",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("since", models.DateField(unique=True)),
                (
                    "amount",
                    clubdesk.money.Cents(
                        help_text="A plain bow, arrows, tab and arm guard, second hand or new, as you would advise."
                    ),
                ),
            ],
            options={
                "verbose_name": "cost of own gear",
                "verbose_name_plural": "costs of own gear",
                "ordering": ["-since"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("amount__gt", 0)), name="rangeday_own_gear_costs_something"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="RangeDay",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("date", models.DateField()),
                ("place", models.CharField(default="Main range", max_length=60, verbose_name="range")),
                ("closed_on", models.DateField(blank=True, editable=False, null=True)),
                ("called_off_on", models.DateField(blank=True, editable=False, null=True)),
                ("called_off_reason", models.CharField(blank=True, editable=False, max_length=150)),
            ],
            options={
                "ordering": ["-date", "place"],
                "permissions": [("close_rangeday", "Can count the till and close a range day")],
                "constraints": [
                    models.UniqueConstraint(fields=("date", "place"), name="rangeday_once_a_range"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("called_off_on", None), models.Q(("called_off_reason", ""), _negated=True), _connector="OR"
                        ),
                        name="rangeday_called_off_for_a_reason",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Tap",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("tapped_at", models.DateTimeField()),
                (
                    "act",
                    models.CharField(
                        choices=[("sign_on", "Signed on"), ("give", "Kit given out"), ("back", "Kit given back")],
                        default="sign_on",
                        max_length=7,
                    ),
                ),
                (
                    "holder",
                    models.UUIDField(
                        blank=True,
                        help_text="Of kit given out: the key of whose sign-on, or of the tap that signed them on.",
                        null=True,
                    ),
                ),
                (
                    "gear",
                    models.CharField(
                        choices=[("own", "Own gear"), ("hire", "Hired gear"), ("visitor", "Visitor with gear")],
                        default="own",
                        max_length=7,
                    ),
                ),
                (
                    "paid",
                    models.CharField(
                        choices=[
                            ("nothing", "Nothing to pay"),
                            ("cash", "Cash"),
                            ("card", "Card"),
                            ("account", "On account"),
                        ],
                        default="nothing",
                        max_length=7,
                    ),
                ),
                ("people", clubdesk.rangeday.models.PeopleField(blank=True, default=list)),
                ("visitor_name", models.CharField(blank=True, max_length=100)),
                ("visitor_guardian", models.CharField(blank=True, max_length=100)),
                ("visitor_phone", models.CharField(blank=True, max_length=30)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("done", "Done"),
                            ("undone", "Undone"),
                            ("question", "To be answered"),
                            ("answered", "Answered"),
                        ],
                        default="done",
                        max_length=8,
                    ),
                ),
                ("question", models.CharField(blank=True, max_length=300)),
                ("answer", models.CharField(blank=True, max_length=150)),
                ("answered_on", models.DateField(blank=True, null=True)),
                (
                    "answered_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "kit",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="rangeday.kit",
                    ),
                ),
                (
                    "range_day",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="taps", to="rangeday.rangeday"
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
                    "safety",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="rangeday.safetytext",
                    ),
                ),
            ],
            options={
                "verbose_name": "tap on a phone",
                "verbose_name_plural": "taps on phones",
                "ordering": ["-pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ("done", "question", "answered", "undone"))),
                        name="rangeday_tap_state_is_one",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "answered"), _negated=True),
                            models.Q(models.Q(("answer", ""), _negated=True), ("answered_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="rangeday_answered_by_somebody",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "question"), _negated=True),
                            models.Q(("question", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="rangeday_question_says_what",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SignOn",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("visitor_name", models.CharField(blank=True, max_length=100)),
                ("visitor_guardian", models.CharField(blank=True, max_length=100)),
                ("visitor_phone", models.CharField(blank=True, max_length=30)),
                (
                    "gear",
                    models.CharField(
                        choices=[("own", "Own gear"), ("hire", "Hired gear"), ("visitor", "Visitor with gear")],
                        max_length=7,
                    ),
                ),
                ("amount", clubdesk.money.Cents(default=clubdesk.money.nil)),
                ("rounding", clubdesk.money.Cents(default=clubdesk.money.nil, verbose_name="cash rounding")),
                (
                    "paid",
                    models.CharField(
                        choices=[
                            ("nothing", "Nothing to pay"),
                            ("cash", "Cash"),
                            ("card", "Card"),
                            ("account", "On account"),
                        ],
                        max_length=7,
                    ),
                ),
                ("cancelled_on", models.DateField(blank=True, null=True)),
                ("cancel_reason", models.CharField(blank=True, max_length=150)),
                (
                    "charge",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sign_on",
                        to="fees.charge",
                    ),
                ),
                (
                    "corrects",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="rangeday.signon",
                    ),
                ),
                (
                    "moved_from",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="moved_to",
                        to="rangeday.signon",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sign_ons",
                        to="roll.person",
                    ),
                ),
                (
                    "price",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="fees.feeprice",
                    ),
                ),
                (
                    "range_day",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="sign_ons", to="rangeday.rangeday"
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
                    "safety",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="rangeday.safetytext",
                        verbose_name="safety rules agreed to",
                    ),
                ),
                (
                    "tap",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sign_ons",
                        to="rangeday.tap",
                    ),
                ),
            ],
            options={
                "verbose_name": "sign-on",
                "ordering": ["-range_day__date", "-pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("cancelled_on", None)),
                        fields=("range_day", "person"),
                        name="rangeday_one_sign_on_a_person_and_day",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("person__isnull", False), models.Q(("visitor_name", ""), _negated=True), _connector="OR"
                        ),
                        name="rangeday_sign_on_names_somebody",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("amount", 0), ("paid", "nothing")),
                            models.Q(models.Q(("paid", "nothing"), _negated=True), ("amount__gt", 0)),
                            _connector="OR",
                        ),
                        name="rangeday_paid_as_owed",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("paid", "account"), _negated=True), ("charge__isnull", False), _connector="OR"
                        ),
                        name="rangeday_account_is_charged",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("paid", "cash"), ("rounding", 0), _connector="OR"),
                        name="rangeday_only_cash_is_rounded",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="TillCount",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("opening", clubdesk.money.Cents(default=clubdesk.money.nil, verbose_name="float")),
                ("expected", clubdesk.money.Cents()),
                ("counted", clubdesk.money.Cents()),
                (
                    "card_receipts",
                    clubdesk.money.Cents(default=clubdesk.money.nil, verbose_name="households' fees on the slip"),
                ),
                ("card_expected", clubdesk.money.Cents(default=clubdesk.money.nil, verbose_name="expected by card")),
                ("card_slip", clubdesk.money.Cents(default=clubdesk.money.nil, verbose_name="card slip")),
                ("reason", models.CharField(blank=True, max_length=150)),
                ("reopened_on", models.DateField(blank=True, null=True)),
                ("reopen_reason", models.CharField(blank=True, max_length=150)),
                (
                    "range_day",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="till_counts", to="rangeday.rangeday"
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
                (
                    "second_counter",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ["-pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("reopened_on", None)),
                        fields=("range_day",),
                        name="rangeday_one_count_stands",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("card_slip", models.F("card_expected")), ("counted", models.F("expected"))),
                            models.Q(("reason", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="rangeday_difference_has_a_reason",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("second_counter", models.F("recorded_by")), _negated=True),
                        name="rangeday_two_people_count",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("reopened_on", None),
                            models.Q(models.Q(("reopen_reason", ""), _negated=True), ("reopened_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="rangeday_reopened_by_somebody_for_a_reason",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="CountedPiece",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("cents", models.PositiveIntegerField()),
                ("number", models.PositiveIntegerField()),
                (
                    "till_count",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="pieces", to="rangeday.tillcount"
                    ),
                ),
            ],
            options={
                "ordering": ["-cents"],
                "constraints": [
                    models.UniqueConstraint(fields=("till_count", "cents"), name="rangeday_piece_counted_once")
                ],
            },
        ),
        migrations.CreateModel(
            name="Banking",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("amount", clubdesk.money.Cents()),
                ("banked_on", models.DateField()),
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
                "ordering": ["-banked_on", "-pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="rangeday_banks_above_nil")
                ],
            },
        ),
        migrations.CreateModel(
            name="KitCheck",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("checked_on", models.DateField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("usable", "Fit for use"),
                            ("set_aside", "Set aside as unsafe"),
                            ("retired", "Retired"),
                        ],
                        max_length=9,
                        verbose_name="found",
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=150)),
                (
                    "checked_by",
                    models.CharField(
                        blank=True, help_text="Who is qualified to check it.", max_length=80, verbose_name="checked by"
                    ),
                ),
                (
                    "kit",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="checks", to="rangeday.kit"
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
                "ordering": ["-pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "usable"), models.Q(("checked_by", ""), _negated=True)),
                            models.Q(
                                models.Q(("state", "usable"), _negated=True), models.Q(("note", ""), _negated=True)
                            ),
                            _connector="OR",
                        ),
                        name="rangeday_check_says_who_or_why",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="KitLoan",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("given_at", models.DateTimeField()),
                ("back_at", models.DateTimeField(blank=True, null=True)),
                (
                    "kit",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="loans", to="rangeday.kit"
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
                    "sign_on",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="loans", to="rangeday.signon"
                    ),
                ),
            ],
            options={
                "verbose_name": "kit given out",
                "verbose_name_plural": "kit given out",
                "ordering": ["-given_at", "-pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("back_at", None)), fields=("kit",), name="rangeday_kit_is_out_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("back_at", None), ("back_at__gte", models.F("given_at")), _connector="OR"),
                        name="rangeday_kit_back_after_it_went",
                    ),
                ],
            },
        ),
    ]
