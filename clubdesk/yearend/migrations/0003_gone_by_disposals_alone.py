from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("yearend", "0002_disposals")]

    operations = [migrations.RemoveField(model_name="equipment", name="disposed_on")]
