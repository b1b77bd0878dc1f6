"""Registering the club for GST: from then on its chart has the accounts, and fees and bills post the tax in them."""

from datetime import date

from django.contrib.auth.models import User

from clubdesk.clock import day_text
from clubdesk.errors import Refused
from clubdesk.ledger.models import TAX_ROLES, Account, Book, Kind, Posting, Role, TaxBasis
from clubdesk.ledger.services.book import lock_book
from clubdesk.verbs import verb

KIND_AND_CODES = {
    Role.GST: (Kind.LIABILITY, range(2300, 3000)),
    Role.GST_COLLECTED: (Kind.LIABILITY, range(2310, 3000)),
    Role.GST_PAID: (Kind.ASSET, range(1130, 2000)),
}
"""Each tax account's kind, and the first code of these that is free is its own."""


@verb(permission="ledger.change_account", title="Register for GST")
def register_for_gst(*, since: date, basis: TaxBasis, by: User) -> Book:
    """From `since` the club is registered; its returns are drawn on `basis`. The chart gets the accounts for it.

    Called again it changes nothing but the basis, which the next return then takes up. Raises Refused for another day
    once tax was posted. Source: A New Tax System (Goods and Services Tax) Act 1999 (Cth), s 23-5 and Division 29.
    """
    book = lock_book()
    if book.gst_from not in (None, since) and Posting.objects.filter(account__role__in=TAX_ROLES).exists():
        assert book.gst_from
        raise Refused(
            f"The club is registered from {day_text(book.gst_from)}, and tax was posted since; that day stays."
        )
    book.gst_from, book.gst_basis = since, TaxBasis(basis)
    book.save(update_fields=["gst_from", "gst_basis"])
    for role in TAX_ROLES:
        if not Account.objects.filter(role=role).exists():
            kind, codes = KIND_AND_CODES[role]
            taken = set(Account.objects.values_list("code", flat=True))
            code = next(str(code) for code in codes if str(code) not in taken)
            Account.objects.create(code=code, name=role.label, kind=kind, role=role)
    return book
