"""What a letter says: its kinds with their named fields, and a text with these fields, read and filled in in a sandbox.

A text is written in Django's template language, of which only `{{ field }}` with a few filters and `{% if field %}` are
there. `faults` reads it word by word before the language does, so that what is refused has a sentence and a line.
"""

import functools
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from django.template import Context, Engine, Library, Template, TemplateSyntaxError, defaultfilters
from django.template.base import Lexer, Token, TokenType
from django.template.defaulttags import do_if

LONGEST_SUBJECT, LONGEST_TEXT, DEEPEST = 120, 5000, 3
LONGEST_SENTENCE = 25
"""Words that are read at once, on a phone and in a hurry."""
KEEP_IT = "Whoever has this link can read it, so please keep it to yourselves."
FILTERS = {name: getattr(defaultfilters, name) for name in ("capfirst", "default", "lower", "upper")}
"""None of them makes a text longer than what is written in it."""

register = Library()
register.tag("if", do_if)
for _name, _filter in FILTERS.items():
    register.filter(_name, _filter)


@dataclass(frozen=True)
class Field:
    """Something that a letter says of its case: its name, what it is, and what it may read like.

    A `whole` one is a paragraph that is ready, or several; blank where there is nothing to say. One that a letter
    `must` have may not be lacking in a text of the club's own.
    """

    name: str
    words: str
    example: str
    whole: bool = False
    must: bool = False

    @property
    def written(self) -> str:
        return f"{{{{ {self.name} }}}}"


@dataclass(frozen=True)
class Linked:
    """The family's own link in a letter: what it leads to, and why it is kept to themselves."""

    leads: str
    keep: str = KEEP_IT


AS_EXAMPLE = "$126.00"
GUARDIAN = Field("guardian", "Who the letter goes to", "Ida Mirabar")
HOW_TO_PAY = Field(
    "how_to_pay",
    "What is to pay, by when and how; blank where nothing is",
    f"Please pay {AS_EXAMPLE} by 26 September 2026. By bank transfer:\n"
    "Account name: Reedbank Archers Inc\nBSB: 012-003\nAccount number: 4500123\nReference: 10000017\n\n"
    "You can also pay at the range by card or in cash.",
    whole=True,
    must=True,
)
NEW_ACCOUNT = Field(
    "new_account",
    "That the club’s account is a new one; blank where it is not, or the letter says so elsewhere",
    "",
    whole=True,
    must=True,
)
LINK = Field("link", "The family’s own link, put in as the letter goes out", "{link}", whole=True, must=True)
CLUB = Field("club", "The club’s name", "Reedbank Archers")
CONTACT = Field("contact", "Whom to ask: name, e-mail and phone", "Kim Bell, kim@example.org, 08 7010 0100", must=True)


