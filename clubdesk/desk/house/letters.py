"""Letters: each kind has a key of its room, and its first text is one that the club could have written."""

from collections import Counter
from collections.abc import Iterator

from clubdesk import rooms
from clubdesk.lettering import LetterKind, Wording, faults


def _kinds() -> Iterator[tuple[str, LetterKind]]:
    return ((room.label, kind) for room in rooms.in_order() for kind in room.letters)


def every_kind_of_letter_has_its_own_key() -> Iterator[str]:
    for key, times in Counter(kind.key for _, kind in _kinds()).items():
        if times > 1:
            yield f"{times} kinds of letters have the key “{key}”: give each one of its own."
    for label, kind in _kinds():
        if not kind.key.startswith(f"{label}."):
            yield f"The letter “{kind.title}” of {label} has the key “{kind.key}”: begin it with {label} and a dot."


def every_first_text_is_a_letter() -> Iterator[str]:
    for label, kind in _kinds():
        for fault in faults(kind, Wording(kind.subject, kind.body)):
            yield f"The letter “{kind.title}” of {label}: {fault}"
        for each in kind.all_fields:
            if not each.words or not (each.example or each.whole):
                yield f"The letter “{kind.title}” of {label} does not say what {each.written} is, or has no example."
