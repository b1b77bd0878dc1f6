"""One thing has one name: no page and no text of the source says a word that another has taken the place of.

What is read as a text of the source is each string of the code that somebody could read (it has a space or begins with
a capital, and is no docstring, model's name or SQL), each template without its tags, and each string of a script.
"""

import ast
import re
from pathlib import Path

import pytest
from django.apps import apps

from tests.whole.addresses import urls_of_everything

HOUSE = Path(__file__).parents[2]
RETIRED = {
    "family": r"households?|roll entr(y|ies)",
    "group, booking, people and organisations": r"part(y|ies)",
    "cash box": r"tins?|tills?",
    "match": r"explain(ed|s|ing)?",
    "draw check": r"reach checks?",
    "refund request": r"entry claims?",
    "voucher claim": r"(un)?lodg(e|ed|es|ing|ements?)",
    "fees passed on": r"remit(s|ted|ting|tances?)?",
    "phone entries": r"taps? on (a phone|phones)|phone taps?",
    "kit": r"(club|club[’']s) gear",
    "zero, 0.00": r"nil",
    "administrator": r"keepers?",
    "credit, cancel, undo, withdraw, reverse": r"(tak(e|es|en|ing)|took) (it |them |that |this )?back",
    "undo the write-off": r"tak(e|en|ing) (the debt |it )?up( again)?",
    "cancel, remove": r"tak(e|es|en|ing) (it|them) out",
    "import": (
        r"bring\s+(a |the |it |them )?(bank )?(statement |file |roll )?in|bringing in"
        r"|(files?|statements?|rolls?|lines?) (is|was|are|were) brought in"
    ),
    "place": r"(a|the) seat",
    "expense not billed yet": r"bills? that (has|have) not come",
    "erase personal details": r"blanked",
    "does not work": r"is not whole",
}
IN_THE_ENTRY_FUND = {"refund request, ask for": r"claim(s|ed|ing)?"}
"""There a family asks for a refund; what is claimed elsewhere is a voucher."""
STAYS = {
    "household family home familygroup": "what a club's own spreadsheet may call the column",
    "called off household ": "by which a letter is known again, in books that stand; nobody reads it",
    "unsafe: take it back now": "kit is taken back from somebody's hand",
}
NOT_READ = re.compile(r"<(script|style|svg)\b.*?</\1>|<[^>]*>", re.DOTALL)
TAGS = re.compile(
    r"{%.*?%}|{{.*?}}|{#.*?#}|\b(aria-labelledby|aria-describedby|href|class|id|name|action|for|src|value|data-[\w-]+)=\"[^\"]*\"",
    re.DOTALL,
)
SQL = re.compile(r"\b(SELECT|NEW|OLD|WHERE|UPDATE|JOIN|EXISTS)\b")
IN_A_SCRIPT = re.compile(r"\"([^\"\n]* [^\"\n]*)\"|`([^`]* [^`]*)`")


def gone(words, retired=RETIRED):
    """Each retired word of a text with what stands around it."""
    for instead, word in retired.items():
        if found := re.search(rf".{{0,40}}\b({word})\b.{{0,40}}", words, re.IGNORECASE):
            yield f"“{found[0].strip()}” (say {instead})"


def read(page):
    """The words of a page as somebody reads them."""
    return NOT_READ.sub(" ", page.content.decode())


def in_code(path):
    """The strings of a module that somebody could read, each with its line."""
    tree = ast.parse(path.read_text())
    told = {id(each.value) for each in ast.walk(tree) if isinstance(each, ast.Expr)}
    models = {model.__name__ for model in apps.get_models()}
    for each in ast.walk(tree):
        if isinstance(each, ast.Constant) and isinstance(each.value, str) and id(each) not in told:
            text = each.value
            named = {*re.split(r"[ |]+", text)} <= models
            if re.search(r" |^[A-Z][a-z]", text.strip()) and not named and not SQL.search(text):
                yield each.lineno, text


def texts():
    """Every text of the source: where it stands, and its words."""
    for path in sorted((HOUSE / "clubdesk").rglob("*.py")):
        if "migrations" not in path.parts:
            yield from ((f"{path.relative_to(HOUSE)}:{line}", text) for line, text in in_code(path))
    for path in sorted((HOUSE / "templates").rglob("*.*")):
        if path.suffix in {".html", ".txt"}:
            yield str(path.relative_to(HOUSE)), TAGS.sub(" ", path.read_text())
    for path in sorted((HOUSE / "clubdesk").rglob("*.js")):
        for found in IN_A_SCRIPT.finditer(path.read_text()):
            yield str(path.relative_to(HOUSE)), found[1] or found[2]
    yield "fixtures/chart.csv", (HOUSE / "fixtures" / "chart.csv").read_text().replace(",till\n", "\n")
    yield "README.md", re.sub(r"```.*?```|`[^`]*`", " ", (HOUSE / "README.md").read_text(), flags=re.DOTALL)


def test_no_text_of_the_source_holds_a_word_that_has_gone():
    said, read_in = [], set()
    for where, text in texts():
        read_in.add(Path(where.split(":")[0]).suffix)
        if not any(noun in text for noun in STAYS):
            of_the_fund = IN_THE_ENTRY_FUND if "/entryfund/" in where else {}
            said += [f"{where}: {each}" for each in gone(text, RETIRED | of_the_fund)]
    assert read_in == {".py", ".html", ".txt", ".js", ".csv", ".md"}
    assert said == [], "\n".join(said)


def test_what_models_and_their_columns_are_called_holds_no_word_that_has_gone():
    said = []
    for model in apps.get_models():
        if model.__module__.startswith("clubdesk."):
            columns = [field for field in model._meta.get_fields() if not field.auto_created and field.editable]
            names = [model._meta.verbose_name, model._meta.verbose_name_plural]
            names += [text for field in columns for text in (field.verbose_name, field.help_text)]
            said += [f"{model.__name__}: {each}" for name in names for each in gone(str(name))]
    assert said == [], "\n".join(said)


@pytest.mark.parametrize("text", ["Open the till", "Lodge them", "The claim is remitted", "It differs by nil"])
def test_a_retired_word_is_found(text):
    assert list(gone(text)) != []


@pytest.mark.slow
@pytest.mark.either
@pytest.mark.django_db
@pytest.mark.world("one_of_each")
def test_no_page_says_a_word_that_has_gone(client, keeper):
    client.force_login(keeper)
    said = []
    for url in urls_of_everything(client):
        answer = client.get(url)
        if answer.status_code == 200 and answer["Content-Type"].startswith("text/html"):
            said += [f"{url}: {each}" for each in gone(read(answer).replace(keeper.username, ""))]
    assert said == [], "\n".join(said)
