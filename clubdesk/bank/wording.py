"""What the words of a bank's line say: whose name stands in them, and what is only the bank's way of speaking. Pure."""

import re
import unicodedata
from collections.abc import Collection, Sequence
from functools import lru_cache
from itertools import pairwise

from rapidfuzz import fuzz

Name = tuple[str, str]
"""A given and a family name."""

# How banks and payers speak of any payment. Common practice, no source.
PAYMENT_WORDS = frozenset((
    "a", "ac", "acc", "account", "acct", "and", "annual", "app", "archery", "at", "bank", "banking", "beginner",
    "beginners", "bpay", "by", "card", "cash", "club", "course", "courses", "credit", "cr", "deposit", "dep",
    "direct", "dr", "eft", "entry", "fast", "fee", "fees", "for", "from", "funds", "hire", "in", "instant",
    "internet", "inward", "junior", "juniors", "member", "members", "membership", "memberships", "miss", "mobile",
    "mr", "mrs", "ms", "netbank", "npp", "of", "on", "online", "osko", "out", "paid", "pay", "payid", "payment",
    "payments", "payto", "pmt", "received", "ref", "reference", "rego", "registration", "rent", "sub", "subs",
    "subscription", "term", "the", "to", "transfer", "trf", "tfr", "trans", "transaction", "txn", "via", "value",
    "xfer",
))  # fmt: skip
MONTHS = "jan feb mar apr may jun jul aug sep oct nov dec"
A_DATE = re.compile(
    rf"\d{{1,2}}({MONTHS.replace(' ', '|')})[a-z]*\d{{0,4}}|({MONTHS.replace(' ', '|')})[a-z]{{0,6}}\d{{0,4}}"
)
BOUNCED = frozenset((
    "bounced", "chargeback", "declined", "dishonor", "dishonored", "dishonour", "dishonoured", "reject", "rejected",
    "rejection", "return", "returned", "rtn", "unpaid",
))  # fmt: skip
CORRECTED = frozenset((
    "adj", "adjustment", "correct", "corrected", "correction", "duplicate", "erroneous", "error", "recall",
    "recalled", "rectified", "reversal", "reverse", "reversed", "reversing", "rev", "rvsl",
))  # fmt: skip
TAKEN_BACK = BOUNCED | CORRECTED | {"refund", "refunded", "rfd", "cancelled", "canceled"}
"""Words of money that goes back the way it came."""
OF_THE_ACCOUNT = frozenset((
    "fee", "fees", "interest", "charge", "charges",
))  # fmt: skip


def words_of(text: str) -> list[str]:
    """The words and numbers of a text, small, without accents."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return re.findall(r"[a-z0-9]+", "".join(letter for letter in apart if not unicodedata.combining(letter)))


def joined(words: Sequence[str]) -> list[str]:
    """The words, and each two that follow each other as one: a bank parts "Van Dam" or joins it as it likes."""
    return [*words, *(first + second for first, second in pairwise(words))]


@lru_cache(maxsize=20_000)
def plain(name: Name) -> Name:
    given, family = ("".join(words_of(part)) for part in name)
    return given, family


def pairs(word: str) -> set[str]:
    """Each two letters that follow each other, and the first and the last one."""
    return {f"{first}{second}" for first, second in pairwise(f"^{word}$")} if len(word) > 2 else set()


def likeness(name: Name, words: Sequence[str]) -> float:
    """How sure it is from 0 to 100 that a line with these words names the person: mostly the family name counts."""
    given, family = plain(name)
    best = max((fuzz.ratio(family, word) for word in joined(words) if len(word) > 2), default=0.0)
    if best < 75:
        return best * 0.5
    first = 40.0 if given else 80.0
    for word in words:
        if given and (word == given or (len(word) == 1 and word == given[0])):
            first = max(first, 100.0 if len(word) > 1 else 92.0)
        elif given and len(word) > 2:
            first = max(first, fuzz.ratio(given, word) if fuzz.ratio(given, word) > 75 else 0)
    return 0.75 * best + 0.25 * first


def named_in_full(name: Name, words: Sequence[str]) -> bool:
    """Whether given and family name stand in the words letter by letter, each as a word or two of their own."""
    given, family = plain(name)
    stands = joined(words)
    return len(given) > 1 and len(family) > 1 and given != family and given in stands and family in stands


def unexplained(words: Sequence[str], known: Collection[str]) -> list[str]:
    """The words that neither speak of any payment, nor are a number, a date, an initial, or one that is `known`."""
    return [
        word
        for word in words
        if len(word) > 1
        and word not in PAYMENT_WORDS
        and not word.isdigit()
        and not A_DATE.fullmatch(word)
        and not any(word in each for each in known if len(word) > 2)
        and word not in known
    ]


def gist(words: Sequence[str]) -> tuple[str, ...]:
    """What the words of lines that come again and again have in common: without numbers, dates and what takes back."""
    return tuple(
        word
        for word in words
        if word not in TAKEN_BACK and not any(sign.isdigit() for sign in word) and not A_DATE.fullmatch(word)
    )


def telling(words: Sequence[str]) -> frozenset[str]:
    """The words by which one line is told from others: of the gist, what does not speak of any payment."""
    return frozenset(word for word in gist(words) if len(word) > 2 and word not in PAYMENT_WORDS)
