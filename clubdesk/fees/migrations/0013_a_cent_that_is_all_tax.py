from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("fees", "0012_vouchers_given_back")]

    operations = [
        migrations.RemoveConstraint(model_name="chargecredit", name="fees_credit_tax_within_it"),
        migrations.AddConstraint(
            model_name="chargecredit",
            constraint=models.CheckConstraint(
                condition=models.Q(("tax__gte", 0), ("tax__lte", models.F("amount"))), name="fees_credit_tax_within_it"
            ),
        ),
    ]
