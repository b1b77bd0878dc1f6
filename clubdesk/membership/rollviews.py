"""The page that imports a roll: any spreadsheet, what its columns are, what each row would do; then it is done."""

import base64
import io
import uuid
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from django import forms
from django.contrib import messages
from django.contrib.admin import AdminSite
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from openpyxl import Workbook

from clubdesk.errors import Refused
from clubdesk.faults import COULD_NOT, sentence_of
from clubdesk.handing import CSV, XLSX, file_answer
from clubdesk.ledger.files import Row
from clubdesk.ledger.models import Account, Kind, Role
from clubdesk.ledger.spreadsheets import Sheet
from clubdesk.membership import anyroll, services
from clubdesk.membership.anyroll import FIELDS, NO_MEMBERSHIP, UNTIL, Layout
from clubdesk.membership.models import Plan
from clubdesk.membership.rollfile import COLUMNS, OPTIONAL, RowPlan, plan_good_rows, plans_by_name, read_roll
from clubdesk.membership.services import BroughtIn, keeping
from clubdesk.screens.fields import DateInput
from clubdesk.screens.pages import FileAgainField, site_page
from clubdesk.screens.verbs import signed_in
from clubdesk.verbs import may

MOST_HERE = 1_500_000
TOO_LARGE = "A file of this size is imported from the shell: manage.py import_roll FILE."
TITLE = "Import a roll"
ALSO_NEEDED = ("membership.add_membership", "fees.add_charge")
EXAMPLES = 3
MOST_REASONS = 6
"""So many of the reasons that come more than once are summed up above the rows."""
MOST_PLANS = 20
"""Of so many values that are no plan it is asked what they mean; where there are more, the column holds none."""
LOOK_AGAIN = "What the plans mean was changed: look at what each row would do now, then import."
NOT_WHOLE = "The page did not come through whole; choose the file again."
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
            raise forms.ValidationError("Say which column holds the given names, or the whole names.")
        if "birth_date" not in chosen:
            raise forms.ValidationError("Say which column holds the dates of birth.")
        return {**self.cleaned_data, "columns": tuple(chosen)}


class PlansForm(forms.Form):
    """What is meant by each value that is no plan of the club's, and until when those are members who have a plan."""

    def __init__(
        self,
        data: object,
        asked: Sequence[tuple[str, int]],
        plans: Mapping[str, Plan],
        said: Mapping[str, str],
        undated: int = 0,
    ):
        super().__init__(data, label_suffix="", prefix="plan")  # type: ignore[arg-type]
        named = [(str(plan.pk), plan.name) for plan in plans.values()]
        for text, count in asked[:MOST_PLANS]:
            sign, of = anyroll.sign_of(text), f"{count} row{'' if count == 1 else 's'}"
            self.fields[sign] = forms.ChoiceField(
                label=f"“{text}” ({of})" if text else f"No plan, but a last day ({of})",
                choices=[("", "not said yet"), *named, (NO_MEMBERSHIP, "no membership")],
                initial=said.get(sign, ""),
                required=False,
            )
        if undated or data is not None:
            self.fields[UNTIL] = forms.DateField(
                label=f"Memberships run until ({undated} row{'' if undated == 1 else 's'} with a plan and no last day)",
                initial=said.get(UNTIL, ""),
                required=False,
                widget=DateInput,
            )


@dataclass(frozen=True)
class Reading:
    """A file as it is read: its sheet by its layout, and the rows as the roll's own file has them."""

    content: bytes
    sheet: Sheet
    layout: Layout
    rows: Sequence[Row]
    left_out: Sequence[int] = ()
    carried: Sequence[tuple[str, str]] = ()
    """What a page sends back, besides the file, for it to be read so again."""

    @property
    def headings(self) -> Sequence[str]:
        return keeping.headings([self.sheet], self.layout)


@dataclass(frozen=True)
class Looked:
    """What the rows would do with the plans that were said and names as they are written."""

    reading: Reading
    rows: Sequence[Row]
    plans: Sequence[RowPlan]
    meant: PlansForm
    more: int
    """How many values that are no plan are not asked about."""

    @property
    def reasons(self) -> dict[int, str]:
        return {each.number: " ".join(each.faults) for each in self.plans if each.faults}


