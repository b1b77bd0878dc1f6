"""The admin site itself: the rooms in the order of a season, and a home page of what waits."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.contrib import messages
from django.contrib.admin import AdminSite
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.template.response import TemplateResponse
from django.urls import URLPattern, URLResolver, path, reverse

from clubdesk import clock

SEASON = (
    "roll",
    "courses",
    "mail",
    "membership",
    "rangeday",
    "entryfund",
    "expenses",
    "fees",
    "bank",
    "yearend",
    "ledger",
    "auth",
)
SIGN_INS = "Sign-ins and roles"


@dataclass(frozen=True)
class Scene:
    """One of the four things that are done most, as a large button."""

    title: str
    line: str
    permission: str
    url: str


@dataclass(frozen=True)
class Waiting:
    """Something that waits for somebody: what one and what several are called, where, and how many there are."""

    one: str
    many: str
    permission: str
    url: str
    count: Callable[[], int]


def scenes() -> list[Scene]:
    return [
        Scene("Book a course place", "or join the waitlist", "courses.add_place", reverse("admin:courses_booking_add")),
        Scene("Record hire today", "sign on, and take the fee", "rangeday.add_signon", reverse("admin:today")),
        Scene(
            "Decide entry-fee refunds",
            "approve or decline",
            "entryfund.decide_entryclaim",
            reverse("admin:claim_queue"),
        ),
        Scene(
            "Export the year",
            "statements and workbook",
            "ledger.export_year",
            reverse("admin:reports"),
        ),
    ]


def waiting() -> list[Waiting]:
    from clubdesk.bank.models import PaymentItem, PaymentRun, StatementLine
    from clubdesk.bank.selectors import UNEXPLAINED, claims_to_pay, expenses_to_pay
    from clubdesk.courses.models import Booking
    from clubdesk.entryfund.models import EntryClaim
    from clubdesk.expenses.models import Expense
    from clubdesk.fees.models import Voucher
    from clubdesk.mail.models import Message
    from clubdesk.membership.selectors import to_renew
    from clubdesk.rangeday.models import RangeDay, Tap

    def of(model: Any, permission: str, one: str, many: str, query: str, **only: Any) -> Waiting:
        url = f"{reverse(f'admin:{model._meta.app_label}_{model._meta.model_name}_changelist')}?{query}"
        return Waiting(one, many, permission, url, model.objects.filter(**only).count)

    today = clock.today()
    return [
        of(
            Booking,
            "courses.change_place",
            "offer open, waiting for an answer",
            "offers open, waiting for an answer",
            "state__exact=offered",
            state="offered",
        ),
        of(
            Booking,
            "courses.change_place",
            "party on a waitlist",
            "parties on waitlists",
            "state__exact=waiting",
            state="waiting",
        ),
        Waiting(
            "household to renew",
            "households to renew",
            "membership.add_membership",
            reverse("admin:renewals"),
            lambda: len(to_renew(today)),
        ),
        of(
            Message,
            "mail.change_message",
            "letter that could not be sent",
            "letters that could not be sent",
            "state__exact=failed",
            state="failed",
        ),
        of(
            Message,
            "mail.change_message",
            "letter without an e-mail address",
            "letters without an e-mail address",
            "state__exact=no_address",
            state="no_address",
        ),
        of(
            RangeDay,
            "rangeday.close_rangeday",
            "range day not counted yet",
            "range days not counted yet",
            "standing=uncounted",
            closed_on=None,
            called_off_on=None,
            date__lte=today,
        ),
        of(
            Tap,
            "rangeday.close_rangeday",
            "question from a phone at the range",
            "questions from phones at the range",
            "state__exact=question",
            state="question",
        ),
        of(
            EntryClaim,
            "entryfund.view_entryclaim",
            "claim to decide",
            "claims to decide",
            "state__exact=recorded",
            state="recorded",
        ),
        of(
            Expense,
            "expenses.decide_expense",
            "volunteer’s expense to decide",
            "volunteers’ expenses to decide",
            "state__exact=recorded",
            state="recorded",
        ),
        Waiting(
            "refund or expense to pay",
            "refunds and expenses to pay",
            "bank.add_paymentrun",
            reverse("admin:bank_paymentrun_add"),
            lambda: claims_to_pay().count() + expenses_to_pay().count(),
        ),
        of(
            PaymentRun,
            "bank.release_paymentrun",
            "payment run to release",
            "payment runs to release",
            "state__exact=made",
            state="made",
        ),
        of(
            PaymentItem,
            "bank.change_paymentrun",
            "payment that the bank has not made yet",
            "payments that the bank has not made yet",
            "state__exact=waiting",
            state="waiting",
            run__state="released",
        ),
        of(
            Voucher,
            "fees.add_lodgement",
            "voucher to lodge",
            "vouchers to lodge",
            "state__exact=accepted",
            state="accepted",
        ),
        Waiting(
            "bank line that nothing explains",
            "bank lines that nothing explains",
            "bank.change_statementline",
            reverse("admin:explain_lines"),
            StatementLine.objects.filter(UNEXPLAINED).count,
        ),
    ]


class FletchbookSite(AdminSite):
    site_title = "Fletchbook"
    site_header = "Fletchbook"
    index_title = "Home"
    site_url = None
    index_template = "admin/index.html"
    enable_nav_sidebar = False

    def each_context(self, request: HttpRequest) -> dict[str, Any]:
        from clubdesk.ledger.models import Book

        book = Book.objects.first()
        return {**super().each_context(request), "book": book}

    def get_app_list(self, request: HttpRequest, app_label: str | None = None) -> list[Any]:
        """The rooms as a season goes through them, each with the line that says what it is for."""
        rooms = super().get_app_list(request, app_label)
        for room in rooms:
            if room["app_label"] == "auth":
                room["name"], room["purpose"] = SIGN_INS, "Who may sign in, and what each role may do."
            else:
                room["purpose"] = getattr(apps.get_app_config(room["app_label"]), "purpose", "")
        return sorted(rooms, key=lambda room: SEASON.index(room["app_label"]) if room["app_label"] in SEASON else 99)

    def index(self, request: HttpRequest, extra_context: dict[str, Any] | None = None) -> TemplateResponse:
        may = request.user.has_perm
        counted = [(each, each.count()) for each in waiting() if may(each.permission)]
        home = {
            "open_year": apps.get_model("ledger", "FinancialYear")
            .objects.filter(closed_at=None)
            .order_by("first_day")
            .first(),
            "scenes": [scene for scene in scenes() if may(scene.permission)],
            "waiting": [(each.url, count, each.one if count == 1 else each.many) for each, count in counted if count],
        }
        return super().index(request, {**home, **(extra_context or {})})

    def get_urls(self) -> list[URLPattern | URLResolver]:
        from clubdesk.bank.urls import patterns as bank_pages
        from clubdesk.courses.urls import patterns as course_pages
        from clubdesk.entryfund.urls import patterns as fund_pages
        from clubdesk.fees.urls import patterns as fee_pages
        from clubdesk.membership.urls import patterns as membership_pages
        from clubdesk.rangeday.urls import patterns as range_pages
        from clubdesk.reports.urls import patterns as report_pages
        from clubdesk.yearend.urls import patterns as year_pages

        rooms = [
            *bank_pages(self), *course_pages(self), *fee_pages(self), *fund_pages(self), *membership_pages(self),
            *range_pages(self), *report_pages(self), *year_pages(self),
        ]  # fmt: skip
        own = [path("today/", self.admin_view(self.today), name="today"), *rooms]
        return [*own, *super().get_urls()]

    def today(self, request: HttpRequest) -> HttpResponse:
        """The sign-on page of today's range day; where there is none yet, the page that begins one."""
        from clubdesk.rangeday.models import RangeDay

        days = RangeDay.objects.filter(date=clock.today(), closed_on=None, called_off_on=None)[:2]
        if len(days) == 1:
            return HttpResponseRedirect(reverse("admin:range_sheet", args=[days[0].pk]))
        if days:
            return HttpResponseRedirect(f"{reverse('admin:rangeday_rangeday_changelist')}?date={clock.today()}")
        if over := RangeDay.objects.filter(date=clock.today()).first():
            messages.info(request, f"Today was {over.standing} already; another range can begin a day of its own.")
            return HttpResponseRedirect(reverse("admin:rangeday_rangeday_change", args=[over.pk]))
        return HttpResponseRedirect(reverse("admin:rangeday_rangeday_add"))
