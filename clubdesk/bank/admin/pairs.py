"""Two entries that the bank never shows, matched with each other: a page on an entry."""

from django import forms
from django.http import HttpRequest

from clubdesk.bank import selectors, services
from clubdesk.bank.models import Clearing
from clubdesk.clock import day_text
from clubdesk.ledger.models import JournalEntry, Posting
from clubdesk.screens.fields import Cleaned, VerbForm, choose_from, reason_field
from clubdesk.screens.tables import Section, link_to
from clubdesk.screens.verbs import Facts, VerbPage


class OtherEntry(forms.ModelChoiceField[Posting]):
    widget = forms.RadioSelect

    def label_from_instance(self, posting: Posting) -> str:
        return f"{day_text(posting.entry.date)}, entry {posting.entry.number}: {posting.entry.narration}"


class PairForm(VerbForm[JournalEntry]):
    other = OtherEntry(Posting.objects.none(), label="It is cancelled by", empty_label=None)
    reason = reason_field("Why the bank never shows these two: for instance, banked twice in the book and put right.")

    def prepare(self) -> None:
        rows = choose_from(self, "other", selectors.contrary_to(self.target))
        if len(rows) == 1:
            self.fields["other"].initial = rows[0]


class PairPage(VerbPage[JournalEntry, Clearing]):
    slug = "match-entry"
    verb = services.match_entries
    intro = "Neither of the two waits for the bank from then on. Nothing is posted, and the match can be undone."
    button = "Match the two"
    form_class = PairForm

    def applies(self, target: JournalEntry) -> bool:
        return selectors.contrary_to(target).exists()

    def facts(self, target: JournalEntry) -> Facts:
        return [(str(row.account), row.amount) for row in selectors.open_at_the_bank(target).select_related("account")]

    def arguments(self, target: JournalEntry, cleaned: Cleaned) -> Cleaned:
        """The entry's posting in the account of the one that was chosen."""
        own = selectors.open_at_the_bank(target).filter(account=cleaned["other"].account_id).first()
        return {**super().arguments(target, cleaned), "posting": own or cleaned["other"]}

    def done(self, target: JournalEntry, result: Clearing) -> str:
        return "Matched with each other; neither waits for the bank any more."


def matched_section(request: HttpRequest, entry: JournalEntry) -> Section | None:
    """What the entry's money at the bank is matched with."""
    parts = selectors.matches_of(entry)
    rows: list[tuple[object, ...]] = [
        (
            link_to(part.clearing, "Open the match"),
            _with(part.clearing, entry),
            part.clearing.why_never or part.clearing.reasons,
        )
        for part in parts
    ]
    return Section("At the bank", ["Match", "With", "Why"], rows) if rows else None


def _with(clearing: Clearing, entry: JournalEntry) -> str:
    lines = [str(part.line) for part in clearing.lines.all()]
    others = [str(part.posting.entry) for part in clearing.postings.all() if part.posting.entry_id != entry.pk]
    return "; ".join([*lines, *others])
