"""The page that reads what a club had before from a file, and leads on to where it is looked at and recorded."""

from django import forms
from django.contrib import messages
from django.contrib.admin import AdminSite
from django.http import HttpRequest, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.urls import reverse

from clubdesk import uploads
from clubdesk.errors import Refused
from clubdesk.ledger import selectors
from clubdesk.ledger.openingfile import COLUMNS, OPTIONAL, read_opening
from clubdesk.screens.pages import site_page

READ_LINES = "opening_lines"
"""Of a session: the lines of the file that was read last."""
OVER = "The first month is locked, so nothing from before it can be recorded."


class OpeningFileForm(forms.Form):
    file = forms.FileField(
        label="The file",
        help_text="CSV or XLSX, its first row the names of the columns.",
        allow_empty_file=True,
        widget=uploads.FileInput,
    )


def opening_file(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """Read the file into the lines of the page that records them; each fault is told with its row."""
    whose = uploads.session_of(request)
    files = uploads.sent_files(request, whose) if request.method == "POST" else None
    form = OpeningFileForm(request.POST if files is not None else None, files, label_suffix="")
    sentences: list[str] = []
    over = "" if selectors.still_opens() else OVER
    if not over and form.is_bound and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            lines = read_opening(file.read())
        except Refused as refusal:
            sentences = refusal.messages
        else:
            request.session[READ_LINES] = lines
            count = "1 line" if len(lines) == 1 else f"{len(lines)} lines"
            messages.info(request, f"{count} read from {file.name}. Look at each below: nothing is saved yet.")
            return HttpResponseRedirect(f"{reverse('admin:ledger_journal_opening')}?file=1")
    return site_page(
        request, site, "ledger/opening_file.html", "Opening balances from a file",
        status=422 if form.is_bound else 200, form=form, sentences=sentences, over=over, columns=COLUMNS,
        optional=OPTIONAL,
    )  # fmt: skip
