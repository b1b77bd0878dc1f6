from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("yearend", "0002_disposals")]

    operations = [
        migrations.RemoveField(model_name="equipment", name="disposed_on"),
        migrations.AddField(
            model_name="equipment",
            name="withdraw_reason",
            field=models.CharField(blank=True, editable=False, max_length=150, verbose_name="why"),
        ),
        migrations.AddField(
            model_name="equipment",
            name="withdrawn_on",
            field=models.DateField(blank=True, editable=False, null=True, verbose_name="typed wrongly, taken out on"),
        ),
    ]
