"""What may come back over the bank, move between the club's accounts, or be booked as before. Questions only."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import timedelta

from django.db.models import Count, Exists, OuterRef

from clubdesk.bank.answers import BankLine, Habit
from clubdesk.bank.models import BankAccount, ClearedLine, ClearedPosting, ItemState, PaymentItem, StatementLine
from clubdesk.bank.selectors import UNEXPLAINED
from clubdesk.bank.wording import BOUNCED, Name, joined, plain, words_of
from clubdesk.clock import day_text
from clubdesk.expecting import Expected
from clubdesk.fees.expecting import names_of
from clubdesk.fees.models import Method, Receipt
from clubdesk.ledger.models import Journal, Posting
from clubdesk.ledger.selectors import source_type
from clubdesk.ledger.services import HAVE_OWN_DOCUMENTS
from clubdesk.money import cents_of
from clubdesk.roll.models import Guardian, Person
from clubdesk.roll.selectors import payment_reference
from clubdesk.rooms import ERASED

BOUNCES_WITHIN, BETWEEN_ACCOUNTS = timedelta(days=60), timedelta(days=5)
COMES_BACK = tuple(sorted(BOUNCED | {"closed", "failed", "incorrect", "invalid", "refused", "unable"}))
MOST_HABITS = 500


def bounced(lines: Sequence[BankLine]) -> Iterator[Expected]:
    """Receipts by transfer that the bank may take back, and payments out that it may give back."""
    said = [line for line in lines if not set(COMES_BACK).isdisjoint(words_of(line.text))]
    if not said:
        return
    since, until = min(line.day for line in said) - BOUNCES_WITHIN, max(line.day for line in said)
    yield from _receipts_bounced({-line.cents for line in said}, since, until)
    yield from _payments_returned({line.cents for line in said}, since, until)


def _receipts_bounced(cents: set[int], since: object, until: object) -> Iterator[Expected]:
    rows = Receipt.objects.filter(method=Method.TRANSFER, cancelled_on=None, received_on__range=(since, until))
    receipts = [each for each in rows.select_related("household") if cents_of(each.amount) in cents]
    names = names_of({each.household_id for each in receipts})
    for each in receipts:
        yield Expected(
            key=f"bounce {each.pk}",
            day=each.received_on,
            cents=-cents_of(each.amount),
            what=f"{each.household}: receipt {each.number} of {day_text(each.received_on)} came back; it is cancelled",
            names=names.get(each.household_id, ()),
            references=(payment_reference(each.household),),
            payer=f"family {each.household_id}",
            early=0,
            late=BOUNCES_WITHIN.days,
            says=COMES_BACK,
        )


def _payments_returned(cents: set[int], since: object, until: object) -> Iterator[Expected]:
    rows = PaymentItem.objects.filter(state=ItemState.PAID, paid_on__range=(since, until))
    items = [
        each
        for each in rows.select_related("run", "household", "give_back__voucher__scheme__department")
        if cents_of(each.amount) in cents
    ]
    names = names_of({each.household_id for each in items})
    for each in items:
        assert each.paid_on, "what was paid has a day"
        yield Expected(
            key=f"returned {each.pk}",
            day=each.paid_on,
            cents=cents_of(each.amount),
            what=f"{each} of {each.run} came back; it waits to be paid again",
            names=() if each.give_back_id else names.get(each.household_id, ()),
            references=(each.reference,),
            payer="" if each.give_back_id else f"family {each.household_id}",
            early=0,
            late=BOUNCES_WITHIN.days,
            says=COMES_BACK,
        )


def transfers(bank_account: BankAccount, lines: Sequence[BankLine]) -> Iterator[Expected]:
    """What the club's other bank accounts show going out or coming in, and nothing explains there yet."""
    first, last = min(line.day for line in lines), max(line.day for line in lines)
    rows = StatementLine.objects.filter(UNEXPLAINED, date__range=(first - BETWEEN_ACCOUNTS, last + BETWEEN_ACCOUNTS))
    for each in rows.exclude(bank_account=bank_account).select_related("bank_account"):
        way = "from" if cents_of(each.amount) < 0 else "to"
        yield Expected(
            key=f"transfer {each.pk}",
            day=each.date,
            cents=-cents_of(each.amount),
            what=f"transfer {way} {each.bank_account}, whose line of {day_text(each.date)} is “{each.text}”",
            early=BETWEEN_ACCOUNTS.days,
            late=BETWEEN_ACCOUNTS.days,
        )


def everybody_named(lines: Sequence[BankLine]) -> dict[str, list[Name]]:
    """People and guardians whose family name stands in the lines' words, by the payer that they would be."""
    spoken = {word for line in lines for word in joined(words_of(line.text))}
    found: dict[str, list[Name]] = defaultdict(list)
    people = Person.objects.filter(erased_on=None).values_list("household", "given_name", "family_name")
    guardians = Guardian.objects.values_list("household", "name")
    told = [*people, *((home, *_parted(name)) for home, name in guardians)]
    for home, given, family in told:
        if plain((given, family))[1] in spoken:
            found[f"family {home}"].append((given, family))
    return found


def _parted(name: str) -> Name:
    given, _, family = name.rpartition(" ")
    return given, family


def habits(bank_account: BankAccount) -> list[Habit]:
    """What the account's latest lines were booked to by journals of two lines, the latest first."""
    alone = ClearedLine.objects.filter(clearing=OuterRef("clearing"), stands=True).exclude(pk=OuterRef("pk"))
    rows = ClearedLine.objects.filter(~Exists(alone), stands=True, line__bank_account=bank_account)
    rows = rows.exclude(line__text=ERASED).select_related("line").order_by("-line__date", "-pk")
    journals = ClearedPosting.objects.filter(clearing=OuterRef("clearing"), posting__entry__reversed_by=None)
    journals = journals.filter(posting__entry__source_type=source_type(Journal))
    cleared = list(rows.filter(Exists(journals))[:MOST_HABITS])
    others = _other_sides(bank_account, [each.clearing_id for each in cleared])
    return [
        Habit(
            f"like {each.line_id}",
            each.line.text,
            cents_of(each.line.amount),
            f"as before: {other.account}{f', {other.party}' if other.party else ''}, {other.fund}",
        )
        for each in cleared
        if (other := others.get(each.clearing_id))
    ]


def _other_sides(bank_account: BankAccount, clearings: Sequence[int]) -> dict[int, Posting]:
    """By the clearing, the one other posting of its one journal; not where it is money, or kept family by family."""
    parts = ClearedPosting.objects.filter(clearing__in=clearings, stands=True)
    entries = dict(parts.values_list("posting__entry", "clearing"))
    of_two = Posting.objects.filter(entry__in=entries).values("entry").annotate(count=Count("pk")).filter(count=2)
    rows = Posting.objects.filter(entry__in=of_two.order_by().values("entry"), account__is_money=False)
    rows = rows.exclude(account__role__in=HAVE_OWN_DOCUMENTS).select_related("account", "fund", "party")
    return {entries[each.entry_id]: each for each in rows}


def other_side(line: StatementLine) -> Posting | None:
    """What an earlier line was booked to, as `habits` tells it; None where that is no longer so."""
    part = line.clearings.filter(stands=True).first()
    return _other_sides(line.bank_account, [part.clearing_id]).get(part.clearing_id) if part else None
