"""What a browser would send of a page: every field of its form as it stands, for a test to change some of it."""

import re
from html.parser import HTMLParser
from typing import Any


class _Form(HTMLParser):
    """The fields of the page's own form, which is the one with the button of its kind."""

    def __init__(self) -> None:
        super().__init__()
        self.sent: dict[str, list[str]] = {}
        self.inside, self.name, self.text, self.patterns = False, "", "", 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.patterns += tag == "template"
        if self.patterns:
            return
        told = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.inside = told.get("method") == "post" and told.get("id") != "logout-form"
        if not self.inside:
            return
        if tag == "input" and told.get("name"):
            self._input(told)
        elif tag in ("select", "textarea"):
            self.name, self.text = told.get("name", ""), ""
        elif tag == "option" and "selected" in told:
            self.sent.setdefault(self.name, []).append(told["value"])

    def _input(self, told: dict[str, str]) -> None:
        kind = told.get("type", "text")
        if kind in ("submit", "file") or (kind in ("checkbox", "radio") and "checked" not in told):
            return
        self.sent.setdefault(told["name"], []).append(told.get("value", "on" if kind in ("checkbox", "radio") else ""))

    def handle_data(self, data: str) -> None:
        self.text += data

    def handle_endtag(self, tag: str) -> None:
        self.patterns -= tag == "template"
        if tag == "textarea" and self.inside:
            self.sent[self.name] = [self.text.removeprefix("\n")]
        if tag == "form":
            self.inside = False


def form_of(response: Any, **typed: object) -> dict[str, Any]:
    """What the page's form sends, with what is typed in place of what stood there."""
    parser = _Form()
    parser.feed(response.content.decode())
    return {name: values[0] if len(values) == 1 else values for name, values in parser.sent.items()} | typed


def agreed(client: Any, url: str, form: dict[str, Any], *, follow: bool = False) -> Any:
    """The answer to a form that first shows what it comes to, once somebody has seen that and pressed again."""
    answer = client.post(url, form, follow=follow)
    seen = re.search(r'name="seen" value="(\w+)"', answer.content.decode())
    return client.post(url, {**form, "seen": seen[1]}, follow=follow) if seen else answer