@dataclass(frozen=True)
class LetterKind:
    """A kind of letter: its key, “courses.booked”, what it is called, when it goes out, its fields and its text.

    `says` is the text between greeting and end. One to a family names the club's contact, and says once that the
    account is new. One that `asks` for money, as in this example, says how to pay; `linked` is the family's link in it.
    """

    key: str
    title: str
    purpose: str
    subject: str
    says: str
    fields: tuple[Field, ...] = ()
    linked: Linked | None = None
    asks: str = ""
    to_family: bool = True
    _all: tuple[Field, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        more = (
            *((replace(HOW_TO_PAY, example=HOW_TO_PAY.example.replace(AS_EXAMPLE, self.asks)),) if self.asks else ()),
            *((NEW_ACCOUNT,) if self.to_family else ()),
            *((LINK,) if self.linked else ()),
            CLUB,
            *((CONTACT,) if self.to_family else ()),
        )
        object.__setattr__(self, "_all", (GUARDIAN, *self.fields, *more))

    @property
    def all_fields(self) -> tuple[Field, ...]:
        """Its own fields, and those that every letter of the sort has."""
        return self._all

    @property
    def body(self) -> str:
        """The whole text as it comes with the program."""
        parts = [f"Hello {GUARDIAN.written},", self.says]
        if self.asks and HOW_TO_PAY.written not in self.says:
            parts.append(HOW_TO_PAY.written)
        if self.to_family:
            parts.append(NEW_ACCOUNT.written)
        if self.linked:
            parts.append(f"{self.linked.leads}\n{LINK.written}\n{self.linked.keep}")
        parts.append(f"{CLUB.written}\n{CONTACT.written}" if self.to_family else CLUB.written)
        return "\n\n".join(parts) + "\n"

    @property
    def examples(self) -> dict[str, str]:
        """What each field may read like."""
        return {each.name: each.example for each in self.all_fields}


@dataclass(frozen=True)
class Wording:
    """A text of a kind of letter: the club's own, or the one that comes with the program."""

    subject: str
    body: str


# Filling in


class Sandbox(Engine):
    """Django's template language without its tags and filters but those of `register`, and without any file."""

    default_builtins = [__name__]


@functools.cache
def _sandbox() -> Engine:
    return Sandbox(dirs=[], loaders=[], libraries={}, autoescape=False)


@functools.lru_cache(maxsize=500)
def _read(text: str) -> Template:
    return Template(text, engine=_sandbox())


def written(kind: LetterKind, wording: Wording, values: Mapping[str, str]) -> tuple[str, str]:
    """The subject and the text of a letter, from plain words alone. Raises ValueError where a field has no value."""
    names = {each.name for each in kind.all_fields}
    if names != set(values):
        raise ValueError(f"{kind.key}: {', '.join(sorted(names ^ set(values)))} has no value, or no field.")
    plain = {name: str.__str__(value) for name, value in values.items()}
    subject, body = (_filled(text, plain) for text in (wording.subject, wording.body))
    return " ".join(subject.split()), body


def _filled(text: str, plain: Mapping[str, str]) -> str:
    """Whatever is blank leaves no gap: neither two spaces, nor more than one empty line."""
    said = _read(text).render(Context(dict(plain), autoescape=False, use_l10n=False, use_tz=False))
    lines = [" ".join(line.split()) for line in said.splitlines()]
    return re.sub(r"\n{3,}", "\n\n", "\n".join(lines)).strip() + "\n"


# Reading what somebody wrote


def tidy(text: str) -> str:
    """As it is kept: the line ends of no machine in particular, nothing before or after."""
    return "\n".join(line.rstrip() for line in text.strip().splitlines())


def long_sentences(text: str) -> list[str]:
    """What of a letter is hard to read; nobody is refused for it."""
    sentences = re.split(r"(?<=[.?!:;])\s+|\n", text)
    return [each for each in sentences if len(each.split()) > LONGEST_SENTENCE]


@functools.lru_cache(maxsize=500)
def faults(kind: LetterKind, wording: Wording) -> tuple[str, ...]:
    """Why a text cannot be one of the kind's, a sentence a fault; nothing where it can."""
    if not wording.subject.strip() or not wording.body.strip():
        return ("A letter has a subject and a text; to have the first text again, put it back.",)
    found = []
    for what, text, longest in (
        ("subject", wording.subject, LONGEST_SUBJECT),
        ("text", wording.body, LONGEST_TEXT),
    ):
        if len(text) > longest:
            found.append(f"The {what} has {len(text):,} characters; at most {longest:,} fit.")
            continue
        found += list(_Reader(kind, what).faults_of(text)) or list(_not_read(text))
    return tuple(found)


NAME = r"[A-Za-z_][A-Za-z0-9_]*"
VARIABLE = re.compile(rf'({NAME})((?:\s*\|\s*{NAME}(?::"[^"{{}}%]*")?)*)')
CONDITION = re.compile(rf"(?:not\s+)?{NAME}(?:\s+(?:and|or)\s+(?:not\s+)?{NAME})*")
WORDS_OF_IF = {"and", "or", "not"}
ELSE = "else"
LOOSE = re.compile(r"\{\{|\}\}|\{%|%\}|\{#|#\}")
SINGLE = re.compile(rf"\{{\s*({NAME})\s*\}}")


class _Reader:
    """Goes through a text once, and notes within which conditions each field stands."""

    def __init__(self, kind: LetterKind, what: str):
        self.kind, self.what = kind, what
        self.named = {each.name: each for each in kind.all_fields}
        self.open: list[str] = []
        """The conditions around the place that is read, of each the part that holds there."""
        self.safe: set[str] = set()
        self.seen: set[str] = set()

    def faults_of(self, text: str) -> Iterator[str]:
        for token in Lexer(text).tokenize():
            where = f"Line {token.lineno}: " if self.what == "text" else "In the subject: "
            yield from (f"{where}{said}" for said in self._fault(token))
        if self.open:
            yield f"The {self.what} has {{% if %}} without its {{% endif %}}."
        if self.what == "text":
            yield from self._lacking()

    def _fault(self, token: Token) -> Iterator[str]:
        if token.token_type == TokenType.VAR:
            yield from self._field(token.contents)
        elif token.token_type == TokenType.BLOCK:
            yield from self._block(token.contents)
        elif token.token_type == TokenType.TEXT:
            if LOOSE.search(token.contents):
                yield "{{ and }} stand around the name of a field, both on one line."
            for name in SINGLE.findall(token.contents):
                if name in self.named:
                    yield f"A field has two braces on each side: {self.named[name].written}."

    def _field(self, said: str) -> Iterator[str]:
        parts = VARIABLE.fullmatch(said)
        if parts is None:
            yield f"“{said[:40]}” is no field; between {{{{ and }}}} stands the name of one, such as guardian."
            return
        name, filters = parts[1], re.findall(rf"\|\s*({NAME})(:)?", parts[2])
        if fault := self._unknown(name):
            yield fault
            return
        for used, given in filters:
            if used not in FILTERS:
                yield f"“{used}” is no filter here; there are {', '.join(FILTERS)}."
            elif (used == "default") != bool(given):
                how = 'default:"what stands instead"' if used == "default" else f"{used} alone"
                yield f"“{used}” is written {how}."
        asked = self.named[name]
        if self.what == "subject" and asked.whole:
            yield f"{asked.written} does not go into a subject, since it may be paragraphs or a link."
        if asked.must and filters and self.what == "text":
            yield f"{asked.written} is written as it is, without a filter."
        self.seen.add(name)
        if all(each == name for each in self.open):
            self.safe.add(name)

    def _block(self, said: str) -> Iterator[str]:
        tag, _, rest = said.partition(" ")
        rest = rest.strip()
        if tag == "if":
            self.open.append(rest)
            if len(self.open) > DEEPEST:
                yield f"At most {DEEPEST} ifs stand inside each other."
        elif tag in ("elif", "else", "endif"):
            if not self.open:
                yield f"This {{% {tag} %}} has no {{% if %}} before it."
            elif tag == "endif":
                self.open.pop()
            elif self.open[-1] == ELSE:
                yield f"This {{% {tag} %}} comes after an {{% else %}} of the same if."
            else:
                self.open[-1] = ELSE if tag == "else" else f"{ELSE} if"
        else:
            yield f"“{tag[:40]}” cannot be used; there are only {{{{ field }}}} and {{% if field %}} … {{% endif %}}."
            return
        if tag in ("if", "elif"):
            yield from self._condition(rest)
        elif rest:
            yield f"{{% {tag} %}} stands alone."

    def _condition(self, said: str) -> Iterator[str]:
        if not CONDITION.fullmatch(said):
            yield f"“{said[:40]}” is no condition; after if stand names of fields with and, or, not."
            return
        for name in said.split():
            if name not in WORDS_OF_IF and (fault := self._unknown(name)):
                yield fault

    def _unknown(self, name: str) -> str:
        if name in self.named:
            return ""
        return f"There is no field “{name[:40]}”. There are {', '.join(self.named)}."

    def _lacking(self) -> Iterator[str]:
        for each in self.kind.all_fields:
            if not each.must or each.name in self.safe:
                continue
            if each.name in self.seen:
                yield f"{each.written} stands inside an if, so that some would not get it; put it outside."
            else:
                yield f"The text lacks {each.written}: {each.words[:1].lower()}{each.words[1:]}."


def _not_read(text: str) -> Iterator[str]:
    """What the language itself says of a text in which nothing was found: a second wall for what nobody thought of."""
    try:
        _read(text)
    except TemplateSyntaxError as fault:
        yield f"The text cannot be read: {fault}."
