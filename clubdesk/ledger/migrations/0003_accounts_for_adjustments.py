from django.db import migrations

WANTED = [
    ("1120", "Allowance for fees not expected", "allowance"),
    ("1200", "Prepayments", "prepayments"),
    ("1210", "Stock of course materials", "stock"),
    ("1900", "Not explained yet", "suspense"),
]


def add_accounts(apps, schema_editor):
    """A book that was begun before adjustments had pages gets the accounts they post to, where the codes are free."""
    if not apps.get_model("ledger", "Book").objects.exists():
        return
    account = apps.get_model("ledger", "Account")
    for code, name, role in WANTED:
        if not account.objects.filter(code=code).exists():
            account.objects.create(code=code, name=name, kind="asset", role=role)


class Migration(migrations.Migration):
    dependencies = [("ledger", "0002_journals_with_documents")]

    operations = [migrations.RunPython(add_accounts, migrations.RunPython.noop)]
