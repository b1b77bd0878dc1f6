"""Two that turn out to be one: the pages that merge them, what becomes of each, and undoing."""

from collections import Counter
from collections.abc import Iterable
from typing import TypeVar

from django.apps import apps
from django.contrib import admin, messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.ledger.selectors import entries_of
from clubdesk.money import shown
from clubdesk.roll import selectors, services
from clubdesk.roll.models import Household, Merge, Person
from clubdesk.roll.services.merging import UNDONE_WITHIN
from clubdesk.screens.fields import PickField, form_of
from clubdesk.screens.promises import Did
from clubdesk.screens.rooms import DocumentAdmin, RoomAdmin
from clubdesk.screens.tables import Link, Section, link_to, page_of
from clubdesk.screens.verbs import AnyPage, Facts, VerbPage

Twice = TypeVar("Twice", Household, Person)
STAY_AS_THEY_ARE = (
    "Fees that were charged stay as they are. Sibling discount and family cap count them together from the next fee on."
)


def becomes_of(did: Did[Merge]) -> Iterable[tuple[str, object]]:
    """What a merge moved, counted by kind, and what its entry did."""
    merge = did.result
    yield "Stays", str(merge.stays)
    yield "Becomes the same", str(merge.gone)
    yield "Comes along", counted(merge) or "nothing; the book holds nothing of the other"
    for entry in entries_of(merge):
        for line in entry.postings.filter(party=merge.household.party_id if merge.household else None):
            yield f"By one entry, {line.account}", f"{shown(line.amount)} goes over to {merge.stays}"
    if merge.household:
        yield "Fees", STAY_AS_THEY_ARE
    yield "To be undone until", day_text(merge.merged_on + UNDONE_WITHIN)


def counted(merge: Merge) -> str:
    """How many rows of each kind it moved, the most first."""
    tables = {each._meta.db_table: each._meta for each in apps.get_models()}
    found: Counter[str] = Counter(merge.moved.values_list("table_name", flat=True))
    named = [(number, tables[table]) for table, number in found.most_common() if table in tables]
    return ", ".join(
        f"{number} {meta.verbose_name if number == 1 else meta.verbose_name_plural}" for number, meta in named
    )


class MergePage(VerbPage[Twice, Merge]):
    """What both pages share: the other of the two is chosen, what becomes of it is shown, and then it is done."""

    slug = "merge"
    button = "Make them one"
    looks_first = True
    lands_on_target = True

    def preview(self, target: Twice, cleaned: dict[str, object]) -> Facts:
        return self.foretold(target, becomes_of, **cleaned)

    def done(self, target: Twice, result: Merge) -> str:
        return f"{result.gone} is the same as {result.stays} from now on. It can be undone until tomorrow, below."


class MergeFamiliesPage(MergePage[Household]):
    verb = services.merge_families
    target = "household"
    intro = (
        "Choose the other entry of the same family. Its people, bookings, fees, receipts and letters become this "
        "family’s, and one entry moves what it owes. Nothing is lost."
    )
    form_class = form_of(other=PickField(Household, through=(Merge, "other_household"), label="The same family"))


class MergePeoplePage(MergePage[Person]):
    verb = services.merge_people
    target = "person"
    intro = (
        "Choose the other entry of the same person. Its memberships, vouchers, places and sign-ons become this one’s; "
        "this one’s name, birth date and family stay."
    )
    form_class = form_of(other=PickField(Person, through=(Merge, "other_person"), label="The same person"))

    def applies(self, target: Person) -> bool:
        return target.erased_on is None


class UndoMergePage(VerbPage[Merge, Merge]):
    slug = "undo"
    verb = services.undo_merge
    target = "merge"
    intro = "They are two after all: each record goes back to whose it was, and the entry is reversed."
    button = "Undo the merge"

    def applies(self, target: Merge) -> bool:
        return target.undone_on is None and clock.today() <= target.merged_on + UNDONE_WITHIN

    def not_now(self, target: Merge) -> str:
        return "it is undone already." if target.undone_on else "it can be undone only within a day."

    def facts(self, target: Merge) -> Facts:
        return [("Goes back", f"{counted(target)}, to {target.gone}" if target.moved.exists() else "nothing")]

    def done(self, target: Merge, result: Merge) -> str:
        return f"{result.gone} and {result.stays} are two again."


@admin.register(Merge)
class MergeAdmin(DocumentAdmin[Merge]):
    list_display = ("__str__", "recorded_by", "undone_on")
    list_select_related = ("household", "other_household", "person", "other_person", "recorded_by")
    fields = ("stays", "gone", "merged_on", "recorded_by", "comes_along", "undone_on")
    readonly_fields = fields
    pages = (UndoMergePage(),)

    def get_search_fields(self, request: HttpRequest) -> tuple[str, ...]:
        return ()

    @admin.display(description="Comes along")
    def comes_along(self, merge: Merge) -> str:
        return counted(merge) or "nothing"

    @admin.display(description="Stays")
    def stays(self, merge: Merge) -> str:
        return str(merge.stays)

    @admin.display(description="The same")
    def gone(self, merge: Merge) -> str:
        return str(merge.gone)


def merged_section(request: HttpRequest, one: Household | Person) -> Section | None:
    """Who turned out to be the same, and who may be."""
    kind = "household" if isinstance(one, Household) else "person"
    rows: list[tuple[object, ...]] = [
        (link_to(merge, str(merge.gone)), f"the same since {day_text(merge.merged_on)}")
        for merge in Merge.objects.filter(**{kind: one.pk}, undone_on=None)
    ]
    page: AnyPage = MergeFamiliesPage() if isinstance(one, Household) else MergePeoplePage()
    if page.offered(request, one):
        url = page.url(one)
        rows += [(link_to(each), Link("the same?", f"{url}?other={each.pk}")) for each in selectors.alike(one)]
    if isinstance(one, Household) and (people := MergePeoplePage()).allowed(request):
        pairs = selectors.twice_in(one)
        rows += [(link_to(twin), Link("the same?", f"{people.url(each)}?other={twin.pk}")) for each, twin in pairs]
    return Section("Twice on the roll", ["Who", ""], rows) if rows else None


class LeadsOn(RoomAdmin[Twice]):
    """For the screens of people and families: who was merged into another leads on to that one."""

    def _changeform_view(
        self, request: HttpRequest, object_id: str | None, form_url: str, extra_context: dict[str, object] | None
    ) -> HttpResponse:
        gone = self.model.everyone.filter(pk=object_id).first() if object_id and object_id.isdecimal() else None
        if gone is None or gone.merged_into_id is None or not self.has_view_permission(request):
            answer: HttpResponse = super()._changeform_view(request, object_id, form_url, extra_context)
            return answer
        messages.info(request, f"{gone} is the same as {gone.now}; this is the page of both.")
        return HttpResponseRedirect(page_of(gone.now))
