"""What a household is told by mail about renewing."""

from datetime import date

from clubdesk.clock import long_day
from clubdesk.fees import accounts
from clubdesk.ledger.selectors import book
from clubdesk.mail.models import LINK, Message
from clubdesk.mail.services import write_message
from clubdesk.membership.models import Membership
from clubdesk.membership.selectors import HouseholdRenewal, Renewing
from clubdesk.money import shown
from clubdesk.roll.selectors import guardian_to_write_to, payment_reference


def about(membership: Membership, state: Renewing) -> str:
    """What a letter is about: a household is told once before its memberships of one last day end, and once after."""
    return f"renewal {membership.person.household_id} {state} {membership.ends_on.isoformat()}"


def tell_renewal(renewal: HouseholdRenewal, on: date) -> Message:
    """Whose membership ends or has ended, what the next one costs and how that comes about."""
    household, ended = renewal.household, renewal.lines[0].state == Renewing.GRACE
    guardian = guardian_to_write_to(household)
    lines = []
    for line in renewal.lines:
        who, until = line.membership.person, line.membership.ends_on
        cost = line.quote.price.working if line.quote else line.problem
        lines.append(f"{who}, {line.membership.plan}, to {long_day(until)}: {cost}")
    last_day = max(line.membership.ends_on for line in renewal.lines)
    paragraphs = [
        f"Hello {guardian.name if guardian else household.name},",
        "these memberships have ended and can still be renewed:" if ended else "these memberships end soon:",
        "\n".join(lines),
        f"To renew all of them costs {shown(renewal.total)}. Tell us if you would like that, or who leaves. "
        "A sport voucher is set against the fee: send us its code.",
        f"Until {long_day(last_day)} nothing changes." if not ended else "",
        f"Your account:\n{LINK}\nWhoever has this link can read it, so please keep it to yourselves.",
        f"If you pay by bank transfer, please write this reference with it: {payment_reference(household)}",
        book().club_name,
    ]
    return write_message(
        about=about(*renewal.first),
        to=guardian.email if guardian else "",
        subject="Your memberships have ended" if ended else "Your memberships end soon",
        body="\n\n".join(paragraph for paragraph in paragraphs if paragraph) + "\n",
        household=household,
        link_path=accounts.link_path(household),
    )
