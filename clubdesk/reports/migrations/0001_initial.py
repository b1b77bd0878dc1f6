import django.db.models.deletion
from django.db import migrations, models

import clubdesk.money


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("ledger", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="MonthTrace",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("month_end", models.DateField()),
                (
                    "what",
                    models.CharField(
                        choices=[
                            ("cash", "Money"),
                            ("account", "A balance sheet account"),
                            ("between", "Moved between lines"),
                            ("hand", "By hand"),
                        ],
                        max_length=7,
                    ),
                ),
                ("amount", clubdesk.money.Cents()),
                (
                    "against",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ledger.account"
                    ),
                ),
                (
                    "fund",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ledger.fund"),
                ),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ledger.account"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("month_end", "fund", "line", "against"), name="reports_trace_of_an_account_once"
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("against", None)),
                        fields=("month_end", "fund", "line", "what"),
                        name="reports_trace_of_money_once",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("against__isnull", False), ("what", "account")),
                            models.Q(models.Q(("what", "account"), _negated=True), ("against", None)),
                            _connector="OR",
                        ),
                        name="reports_trace_is_one_thing",
                    ),
                ],
            },
        ),
    ]
