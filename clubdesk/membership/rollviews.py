"""The page that imports a roll: any spreadsheet, what its columns are, what each row would do; then it is done."""

import base64
import io
import uuid
from collections.abc import Mapping, Sequence

from django import forms
from django.contrib import messages
from django.contrib.admin import AdminSite
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from openpyxl import Workbook

from clubdesk.errors import Refused
from clubdesk.faults import COULD_NOT, sentence_of
from clubdesk.ledger.models import Account, Kind, Role
from clubdesk.membership import anyroll, services
from clubdesk.membership.anyroll import FIELDS, Layout, Sheet
from clubdesk.membership.rollfile import COLUMNS, OPTIONAL, plan_roll, read_roll
from clubdesk.screens.pages import FileAgainField, site_page
from clubdesk.screens.verbs import signed_in
from clubdesk.verbs import may

MOST_HERE = 1_500_000
TOO_LARGE = "A file of this size is imported from the shell: manage.py import_roll FILE."
TITLE = "Import a roll"
ALSO_NEEDED = ("membership.add_membership", "fees.add_charge")
EXAMPLES = 3
AS_EXAMPLE = (
    ("Mirabar", "Ada", "Mirabar", "2014-05-02", "Ida Mirabar", "ida@example.org", "0491 570 156", "", "", "", ""),
    ("Mirabar", "Bo", "Mirabar", "2016-11-21", "Ida Mirabar", "ida@example.org", "0491 570 156", "", "", "45.00",
     "Memberships"),
)  # fmt: skip


class RollForm(forms.Form):
    file = forms.FileField(help_text="CSV or XLSX, a row a person; columns in any order and called anything.")


class AgainForm(forms.Form):
    """The file once more, as the page before read it."""

    content = FileAgainField()


class ConfirmForm(AgainForm):
    key = forms.UUIDField(widget=forms.HiddenInput)


class LayoutForm(forms.Form):
    """Which sheet is read, and what each of its columns is."""

    sheet = forms.ChoiceField(label="Sheet")
    owed_for = forms.ChoiceField(label="What is owed is for")

    def __init__(self, data: object, sheets: Sequence[Sheet], layout: Layout):
        incomes = list(Account.objects.filter(kind=Kind.INCOME).exclude(role=Role.TRANSFERS))
        usual = next((each.name for each in incomes if each.role == Role.MEMBERSHIPS), "")
        initial = {"sheet": layout.sheet, "owed_for": usual}
        super().__init__(data, label_suffix="", initial=initial)  # type: ignore[arg-type]
        self.layout = layout
        self.fields["sheet"].choices = [(each.name, each.name) for each in sheets]  # type: ignore[attr-defined]
        self.fields["owed_for"].choices = [(each.name, each.name) for each in incomes]  # type: ignore[attr-defined]
        if len(sheets) == 1:
            self.fields["sheet"].widget = forms.HiddenInput()
        rows = next(each.rows for each in sheets if each.name == layout.sheet)
        heads = next((cells for number, cells in rows if number == layout.head), [])
        below = [cells for number, cells in rows if number > layout.head]
        for place, field in enumerate(layout.columns):
            said = [cells[place] for cells in below if place < len(cells) and cells[place]][:EXAMPLES]
            self.fields[f"column-{place}"] = forms.ChoiceField(
                label=(heads[place] if place < len(heads) else "") or f"Column {place + 1}",
                choices=[("", "leave it out"), *FIELDS.items()],
                initial=field,
                required=False,
                help_text=", ".join(said) or "nothing in it",
            )

    def columns(self) -> list[forms.BoundField]:
        return [self[f"column-{place}"] for place in range(len(self.layout.columns))]

    def clean(self) -> dict[str, object]:
        chosen = [self.cleaned_data.get(f"column-{place}", "") for place in range(len(self.layout.columns))]
        twice = sorted({FIELDS[field] for field in chosen if field and chosen.count(field) > 1})
        if twice:
            raise forms.ValidationError(f"Two columns cannot both be the {twice[0]}; leave one out.")
        if not {"name", "given_name"} & set(chosen):
            raise forms.ValidationError("Say which column holds the names.")
        if "birth_date" not in chosen:
            raise forms.ValidationError("Say which column holds the dates of birth.")
        return {**self.cleaned_data, "columns": tuple(chosen)}


