"""The page that undoes giving a voucher back, on the page of what is given back."""

from collections.abc import Iterator

from clubdesk.bank import services
from clubdesk.bank.models import PaymentItem
from clubdesk.bank.selectors import LIVE
from clubdesk.fees.models import GiveBack, GiveBackState
from clubdesk.fees.selectors import balance_in_words
from clubdesk.fees.states import GIVE_BACK
from clubdesk.mail.models import Message
from clubdesk.mail.selectors import reached_in_words
from clubdesk.screens.fields import day_and_reason
from clubdesk.screens.promises import Did
from clubdesk.screens.verbs import Facts, VerbPage


class UndoGiveBackPage(VerbPage[GiveBack, GiveBack]):
    slug = "undo"
    verb = services.undo_give_back
    target = "back"
    intro = (
        "For an invoice that the department cancelled, or that was recorded of the wrong voucher. The voucher pays its "
        "fee as before, and counts in the child’s year again."
    )
    button = "Do not give it back"
    form_class = day_and_reason("Undone on", "For instance: the department took its invoice back.")

    def applies(self, target: GiveBack) -> bool:
        in_a_run = PaymentItem.objects.filter(give_back=target, state__in=LIVE)
        return GIVE_BACK.may_follow(target.state, GiveBackState.UNDONE) and not in_a_run.exists()

    def facts(self, target: GiveBack) -> Facts:
        return [("Voucher", target.voucher), ("Owed to the department", target.amount), ("Invoice", target.invoice)]

    def promises(self, target: GiveBack) -> Facts:
        def tell(did: Did[GiveBack]) -> Iterator[tuple[str, object]]:
            yield "The voucher pays", did.result.voucher.amount
            yield f"Then {target.household}", balance_in_words(target.household)
            if letters := did.rows(Message):
                yield "Letters", reached_in_words(letters)

        return self.foretold(target, tell, reason=self.title)

    def done(self, target: GiveBack, result: GiveBack) -> str:
        return f"{result.voucher} pays its fee again. {target.household} {balance_in_words(target.household)}."
