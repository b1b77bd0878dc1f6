"""What each membership costs is written with it, and what was remitted stands member by member, the oldest first."""

from decimal import Decimal

from django.db import migrations
from django.db.models import F, Q, Sum

NIL = Decimal(0)


def write_fees(apps, schema_editor):
    membership = apps.get_model("membership", "Membership")
    for row in membership.objects.exclude(charge=None).select_related("charge", "plan").order_by("pk"):
        passed = row.charge.shares.exclude(party=None).aggregate(sum=Sum("amount"))["sum"] or NIL
        membership.objects.filter(pk=row.pk).update(
            fee=row.charge.amount,
            passed_on=round(passed, 2),
            months=row.plan.months,
            working=f"{row.charge.amount:.2f}",
        )


def write_lines(apps, schema_editor):
    remittance, line = (apps.get_model("membership", name) for name in ("Remittance", "RemittanceLine"))
    shares = apps.get_model("fees", "ChargeShare").objects.filter(party__isnull=False)
    started = Q(charge__recognised_on__isnull=False) | Q(charge__starts_on__lte=F("charge__charged_on"))
    left = {row.pk: row.amount for row in shares.filter(started).order_by("charge__starts_on", "pk")}
    party = dict(shares.values_list("pk", "party"))
    for document in remittance.objects.order_by("paid_on", "pk"):
        rest = document.amount
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
