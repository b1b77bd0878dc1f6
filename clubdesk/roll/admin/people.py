"""Screens of families and of their people."""

from datetime import datetime
from decimal import Decimal

from django.contrib import admin
from django.contrib.auth.models import User
from django.db import models
from django.forms import ModelChoiceField
from django.http import HttpRequest
from django.utils import timezone

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.ledger.models import Posting, Role
from clubdesk.ledger.selectors import ZERO
from clubdesk.money import sum_of
from clubdesk.roll import finding, services
from clubdesk.roll.admin.merges import LeadsOn, MergeFamiliesPage, MergePeoplePage, merged_section
from clubdesk.roll.known import GuardiansPointedOut, PeoplePointedOut, PersonForm
from clubdesk.roll.models import Belonging, Guardian, Household, Person
from clubdesk.roll.selectors import twice_on_the_roll
from clubdesk.screens.fields import DateInput, VerbForm, choose_from
from clubdesk.screens.tables import Link, Section, as_figure, link_to
from clubdesk.screens.verbs import VerbPage
from clubdesk.verbs import may

Names = tuple[str | tuple[str, ...], ...]


class GuardianInline(admin.StackedInline[Guardian, Household]):
    model = Guardian
    formset = GuardiansPointedOut
    extra = 0
    min_num = 1
    fields = ("name", "email", "phone")


class PersonInline(admin.StackedInline[Person, Household]):
    model = Person
    formset = PeoplePointedOut
    extra = 1
    can_delete = False
    fields = ("given_name", "family_name", "birth_date", "class_today")
    readonly_fields = ("class_today",)
    formfield_overrides = {models.DateField: {"widget": DateInput}}

    @admin.display(description="Age and class")
    def class_today(self, person: Person) -> str:
        return age_and_class(person) if person.pk else ""


def age_and_class(person: Person) -> str:
    today = clock.today()
    return f"{person.age_on(today)}, {person.age_class_on(today)}"


class AddForm(VerbForm[Household]):
    user = ModelChoiceField(label="Who", queryset=User.objects.none())

    def prepare(self) -> None:
        own = self.target.belongings.filter(ended_at=None).values("user")
        choose_from(self, "user", User.objects.filter(is_staff=True, is_active=True).exclude(pk__in=own))


class AddToFamilyPage(VerbPage[Household, Belonging]):
    slug = "add-sign-in"
    verb = services.add_to_family
    target = "household"
    intro = "From then on they decide about nothing that this family asks for, nor release what it is paid."
    form_class = AddForm
    lands_on_target = True

    def done(self, target: Household, result: Belonging) -> str:
        return f"{result.user} belongs to {target} and decides about nothing of its money."


class TakeOffForm(VerbForm[Household]):
    user = ModelChoiceField(label="Who", queryset=User.objects.none())

    def prepare(self) -> None:
        choose_from(self, "user", User.objects.filter(pk__in=_standing(self.target).values("user")))


class TakeOffFamilyPage(VerbPage[Household, Belonging]):
    slug = "take-off-sign-in"
    verb = services.take_off_family
    target = "household"
    intro = "What the family has asked for by now they still never decide. Nobody takes themselves off."
    form_class = TakeOffForm
    lands_on_target = True

    def applies(self, target: Household) -> bool:
        return _standing(target).exists()

    def done(self, target: Household, result: Belonging) -> str:
        return f"{result.user} belongs to {target} no more."


class EndLinksPage(VerbPage[Household, Household]):
    slug = "end-links"
    verb = services.end_links
    target = "household"
    intro = (
        "No link in a letter to this family works any more, nor a page that was opened by one. Use it where a letter "
        "came into other hands. The next letter brings each guardian a new link."
    )
    button = "End the links"

    def applies(self, target: Household) -> bool:
        return target.guardians.exclude(email="").exists()

    def done(self, target: Household, result: Household) -> str:
        return f"The links of {target} are ended; their next letter brings a new one."


def _standing(household: Household) -> models.QuerySet[Belonging]:
    return household.belongings.filter(ended_at=None)


def guardians_section(request: HttpRequest, household: Household) -> Section:
    """Who answers for the children, and how to reach them with one tap."""
    rows = [
        (
            each.name,
            Link(each.phone, f"tel:{each.phone.replace(' ', '')}") if each.phone else "no phone",
            Link(each.email, f"mailto:{each.email}") if each.email else "no e-mail",
        )
        for each in household.guardians.all()
    ]
    return Section("Guardians", ["Name", "Phone", "E-mail"], rows, "Nobody yet: add a guardian below.")


def people_section(request: HttpRequest, household: Household) -> Section:
    rows = [
        (link_to(each), age_and_class(each) if not each.erased_on else "erased", day_text(each.birth_date))
        for each in household.people.order_by("birth_date", "pk")
    ]
    return Section("People", ["Name", "Age and class", "Born"], rows, "Nobody yet: add them below.")


def sign_ins_section(request: HttpRequest, household: Household) -> Section | None:
    """Who of those that sign in belongs to the family, or did."""
    rows = [
        (each.user, _when(each.added_at, each.added_by), _when(each.ended_at, each.ended_by))
        for each in household.belongings.select_related("user", "added_by", "ended_by")
    ]
    note = "They decide about nothing of this family’s money that was asked for before they left it."
    return Section("Sign-ins of this family", ["Who", "Since", "Until"], rows, note=note) if rows else None


