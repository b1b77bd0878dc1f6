"""Screens of sport vouchers: lodged with the department, and answered by it."""

from collections.abc import Iterator

from django import forms
from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse

from clubdesk import clock
from clubdesk.clock import day_text
from clubdesk.fees import deadlines, selectors, services
from clubdesk.fees.finding import MAY_CLAIM
from clubdesk.fees.models import ClaimFile, GiveBack, GivesBack, Lodgement, Voucher, VoucherScheme, VoucherState
from clubdesk.fees.states import VOUCHER
from clubdesk.mail.models import Message
from clubdesk.mail.selectors import reached_in_words
from clubdesk.money import AmountFormField, shown, total
from clubdesk.screens.fields import Cleaned, HappenedField, VerbForm, day_and_reason, form_of
from clubdesk.screens.promises import Did
from clubdesk.screens.rooms import DocumentAdmin
from clubdesk.screens.searching import amount_in
from clubdesk.screens.tables import Link, Section, amount_column, link_to
from clubdesk.screens.verbs import Facts, LinkPage, VerbPage
from clubdesk.verbs import may


class LodgePage(VerbPage[None, Lodgement]):
    verb = services.lodge_vouchers
    intro = "Every accepted voucher of the scheme goes into one batch for the department."
    button = "Claim them"
    form_class = form_of(
        scheme=forms.ModelChoiceField(queryset=VoucherScheme.objects.all()), on=HappenedField(label="Claimed on")
    )

    def facts(self, target: None) -> Facts:
        late = deadlines.too_late(clock.today()).count()
        facts: Facts = [("Accepted and waiting", Voucher.objects.filter(state=VoucherState.ACCEPTED).count() - late)]
        return [*facts, ("Left out, since their last day to claim has passed", late)] if late else facts


class AnswerForm(VerbForm[Lodgement]):
    """What the department paid of each voucher, or why it refused it."""

    on = HappenedField(label="Answered on")

    def prepare(self) -> None:
        for voucher in self.target.vouchers.filter(state=VoucherState.LODGED).select_related("person"):
            self.fields[f"paid_{voucher.pk}"] = AmountFormField(
                label=f"{voucher.person}, {voucher.masked_code}: paid", initial=voucher.amount.amount, required=False
            )
            self.fields[f"why_{voucher.pk}"] = forms.CharField(
                label=f"{voucher.person}: or refused, because", max_length=150, required=False
            )


def _by_voucher(cleaned: Cleaned, prefix: str) -> dict[int, object]:
    """What was typed into the fields of one kind, by the voucher's number."""
    return {
        int(name.removeprefix(prefix)): given for name, given in cleaned.items() if name.startswith(prefix) and given
    }


class AnswerPage(VerbPage[Lodgement, Lodgement]):
    slug = "answer"
    verb = services.answer_lodgement
    target = "lodgement"
    intro = (
        "Line by line: what was paid, or the reason why not. What was paid comes in one sum into the bank; what was "
        "refused or paid short the family owes again, and is told. What is left blank stays claimed and owed."
    )
    button = "Record the answer"
    form_class = AnswerForm

    def applies(self, target: Lodgement) -> bool:
        return target.paid_on is None and target.vouchers.filter(state=VoucherState.LODGED).exists()

    def facts(self, target: Lodgement) -> Facts:
        vouchers = target.vouchers.filter(state=VoucherState.LODGED)
        return [("Vouchers", len(vouchers)), ("Claimed", total(each.amount for each in vouchers))]

    def arguments(self, target: Lodgement, cleaned: Cleaned) -> Cleaned:
        """What was paid of each voucher, or why it was refused, are fields of their own."""
        refused = _by_voucher(cleaned, "why_")
        paid = {pk: amount for pk, amount in _by_voucher(cleaned, "paid_").items() if pk not in refused}
        return super().arguments(target, {"on": cleaned["on"], "paid": paid, "refused": refused})

    def done(self, target: Lodgement, result: Lodgement) -> str:
        left = target.vouchers.filter(state=VoucherState.LODGED)
        owed = total(each.amount for each in left)
        rest = f" Still owed of {target}: {len(left)}, {shown(owed)}." if left else ""
        return f"The answer to {result} is recorded.{rest}"


