"""Fields in braces in what somebody writes to families, as “Dear {guardian}”: told what there are, and filled in."""

import re
from collections.abc import Iterable, Mapping, Sequence

from clubdesk.errors import Refused

FIELD = re.compile(r"\{([^{}\n]*)\}")


def refuse_unknown(text: str, known: Iterable[str]) -> None:
    """Raise Refused where the text holds a field that is none, in a sentence that names those there are."""
    there = list(known)
    for name in FIELD.findall(text):
        if name not in there:
            fields = ", ".join(f"{{{each}}}" for each in there)
            raise Refused(f"{{{name}}} is no field; nobody could fill it in. You can use {fields}.")


def filled(text: str, values: Mapping[str, str]) -> str:
    """The text with its fields filled in, in one pass: what fills one is never read for fields again."""
    return FIELD.sub(lambda found: values.get(found[1], found[0]), text)


def paragraphs(text: str) -> list[str]:
    """The paragraphs of what somebody wrote, as a blank line parts them."""
    return [part.strip() for part in re.split(r"\n\s*\n", text.replace("\r\n", "\n")) if part.strip()]


def in_a_row(names: Sequence[str]) -> str:
    """Names as one says them: “Ada, Ben and Cy”."""
    *first, last = names or ("",)
    return f"{', '.join(first)} and {last}" if first else last
