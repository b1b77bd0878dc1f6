from django.db import migrations, models


def date_them(apps, schema_editor):
    """What a receipt paid it has paid since it came in, or since there was something to pay."""
    allocation = apps.get_model("fees", "Allocation")
    for row in allocation.objects.select_related("receipt", "charge", "repayment").iterator(chunk_size=2000):
        since = row.charge.charged_on if row.charge_id else row.repayment.paid_on
        allocation.objects.filter(pk=row.pk).update(used_on=max(row.receipt.received_on, since))


class Migration(migrations.Migration):
    dependencies = [("fees", "0010_paid_back")]

    operations = [
        migrations.AddField("allocation", "used_on", models.DateField(null=True)),
        migrations.AddField("allocation", "freed_on", models.DateField(blank=True, null=True)),
        migrations.RunPython(date_them, migrations.RunPython.noop),
    ]