def import_roll(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """Import a roll: choose the file, say what its columns are, see what each row would do, then do it.

    A file may hold memberships and balances too, so it asks for the rights to add those as well.
    """
    if not all(may(request.user, each) for each in ALSO_NEEDED):
        raise PermissionDenied
    if "example" in request.GET:
        return _example()
    form = RollForm(request.POST or None, request.FILES or None, label_suffix="")
    sentences: list[str] = []
    try:
        if request.method == "POST" and "content" in request.POST:
            return _again(request, site)
        if request.method == "POST" and form.is_valid():
            content = form.cleaned_data["file"].read()
            if len(content) > MOST_HERE:
                raise Refused(TOO_LARGE)
            return _preview(request, site, content) if _is_our_own(content) else _columns(request, site, content)
    except COULD_NOT as refusal:
        sentences = refusal.messages if isinstance(refusal, Refused) else [sentence_of(refusal)]
    status = 422 if request.method == "POST" else 200
    return site_page(request, site, "membership/import.html", TITLE, status=status, form=form, sentences=sentences)


def _again(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """What comes back from a page that has the file already."""
    form = AgainForm(request.POST)
    if not form.is_valid():
        raise Refused("The file did not come through whole; choose it again.")
    content = form.cleaned_data["content"]
    if "sheet" in request.POST:
        return _columns(request, site, content, sent=True)
    confirm = ConfirmForm(request.POST)
    if not confirm.is_valid():
        raise Refused("The page did not come through whole; choose the file again.")
    return _confirmed(request, site, content, confirm.cleaned_data["key"])


def _is_our_own(content: bytes) -> bool:
    """Whether the file has just the roll's own columns, and no other sheet."""
    sheets = anyroll.sheets_of(content)
    head = [cell.casefold() for cell in sheets[0].rows[0][1] if cell] if len(sheets) == 1 else []
    return set(COLUMNS) <= set(head) <= {*COLUMNS, *OPTIONAL}


def _columns(request: HttpRequest, site: AdminSite, content: bytes, *, sent: bool = False) -> HttpResponse:
    """Say what each column is; with that the rows are read as the roll's own file has them."""
    sheets = anyroll.sheets_of(content)
    layout = anyroll.propose(sheets, request.POST.get("sheet", ""))
    is_answer = sent and "again" not in request.POST
    form = LayoutForm(request.POST if is_answer else None, sheets, layout)
    if is_answer and form.is_valid():
        chosen = Layout(layout.sheet, layout.head, form.cleaned_data["columns"])
        read = anyroll.laid_out(sheets, chosen, form.cleaned_data["owed_for"])
        return _preview(request, site, read.content, left_out=read.left_out)
    shown = {"layout": form, "sheets": sheets, "content": base64.b64encode(content).decode()}
    status = 422 if is_answer else 200
    return site_page(request, site, "membership/columns.html", TITLE, status=status, **shown)


def _preview(
    request: HttpRequest,
    site: AdminSite,
    content: bytes,
    decided: Mapping[int, str] | None = None,
    sentences: Sequence[str] = (),
    left_out: Sequence[int] = (),
) -> HttpResponse:
    plans = plan_roll(read_roll(content), decided)
    faulty = sum(bool(row.faults) for row in plans)
    return site_page(
        request,
        site,
        "membership/import.html",
        TITLE,
        rows=plans,
        faulty=faulty,
        good=len(plans) - faulty,
        undecided=sum(row.undecided and not row.faults for row in plans),
        left_out=left_out,
        content=base64.b64encode(content).decode(),
        key=uuid.uuid4(),
        sentences=sentences,
    )


def _confirmed(request: HttpRequest, site: AdminSite, content: bytes, key: uuid.UUID) -> HttpResponse:
    decided = {
        int(name.removeprefix("row-")): str(value)
        for name, value in request.POST.items()
        if name.startswith("row-") and name.removeprefix("row-").isdecimal() and value
    }
    taken = content
    if (what := request.POST.get("take", "all")) != "all":
        rows = read_roll(content)
        reasons = {each.number: " ".join(each.faults) for each in plan_roll(rows, decided) if each.faults}
        if what == "left":
            return _file(anyroll.as_csv([row for row in rows if row.number in reasons], reasons), "to-put-right.csv")
        taken = anyroll.as_csv([row for row in rows if row.number not in reasons])
    try:
        done = services.import_roll(content=taken, by=signed_in(request), decided=decided, key=key)
    except Refused as refusal:
        return _preview(request, site, content, decided, refusal.messages)
    balances = done.balances.charges.count() + done.balances.receipts.count() if done.balances else 0
    parts = (
        (done.households, "family", "families"),
        (done.people, "person", "people"),
        (done.memberships, "membership", "memberships"),
        (balances, "balance", "balances"),
    )
    words = f"Imported: {', '.join(f'{count} {one if count == 1 else many}' for count, one, many in parts)}."
    messages.success(request, words)
    return HttpResponseRedirect(reverse("admin:roll_household_changelist"))


def _example() -> HttpResponse:
    """A workbook with the roll's own columns and two rows, to be filled in."""
    book, file = Workbook(), io.BytesIO()
    sheet = book.active
    assert sheet is not None, "a new workbook has a sheet"
    sheet.title = "Roll"
    for row in (anyroll.ALL[:-1], *AS_EXAMPLE):
        sheet.append(row)
    book.save(file)
    return _file(file.getvalue(), "roll.xlsx")


def _file(content: bytes, name: str) -> HttpResponse:
    kind = (
        "text/csv; charset=utf-8"
        if name.endswith("csv")
        else "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    )
    return HttpResponse(content, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})
