"""Pages of voucher claims that are no forms of one verb: a kept file, and the department's answer read from a file."""

import base64
import uuid
from collections.abc import Sequence

from django import forms
from django.contrib import messages
from django.contrib.admin import AdminSite
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.evidence import served
from clubdesk.faults import COULD_NOT, sentence_of
from clubdesk.fees import services
from clubdesk.fees.answerfile import Answer, as_file, read_answer
from clubdesk.fees.models import ClaimFile, Lodgement
from clubdesk.handing import CSV, XLSX, file_answer, hand_out
from clubdesk.money import shown, total
from clubdesk.screens.fields import HappenedField
from clubdesk.screens.pages import FileAgainField, site_page
from clubdesk.screens.tables import page_of
from clubdesk.screens.verbs import signed_in

MOST_HERE = 1_500_000
ENDINGS = {CSV: "csv", XLSX: "xlsx"}


class AnswerFileForm(forms.Form):
    file = forms.FileField(help_text="CSV or XLSX, as the department sent it.")


class TakeForm(forms.Form):
    """The file once more, as the page before read it, and when the department answered."""

    content = FileAgainField()
    key = forms.UUIDField(widget=forms.HiddenInput)
    on = HappenedField(label="Answered on")


def claim_file(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponseBase:
    """A file of a claim as it was sent or answered, with whole codes; only for who claims."""
    document = get_object_or_404(ClaimFile.objects.select_related("lodgement"), pk=pk)
    if document.erased_on:
        raise Http404(f"The file was erased on {day_text(document.erased_on)}.")
    name = f"{document.get_kind_display().lower()}-{document.lodgement_id}-{document.number}"
    response = served(document.file, document.file_type, f"{name}.{ENDINGS.get(document.file_type, 'bin')}")
    hand_out(request, f"opened the file {document} of a voucher claim with whole codes", rows=document.rows)
    return response


def answer_file(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponse:
    """The department's answer: choose its file, see what each row says, then take it."""
    lodgement = get_object_or_404(Lodgement.objects.select_related("scheme__department"), pk=pk)
    form = AnswerFileForm(request.POST or None, request.FILES or None, label_suffix="")
    sentences: Sequence[str] = []
    try:
        if request.method == "POST" and "content" in request.POST:
            return _taken(request, site, lodgement)
        if request.method == "POST" and form.is_valid():
            content = form.cleaned_data["file"].read()
            if len(content) > MOST_HERE:
                raise Refused("The file is too large; leave other sheets and pictures out.")
            return _preview(request, site, lodgement, content)
    except COULD_NOT as refusal:
        sentences = refusal.messages if isinstance(refusal, Refused) else [sentence_of(refusal)]
    status = 422 if request.method == "POST" else 200
    return _page(request, site, lodgement, status=status, form=form, sentences=sentences)


def _taken(request: HttpRequest, site: AdminSite, lodgement: Lodgement) -> HttpResponse:
    take = TakeForm(request.POST, label_suffix="")
    if not take.is_valid():
        if take.errors.keys() - {"on"}:
            raise Refused("The file did not come through whole; choose it again.")
        return _preview(request, site, lodgement, take.cleaned_data["content"], take)
    content = take.cleaned_data["content"]
    answer = read_answer(lodgement, content)
    if request.POST.get("take") == "left":
        what = "took the rows of a department’s answer that were not taken"
        return file_answer(
            request, as_file(answer, answer.faulty), kind=CSV, name="to-put-right.csv", what=what,
            rows=len(answer.faulty),
        )  # fmt: skip
    try:
        services.take_answer(
            lodgement=lodgement, content=content, on=take.cleaned_data["on"], by=signed_in(request),
            only_good=request.POST.get("take") == "good", key=take.cleaned_data["key"],
        )  # fmt: skip
    except Refused as refusal:
        return _preview(request, site, lodgement, content, take, refusal.messages)
    messages.success(request, _said(answer))
    return HttpResponseRedirect(page_of(lodgement))


def _said(answer: Answer) -> str:
    paid, refused = answer.paid, len(answer.refused)
    words = (
        f"The answer is recorded: {len(paid)} paid, {shown(total(paid.values()))}" if paid else "The answer is recorded"
    )
    return f"{words}{f', {refused} refused' if refused else ''}."


def _preview(
    request: HttpRequest,
    site: AdminSite,
    lodgement: Lodgement,
    content: bytes,
    take: TakeForm | None = None,
    sentences: Sequence[str] = (),
) -> HttpResponse:
    answer = read_answer(lodgement, content)
    again = {"content": base64.b64encode(content).decode(), "key": uuid.uuid4()}
    status = 422 if sentences or take else 200
    return _page(
        request, site, lodgement, status=status, answer=answer, sentences=sentences,
        take=take or TakeForm(initial=again, label_suffix=""), **again,
    )  # fmt: skip


def _page(
    request: HttpRequest, site: AdminSite, lodgement: Lodgement, *, status: int, **context: object
) -> HttpResponse:
    title = "Read the department’s answer from a file"
    return site_page(
        request, site, "fees/answer_file.html", title, status=status, lodgement=lodgement, back=page_of(lodgement),
        **context,
    )  # fmt: skip
