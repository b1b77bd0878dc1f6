"""A text of a letter that somebody wrote: what may stand in it, what it must have, and what nobody gets out of it."""

import time

import pytest
from django.template import Context, TemplateSyntaxError
from hypothesis import given
from hypothesis import strategies as st

from clubdesk.lettering import (
    DEEPEST,
    FILTERS,
    LONGEST_TEXT,
    Field,
    LetterKind,
    Linked,
    Wording,
    _read,
    _sandbox,
    faults,
    tidy,
    written,
)

KIND = LetterKind(
    "courses.test",
    "A letter",
    "Goes out in a test.",
    "{{ course }}: your place",
    "Thank you, {{ child }}.\n\n{{ rest }}",
    (
        Field("course", "The course", "Beginner course"),
        Field("child", "Who", "Ada"),
        Field("rest", "More", "There is more.", whole=True),
    ),
    Linked("Your page:"),
    asks="$126.00",
)
END = "{{ how_to_pay }}\n{{ new_account }}\n{{ link }}\n{{ contact }}"


def said_of(text, subject="Hello"):
    return " ".join(faults(KIND, Wording(subject, text)))


def filled(text, **values):
    return written(KIND, Wording("{{ course }}", text), {**KIND.examples, **values})[1]


def test_the_first_text_is_a_letter():
    assert faults(KIND, Wording(KIND.subject, KIND.body)) == ()
    subject, body = written(KIND, Wording(KIND.subject, KIND.body), KIND.examples)
    assert subject == "Beginner course: your place"
    assert body.startswith("Hello Ida Mirabar,\n\nThank you, Ada.\n\nThere is more.\n\nPlease pay $126.00")
    assert body.endswith("Reedbank Archers\nKim Bell, kim@example.org, 08 7010 0100\n")


def test_what_is_blank_leaves_no_gap():
    said = filled("Hello  {{ child }} {{ rest }} and\n\n{{ rest }}\n\n{{ new_account }}\n\nbye\r\n", rest="")
    assert said == "Hello Ada and\n\nbye\n"


def test_a_part_stands_only_where_its_field_says_something():
    text = "{% if rest and not new_account %}More: {{ rest }}{% else %}No more.{% endif %}"
    assert filled(text) == "More: There is more.\n"
    assert filled(text, rest="") == "No more.\n"


def test_what_a_family_typed_is_never_read_as_a_field():
    said = filled("{{ child }}", child="{{ contact }}{% debug %}<b>Ada</b>")
    assert said == "{{ contact }}{% debug %}<b>Ada</b>\n"


@pytest.mark.parametrize(
    ("written", "sentence"),
    [
        ("{{ guardian.pk }}", "“guardian.pk” is no field"),
        ("{{ guardian.__class__.__mro__ }}", "is no field"),
        ("{{ guardian.upper }}", "is no field"),
        ("{{ settings }}", "There is no field “settings”. There are guardian, course,"),
        ("{{ forloop.counter }}", "is no field"),
        ("{{ _('x') }}", "is no field"),
        ('{{ "x" }}', "is no field"),
        ("{{ child|safe }}", "“safe” is no filter here; there are capfirst, default, lower, upper."),
        ("{{ child|ljust:999999999 }}", "is no field"),
        ("{{ child|default }}", "“default” is written default:"),
        ('{{ child|upper:"x" }}', "“upper” is written upper alone."),
        ("{% load static %}", "“load” cannot be used; there are only {{ field }} and {% if field %}"),
        ("{% include 'admin/index.html' %}", "“include” cannot be used"),
        ("{% extends 'admin/index.html' %}", "“extends” cannot be used"),
        ("{% debug %}", "“debug” cannot be used"),
        ("{% for each in child %}{{ each }}{% endfor %}", "“for” cannot be used"),
        ("{% with a=child %}{% endwith %}", "“with” cannot be used"),
        ("{% verbatim %}{{ settings }}{% endverbatim %}", "“verbatim” cannot be used"),
        ("{% csrf_token %}", "“csrf_token” cannot be used"),
        ("{% lorem 9999 w %}", "“lorem” cannot be used"),
        ("{% now 'Y' %}", "“now” cannot be used"),
        ("{% if guardian.pk %}x{% endif %}", "“guardian.pk” is no condition"),
        ("{% if child == 'Ada' %}x{% endif %}", "is no condition"),
        ("{% if nobody %}x{% endif %}", "There is no field “nobody”."),
        ("{% if %}x{% endif %}", "“” is no condition"),
        ("{% if child %}x", "The text has {% if %} without its {% endif %}."),
        ("x{% endif %}", "This {% endif %} has no {% if %} before it."),
        ("{% if child %}a{% else %}b{% else %}c{% endif %}", "comes after an {% else %} of the same if."),
        ("{% if child %}a{% endif child %}", "{% endif %} stands alone."),
        ("{{ child", "{{ and }} stand around the name of a field, both on one line."),
        ("{{ child\n}}", "both on one line."),
        ("{child}", "A field has two braces on each side: {{ child }}."),
        ("{link}", "A field has two braces on each side: {{ link }}."),
        ("{{ link|upper }}", "{{ link }} is written as it is, without a filter."),
        ("{% if child %}" * (DEEPEST + 1) + "{% endif %}" * (DEEPEST + 1), "At most 3 ifs stand inside each other."),
        ("x" * LONGEST_TEXT, "at most 5,000 fit."),
    ],
)
def test_what_is_refused_has_a_sentence(written, sentence):
    assert sentence in said_of(f"{END}\n{written}")


