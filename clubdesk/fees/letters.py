"""What a family is told by mail about its account."""

from datetime import date

from clubdesk.fees import accounts
from clubdesk.ledger.selectors import book
from clubdesk.mail.models import LINK, Message
from clubdesk.mail.services import write_message
from clubdesk.money import shown


def tell(statement: accounts.Statement, on: date) -> Message:
    """The letter that goes with a statement: what is owed, by age, how to pay it, and the family's own link."""
    household = statement.household
    guardians = list(household.guardians.all())
    guardian = next((each for each in guardians if each.email), guardians[0] if guardians else None)
    ages = "\n".join(f"{name}: {shown(figure)}" for name, figure in statement.ages.items() if figure)
    paragraphs = [
        f"Hello {guardian.name if guardian else household.name},",
        f"your account with the club stands at {statement.in_words} on {on:%-d %B %Y}.",
        f"Still to pay, by how long ago it was charged:\n{ages}" if ages else "",
        f"If you pay by bank transfer, please write this reference with it: {statement.reference}" if ages else "",
        f"The whole statement, also to print:\n{LINK}\n"
        "Whoever has this link can read it, so please keep it to yourselves.",
        "Something does not look right, or you would rather pay in parts? Please tell us.",
        book().club_name,
    ]
    return write_message(
        about=f"statement {household.pk} {on.isoformat()}",
        to=guardian.email if guardian else "",
        subject=f"Your account: {statement.in_words}",
        body="\n\n".join(paragraph for paragraph in paragraphs if paragraph) + "\n",
        household=household,
        link_path=accounts.link_path(household),
    )
