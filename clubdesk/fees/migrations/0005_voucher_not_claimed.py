from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("fees", "0004_vouchers_answered")]

    operations = [
        migrations.RemoveConstraint("voucher", "fees_voucher_code_once"),
        migrations.RenameField("voucher", "refused_on", "ended_on"),
        migrations.RenameField("voucher", "refusal_reason", "end_reason"),
        migrations.AlterField(
            "voucher", "ended_on", models.DateField(blank=True, null=True, verbose_name="refused or released on")
        ),
        migrations.AlterField(
            "voucher", "end_reason", models.CharField(blank=True, max_length=150, verbose_name="why")
        ),
        migrations.AlterField(
            "voucher",
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
        migrations.AddConstraint(
            "voucher",
            models.UniqueConstraint(
                condition=models.Q(("state__in", ("refused", "released")), _negated=True),
                fields=("scheme", "code"),
                name="fees_voucher_code_once",
            ),
        ),
    ]
