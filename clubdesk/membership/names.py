"""Names that stand all in capitals or all small, as names are written; how that is, is common practice, no source."""

import re

PARTICLES = {"van", "von", "de", "der", "den", "del", "della", "di", "da", "la", "le", "ter", "ten", "du", "dos", "al"}
NUMBERED = {"II", "III", "IV"}
BEGINS = re.compile(r"^\w|(?<=[-.])\w|(?<=^\w['’])\w|(?<=-\w['’])\w|(?<=^mc)\w(?=\w\w)")
"""The letters that are capitals: of Jean-Luc, J.R., O'Brien and McKay."""


def tidy(name: str, *, is_family: bool = False, beside: str = "") -> str:
    """The name with each word that is all in one case written as names are; words of mixed case stay as they come.

    Particles stay small before another word, of a family's name also at its beginning. Two capitals stay where not all
    of the name, with what stands `beside` it, is in capitals: they are initials.
    """
    words, has_initials = name.split(), not f"{name} {beside}".isupper()
    made = []
    for place, word in enumerate(words):
        before_another = place + 1 < len(words) and (place > 0 or is_family)
        if word in NUMBERED or (has_initials and len(word) == 2 and word.isupper()):
            made.append(word)
        else:
            made.append(_tidy_word(word, before_another))
    return " ".join(made)


def _tidy_word(word: str, before_another: bool) -> str:
    small = word.lower()
    if word not in (small, word.upper()):
        return word
    if small in ("and", "family") or (before_another and small in PARTICLES):
        return small
    written = BEGINS.sub(lambda found: found[0].upper(), small)
    return written if len(written) == len(word) else word
