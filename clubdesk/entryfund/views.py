"""Pages of the entry fund: a family's claims by its link, the approvers' queue, minutes, the fund's statement."""

from collections.abc import Mapping
from datetime import date, datetime

from django.contrib import messages
from django.contrib.admin import AdminSite
from django.db import IntegrityError, OperationalError
from django.http import HttpRequest, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import reverse

from clubdesk import clock, uploads
from clubdesk.clock import day_text, long_day
from clubdesk.entryfund import selectors, services
from clubdesk.entryfund.forecast import METHOD
from clubdesk.entryfund.forms import DayForm, FamilyAnswerForm, FamilyClaimForm
from clubdesk.entryfund.models import ClaimState, Discipline, EntryClaim
from clubdesk.errors import Refused
from clubdesk.faults import COULD_NOT, sentence_of
from clubdesk.ledger.models import FinancialYear
from clubdesk.ledger.selectors import year_start
from clubdesk.money import as_amount, shown
from clubdesk.roll.models import Guardian
from clubdesk.roll.selectors import NEVER, left_families
from clubdesk.roll.views import family_page, for_family
from clubdesk.screens.fields import SpanForm
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link, Section, link_to
from clubdesk.screens.verbs import signed_in
from clubdesk.verbs import shell_user

# Without a sign-in


@for_family
def own(request: HttpRequest, guardian: Guardian) -> HttpResponseBase:
    """A family's claims, and the form for another."""
    household = guardian.household
    whose = _sent_by(guardian)
    files = uploads.sent_files(request, whose)
    form = FamilyClaimForm(request.POST or None, files or None, household=household)
    if request.method == "POST" and form.is_valid() and _claimed(form):
        messages.success(request, "Your request has reached the committee. You will hear by mail what it decides.")
        return HttpResponseRedirect(request.path)
    uploads.keep(request, form, whose)
    claims = household.entry_claims.select_related("person", "event").order_by("-claimed_on", "-pk")[:30]
    return family_page(
        request,
        "entryfund/own.html",
        "Entry fees back from the fund",
        status=422 if form.errors else 200,
        household=household,
        claims=claims,
        form=form,
    )


def _sent_by(guardian: Guardian) -> str:
    """Whose files they are that come by a family's link."""
    return f"guardian {guardian.pk} {guardian.link_version}"


def _claimed(form: FamilyClaimForm) -> EntryClaim | None:
    cleaned = form.cleaned_data
    age_class = cleaned["person"].age_class_on(cleaned["event"].held_on)
    most = selectors.refundable(cleaned["event"], age_class)
    try:
        return services.record_claim(
            person=cleaned["person"],
            event=cleaned["event"],
            amount=min(cleaned["receipt_amount"], most),
            receipt_amount=cleaned["receipt_amount"],
            evidence=cleaned["receipt"],
            entry_shown=cleaned["entry_shown"],
            by_family=True,
            on=clock.today(),
            by=shell_user(),
            key=cleaned["key"],
        )
    except (Refused, IntegrityError, OperationalError) as refusal:
        form.add_error(None, sentence_of(refusal))
    return None


