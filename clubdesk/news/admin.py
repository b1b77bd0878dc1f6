"""Screens of the news room: what was written to many, and who of a family wants it."""

from collections.abc import Callable
from urllib.parse import urlencode

from django.contrib import admin
from django.core.exceptions import PermissionDenied
from django.db import models
from django.db.models import QuerySet
from django.forms import ModelChoiceField
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse

from clubdesk.care.models import Kind
from clubdesk.care.selectors import newest
from clubdesk.clock import day_text
from clubdesk.mail.sections import not_reached
from clubdesk.news import selectors, services, views
from clubdesk.news.forms import CHOSEN, packed
from clubdesk.news.models import Writing
from clubdesk.roll.models import Guardian, Household
from clubdesk.roll.services import end_news
from clubdesk.screens.fields import VerbForm, choose_from
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.tables import Section
from clubdesk.screens.verbs import Facts, LinkPage, VerbPage
from clubdesk.verbs import may, verb_of


def went_section(request: HttpRequest, writing: Writing) -> Section:
    rows = [(label, count) for label, count in selectors.standing(writing).items()]
    return Section("How its letters stand", ["State", "Letters"], rows)


def to_ring_section(request: HttpRequest, writing: Writing) -> Section | None:
    return not_reached(selectors.letters_of(writing))


@admin.register(Writing)
class WritingAdmin(DocumentAdmin[Writing]):
    list_display = ("subject", "written_on", "audience", "letters", "without_address")
    list_filter = ("concern",)
    search_fields = ("subject", "text", "audience")
    search_help_text = "Words of the subject, of the text, or to whom it went"
    date_hierarchy = "written_on"
    fields = (
        "subject", "text", "concern", "audience", "written_on", "recorded_by", "letters", "without_address",
        "declined", "had_it",
    )  # fmt: skip
    readonly_fields = fields
    section_makers = (went_section, to_ring_section)
    sections_first = True

    def has_add_permission(self, request: HttpRequest) -> bool:
        return may(request.user, verb_of(services.write_to_many).permission)

    def add_view(self, request: HttpRequest, form_url: str = "", extra_context: object = None) -> HttpResponse:
        """A letter is written on a page of its own, where it is looked at before it goes out."""
        if not self.has_add_permission(request):
            raise PermissionDenied
        return HttpResponseRedirect(reverse("admin:write_to_families"))


class NewsForm(VerbForm[Household]):
    guardian = ModelChoiceField(label="Who", queryset=Guardian.objects.none())

    def prepare(self) -> None:
        rows = choose_from(self, "guardian", Guardian.objects.filter(household=self.target))
        self.fields["guardian"].initial = rows.first()


class EndsForm(NewsForm):
    def prepare(self) -> None:
        choose_from(self, "guardian", self.target.guardians.filter(news_ended_at=None))


class TakesUpForm(NewsForm):
    def prepare(self) -> None:
        choose_from(self, "guardian", self.target.guardians.filter(news_ended_at__isnull=False))


class EndNewsPage(VerbPage[Household, Guardian]):
    slug = "end-news"
    verb = end_news
    intro = "They are still written to about their own bookings, their money and what is not safe."
    button = "End the news"
    form_class = EndsForm
    lands_on_target = True

    def applies(self, target: Household) -> bool:
        return target.guardians.filter(news_ended_at=None).exists()

    def done(self, target: Household, result: Guardian) -> str:
        return f"{result} gets no more news."


class TakeUpNewsPage(VerbPage[Household, Guardian]):
    slug = "take-up-news"
    verb = services.take_up_news
    intro = "Only where they have asked for it, and agree to the words."
    button = "Send the news again"
    form_class = TakesUpForm
    lands_on_target = True

    def applies(self, target: Household) -> bool:
        return target.guardians.filter(news_ended_at__isnull=False).exists()

    def facts(self, target: Household) -> Facts:
        text = newest(Kind.NEWS)
        return [(f"The words, version {text.version}", text.text)]

    def done(self, target: Household, result: Guardian) -> str:
        return f"{result} gets the club’s news again."


class WriteStep(LinkPage[models.Model]):
    """The button that leads from a document to the page that writes, with whom it is about chosen."""

    title = "Write to these families"

    def __init__(self, audience: str) -> None:
        self.audience, self.permission = audience, verb_of(services.write_to_many).permission

    def url(self, target: models.Model) -> str:
        return f"{reverse('admin:write_to_families')}?to={self.audience}:{target.pk}"


class WriteToFamilyStep(LinkPage[Household]):
    title = "Write to this family"
    permission = verb_of(services.write_to_many).permission

    def url(self, target: Household) -> str:
        people = target.people.filter(erased_on=None).order_by("birth_date", "pk").values_list("pk", flat=True)
        families = packed([(target.pk, 0), *((target.pk, pk) for pk in people)])
        return f"{reverse('admin:write_to_families')}?{urlencode({'to': CHOSEN, 'families': families})}"


def news_section(request: HttpRequest, household: Household) -> Section | None:
    """What the guardians said to the club's news, the newest first; nothing where nobody said anything."""
    rows = [
        (each.said_by, f"agreed, version {each.version}" if each.wanted else "ended it", day_text(each.said_at))
        for each in household.news_choices.all()
    ]
    return Section("News of the club", ["Guardian", "Said", "Day"], rows) if rows else None


Action = Callable[[object, HttpRequest, QuerySet[Household]], HttpResponse]


def action_for(household: str, person: str) -> Action:
    """The bulk action of a list: write to the families that the lookup `household` leads to, about those of `person`.

    Where `person` is blank it concerns all of the family.
    """

    def write_to_these(screen: object, request: HttpRequest, queryset: QuerySet[Household]) -> HttpResponse:
        people = f"{household}__people" if household else "people"
        rows = queryset.order_by("pk").values_list(household or "pk", person or people)
        return views.write_to_these(request, admin.site, [(home, pk or 0) for home, pk in rows if home])

    write_to_these.short_description = "Write to these families"  # type: ignore[attr-defined]
    write_to_these.permission = verb_of(services.write_to_many).permission  # type: ignore[attr-defined]
    return write_to_these