class ReferenceForm(VerbForm[Lodgement]):
    reference = forms.CharField(label="The department’s reference", max_length=40)


class ReferencePage(VerbPage[Lodgement, Lodgement]):
    slug = "reference"
    verb = services.note_reference
    target = "lodgement"
    intro = "As the department’s payment names the claim: the line of the bank statement is known by it."
    button = "Write the reference"
    form_class = ReferenceForm

    def applies(self, target: Lodgement) -> bool:
        return target.paid_on is None

    def initial(self, request: HttpRequest, target: Lodgement) -> dict[str, object]:
        return {"reference": target.reference}

    def done(self, target: Lodgement, result: Lodgement) -> str:
        return f"{result} has the reference {result.reference}."


class MakeFilePage(VerbPage[Lodgement, ClaimFile]):
    slug = "file"
    verb = services.make_claim_file
    target = "lodgement"
    lands_on_target = True
    intro = "By the columns of the department’s template, as the vouchers stand now; files that were made before stay."
    button = "Make the file"

    def applies(self, target: Lodgement) -> bool:
        return (
            target.part_of_id is None
            and target.scheme.claim_columns.filter(in_claim=True).exists()
            and target.vouchers.filter(state=VoucherState.LODGED).exists()
        )

    def done(self, target: Lodgement, result: ClaimFile) -> str:
        return f"{result} is kept with the claim: {result.rows} rows, {shown(result.amount)}."


class AnswerFileLink(LinkPage[Lodgement]):
    slug = "answer-file"
    title = "Read the answer from a file"
    permission = "fees.change_lodgement"

    def applies(self, target: Lodgement) -> bool:
        return AnswerPage().applies(target)

    def url(self, target: Lodgement) -> str:
        return reverse("admin:lodgement_answer_file", args=[target.pk])


class ListLink(LinkPage[Lodgement]):
    slug = "list"
    title = "List for the department (CSV)"
    permission = "fees.add_lodgement"

    def url(self, target: Lodgement) -> str:
        return reverse("admin:lodgement_list", args=[target.pk])


def batch_section(request: HttpRequest, lodgement: Lodgement) -> Section:
    rows = [
        (
            link_to(row, str(row.person)), row.masked_code, row.get_state_display(), row.claimed, row.short_by,
            link_to(row.lodgement, day_text(row.lodgement.paid_on))
            if row.lodgement and row.lodgement.paid_on and row.state == VoucherState.PAID else "",
        )
        for row in selectors.vouchers_of(lodgement).select_related("person", "scheme", "lodgement")
    ]  # fmt: skip
    return Section("Vouchers", ["Child", "Code", "State", "Claimed", "Paid short by", "Paid on"], rows)


def files_section(request: HttpRequest, lodgement: Lodgement) -> Section | None:
    """The files as they were sent and answered, each with the digest by which it is known."""
    may_open = may(request.user, MAY_CLAIM)
    rows = [
        (
            _opened(each) if may_open and not each.erased_on else str(each), day_text(each.made_on), each.rows,
            each.amount, each.file_digest[:16],
            f"erased on {day_text(each.erased_on)}" if each.erased_on else "kept",
        )
        for each in lodgement.files.all()
    ]  # fmt: skip
    return Section("Files", ["File", "Day", "Rows", "Amount", "SHA-256 begins", "Now"], rows) if rows else None


def _opened(document: ClaimFile) -> Link:
    return Link(str(document), reverse("admin:claim_file", args=[document.pk]))


