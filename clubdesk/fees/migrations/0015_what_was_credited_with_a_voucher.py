"""Vouchers that were given back before say what was credited, and what of receipts became free, with them."""

from django.db import migrations


def note(apps, schema_editor):
    backs, credits, ties = (apps.get_model("fees", name) for name in ("GiveBack", "ChargeCredit", "TiedCredit"))
    for back in backs.objects.filter(credit=None).select_related("voucher").order_by("pk"):
        own = credits.objects.filter(charge=back.voucher.charge_id, reason="its voucher was given back")
        own = own.filter(recorded_at__gte=back.recorded_at, amount__lte=back.amount, give_back=None)
        if found := own.order_by("pk").first():
            backs.objects.filter(pk=back.pk).update(credit=found)
        ties.objects.filter(voucher=back.voucher_id, freed_on__gte=back.asked_on).update(freed_by=back.pk)


class Migration(migrations.Migration):
    dependencies = [("fees", "0014_giving_back_undone")]

    operations = [migrations.RunPython(note, migrations.RunPython.noop)]
