"""Screens of one person's place, and of the certificate that it may end with."""

from django import forms
from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.courses import selectors, services, words
from clubdesk.courses.admin.asking import told
from clubdesk.courses.admin.bookings import what_came_of_it
from clubdesk.courses.models import Certificate, Cohort, Place, PlaceState
from clubdesk.roll.models import Person
from clubdesk.screens.fields import HappenedField, VerbForm, choose_from, day_and_reason, reason_field
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.tables import Section
from clubdesk.screens.verbs import Facts, LinkPage, VerbPage


class PlaceWithdrawPage(VerbPage[Place, Place]):
    slug = "withdraw"
    verb = services.withdraw_place
    target = "place"
    intro = "The fee is credited by the course’s refund rule, and the place is offered to the next booking that fits."
    button = "Withdraw the place"
    form_class = day_and_reason("Withdrawn on")

    def applies(self, target: Place) -> bool:
        return selectors.can_leave(target, clock.today())

    def facts(self, target: Place) -> Facts:
        facts: list[tuple[str, object]] = [("Who", target.person), ("Now", target.get_state_display())]
        if target.state == PlaceState.HELD and (taken := selectors.if_withdrawn(target, clock.today())):
            facts.append(("If withdrawn today", words.money_in_words(taken)))
        return facts

    def done(self, target: Place, result: Place) -> str:
        return what_came_of_it(result.booking)


class UndoWithdrawalPage(VerbPage[Place, Place]):
    slug = "undo"
    verb = services.undo_withdrawal
    target = "place"
    intro = (
        "They have the place, or their turn, again, and the fee is charged as it was. A family that was offered the "
        "place meanwhile and has not accepted waits again, and has a letter that says why."
    )
    button = "Undo the withdrawal"

    def applies(self, target: Place) -> bool:
        over = target.cohort and (target.cohort.cancelled_on or target.cohort.last_session < clock.today())
        gone = target.state == PlaceState.WITHDRAWN and not over and not services.was_swapped(target)
        return (
            gone
            and not services.asked_since(target)
            and selectors.standing_place(target.person, target.course, clock.today()) is None
        )

    def facts(self, target: Place) -> Facts:
        fee: list[tuple[str, object]] = [("Fee", target.charge.amount)] if target.charge else []
        left = [("Places free now", max(selectors.seats_left(target.cohort), 0))] if target.cohort else []
        return [("Who", target.person), ("In", target.cohort or target.course), *fee, *left]

    def done(self, target: Place, result: Place) -> str:
        return told(result.booking)


class SwapForm(VerbForm[Place]):
    person = forms.ModelChoiceField(Person.objects.none(), label="Who comes instead")
    agreed_by = forms.CharField(label="Who agreed to what the course asks", max_length=100)
    on = HappenedField(label="On")
    reason = reason_field()

    def prepare(self) -> None:
        choose_from(self, "person", selectors.who_could_join(self.target.booking, clock.today()))
        if not self.target.course.consent_text:
            del self.fields["agreed_by"]


class SwapPage(VerbPage[Place, Place]):
    slug = "swap"
    verb = services.swap_person
    target = "place"
    intro = (
        "One of the same family comes in this place. The fee goes with it, what has paid it too, and the family has "
        "a letter. A voucher is its child’s own: do not claim it first."
    )
    button = "Change who comes"
    form_class = SwapForm

    def applies(self, target: Place) -> bool:
        held = target.state == PlaceState.HELD and target.cohort and target.cohort.first_session > clock.today()
        return bool(held) and selectors.who_could_join(target.booking, clock.today()).exists()

    def facts(self, target: Place) -> Facts:
        assert target.cohort, "a place that is held is in a cohort"
        assert target.charge, "and was charged"
        asks = [("What the course asks", target.course.consent_text)] if target.course.consent_text else []
        fees = [
            (f"Fee if {each} comes", services.price_in_place_of(target.charge, each, target.cohort).amount)
            for each in selectors.who_could_join(target.booking, clock.today())
        ]
        return [("Who", target.person), ("In", target.cohort), ("Fee", target.charge.amount), *fees, *asks]

    def done(self, target: Place, result: Place) -> str:
        return told(result.booking)


class MembershipStep(LinkPage[Place]):
    """The step from the course into the club."""

    title = "Take out a membership"
    permission = "membership.add_membership"

    def applies(self, target: Place) -> bool:
        return target.state == PlaceState.HELD

    def url(self, target: Place) -> str:
        return f"{reverse('admin:membership_membership_add')}?person={target.person_id}"


class PdfStep(LinkPage[Certificate]):
    title = "Certificate (PDF)"
    permission = "courses.view_certificate"

    def url(self, target: Certificate) -> str:
        return reverse("admin:course_certificate", args=[target.pk])


class PdfOfPlaceStep(LinkPage[Place]):
    title = PdfStep.title
    permission = PdfStep.permission

    def applies(self, target: Place) -> bool:
        return hasattr(target, "certificate")

    def url(self, target: Place) -> str:
        return PdfStep().url(target.certificate)


def attendance_section(request: HttpRequest, place: Place) -> Section:
    rows = [(each.held_on,) for each in place.attendances.all()]
    return Section("Came to", ["Session"], rows, "No session yet.")


class CohortFilter(admin.SimpleListFilter):
    """The courses that began last, with which there is still something to do; older ones are found from their page."""

    title = "course"
    parameter_name = "cohort__id__exact"
    most = 12

    def lookups(self, request: HttpRequest, model_admin: object) -> list[tuple[str, str]]:
        latest = Cohort.objects.select_related("course").order_by("-first_session", "-pk")[: self.most]
        return [(str(cohort.pk), str(cohort)) for cohort in latest]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Place]) -> QuerySet[Place]:
        asked = self.value() or ""
        return queryset.filter(cohort=int(asked)) if asked.isascii() and asked.isdigit() else queryset


@admin.register(Place)
class PlaceAdmin(DocumentAdmin[Place]):
    list_display = ("person", "cohort", "state", "booking")
    list_select_related = ("person", "cohort__course", "booking__household", "booking__course", "course")
    list_filter = ("state", CohortFilter)
    search_fields = ("person__given_name", "person__family_name", "booking__household__name", "=booking__number")
    search_help_text = "A name, a family or a booking number"
    fields = ("person", "course", "cohort", "state", "ended_on", "booking", "charge")
    readonly_fields = fields
    pages = (PlaceWithdrawPage(), SwapPage(), UndoWithdrawalPage(), PdfOfPlaceStep(), MembershipStep())
    section_makers = (attendance_section,)


@admin.register(Certificate)
class CertificateAdmin(DocumentAdmin[Certificate]):
    list_display = ("shown_number", "person", "completed_on")
    list_select_related = ("place__person",)
    search_fields = ("number", "place__person__given_name", "place__person__family_name")
    search_help_text = "A certificate’s number, or a name"
    fields = ("shown_number", "person", "completed_on")
    readonly_fields = fields
    pages = (PdfStep(),)

    @admin.display(description="Number")
    def shown_number(self, certificate: Certificate) -> str:
        return certificate.shown_number

    @admin.display(description="Who")
    def person(self, certificate: Certificate) -> str:
        return str(certificate.place.person)
