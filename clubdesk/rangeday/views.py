"""The sheet of a range day, made for a thumb, and where phones send what they have kept."""

import hashlib
import json
import uuid
from collections.abc import Sequence
from contextlib import suppress
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.contrib.admin import AdminSite
from django.contrib.auth.models import User
from django.db import DatabaseError, DataError, IntegrityError
from django.http import HttpRequest, HttpResponseRedirect, JsonResponse
from django.http.response import HttpResponseBase
from django.middleware.csrf import get_token
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.timezone import localtime
from django.views.decorators.cache import never_cache

from clubdesk import clock, rooms
from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.faults import is_busy, said, sentence_of
from clubdesk.ledger.selectors import year_start
from clubdesk.money import from_cents, in_cents, nil, plain, shown, sign
from clubdesk.rangeday import figures, heard, kits, phones, selectors, services, usual, visiting
from clubdesk.rangeday.models import Banking, Gear, Kit, Paid, RangeDay, SignOn, Visitor
from clubdesk.screens.charts import Chart
from clubdesk.screens.fields import SpanForm
from clubdesk.screens.pages import site_page
from clubdesk.screens.tables import Link, Section, add_page_of, link_to, page_of
from clubdesk.screens.verbs import signed_in
from clubdesk.verbs import may, verb_of

MODULES = ("care", "drawing", "kit", "opening", "rows", "sending", "state", "storing", "visitors")
"""What the sheet's script imports, so that a browser fetches all at once."""
MOST_AT_ONCE = 200
MONTHS_FROM = 40
SIGNED_OUT = "You are signed out."
MAY_NOT = "Your sign-in may not sign people on. Ask an administrator for the role."
OF_SOMEBODY_ELSE = "Somebody else is signed in by now. What you tapped is sent when you sign in here again."
MOST_DAYS = MOST_KIT = 60


