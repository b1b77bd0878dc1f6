"""A roll that is imported on its page: the file sent, its columns said, its rows confirmed."""

import io

KEY = "8d0c5a40-1f0e-4f4b-9d53-6f0b5d1a7a{:02d}"


def sent(client, page, content, name="roll.csv"):
    file = io.BytesIO(content)
    file.name = name
    return client.post(page, {"file": file})


def chosen(answer, **changes):
    """What the page of the columns sends back."""
    form = answer.context["layout"]
    given = {name: form[name].value() or "" for name in form.fields} | {"content": answer.context["content"]}
    return given | changes


def confirmed(answer, number, **changes):
    """What the page of the rows sends back."""
    form = answer.context["meant"]
    given = {form.add_prefix(name): form[name].value() for name in form.fields}
    return given | dict(answer.context["carried"]) | {
        "content": answer.context["content"], "key": KEY.format(number),
    } | changes  # fmt: skip
