"""Questions about the entry fund."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from djmoney.money import Money

from clubdesk.entryfund.models import ClaimState, EntryClaim, StateEvent
from clubdesk.ledger.models import FundRole
from clubdesk.ledger.selectors import fund_balance, summed
from clubdesk.membership.selectors import is_member
from clubdesk.money import as_amount, shown
from clubdesk.roll.models import JUNIOR_CLASSES, Person


@dataclass(frozen=True)
class Check:
    passed: bool
    sentence: str


def eligibility(*, person: Person, event: StateEvent, amount: Money, entered_on: date) -> list[Check]:
    """The checks that a claim must pass whoever decides, each with its reason in words."""
    age_class = person.age_class_on(event.held_on)
    classes = JUNIOR_CLASSES[: JUNIOR_CLASSES.index(event.oldest_class) + 1]
    return [
        Check(
            event.refunded,
            f"{event.name} is {'on' if event.refunded else 'not on'} the list of refunded events",
        ),
        Check(
            is_member(person, event.held_on),
            f"{person} is {'a' if is_member(person, event.held_on) else 'not a'} member on {event.held_on:%-d %b %Y}",
        ),
        Check(age_class in classes, f"{age_class} in {event.held_on.year}; refunded up to {event.oldest_class}"),
        Check(amount <= event.fee, f"{shown(amount)} against an entry fee of {shown(event.fee)}"),
        Check(entered_on >= event.held_on, f"claimed {entered_on:%-d %b %Y}, held {event.held_on:%-d %b %Y}"),
    ]


def checks_of(claim: EntryClaim) -> list[Check]:
    """The claim's own checks, and whether its receipt file stands behind another claim too."""
    again = (
        EntryClaim.objects.filter(receipt_digest=claim.receipt_digest)
        .exclude(pk=claim.pk)
        .exclude(state=ClaimState.DECLINED)
    )
    return [
        *eligibility(person=claim.person, event=claim.event, amount=claim.amount, entered_on=claim.claimed_on),
        Check(
            not again.exists(),
            "this receipt file stands behind another claim" if again.exists() else "receipt not used before",
        ),
    ]


def entry_fund_balance() -> Money:
    return as_amount(fund_balance(FundRole.ENTRY))


def payable_detail() -> dict[int, Decimal]:
    """Approved and unpaid claims by the household's party id."""
    rows = EntryClaim.objects.filter(state=ClaimState.APPROVED).order_by()
    return dict(rows.values_list("household__party_id").annotate(figure=summed("amount")))