@admin.register(Lodgement)
class LodgementAdmin(DocumentAdmin[Lodgement]):
    list_display = ("__str__", "scheme", "reference", "lodged_on", "promised", "paid_on")
    list_select_related = ("scheme",)
    search_fields = (
        "=id",
        "scheme__name",
        "vouchers__person__given_name",
        "vouchers__person__family_name",
        "reference",
    )
    search_help_text = "A voucher claim’s number or reference, a scheme, or a child whose voucher is in it"
    fields = ("scheme", "reference", "lodged_on", "promised", "paid_on", "part_of", "recorded_by")
    readonly_fields = fields
    add_page = LodgePage()
    pages = (AnswerPage(), AnswerFileLink(), ReferencePage(), MakeFilePage(), ListLink())
    section_makers = (batch_section, files_section)

    @admin.display(description="Promised by")
    def promised(self, lodgement: Lodgement) -> str:
        """By when the department pays by its own promise, and whether that day has passed."""
        day = lodgement.promised_by
        late = day and (lodgement.paid_on or clock.today()) > day
        return f"{day_text(day)}{', late' if late else ''}" if day else "-"


class RefuseVoucherPage(VerbPage[Voucher, Voucher]):
    slug = "refuse"
    verb = services.refuse_voucher
    target = "voucher"
    intro = "The family owes this part of the fee again, unless its fee was credited, and is told by letter."
    button = "Record the refusal"
    form_class = day_and_reason("Refused on", "The department's own words.")

    def applies(self, target: Voucher) -> bool:
        return VOUCHER.may_follow(target.state, VoucherState.REFUSED)

    def facts(self, target: Voucher) -> Facts:
        return [("Child", target.person), ("Amount", target.amount)]

    def promises(self, target: Voucher) -> Facts:
        household = target.charge.household

        def tell(did: Did[Voucher]) -> Iterator[tuple[str, object]]:
            yield f"Then {household}", selectors.balance_in_words(household)
            if letters := did.rows(Message):
                yield "Letters", reached_in_words(letters)

        return self.foretold(target, tell, reason=self.title)

    def done(self, target: Voucher, result: Voucher) -> str:
        household = result.charge.household
        return f"{result.get_state_display()}: {result}. {household} {selectors.balance_in_words(household)}."


class ReleaseVoucherPage(RefuseVoucherPage):
    slug = "release"
    verb = services.release_voucher
    intro = (
        "For a code set against the wrong fee or child. The family owes this part again; the child can use the code."
    )
    button = "Do not claim it"
    form_class = day_and_reason("On", "For instance: set against the wrong fee.")

    def applies(self, target: Voucher) -> bool:
        return VOUCHER.may_follow(target.state, VoucherState.RELEASED)


class UnlodgeVoucherPage(VerbPage[Voucher, Voucher]):
    slug = "unlodge"
    verb = services.unlodge_voucher
    target = "voucher"
    intro = "For a voucher that was not sent with the claim: it waits for the next, or is not claimed at all."
    button = "Remove it from the claim"

    def applies(self, target: Voucher) -> bool:
        return target.state == VoucherState.LODGED and not (
            target.lodgement and selectors.has_an_answer(target.lodgement)
        )

    def facts(self, target: Voucher) -> Facts:
        return [("Child", target.person), ("Claim", target.lodgement), ("Amount", target.amount)]

    def done(self, target: Voucher, result: Voucher) -> str:
        return f"{result} waits for the next claim."


class GiveBackForm(VerbForm[Voucher]):
    on = HappenedField(label="Of the day")
    invoice = forms.CharField(label="The department’s invoice", max_length=40)
    pay_to = forms.CharField(label="To be paid to", max_length=120, help_text="The account as the invoice names it.")
    reason = forms.CharField(label="Why", max_length=150, help_text="For instance: the child left.")


