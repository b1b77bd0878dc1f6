import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "__first__"),
        ("ledger", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Household",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "name",
                    models.CharField(
                        help_text="As you would say it: “the Mirabar family”.", max_length=100, verbose_name="household"
                    ),
                ),
                (
                    "party",
                    models.OneToOneField(
                        editable=False, on_delete=django.db.models.deletion.PROTECT, to="ledger.party"
                    ),
                ),
                (
                    "users",
                    models.ManyToManyField(
                        blank=True,
                        help_text="Whoever signs in here and belongs to this household never decides about its money.",
                        related_name="households",
                        to=settings.AUTH_USER_MODEL,
                        verbose_name="sign-ins of this household",
                    ),
                ),
            ],
            options={
                "ordering": ["name", "pk"],
            },
        ),
        migrations.CreateModel(
            name="Guardian",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=100)),
                ("email", models.EmailField(blank=True, max_length=254)),
                ("phone", models.CharField(blank=True, max_length=30)),
                (
                    "household",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="guardians", to="roll.household"
                    ),
                ),
            ],
            options={
                "ordering": ["household", "pk"],
            },
        ),
        migrations.CreateModel(
            name="Consent",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(editable=False, null=True, unique=True)),
                ("given_by", models.CharField(max_length=100)),
                ("wording", models.TextField()),
                ("given_at", models.DateTimeField(auto_now_add=True)),
                (
                    "household",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="consents", to="roll.household"
                    ),
                ),
            ],
            options={
                "ordering": ["-given_at", "-pk"],
            },
        ),
        migrations.CreateModel(
            name="Person",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("given_name", models.CharField(max_length=60)),
                ("family_name", models.CharField(max_length=60)),
                ("birth_date", models.DateField(verbose_name="date of birth")),
                ("erased_on", models.DateField(blank=True, editable=False, null=True)),
                (
                    "household",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="people", to="roll.household"
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "people",
                "ordering": ["family_name", "given_name", "pk"],
                "permissions": [("erase_person", "Can erase a person's details after the years of keeping")],
            },
        ),
    ]
