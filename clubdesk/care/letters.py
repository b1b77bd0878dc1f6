"""What families are asked by letter: once a year, and where the words have changed."""

from django.urls import reverse

from clubdesk.care.selectors import Anew, ToConfirm
from clubdesk.fees.writing import write_letter
from clubdesk.lettering import Field, LetterKind, Linked
from clubdesk.mail.models import Message

CONFIRM = LetterKind(
    "care.confirm",
    "Once a year: is it still right?",
    "Goes to families that have not looked for a year at what the club knows of their children.",
    subject="Is it still right, whom we ring and what we must know?",
    says=(
        "Once a year we ask you to look at what we know of {{ children }}.\n\n"
        "Open your page. Is all of it right? Then press the one button on top. If not, change it there.\n\n"
        "It says whom we ring, what our helpers must know, who may collect, and what you have agreed to."
    ),
    fields=(Field("children", "Whom it is about", "Ada and Ben"),),
    linked=Linked("To look at what we know, open your own page:"),
)
AGREE_ANEW = LetterKind(
    "care.agree_anew",
    "Words that families agree to have changed",
    "Goes to families that said whether they agree, where the club asks anew.",
    subject="Please say again whether you agree",
    says=(
        "You told us whether you agree to {{ what }}. The words have changed, so we ask you again.\n\n"
        "Until you answer, we take it that you do not agree.\n\n"
        "Open your page, choose the child, and read what is asked. Then press Yes or No, and Save."
    ),
    fields=(Field("what", "What they are asked about", "“Photos and films”", must=True),),
    linked=Linked("To read the new words and answer, open your own page:"),
)
LETTERS = (CONFIRM, AGREE_ANEW)


def about(asked: ToConfirm) -> str:
    """What the letter is about: a family is asked once from each day on."""
    return f"care of {asked.home} from {asked.since.isoformat()}"


def about_anew(asked: Anew) -> str:
    """A family is asked once about each version of the words."""
    return f"words {' '.join(str(text.pk) for text in asked.texts)} of {asked.household.pk}"


def ask_anew(asked: Anew) -> Message:
    """That the words of what they agreed to have changed, so that the family says again whether it agrees."""
    what = " and ".join(f"“{text.get_kind_display()}”" for text in asked.texts)
    return write_letter(
        asked.household, AGREE_ANEW, {"what": what}, about=about_anew(asked), link_path=reverse("care:own")
    )


def ask_to_confirm(asked: ToConfirm) -> Message:
    """That a family looks at what is known of its children, and says by one button that it is right."""
    names = [each.given_name for each in asked.children]
    whom = " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
    return write_letter(asked.household, CONFIRM, {"children": whom}, about=about(asked), link_path=reverse("care:own"))
