"""Each charge keeps what others get of it, as its price said when it was charged.

What was credited of a charge until now came off the shares in proportion; so a share stands at what was left of it.
"""

from decimal import ROUND_HALF_UP, Decimal

from django.db import migrations
from django.db.models import Sum

CENT = Decimal("0.01")


def figure(amount):
    """The figure of an amount, whichever way it was read."""
    return Decimal(getattr(amount, "amount", amount))


def copy_shares(apps, schema_editor):
    charge, share, own = (apps.get_model("fees", name) for name in ("Charge", "FeeShare", "ChargeShare"))
    by_price = {}
    for row in share.objects.order_by("pk"):
        by_price.setdefault(row.price_id, []).append(row)
    for price, shares in by_price.items():
        charges = (
            charge.objects.filter(price=price, shares=None).annotate(credited=Sum("credits__amount")).order_by("pk")
        )
        for pk, amount, credited in charges.values_list("pk", "amount", "credited"):
            amount, left = figure(amount), figure(amount) - (credited or 0)
            part = left / amount if left > 0 else 1
            own.objects.bulk_create(
                own(charge_id=pk, account_id=row.account_id, party_id=row.party_id, currency=row.currency,
                    amount=(figure(row.amount) * part).quantize(CENT, ROUND_HALF_UP))
                for row in shares
                if (figure(row.amount) * part).quantize(CENT, ROUND_HALF_UP)
            )  # fmt: skip


class Migration(migrations.Migration):
    dependencies = [("fees", "0006_charge_shares")]

    operations = [migrations.RunPython(copy_shares, migrations.RunPython.noop)]
