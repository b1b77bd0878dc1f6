"""Each charge keeps what others get of it, as its price said when it was charged."""

from django.db import migrations


def copy_shares(apps, schema_editor):
    charge, share, own = (apps.get_model("fees", name) for name in ("Charge", "FeeShare", "ChargeShare"))
    by_price = {}
    for row in share.objects.order_by("pk"):
        by_price.setdefault(row.price_id, []).append(row)
    for price, shares in by_price.items():
        for pk in charge.objects.filter(price=price, shares=None).order_by("pk").values_list("pk", flat=True):
            own.objects.bulk_create(
                own(charge_id=pk, account_id=row.account_id, party_id=row.party_id, amount=row.amount,
                    currency=row.currency)
                for row in shares
            )  # fmt: skip


class Migration(migrations.Migration):
    dependencies = [("fees", "0006_charge_shares")]

    operations = [migrations.RunPython(copy_shares, migrations.RunPython.noop)]
