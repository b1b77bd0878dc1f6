"""What each membership costs is written with it, and what was remitted stands member by member, the oldest first."""

from decimal import Decimal

from django.db import migrations
from django.db.models import F, Q, Sum

NIL = Decimal(0)


def figure(amount):
    """The figure of an amount, whichever way it was read."""
    return Decimal(getattr(amount, "amount", amount))


def write_fees(apps, schema_editor):
    membership = apps.get_model("membership", "Membership")
    rows = membership.objects.exclude(charge=None).order_by("pk")
    for pk, charge, amount, months in rows.values_list("pk", "charge", "charge__price__amount", "plan__months"):
        shares = apps.get_model("fees", "FeeShare").objects.filter(price__charges=charge, party__isnull=False)
        passed = round(shares.aggregate(sum=Sum("amount"))["sum"] or NIL, 2)
        membership.objects.filter(pk=pk).update(
            fee=figure(amount), passed_on=passed, months=months, working=f"{figure(amount):.2f}"
        )


def write_lines(apps, schema_editor):
    """Fees that stand come first; what was taken back takes the rest, to be deducted from the next remittance."""
    remittance, line = (apps.get_model("membership", name) for name in ("Remittance", "RemittanceLine"))
    shares = apps.get_model("fees", "ChargeShare").objects.filter(party__isnull=False)
    started = Q(charge__recognised_on__isnull=False) | Q(charge__starts_on__lte=F("charge__charged_on"))
    credited = shares.filter(started).annotate(credited=Sum("charge__credits__amount"))
    rows = [
        (credit is not None and credit >= figure(charged), pk, figure(amount), party)
        for pk, amount, party, charged, credit in credited.order_by("charge__starts_on", "pk").values_list(
            "pk", "amount", "party", "charge__amount", "credited"
        )
    ]
    left = {pk: amount for _, pk, amount, _ in sorted(rows, key=lambda row: row[0])}
    party = {pk: owner for _, pk, _, owner in rows}
    for document in remittance.objects.order_by("paid_on", "pk"):
        rest = figure(remittance.objects.filter(pk=document.pk).values_list("amount", flat=True)[0])
        for pk in [pk for pk, amount in left.items() if amount and party[pk] == document.association_id]:
            part = min(rest, left[pk])
            if part:
                line.objects.create(remittance=document, share_id=pk, amount=part, currency=document.currency)
            left[pk] -= part
            rest -= part


class Migration(migrations.Migration):
    dependencies = [("membership", "0002_plans_and_terms"), ("fees", "0007_shares_of_charges")]

    operations = [
        migrations.RunPython(write_fees, migrations.RunPython.noop),
        migrations.RunPython(write_lines, migrations.RunPython.noop),
    ]
