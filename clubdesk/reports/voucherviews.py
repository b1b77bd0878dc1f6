"""The page for an auditor of a voucher scheme: one voucher, or a sample to be drawn again. Looks are recorded."""

from django import forms
from django.contrib.admin import AdminSite
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from clubdesk import clock
from clubdesk.fees.models import Voucher, VoucherScheme
from clubdesk.handing import hand_out
from clubdesk.reports.vouchers import MOST, cases, drawn, population
from clubdesk.screens.pages import site_page
from clubdesk.screens.verbs import LinkPage

TITLE = "For an auditor of the scheme"
MAY_LOOK = "fees.view_voucher"


class AuditLink(LinkPage[Voucher]):
    slug = "audit"
    title = TITLE
    permission = MAY_LOOK

    def url(self, target: Voucher) -> str:
        return reverse("admin:voucher_audit", args=[target.pk])


class SampleForm(forms.Form):
    """Which vouchers a sample is drawn from, how many, and by which seed."""

    scheme = forms.ModelChoiceField(VoucherScheme.objects.all())
    year = forms.IntegerField(min_value=2000, max_value=2100, help_text="The year in which the scheme’s begins.")
    size = forms.IntegerField(label="How many", min_value=1, max_value=MOST, initial=10)
    seed = forms.CharField(max_length=40, help_text="Any word or number, as the auditor names it.")
    through = forms.IntegerField(
        label="Up to voucher number", required=False, min_value=1, max_value=2**31 - 1,
        help_text="Blank: all of now. The page says the last, by which the same sample is drawn later.",
    )  # fmt: skip


def audit(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    """All that stands behind one voucher."""
    voucher = get_object_or_404(Voucher.objects.select_related("charge"), pk=pk)
    what = f"looked at voucher {pk} as an auditor of its scheme does"
    hand_out(request, what, rows=1, family=voucher.charge.household_id)
    found = cases([voucher.pk], clock.today())
    return site_page(request, site, "reports/vouchers.html", TITLE, cases=found)


def sample(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """A sample of the vouchers of a scheme and year, drawn by a seed."""
    asked = "scheme" in request.GET
    initial = {"year": clock.today().year}
    form = SampleForm(request.GET if asked else None, initial=initial, label_suffix="")
    if not asked or not form.is_valid():
        return site_page(request, site, "reports/vouchers.html", TITLE, form=form, status=422 if asked else 200)
    scheme, year, seed = (form.cleaned_data[name] for name in ("scheme", "year", "seed"))
    numbers = list(population(scheme, year, form.cleaned_data["through"]).values_list("pk", flat=True))
    chosen = drawn(numbers, form.cleaned_data["size"], seed)
    said = "No voucher of that scheme and year was claimed."
    if numbers:
        of = f"{len(numbers)} vouchers that were claimed, up to number {numbers[-1]}"
        said = f"{len(chosen)} of {of}, by the seed {seed}."
        hand_out(request, f"looked at a sample of the vouchers of {scheme} as an auditor does", rows=len(chosen))
    found = cases(chosen, clock.today())
    return site_page(request, site, "reports/vouchers.html", TITLE, form=form, said=said, cases=found)
