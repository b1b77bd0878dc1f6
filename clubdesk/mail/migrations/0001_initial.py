import django.db.models.deletion
from django.db import migrations, models

import clubdesk.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("roll", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Message",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("about", models.CharField(editable=False, max_length=120, unique=True)),
                ("to", models.EmailField(blank=True, max_length=254)),
                ("subject", models.CharField(max_length=150)),
                ("body", models.TextField()),
                ("link_path", models.CharField(blank=True, editable=False, max_length=200)),
                ("written_at", models.DateTimeField(default=clubdesk.clock.now)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("waiting", "Waiting to go out"),
                            ("sending", "Going out"),
                            ("sent", "Sent"),
                            ("failed", "Could not be sent"),
                            ("no_address", "No e-mail address"),
                        ],
                        default="waiting",
                        max_length=10,
                    ),
                ),
                ("tries", models.PositiveSmallIntegerField(default=0)),
                ("next_try_at", models.DateTimeField(default=clubdesk.clock.now)),
                ("tried_at", models.DateTimeField(blank=True, null=True, verbose_name="last try")),
                ("sent_at", models.DateTimeField(blank=True, null=True)),
                ("outcome", models.CharField(blank=True, max_length=200)),
                (
                    "household",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="messages",
                        to="roll.household",
                    ),
                ),
            ],
            options={
                "verbose_name": "letter",
                "ordering": ["-written_at", "-pk"],
                "indexes": [models.Index(fields=["state", "next_try_at"], name="mail_messag_state_ed3ed2_idx")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "sent"), _negated=True), ("sent_at__isnull", False), _connector="OR"
                        ),
                        name="mail_sent_has_a_time",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("to", ""), _negated=True), ("state", "no_address"), _connector="OR"
                        ),
                        name="mail_goes_to_an_address",
                    ),
                ],
            },
        ),
    ]
