import uuid

import django.core.validators
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import clubdesk.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "__first__"),
        ("fees", "0001_initial"),
        ("roll", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Course",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=80, unique=True)),
                (
                    "minimum_age",
                    models.PositiveSmallIntegerField(
                        default=0,
                        help_text="On the day of the first session, unless a cohort says otherwise.",
                        validators=[django.core.validators.MaxValueValidator(99)],
                    ),
                ),
                (
                    "offer_days",
                    models.PositiveSmallIntegerField(
                        default=7, help_text="How many days an offered place is held for an answer."
                    ),
                ),
                (
                    "sessions_to_complete",
                    models.PositiveSmallIntegerField(
                        default=3, help_text="How many sessions somebody must have come to for the certificate."
                    ),
                ),
                (
                    "pay_days",
                    models.PositiveSmallIntegerField(
                        blank=True,
                        help_text="A place not paid so many days after it was taken lapses, once the family has been reminded. Blank: places never lapse.",
                        null=True,
                        verbose_name="days to pay",
                    ),
                ),
                (
                    "reminder_days",
                    models.PositiveSmallIntegerField(
                        default=7,
                        help_text="How many days a family has at least after the reminder.",
                        verbose_name="days after the reminder",
                    ),
                ),
                (
                    "on_parents_page",
                    models.BooleanField(
                        default=True,
                        help_text="Whether parents can book it themselves.",
                        verbose_name="on the parents' page",
                    ),
                ),
                (
                    "consent_text",
                    models.TextField(
                        blank=True,
                        help_text="The club's own words, shown above the button of the parents' page and kept with each booking.",
                        verbose_name="what parents agree to",
                    ),
                ),
                (
                    "adult_fee_item",
                    models.ForeignKey(
                        blank=True,
                        help_text="From 18 years on; blank where they pay the same.",
                        limit_choices_to={"kind": "course"},
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="fees.feeitem",
                        verbose_name="fee item of adults",
                    ),
                ),
                (
                    "fee_item",
                    models.ForeignKey(
                        limit_choices_to={"kind": "course"},
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="fees.feeitem",
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("minimum_age__lte", 99)), name="courses_course_age_within_a_life"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Cohort",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=60)),
                ("first_session", models.DateField()),
                ("last_session", models.DateField()),
                ("days_between", models.PositiveSmallIntegerField(default=7, verbose_name="days between sessions")),
                ("capacity", models.PositiveSmallIntegerField(verbose_name="seats")),
                (
                    "minimum_age",
                    models.PositiveSmallIntegerField(
                        blank=True,
                        help_text="On the day of the first session; blank where the course's holds.",
                        null=True,
                        validators=[django.core.validators.MaxValueValidator(99)],
                    ),
                ),
                ("set_up_on", models.DateField(default=clubdesk.clock.today, editable=False)),
                ("cancelled_on", models.DateField(blank=True, editable=False, null=True)),
                ("cancel_reason", models.CharField(blank=True, editable=False, max_length=150)),
                (
                    "course",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="cohorts", to="courses.course"
                    ),
                ),
            ],
            options={
                "ordering": ["-first_session"],
                "constraints": [
                    models.UniqueConstraint(fields=("course", "name"), name="courses_cohort_named_once"),
                    models.CheckConstraint(
                        condition=models.Q(("last_session__gte", models.F("first_session"))),
                        name="courses_cohort_order",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("capacity__gte", 1)), name="courses_cohort_holds_somebody"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("days_between__gte", 1)), name="courses_cohort_sessions_apart"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("minimum_age", None), ("minimum_age__lte", 99), _connector="OR"),
                        name="courses_cohort_age_within_a_life",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Booking",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("booked_on", models.DateField()),
                ("number", models.PositiveIntegerField(verbose_name="booking number")),
                ("rank", models.PositiveBigIntegerField(editable=False)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("held", "Has a place"),
                            ("waiting", "Waiting"),
                            ("offered", "Offered a place"),
                            ("lapsed", "Lapsed"),
                            ("withdrawn", "Withdrawn"),
                        ],
                        default="waiting",
                        max_length=9,
                    ),
                ),
                ("seats", models.PositiveSmallIntegerField(default=1, verbose_name="places wanted or held")),
                (
                    "offer_lapses_on",
                    models.DateField(blank=True, help_text="The last day to accept the offer.", null=True),
                ),
                ("pay_by", models.DateField(blank=True, help_text="An unpaid place lapses after this day.", null=True)),
                ("reminded_on", models.DateField(blank=True, null=True)),
                ("ended_on", models.DateField(blank=True, null=True)),
                (
                    "guardian",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="bookings",
                        to="roll.guardian",
                    ),
                ),
                (
                    "household",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bookings", to="roll.household"
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
                    "cannot_make",
                    models.ManyToManyField(
                        blank=True, related_name="+", to="courses.cohort", verbose_name="cannot make"
                    ),
                ),
                (
                    "course",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bookings", to="courses.course"
                    ),
                ),
            ],
            options={
                "ordering": ["-pk"],
                "indexes": [models.Index(fields=["course", "state", "rank"], name="courses_boo_course__8a8161_idx")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ("waiting", "offered", "held", "lapsed", "withdrawn"))),
                        name="courses_booking_state_is_one",
                    ),
                    models.UniqueConstraint(fields=("course", "number"), name="courses_booking_number_once"),
                    models.UniqueConstraint(fields=("course", "rank"), name="courses_booking_rank_once"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "offered"), _negated=True),
                            ("offer_lapses_on__isnull", False),
                            _connector="OR",
                        ),
                        name="courses_offer_has_an_end",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="PageUse",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("who", models.CharField(max_length=64)),
                ("at", models.DateTimeField(auto_now_add=True)),
            ],
            options={
                "indexes": [models.Index(fields=["who", "at"], name="courses_pag_who_3fa2cb_idx")],
            },
        ),
        migrations.CreateModel(
            name="Place",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("held", "Has a place"),
                            ("waiting", "Waiting"),
                            ("offered", "Offered a place"),
                            ("lapsed", "Lapsed"),
                            ("withdrawn", "Withdrawn"),
                        ],
                        default="waiting",
                        max_length=9,
                    ),
                ),
                ("ended_on", models.DateField(blank=True, null=True)),
                (
                    "booking",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="places", to="courses.booking"
                    ),
                ),
                (
                    "charge",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="place",
                        to="fees.charge",
                    ),
                ),
                (
                    "cohort",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="places",
                        to="courses.cohort",
                    ),
                ),
                (
                    "course",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="places", to="courses.course"
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="places", to="roll.person"
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
                "ordering": ["cohort", "pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ("waiting", "offered", "held", "lapsed", "withdrawn"))),
                        name="courses_place_state_is_one",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("state__in", ("held", "offered"))),
                        fields=("cohort", "person"),
                        name="courses_one_seat_a_person",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("state__in", ("waiting", "offered"))),
                        fields=("course", "person"),
                        name="courses_one_wait_a_person",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state__in", ("held", "offered")), _negated=True),
                            ("cohort__isnull", False),
                            _connector="OR",
                        ),
                        name="courses_a_seat_is_in_a_cohort",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "held"), _negated=True), ("charge__isnull", False), _connector="OR"
                        ),
                        name="courses_held_place_is_charged",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Certificate",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("number", models.CharField(max_length=12, unique=True)),
                ("completed_on", models.DateField(help_text="The session that completed the course.")),
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
                    "place",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="certificate", to="courses.place"
                    ),
                ),
            ],
            options={
                "ordering": ["-pk"],
            },
        ),
        migrations.CreateModel(
            name="Attendance",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("held_on", models.DateField(verbose_name="session")),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="attendances", to="courses.place"
                    ),
                ),
            ],
            options={
                "ordering": ["held_on", "pk"],
                "constraints": [models.UniqueConstraint(fields=("place", "held_on"), name="courses_attendance_once")],
            },
        ),
        migrations.CreateModel(
            name="ReachCheck",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("checked_on", models.DateField()),
                ("checked_by", models.CharField(help_text="Who watched the child draw.", max_length=100)),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="reach_checks", to="roll.person"
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
                "ordering": ["-checked_on", "-pk"],
            },
        ),
        migrations.CreateModel(
            name="RefundStep",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("days_before", models.PositiveSmallIntegerField(verbose_name="days before the first session")),
                (
                    "percent",
                    models.PositiveSmallIntegerField(
                        validators=[django.core.validators.MaxValueValidator(100)],
                        verbose_name="per cent of the fee given back",
                    ),
                ),
                (
                    "course",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="refund_steps", to="courses.course"
                    ),
                ),
            ],
            options={
                "ordering": ["-days_before"],
                "constraints": [
                    models.UniqueConstraint(fields=("course", "days_before"), name="courses_refund_step_once"),
                    models.CheckConstraint(
                        condition=models.Q(("percent__lte", 100)), name="courses_refund_step_at_most_all"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="BookingEvent",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("booked", "Booked"),
                            ("seated", "Given places"),
                            ("offered", "Offered places"),
                            ("passed", "Passed over"),
                            ("accepted", "Accepted"),
                            ("lapsed", "Lapsed"),
                            ("moved", "Moved in the waitlist"),
                            ("returned", "Back on the waitlist"),
                            ("withdrawn", "Withdrawn"),
                            ("transferred", "Transferred"),
                            ("changed", "Changed"),
                            ("reminded", "Reminded"),
                        ],
                        max_length=11,
                    ),
                ),
                ("on", models.DateField()),
                ("words", models.CharField(max_length=300)),
                ("rank_after", models.PositiveBigIntegerField(blank=True, null=True)),
                ("seats", models.PositiveSmallIntegerField(default=0)),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                (
                    "booking",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="events", to="courses.booking"
                    ),
                ),
                (
                    "in_favour_of",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="courses.booking",
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "cohort",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="courses.cohort",
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "indexes": [models.Index(fields=["kind", "on"], name="courses_boo_kind_4c0b7f_idx")],
            },
        ),
    ]