def import_roll(request: HttpRequest, site: AdminSite) -> HttpResponse:
    """Import a roll: choose the file, say what its columns are, see what each row would do, then do it.

    A file may hold memberships and balances too, so it asks for the rights to add those as well.
    """
    if not all(may(request.user, each) for each in ALSO_NEEDED):
        raise PermissionDenied
    if "example" in request.GET:
        return _example(request)
    form = RollForm(request.POST or None, request.FILES or None, label_suffix="")
    sentences: list[str] = []
    try:
        if request.method == "POST" and "content" in request.POST:
            return _again(request, site)
        if request.method == "POST" and form.is_valid():
            content = form.cleaned_data["file"].read()
            if len(content) > MOST_HERE:
                raise Refused(TOO_LARGE)
            own = _own(content)
            return _preview(request, site, _looked(own)) if own else _columns(request, site, content)
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
    if "key" not in request.POST:
        return _columns(request, site, content, sent=True)
    confirm = ConfirmForm(request.POST)
    if not confirm.is_valid():
        raise Refused(NOT_WHOLE)
    return _confirmed(request, site, _own(content) or _read_again(request, content), confirm.cleaned_data["key"])


def _own(content: bytes) -> Reading | None:
    """The file as it stands, where it has just the roll's own columns and no other sheet."""
    sheets = anyroll.sheets_in(content)
    number, cells = sheets[0].rows[0] if sheets[0].rows else (0, [])
    head = [cell.casefold() for cell in cells]
    if len(sheets) > 1 or not set(COLUMNS) <= {each for each in head if each} <= {*COLUMNS, *OPTIONAL}:
        return None
    return Reading(content, sheets[0], Layout(sheets[0].name, number, tuple(head)), read_roll(content))


def _read_again(request: HttpRequest, content: bytes) -> Reading:
    """The file by what was said of its columns on the page before."""
    sheets = anyroll.sheets_in(content)
    form = LayoutForm(request.POST, sheets, anyroll.propose(sheets, request.POST.get("sheet", "")))
    if not form.is_valid():
        raise Refused(NOT_WHOLE)
    return _as_said(content, sheets, form)


def _as_said(content: bytes, sheets: Sequence[Sheet], form: LayoutForm) -> Reading:
    layout = replace(form.layout, columns=form.cleaned_data["columns"])
    sheet = next(each for each in sheets if each.name == layout.sheet)
    read = anyroll.laid_out(sheets, layout, form.cleaned_data["owed_for"])
    carried = [(name, str(form.cleaned_data[name])) for name in form.fields]
    return Reading(content, sheet, layout, read_roll(read.content), read.left_out, carried)


def _columns(request: HttpRequest, site: AdminSite, content: bytes, *, sent: bool = False) -> HttpResponse:
    """Say what each column is; with that the rows are read as the roll's own file has them."""
    sheets = anyroll.sheets_in(content)
    layout = keeping.as_kept(anyroll.propose(sheets, request.POST.get("sheet", "")), sheets)
    is_answer = sent and "again" not in request.POST
    form = LayoutForm(request.POST if is_answer else None, sheets, layout)
    if is_answer and form.is_valid():
        columns = form.cleaned_data["columns"]
        keeping.keep_columns(headings=keeping.headings(sheets, layout), columns=columns, by=signed_in(request))
        return _preview(request, site, _looked(_as_said(content, sheets, form)))
    shown = {"layout": form, "sheets": sheets, "content": base64.b64encode(content).decode()}
    status = 422 if is_answer else 200
    return site_page(request, site, "membership/columns.html", TITLE, status=status, **shown)


def _looked(reading: Reading, decided: Mapping[int, str] | None = None) -> Looked:
    """What each row would do; nothing is written."""
    plans, said = plans_by_name(), keeping.plans_said(reading.headings)
    asked = anyroll.unknown_plans(reading.rows, plans)
    meant = anyroll.with_plans(reading.rows, plans, said)
    form = PlansForm(None, asked, plans, said, len(anyroll.undated(meant, plans)))
    tidied = [anyroll.tidied(row) for row in anyroll.with_last_day(meant, plans, said.get(UNTIL, ""))]
    rows = [row for row, _ in tidied]
    found = plan_good_rows(rows, decided)
    for each, (_, written) in zip(found, tidied, strict=True):
        each.written = written
    return Looked(reading, rows, found, form, max(0, len(asked) - MOST_PLANS))