def _when(at: datetime | None, by: User | None) -> str:
    if at is None:
        return ""
    return f"{day_text(timezone.localdate(at))}{f', by {by}' if by else ''}"


class OwesFilter(admin.SimpleListFilter):
    title = "account"
    parameter_name = "account"

    def lookups(self, request: HttpRequest, model_admin: object) -> list[tuple[str, str]]:
        return [("owes", "owes the club"), ("credit", "in credit")]

    def queryset(self, request: HttpRequest, queryset: models.QuerySet[Household]) -> models.QuerySet[Household]:
        wanted = {"owes": models.Q(owed__gt=0), "credit": models.Q(owed__lt=0)}
        return queryset.filter(wanted[self.value() or ""]) if self.value() in wanted else queryset


@admin.register(Household)
class HouseholdAdmin(LeadsOn[Household]):
    list_display = ("name", "children", "owes")
    list_filter = (OwesFilter,)
    search_fields = ("name", "guardians__name", "guardians__email", "people__given_name", "people__family_name")
    search_help_text = "A family, guardian or child, also misspelt; a phone, an e-mail or a payment reference"
    also_finds = (finding.families_reached,)
    else_finds = (finding.families_alike,)
    fields = ("name",)
    sections_first = True
    pages = (AddToFamilyPage(), TakeOffFamilyPage(), EndLinksPage(), MergeFamiliesPage())
    section_makers = (guardians_section, people_section, sign_ins_section, merged_section)
    edits_apart = "Change these details"
    inlines = (GuardianInline, PersonInline)

    def get_queryset(self, request: HttpRequest) -> models.QuerySet[Household]:
        rows = Posting.objects.filter(party=models.OuterRef("party"), account__role=Role.FEES_OWED)
        owed = rows.order_by().values("party").annotate(figure=sum_of("amount")).values("figure")
        return super().get_queryset(request).prefetch_related("people").annotate(owed=models.Subquery(owed))

    @admin.display(description="Who")
    def children(self, household: Household) -> str:
        """The people of the family by their given names, the eldest first."""
        people = (each for each in household.people.all() if not each.erased_on)
        return ", ".join(each.given_name for each in sorted(people, key=lambda each: each.birth_date))

    @admin.display(description="Owes", ordering="owed")
    def owes(self, household: Household) -> str:
        figure: Decimal = getattr(household, "owed", None) or ZERO
        return as_figure(-figure, before="in credit ") if figure < 0 else as_figure(figure)

    def save_model(self, request: HttpRequest, obj: Household, form: object, change: bool) -> None:
        services.save_household(household=obj)


class TwiceFilter(admin.SimpleListFilter):
    title = "on the roll"
    parameter_name = "twice"

    def lookups(self, request: HttpRequest, model_admin: object) -> list[tuple[str, str]]:
        return [("yes", "perhaps twice")]

    def queryset(self, request: HttpRequest, queryset: models.QuerySet[Person]) -> models.QuerySet[Person]:
        return queryset.filter(pk__in=twice_on_the_roll().values("pk")) if self.value() == "yes" else queryset


@admin.register(Person)
class PersonAdmin(LeadsOn[Person]):
    form = PersonForm
    list_filter = (TwiceFilter,)
    list_display = ("__str__", "household", "birth_date", "age_class")
    list_select_related = ("household",)
    search_fields = ("given_name", "family_name", "household__name")
    search_help_text = "A name, also misspelt, or a family"
    else_finds = (finding.people_alike,)
    autocomplete_fields = ("household",)
    pages = (MergePeoplePage(),)
    section_makers = (merged_section,)
    fields = ("household", ("given_name", "family_name"), "birth_date", "age_class")
    readonly_fields = ("age_class",)

    def sees_history(self, request: HttpRequest) -> bool:
        return may(request.user, "roll.view_household")

    def get_fields(self, request: HttpRequest, obj: Person | None = None) -> Names:
        """Who only needs a name to pick, at the range or on a claim, sees no birth date and no household."""
        return self.fields if may(request.user, "roll.view_household") else ("given_name", "family_name", "age_class")

    def get_readonly_fields(self, request: HttpRequest, obj: Person | None = None) -> tuple[str, ...]:
        """To another family somebody moves by a page of its own, since what is to come goes along."""
        return (*self.readonly_fields, "household") if obj else self.readonly_fields

    def get_list_filter(self, request: HttpRequest) -> tuple[type[TwiceFilter], ...]:
        return self.list_filter if may(request.user, "roll.view_household") else ()

    def get_search_fields(self, request: HttpRequest) -> tuple[str, ...]:
        sees_families = may(request.user, "roll.view_household")
        return (*self.search_fields, "household__guardians__name") if sees_families else self.search_fields

    def says_it_finds(self, request: HttpRequest) -> str:
        sees_families = may(request.user, "roll.view_household")
        return f"{self.search_help_text}{' or guardian' if sees_families else ''}"

    def get_list_display(self, request: HttpRequest) -> tuple[str, ...]:
        return self.list_display if may(request.user, "roll.view_household") else ("__str__", "age_class")

    @admin.display(description="Age and class today")
    def age_class(self, person: Person) -> str:
        return age_and_class(person) if person.pk else "–"