def test_a_sentence_names_the_line():
    assert said_of(f"Hello\n\n{{{{ chidl }}}}\n{END}").startswith("Line 3: There is no field “chidl”.")


@pytest.mark.parametrize("name", ["how_to_pay", "new_account", "link", "contact"])
def test_a_letter_without_its_link_amount_or_contact_is_refused(name):
    lacking = END.replace(f"{{{{ {name} }}}}", "")
    assert f"The text lacks {{{{ {name} }}}}: " in said_of(lacking)
    assert f"The text lacks {{{{ {name} }}}}: " in said_of(f"{lacking}{{# {{{{ {name} }}}} #}}")
    hidden = f"{lacking}{{% if child %}}{{{{ {name} }}}}{{% endif %}}"
    assert f"{{{{ {name} }}}} stands inside an if, so that some would not get it; put it outside." in said_of(hidden)
    turned = f"{lacking}{{% if {name} %}}x{{% else %}}{{{{ {name} }}}}{{% endif %}}"
    assert "stands inside an if" in said_of(turned)
    own = f"{lacking}{{% if {name} %}}{{{{ {name} }}}}{{% endif %}}"
    assert said_of(own) == ""


def test_a_subject_is_a_line():
    assert "{{ link }} does not go into a subject" in said_of(END, "Hello {{ link }}")
    assert "In the subject: There is no field “x”." in said_of(END, "{{ x }}")
    assert "The subject has 121 characters; at most 120 fit." in said_of(END, "x" * 121)
    assert "A letter has a subject and a text" in said_of(END, " ")
    assert said_of(END, "{{ child|upper }}: {{ course }}") == ""


def test_a_kind_is_written_with_each_of_its_fields_and_no_other():
    with pytest.raises(ValueError, match="courses.test: child has no value, or no field"):
        written(KIND, Wording("x", "y"), {name: "" for name in KIND.examples if name != "child"})
    with pytest.raises(ValueError, match="more has no value, or no field"):
        written(KIND, Wording("x", "y"), {**KIND.examples, "more": ""})


@pytest.mark.parametrize(
    "text",
    [
        "{% load static %}", "{% include 'admin/index.html' %}", "{% extends 'x' %}", "{% debug %}", "{% csrf_token %}",
        "{% for a in b %}{% endfor %}", "{% verbatim %}{% endverbatim %}", "{{ a|safe }}", "{{ a|add:b }}",
        "{{ a|ljust:9 }}", "{{ a.__class__ }}", "{% block a %}{% endblock %}", "{% cycle 'a' 'b' %}",
    ],
)  # fmt: skip
def test_the_language_itself_knows_no_more_than_the_reader_lets_through(text):
    with pytest.raises(TemplateSyntaxError, match="Invalid|not a registered|may not begin with underscores"):
        _read(text)


def test_the_language_reads_no_file_and_has_no_tag_but_if():
    engine = _sandbox()
    assert engine.template_loaders == []
    assert [set(each.tags) for each in engine.template_builtins] == [{"if"}]
    assert [set(each.filters) for each in engine.template_builtins] == [set(FILTERS)]


PIECES = st.lists(
    st.sampled_from(
        ["{{", "}}", "{%", "%}", "{#", "#}", "{", "}", " ", "\n", "child", "link", "guardian", "if", "else", "elif",
         "endif", "and", "not", "|", "upper", "default", ':"x"', ".", "__class__", "'", '"', "load", "for", "in", "x"]
    ),
    max_size=40,
)  # fmt: skip


@given(PIECES)
def test_whatever_is_typed_is_refused_in_words_or_becomes_a_letter(pieces):
    text = "".join(pieces) + END
    if not faults(KIND, Wording("Hello", text)):
        said = written(KIND, Wording("Hello", text), {**KIND.examples, "link": "THE-LINK"})[1]
        assert "THE-LINK" in said
        assert KIND.examples["contact"] in said
        assert "Please pay $126.00" in said


def test_the_longest_text_is_read_and_filled_in_at_once():
    ifs = "{% if child %}{{ child }}{% endif %}"
    text = END + ifs * ((LONGEST_TEXT - len(END)) // len(ifs))
    began = time.process_time()
    assert faults(KIND, Wording("Hello", text)) == ()
    assert len(written(KIND, Wording("Hello", text), KIND.examples)[1]) > 100
    assert time.process_time() - began < 0.5


def test_line_ends_are_nobodys_in_particular():
    assert tidy("\r\nHello \r\n\r\nbye\t\r\n\r\n") == "Hello\n\nbye"
    assert _read("{{ child }}").render(Context({"child": "Ada"})) == "Ada"
