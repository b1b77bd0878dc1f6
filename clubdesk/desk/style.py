"""The look of the site on a page of its own, for administrators: each component as the templates make it."""

import re
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from django import forms
from django.contrib.admin import AdminSite
from django.contrib.staticfiles import finders
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.urls import reverse

from clubdesk.desk.home import Chip
from clubdesk.money import AmountFormField, as_amount
from clubdesk.screens.charts import Chart
from clubdesk.screens.fields import DayField
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Bar, Link, Section

SIZES = (
    ("size-28", "28, a phone 24", "The title of a page"),
    ("size-22", "22", "A figure in a list"),
    ("size-18", "18", "The heading of a part"),
    ("size-16", "16", "Text, fields, tables"),
    ("size-14", "14", "Help, and what is told beside something"),
    ("size-13", "13", "A chip; nothing is smaller on a screen"),
)
USES = {
    "green": "The one filled button, what is chosen, bars of charts",
    "green-deep": "A filled button under the pointer",
    "on-green": "Words on green",
    "green-ink": "Links, the chip of what is done",
    "green-tint": "Behind the chip of what is done",
    "red": "Only what is overdue, wrong or needs you today",
    "lighter": "The second part of a chart: another tone of green",
    "red-tint": "Behind a red chip",
    "sand": "What has a day that comes, an offer to answer",
    "sand-tint": "Behind a sand chip",
    "ink": "Text",
    "soft": "Help, and text that comes second",
    "paper": "The page",
    "card": "A card, and a field",
    "shade": "Under the pointer, heads of tables, what waits on others",
    "rule": "Hairlines",
    "edge": "Borders of fields and buttons, 3:1 at least",
    "focus": "The ring around what the keyboard is on",
    "bar": "The bar above each page",
    "brand-red": "The line under the bar and the mark, nothing else",
}
"""What each colour of the palette is for."""
OF_PALETTE = re.compile(r"--([a-z-]+): light-dark\((#[0-9a-f]+), (#[0-9a-f]+)\)")


class SampleForm(forms.Form):
    """Fields as every form has them; sent empty here, so that its faults show."""

    name = forms.CharField(label="Name", max_length=60)
    amount = AmountFormField(label="Amount", help_text="As in $126.00.")
    on = DayField(label="Day")
    paid = forms.ChoiceField(
        label="How it was paid", choices=[("cash", "Cash"), ("card", "Card")], widget=forms.RadioSelect
    )


@cache
def colours() -> list[tuple[str, str, str, str]]:
    """Each colour of our own: its name, in light, in dark, and what it is for."""
    found = finders.find("desk/palette.css")
    palette = Path(str(found)).read_text().partition("--primary:")[0]
    return [(name, light, dark, USES.get(name, "")) for name, light, dark in OF_PALETTE.findall(palette)]


def samples() -> dict[str, Any]:
    """What the page shows, made from the same types that pages are made of."""
    takings = (("29 Aug", 70, 15), ("5 Sep", 85, 30), ("12 Sep", 40, 0))
    columns = [(day, (Decimal(hire), Decimal(visitors))) for day, hire, visitors in takings]
    themselves = Link("Ada Mirabar", reverse("admin:style"))
    form = SampleForm({}, label_suffix="")
    for field in form.fields.values():
        field.widget.attrs.pop("autofocus", None)
    return {
        "chips": (
            (Chip("for 3 days"), "no class: who waits on whom"),
            (Chip("by 4 Dec", "soon"), "soon: by when"),
            (Chip("today", "now"), "now: overdue, wrong or today"),
        ),
        "section": Section(
            "What a table looks like",
            ["Who", "Since", "State", "Owes"],
            [
                (themselves, "5 Sep 2026", "unpaid", as_amount(126)),
                ("Bela Mirabar", "12 Sep 2026", "paid in part", as_amount("7.50")),
            ],
            note="Up to five columns fold on a phone.",
        ),
        "shares": Section("A part of a whole", ["Course", "Places taken"], [("Beginners", Bar(9, 14))]),
        "chart": Chart("Takings by day", ["Hire", "Visitors"], columns),
        "facts": [("Amount", as_amount(60)), ("Not passed", "the child’s entry is not shown")],
        "sample": form,
        "schemes": ("light", "dark"),
        "sizes": SIZES,
        "colours": colours(),
    }  # fmt: skip


def style(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """Every component of the look, in light and in dark, with its class and when it is used."""
    if not getattr(request.user, "is_superuser", False):
        raise PermissionDenied
    return site_page(request, site, "desk/style.html", "How pages look", **samples())