@for_family
def own_answer(request: HttpRequest, guardian: Guardian, pk: int) -> HttpResponseBase:
    """What the committee asked about a claim, and the family's answer."""
    claim = get_object_or_404(guardian.household.entry_claims.select_related("person", "event"), pk=pk)
    if claim.state != ClaimState.ASKED:
        return HttpResponseRedirect(reverse("claims:own"))
    whose = _sent_by(guardian)
    form = FamilyAnswerForm(request.POST or None, uploads.sent_files(request, whose) or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.answer_claim(
                claim=claim, answer=form.cleaned_data["answer"], evidence=form.cleaned_data["more"], by=shell_user()
            )
            messages.success(request, "Your answer has reached the committee.")
            return HttpResponseRedirect(reverse("claims:own"))
        except (Refused, OperationalError) as refusal:
            form.add_error(None, sentence_of(refusal))
    uploads.keep(request, form, whose)
    status = 422 if form.errors else 200
    return family_page(
        request, "entryfund/answer.html", "A question about your refund request", status=status, claim=claim, form=form
    )


# Behind the sign-in


def queue(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """What a committee clears in one sitting: each claim with its evidence, checks, and the fund before and after."""
    refused: dict[str, object] = {}
    if request.method == "POST":
        refused = _decide_one(request) if "act" in request.POST else _approve_ticked(request)
        if not refused:
            return HttpResponseRedirect(f"{reverse('admin:claim_queue')}?decided={clock.today().isoformat()}")
    left = left_families(signed_in(request))
    rows = [(row, _not_for(request, row, left)) for row in selectors.queue()]
    asked = EntryClaim.objects.filter(state=ClaimState.ASKED).select_related("person", "event")
    return site_page(
        request,
        site,
        "entryfund/queue.html",
        "Refund requests to decide",
        status=422 if refused else 200,
        rows=rows,
        acts=ACTS,
        refused=refused,
        ready=sum(1 for row, why in rows if not why and row.passes and row.covered),
        more=selectors.waiting_claims().count() - len(rows),
        fund=selectors.entry_fund_balance(),
        asked=asked,
        minutes=selectors.decided_on(clock.today()).exists(),
    )


def _not_for(request: HttpRequest, row: selectors.Queued, left: Mapping[int, datetime]) -> str:
    """Why whoever looks cannot decide this claim; blank where they can."""
    if row.claim.recorded_by_id == request.user.pk:
        return "You recorded it; somebody else decides."
    if left.get(row.claim.household_id, NEVER) >= row.claim.recorded_at:
        return "It pays your own family; somebody else decides."
    return ""


ACTS = (
    ("decline", "Why it is declined", "In words that you would tell the family, who have them by mail.", "Decline it"),
    ("ask", "What you would like to know or see", "The family reads it by mail and on its own page.", "Ask for more"),
)
"""What is done with words, beside approving: its name, what its field is called, the help, and its button."""


def _decide_one(request: HttpRequest) -> dict[str, object]:
    """Decide one request where it stands; what was refused, with the words typed, so that they are there again."""
    act, words = request.POST["act"], request.POST.get("words", "")
    number = request.POST.get("of", "")
    known = number.isascii() and number.isdigit() and len(number) < 19
    claim = EntryClaim.objects.filter(pk=int(number)).first() if known else None
    if claim is None or act not in {"approve", "decline", "ask"}:
        messages.error(request, "That request is not here any more; nothing was decided.")
        return {}
    by, on = signed_in(request), clock.today()
    try:
        if act == "approve":
            services.approve_claim(claim=claim, by=by, on=on)
            said = f"Approved: {shown(claim.amount)} to {claim.household}."
        elif act == "decline":
            services.decline_claim(claim=claim, reason=words, by=by, on=on)
            said = f"Declined: {claim}. The family hears why."
        else:
            services.ask_for_more(claim=claim, question=words, by=by, on=on)
            said = f"The family was asked about {claim}."
    except COULD_NOT as refusal:
        return {"claim": claim.pk, "act": act, "words": words, "sentence": sentence_of(refusal)}
    messages.success(request, said)
    return {}


def _approve_ticked(request: HttpRequest) -> dict[str, object]:
    """Only claims for which every check passes are approved together; the others are decided one by one."""
    ticked = {int(pk) for pk in request.POST.getlist("claim") if pk.isascii() and pk.isdigit() and len(pk) < 19}
    passing = [row.claim for row in selectors.queue() if row.claim.pk in ticked and row.passes]
    decided = services.approve_claims(claims=passing, by=signed_in(request), on=clock.today())
    count = len(decided.approved)
    if count:
        amount = sum((claim.amount for claim in decided.approved), as_amount(0))
        messages.success(
            request, f"{count} {'request' if count == 1 else 'requests'} approved, {shown(amount)} in all."
        )
    for sentence in decided.refused:
        messages.error(request, sentence)
    if not ticked:
        messages.info(request, "Nothing was ticked; nothing was decided.")
    return {}


def minutes(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """What was decided on a day, as text to paste into the committee's minutes."""
    form = DayForm(request.GET if "on" in request.GET else {"on": clock.today()}, label_suffix="")
    text = minutes_text(form.cleaned_data["on"]) if form.is_valid() else ""
    return site_page(request, site, "entryfund/minutes.html", "Minutes of entry-fee refunds", form=form, text=text)


def minutes_text(on: date) -> str:
    """The decisions of a day in the words of minutes, the event first; and what the fund holds now."""
    claims = list(selectors.decided_on(on))
    if not claims:
        return ""
    lines = [f"Entry-fee refunds decided on {long_day(on)}"]
    for claim in claims:
        by = claim.decided_by.get_full_name() or claim.decided_by.get_username() if claim.decided_by else ""
        what = f"{claim.event.name}: {claim.person}, {shown(claim.amount)}"
        reason = f" ({claim.decision_reason})" if claim.state == ClaimState.DECLINED else ""
        decision = "declined" if claim.state == ClaimState.DECLINED else "approved"
        lines.append(f"- {what}, {decision} by {by}{reason}")
    approved = [claim.amount for claim in claims if claim.state != ClaimState.DECLINED]
    count = f"{len(approved)} {'request' if len(approved) == 1 else 'requests'}"
    lines.append(f"Approved in all: {shown(sum(approved, as_amount(0)))}, {count}.")
    lines.append(f"The entry fund holds {shown(selectors.entry_fund_balance())} after what was approved so far.")
    return "\n".join(lines)


def statement(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """The fund over a period, equal to the ledger; what it promised; children entered over the years."""
    today = clock.today()
    claims = Link("Refund requests", reverse("admin:entryfund_entryclaim_changelist"))
    form = SpanForm(
        request.GET if "since" in request.GET else {"since": year_start(today), "until": today}, label_suffix=""
    )
    if not form.is_valid():
        return site_page(request, site, "screens/figures.html", "The entry fund", form=form, parent=claims)
    found = selectors.fund_statement(form.cleaned_data["since"], form.cleaned_data["until"])
    facts = [
        ("At the start", found.opening),
        ("Containers cashed in", found.containers),
        ("Moved from and to other funds", found.transfers),
        ("Entry fees approved", -found.refunded),
        *([("Expenses", found.expenses)] if found.expenses else []),
        *([("Anything else", found.other)] if found.other else []),
        ("At the end", found.closing),
        ("Approved and not paid yet", found.promised),
    ]
    refunds = [
        (link_to(event), event.get_discipline_display(), children, amount) for event, children, amount in found.refunds
    ]
    years = [
        (str(year), *(counts.get(each, 0) for each in Discipline.values), sum(counts.values()))
        for year, counts in sorted(selectors.entered_by_year().items(), reverse=True)
    ]
    sections = [
        Section("Today, and the year that runs", ["What", "Now"], _outlook_facts(today), note=METHOD),
        Section("Refunds by discipline", ["Discipline", "Children", "Refunded"], found.by_discipline, "None."),
        Section("Refunds by event", ["Event", "Discipline", "Children", "Refunded"], refunds, "None in this time."),
        Section("Children entered, by year", ["Year", *Discipline.labels, "In all"], years, "None yet."),
    ]
    return site_page(
        request, site, "screens/figures.html", "The entry fund", parent=claims, form=form, facts=facts,
        sections=sections,
        chart=selectors.pool_chart(form.cleaned_data["since"], form.cleaned_data["until"]),
    )  # fmt: skip


NOTHING_TO_GO_BY = "nothing to go by yet: no container was cashed in and no event is ahead"


def _outlook_facts(today: date) -> list[tuple[str, str]]:
    """The chance that the fund covers the claims of the year that runs, and what it may then hold."""
    year = FinancialYear.objects.filter(first_day__lte=today, last_day__gte=today).first()
    if year is None:
        return [("Bags at the club", selectors.bags_in_words())]
    until = year.last_day
    found = selectors.outlook(today, until)
    if found is None:
        return [
            ("Bags at the club", selectors.bags_in_words()),
            ("Chance that it covers all requests", NOTHING_TO_GO_BY),
        ]
    low, middle, high = (f"{round(cents / 100):,}".replace("-", "−") for cents in (found.low, found.middle, found.high))
    share = min(99, max(1, round(100 * found.chance)))
    return [
        ("Bags at the club", selectors.bags_in_words()),
        (f"Chance that it covers all requests to {day_text(until)}", f"about {share} in 100"),
        ("It would then hold", f"about {middle}; four times of five between {low} and {high}"),
    ]