def today(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """The sign-on page of today's range day; where there is none yet, the page that begins one."""
    days = RangeDay.objects.filter(date=clock.today(), closed_on=None, called_off_on=None)[:2]
    if len(days) == 1:
        return HttpResponseRedirect(reverse("admin:range_sheet", args=[days[0].pk]))
    if days:
        return HttpResponseRedirect(f"{reverse('admin:rangeday_rangeday_changelist')}?date={clock.today()}")
    if over := RangeDay.objects.filter(date=clock.today()).first():
        messages.info(request, f"Today was {over.standing} already; another range can begin a day of its own.")
        return HttpResponseRedirect(page_of(over))
    return HttpResponseRedirect(add_page_of(RangeDay))


@never_cache
def sheet(request: HttpRequest, site: AdminSite, pk: int) -> HttpResponseBase:
    """The sheet: it works on once it is open, also without reception."""
    day = get_object_or_404(RangeDay, pk=pk)
    if lacking := _lacking(day):
        messages.warning(request, lacking)
        return HttpResponseRedirect(page_of(day))
    prices = {kind: plain(figure) if figure is not None else None for kind, figure in selectors.prices(day).items()}
    kit = kits.kit_on_hand(day.date) if day.is_open else []
    safety = selectors.safety_text(day.date)
    user, counts = signed_in(request), verb_of(services.close_day).permission
    looks = verb_of(services.look_at_the_range).permission
    context: dict[str, Any] = {
        "day": day,
        "roll": _roll(day, user, with_parents=prices["beside"] is not None) if day.is_open else [],
        "kit": [_piece(each) for each in kit],
        "safety": safety,
        "may_count": may(user, counts),
        "who_counts": "" if may(user, counts) else who_counts(counts),
        "modules": [f"desk/sheet/{name}.js" for name in MODULES],
        "told": {
            "day": day.pk,
            "owner": user.pk,
            "name": selectors.name_of(user),
            "prices": prices,
            "sign": sign(),
            "send": reverse("admin:range_taps", args=[0]),
            "login": f"{reverse('admin:login')}?{urlencode({'next': request.path})}",
            "worker": reverse("admin:range_worker"),
            "static": settings.STATIC_URL,
            "until": int(clock.start_of(day.date + timedelta(days=1)).timestamp() * 1000) if day.is_open else 0,
            "begins": int(clock.start_of(day.date).timestamp() * 1000),
            "as_of": f"{localtime(clock.machine()):%H:%M}",
            "token": get_token(request),
            "safety": safety.pk if safety else None,
            "ahead": day.date > clock.today(),
            "care": reverse("admin:range_care", args=[day.pk, 0]) if may(user, looks) else "",
            "visit": reverse("admin:range_visitors", args=[day.pk]),
            "correct": reverse("admin:rangeday_signon_correct", args=[0]),
            **said_of(day, kit),
        },
    }
    return site_page(request, site, "rangeday/sheet.html", str(day), **context)


def _lacking(day: RangeDay) -> str:
    """Why nobody signs on on the day yet, as rooms above say; blank where nothing stands in the way."""
    asked = (lacks(day) for room in rooms.in_order() for lacks in room.lacking)
    return next((sentence for sentence in asked if sentence), "")


def _roll(day: RangeDay, user: User, *, with_parents: bool) -> list[list[object]]:
    """Everyone on the roll: id, name, family, by which price, marks, how often they came lately, which kit they had;
    of a parent who may shoot beside children also these.
    """
    lines = selectors.sheet(day, with_money=user.has_perm("fees.view_charge"), with_parents=with_parents)
    times, had = usual.times_came(day), usual.kit_had(day.date)
    return [
        [each.person, each.name, each.household, each.tariff[0], each.marks, times.get(each.person, 0),
         had.get(each.person, []), *([each.beside] if each.beside else [])]
        for each in lines
    ]  # fmt: skip


def _piece(line: kits.KitLine) -> list[object]:
    kit = line.kit
    told = [kit.pk, kit.number, kit.get_kind_display(), kit.words, int(line.due), line.unsafe]
    return [*told, kit.size, kit.hand, kit.draw_weight or 0]


def who_counts(permission: str) -> str:
    """Who may count the cash box, for whoever may not."""
    backend = "django.contrib.auth.backends.ModelBackend"
    users = User.objects.with_perm(permission, include_superusers=False, backend=backend).filter(is_staff=True)
    names = [selectors.name_of(each) for each in users.order_by("first_name", "username")[:4]]
    return f"Closing the day is for {' or '.join(names) or 'a coordinator'}, who then sees what two of you counted."


def said_of(day: RangeDay, kit: list[kits.KitLine], have: str = "") -> dict[str, Any]:
    """Who has signed on, as the sheet shows it, the latest first, and which kit is out, with whose sign-on.

    Of each: the person (whose name the sheet knows; a visitor's name), what for, the key of its tap or its own, its id,
    how it was paid and the cents handed over.
    Where the phone says by its mark what it has, and that still stands, it is told only what came after.
    """
    standing = day.sign_ons.filter(selectors.STANDS).order_by("pk") if day.is_open else SignOn.objects.none()
    rows = list(standing.values_list(*TOLD))
    before = _still_first(have, rows)
    news = {"signed": [_as_told(*row) for row in rows[before:][::-1]], "more": before > 0, "mark": mark_of(rows)}
    out = [[each.kit.pk, each.holder, each.who] for each in kit if each.holder]
    return {**news, "out": out, "closed": closed_in_words(day)}


def waiting_of(day: RangeDay) -> list[list[object]]:
    """Visitors who signed on by themselves, as the sheet shows them."""
    return [_at_the_table(each) for each in visiting.at_the_table(day)] if day.is_open else []


def _at_the_table(visitor: Visitor) -> list[object]:
    """A visitor who waits: key, name, guardian of a child, phone, the safety rules agreed to."""
    guardian = visitor.guardian if visitor.is_child else ""
    return [str(visitor.key), visitor.name, guardian, visitor.phone, visitor.safety_id]


TOLD = (
    "pk", "key", "person", "visitor_name", "tap__key", "gear", "paid", in_cents("amount"), in_cents("rounding")
)  # fmt: skip


def _as_told(
    pk: int, key: uuid.UUID, person: int | None, visitor: str, tap: uuid.UUID | None, *paid_for: Any
) -> list[object]:
    whom = [person, "" if person else visitor]
    by_tap = [str(tap), ""] if tap else ["", str(key)]
    _gear, paid, amount, rounding = paid_for
    return [*whom, in_words(*paid_for), *by_tap, pk, paid, amount - rounding]


def mark_of(rows: Sequence[tuple[Any, ...]]) -> str:
    """How many rows there are, and a digest of them: by this a phone says which it has."""
    return f"{len(rows)}-{hashlib.sha256(repr(rows).encode()).hexdigest()[:16]}"


def _still_first(have: str, rows: Sequence[tuple[Any, ...]]) -> int:
    """How many rows the phone has, where they are the first as they are now; else none."""
    count = have.partition("-")[0]
    known = int(count) if count.isascii() and count.isdigit() and len(count) < 6 else 0
    return known if have == mark_of(rows[:known]) else 0


def in_words(gear: str, paid: str, amount: int, rounding: int) -> str:
    """What for, and what was handed over; amounts in whole cents."""
    if not amount:
        return "own gear"
    return f"{Gear(gear).label.lower()}, {shown(from_cents(amount - rounding))} {Paid(paid).label.lower()}"


def closed_in_words(day: RangeDay) -> str:
    """Why nobody signs on any more; blank while the day is open."""
    if day.called_off_on:
        return f"This day was called off: {day.called_off_reason}. Nobody is signed on."
    return "This day was counted and closed. Nothing more is signed on." if day.closed_on else ""


@never_cache
def worker(request: HttpRequest) -> HttpResponseBase:
    """What opens the sheet without reception; it says nothing of anybody, and so anybody may have it."""
    places = {
        "today": reverse("admin:today"),
        "sheet": reverse("admin:range_sheet", args=[0]),
        "login": reverse("account_login"),
        "logout": reverse("admin:logout"),
        "static": settings.STATIC_URL,
    }
    return render(request, "rangeday/worker.js", places, content_type="text/javascript")


@never_cache
def taps(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Take what a phone sends: each tap in a transaction of its own, told what became of it, and who has signed on.

    Whoever is not signed in any more gets a sentence and not the sign-in page, which a phone could not tell from a
    poor connection. Each answer brings the token for the next post.
    """
    answer = {"token": get_token(request)}
    if not request.user.is_authenticated:
        return JsonResponse({**answer, "sentence": SIGNED_OUT, "signed_out": True}, status=403)
    user = signed_in(request)
    if not (user.is_staff and may(user, verb_of(services.receive_tap).permission)):
        return JsonResponse({**answer, "sentence": MAY_NOT}, status=403)
    day = get_object_or_404(RangeDay, pk=pk)
    told: list[list[object]] = []
    refused, sent, phone = "", [], None
    if request.method == "POST":
        try:
            body = json.loads(request.body)
            sent, owner = list(body["taps"])[:MOST_AT_ONCE], body.get("owner", user.pk)
        except phones.WRONG:
            return JsonResponse({**answer, "sentence": "This is nothing that the sheet sends."}, status=400)
        if owner != user.pk:
            return JsonResponse({**answer, "sentence": OF_SOMEBODY_ELSE}, status=409)
        told, refused = _take(request, day, sent, phones.ahead(body.get("now")))
        phone = phones.phone_of(body)
        _hear_of(day, phone, user)
    kit = kits.kit_in_hands(day.date) if day.is_open else []
    asked = [[str(key), question] for key, question in selectors.asked_of(day, user)]
    news = said_of(day, kit, request.GET.get("have", ""))
    if not sent or any(_is_of_a_visitor(each) for each in sent):
        news["waiting"] = waiting_of(day)  # a tap that changes nothing of it is answered without that question
    if not sent or phone:
        news["silent"] = [[heard.in_words(each), each.unsent] for each in heard.silent(day, phone and phone[0])]
    return JsonResponse({**answer, "told": told, "refused": refused, "asked": asked, **news})


def _hear_of(day: RangeDay, phone: tuple[uuid.UUID, int] | None, user: User) -> None:
    """Note that the phone is there; where only others are writing it is heard of with its next post."""
    if phone is None:
        return
    with suppress(Refused, DatabaseError):
        services.hear_of(range_day=day, key=phone[0], unsent=phone[1], by=user)


def _is_of_a_visitor(sent: Any) -> bool:
    return isinstance(sent, dict) and bool(sent.get("visitor") or sent.get("undo"))


def _take(request: HttpRequest, day: RangeDay, sent: Sequence[Any], ahead: timedelta) -> tuple[list[list[object]], str]:
    """Do what each tap says; what became of each, and why one must be sent again."""
    told: list[list[object]] = []
    refused, known, user = "", selectors.schedule(day), signed_in(request)
    for each in sent:
        try:
            tapped = phones.tapped_of(each, ahead)
        except phones.WRONG:
            told += [answer for answer in [phones.unreadable(each)] if answer]
            continue
        try:
            tap = services.receive_tap(range_day=day, tapped=tapped, by=user, known=known)
        except Exception as error:
            refused = _why_kept(error, request) or refused
        else:
            told.append([each["key"], tap.state, tap.question, int(tapped.undo)])
    return told, refused


def _why_kept(error: Exception, request: HttpRequest) -> str:
    """Why a tap could not be taken, so that the phone keeps it and sends it again; no other tap waits for it.

    Blank where only others were writing, since it is sent again by itself a moment later.
    """
    if is_busy(error):
        return ""
    if isinstance(error, Refused | IntegrityError | DataError):
        return sentence_of(error)
    return said(error, request)


def _figures(request: HttpRequest, site: AdminSite, title: str, **context: Any) -> HttpResponseBase:
    parent = Link("Range days", reverse("admin:rangeday_rangeday_changelist"))
    return site_page(request, site, "screens/figures.html", title, parent=parent, **context)


def figures_page(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """Takings, attendance, kit and a kind hint, over the days asked for; the current financial year by itself."""
    today = clock.today()
    form = SpanForm(request.GET if "since" in request.GET else {"since": year_start(today), "until": today})
    form.label_suffix = ""
    if not form.is_valid():
        return _figures(request, site, "The range in figures", form=form)
    since, until = form.cleaned_data["since"], form.cleaned_data["until"]
    days = figures.by_day(since, until)
    months = figures.by_month(days)[::-1]
    sections = [
        takings_by_month(months), takings_section(days, since, until), attendance_section(months),
        kit_section(since, until), hint_section(today),
    ]  # fmt: skip
    return _figures(
        request, site, "The range in figures", form=form, sections=sections, chart=season_chart(days) if days else None
    )


def in_figures(day: date) -> str:
    """A date that does not break over lines in a narrow table."""
    return day_text(day).replace(" ", "\N{NO-BREAK SPACE}")


def season_chart(days: list[figures.DayFigures]) -> Chart:
    """Takings a date by kind; a month together where there are many."""
    parts = ["Hire", "Visitors"]
    columns: dict[date, list[Decimal]] = {}
    by_month = len(days) > MONTHS_FROM
    for each in days:
        column = columns.setdefault(each.day.date.replace(day=1) if by_month else each.day.date, [Decimal(0)] * 2)
        for place, kind in enumerate(figures.KINDS):
            column[place] += each.fees[kind]
    title = f"Takings {'by month' if by_month else 'by day'}"
    return Chart(
        title,
        parts,
        [(f"{day:%b %y}" if by_month else day_text(day, year=False), each) for day, each in columns.items()],
    )


def takings_section(days: list[figures.DayFigures], since: date, until: date) -> Section:
    """By day, kind and method, with the sums; the note says whether the ledger has the same."""
    several = len({each.day.place for each in days}) > 1
    rows = [
        _takings(link_to(each.day, f"{in_figures(each.day.date)} {each.day.place if several else ''}".strip()), [each])
        for each in days[: -MOST_DAYS - 1 : -1]
    ]
    total = [_takings("Together", days)] if days else []
    earlier = f"The latest {MOST_DAYS} of {len(days)} days; the others stand by month." if len(days) > MOST_DAYS else ""
    return Section(
        "Takings by day",
        ["Day", *TAKINGS],
        [*total, *rows],
        "No range day in this time.",
        note=" ".join([earlier, *(_proof(each) for each in figures.proofs(days, since, until)), SPLIT]).strip(),
    )


TAKINGS = ["People", "Hire", "Visitors", "Cash", "Card", "On account"]
SPLIT = "In the ledger a fee stands under the accounts among which the fee schedule divides it."


def _takings(first: Any, own: Sequence[figures.DayFigures]) -> list[Any]:
    kinds = [sum((each.fees[kind] for each in own), Decimal(0)) for kind in figures.KINDS]
    methods = [sum((each.paid[method] for each in own), Decimal(0)) for method in figures.METHODS]
    return [first, sum(each.attendance for each in own), *kinds, *methods]


def takings_by_month(months: list[figures.MonthFigures]) -> Section:
    rows = [_takings(f"{each.first:%B %Y}", each.own) for each in months]
    return Section("Takings by month", ["Month", *TAKINGS], rows, "No range day in this time.")


def _proof(proof: figures.Proof) -> str:
    said = f"{Paid(proof.method).label} from sign-ons in the ledger: {shown(proof.by_ledger)}"
    if proof.by_ledger == proof.by_sign_ons:
        return f"{said}, and by the sign-ons the same."
    return f"{said}; by the sign-ons {shown(proof.by_sign_ons)}. Run check_books."


def attendance_section(months: list[figures.MonthFigures]) -> Section:
    rows = [
        (f"{each.first:%B %Y}", each.days, each.sign_ons, f"{each.a_day}", each.people, each.visitors)
        for each in months
    ]
    columns = ["Month", "Range days", "Sign-ons", "A day", "Different people", "Visitors"]
    return Section("Attendance by month", columns, rows, "Nobody signed on in this time.")


def kit_section(since: date, until: date) -> Section:
    """Of each piece how often it was given out, the most first; of very many only those."""
    uses = figures.uses_between(since, until)
    every = sorted(Kit.objects.values_list("pk", flat=True), key=lambda pk: -uses.get(pk, 0))
    kit = figures.kit_in_use().in_bulk(every[:MOST_KIT])
    rows = [
        (link_to(each), each.words or "–", uses.get(pk, 0), each.uses_since_check, each.get_state_display())
        for pk, each in ((pk, kit[pk]) for pk in every[:MOST_KIT])
    ]
    columns = ["Kit", "", "Given out", "Since its last check", "State"]
    note = f"The {MOST_KIT} of {len(every)} that were given out most; all stand in the list of kit."
    return Section(
        "Hire of each piece of kit",
        columns,
        rows,
        "No kit has a number yet.",
        note=note if len(every) > MOST_KIT else "",
    )


def hint_section(today: date) -> Section:
    """A kind hint for the coach: who might save by gear of their own."""
    rows = [(link_to(hint.person), hint.hires, hint.paid, hint.cost) for hint in figures.own_gear_hints(today)]
    return Section(
        "Who might save by gear of their own",
        ["Who", "Hires in twelve months", "Hire fees", "Own gear costs about"],
        rows,
        "Nobody at present." if figures.cost_of_own_gear(today) else "Write down first what own gear costs about.",
        note="A hint for the coach, not for a reminder: families decide, and growing children outgrow bows.",
    )


def tin_page(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    """What is in the tin, and how it came there: the till account, the latest movement first."""
    today = clock.today()
    lines = figures.tin_lines(today)
    rows = [(in_figures(line.day), line.words, line.amount, line.balance) for line in lines]
    in_the_tin = lines[0].balance if lines else nil()
    counts = selectors.latest_counts()
    counted = [
        (
            in_figures(count.range_day.date),
            link_to(count.range_day, count.range_day.place),
            count.expected,
            count.counted,
            count.difference,
        )
        for count in counts
    ]
    may_bank = may(request.user, verb_of(services.bank_takings).permission)
    return _figures(
        request,
        site,
        "The cash box",
        intro="All cash of the club by the ledger, in whichever cash box it lies. Money banked has left it.",
        facts=[("In the cash box now", in_the_tin), ("Days not counted yet", selectors.uncounted(today).count())],
        verbs=[("Bank takings", add_page_of(Banking))] if may_bank else [],
        sections=[
            Section("In and out", ["Day", "What", "In or out", "Then in the cash box"], rows, "Nothing yet."),
            Section("Last counted", ["Day", "Range", "Expected", "Counted", "Difference"], counted, "Not yet."),
        ],
    )