class GiveBackPage(VerbPage[Voucher, GiveBack]):
    slug = "give-back"
    verb = services.give_back
    target = "voucher"
    intro = (
        "For a voucher that was paid and whose child left, once the department asks for it by an invoice. What the "
        "rules of its scheme do not let the club keep is owed to the department, and goes into a payment run."
    )
    button = "Owe it to the department"
    form_class = GiveBackForm

    def applies(self, target: Voucher) -> bool:
        return VOUCHER.may_follow(target.state, VoucherState.RETURNED) and target.give_back is None

    def facts(self, target: Voucher) -> Facts:
        rule = GivesBack(target.scheme.gives_back).label
        return [("Child", target.person), ("Paid by the department", target.paid_in), ("By the rules", rule)]

    def promises(self, target: Voucher) -> Facts:
        household = target.charge.household

        def tell(did: Did[GiveBack]) -> Iterator[tuple[str, object]]:
            yield "Owed back", did.result.amount
            yield f"Then {household}", selectors.balance_in_words(household)
            if letters := did.rows(Message):
                yield "Letters", reached_in_words(letters)

        return self.foretold(target, tell, invoice="1", pay_to="1", reason=self.title)

    def done(self, target: Voucher, result: GiveBack) -> str:
        department = target.scheme.department
        return f"{shown(result.amount)} is owed to {department}; put it into a payment run by single transfers."


class NextFeeFilter(admin.SimpleListFilter):
    """Claimed, and what it paid was called off: it goes with the child, who may never come back."""

    title = "what it pays"
    parameter_name = "pays"

    def lookups(self, request: HttpRequest, model_admin: object) -> list[tuple[str, str]]:
        return [("next", "Waits for the child’s next fee")]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Voucher]) -> QuerySet[Voucher]:
        return queryset.filter(pk__in=selectors.vouchers_for_a_next_fee()) if self.value() else queryset


@admin.register(Voucher)
class VoucherAdmin(DocumentAdmin[Voucher]):
    list_display = ("person", "scheme", "code_shown", "accepted_on", "state", "amount_shown")
    list_select_related = ("person", "scheme")
    list_filter = ("state", "calendar_year", NextFeeFilter)
    search_fields = ("person__given_name", "person__family_name", "charge__household__name")
    search_help_text = "A child, a family or an amount"
    also_finds = (amount_in("amount"),)
    fields = (
        "person", "scheme", "code_shown", "charge", "amount_shown", "short_shown", "back_shown", "accepted_on",
        "issued_on", "lapses_on", "claim_by", "state", "lodgement", "ended_on", "end_reason",
    )  # fmt: skip
    readonly_fields = fields
    pages = (RefuseVoucherPage(), ReleaseVoucherPage(), UnlodgeVoucherPage(), GiveBackPage())
    amount_shown = amount_column("amount", "Amount")
    short_shown = amount_column("short_by", "Paid short by")
    back_shown = amount_column("given_back", "Given back, of what it pays")

    def get_search_fields(self, request: HttpRequest) -> tuple[str, ...]:
        """Who may claim finds a voucher by its code; for anybody else a code is nothing that can be asked for."""
        return (*self.search_fields, "code") if may(request.user, MAY_CLAIM) else self.search_fields

    def says_it_finds(self, request: HttpRequest) -> str:
        return f"{'A code, a' if may(request.user, MAY_CLAIM) else 'A'} child, a family or an amount"

    @admin.display(description="Code")
    def code_shown(self, voucher: Voucher) -> str:
        return voucher.masked_code


@admin.register(GiveBack)
class GiveBackAdmin(DocumentAdmin[GiveBack]):
    list_display = ("asked_on", "voucher", "department", "invoice", "amount_shown", "state")
    list_select_related = ("voucher__scheme__department", "voucher__person")
    list_filter = ("state",)
    search_fields = ("invoice", "household__name", "voucher__person__given_name", "voucher__person__family_name")
    search_help_text = "A child, a family, an invoice or an amount"
    also_finds = (amount_in("amount"),)
    fields = (
        "voucher", "household", "department", "amount_shown", "asked_on", "invoice", "pay_to", "reason", "state",
        "paid_on", "payment_reference", "recorded_by", "undone_on", "undo_reason",
    )  # fmt: skip
    readonly_fields = fields
    amount_shown = amount_column("amount", "Amount")

    @admin.display(description="Department")
    def department(self, back: GiveBack) -> str:
        return str(back.voucher.scheme.department)