def _preview(request: HttpRequest, site: AdminSite, looked: Looked, sentences: Sequence[str] = ()) -> HttpResponse:
    plans, faulty = looked.plans, len(looked.reasons)
    reasons = Counter(fault for row in plans for fault in row.faults)
    return site_page(
        request,
        site,
        "membership/import.html",
        TITLE,
        rows=plans,
        faulty=faulty,
        good=len(plans) - faulty,
        undecided=sum(row.undecided and not row.faults for row in plans),
        left_out=looked.reading.left_out,
        reasons=[each for each in reasons.most_common(MOST_REASONS) if each[1] > 1],
        meant=looked.meant,
        more_plans=looked.more,
        content=base64.b64encode(looked.reading.content).decode(),
        carried=looked.reading.carried,
        key=uuid.uuid4(),
        sentences=sentences,
    )


def _confirmed(request: HttpRequest, site: AdminSite, reading: Reading, key: uuid.UUID) -> HttpResponse:
    """What was asked for below the rows: other plans, the rows to put right, or to import."""
    decided = {
        int(name.removeprefix("row-")): str(value)
        for name, value in request.POST.items()
        if name.startswith("row-") and name.removeprefix("row-").isdecimal() and value
    }
    is_changed = _plans_changed(request, reading)
    looked, what = _looked(reading, decided), request.POST.get("take", "all")
    if is_changed or what == "look":
        return _preview(request, site, looked, [] if what == "look" else [LOOK_AGAIN])
    if what == "left":
        left = anyroll.to_put_right(reading.sheet, reading.layout, looked.reasons)
        return file_answer(request, left, kind=CSV, name="to-put-right.csv")
    taken = looked.rows if what == "all" else [row for row in looked.rows if row.number not in looked.reasons]
    try:
        done = services.import_roll(content=anyroll.as_csv(taken), by=signed_in(request), decided=decided, key=key)
    except Refused as refusal:
        return _preview(request, site, looked, refusal.messages)
    messages.success(request, _imported(done))
    return HttpResponseRedirect(reverse("admin:roll_household_changelist"))


def _plans_changed(request: HttpRequest, reading: Reading) -> bool:
    """Keep what the plans were said to mean; whether that is other than what the page before was made with."""
    plans, said = plans_by_name(), keeping.plans_said(reading.headings)
    form = PlansForm(request.POST, anyroll.unknown_plans(reading.rows, plans), plans, said)
    if not form.is_valid():
        return True
    sent = {sign: value for sign, value in form.cleaned_data.items() if form.add_prefix(sign) in request.POST}
    answers = {sign: str(value or "") for sign, value in sent.items()}
    meant = {sign: value for sign, value in (said | answers).items() if value}
    if meant == said:
        return False
    services.keep_columns(headings=reading.headings, columns=reading.layout.columns, plans=meant, by=signed_in(request))
    return True


def _imported(done: BroughtIn) -> str:
    balances = done.balances.charges.count() + done.balances.receipts.count() if done.balances else 0
    parts = (
        (done.households, "family", "families"),
        (done.people, "person", "people"),
        (done.memberships, "membership", "memberships"),
        (balances, "balance", "balances"),
    )
    return f"Imported: {', '.join(f'{count} {one if count == 1 else many}' for count, one, many in parts)}."


def _example(request: HttpRequest) -> HttpResponse:
    """A workbook with the roll's own columns and two rows, to be filled in."""
    book, file = Workbook(), io.BytesIO()
    sheet = book.active
    assert sheet is not None, "a new workbook has a sheet"
    sheet.title = "Roll"
    for row in (anyroll.ALL[:-1], *AS_EXAMPLE):
        sheet.append(row)
    book.save(file)
    return file_answer(request, file.getvalue(), kind=XLSX, name="roll.xlsx")
