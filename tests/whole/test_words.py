"""One thing has one name: no page says a word that another has taken the place of."""

import re

import pytest

from tests.whole.addresses import urls_of_everything

pytestmark = pytest.mark.django_db
RETIRED = {
    "family": r"households?",
    "cash box": r"tins?",
    "matched": r"explain(ed|s)?",
    "draw check": r"reach checks?",
    "refund request": r"entry claims?",
    "phone entry": r"taps? on (a phone|phones)",
}
NOT_READ = re.compile(r"<(script|style|svg)\b.*?</\1>|<[^>]*>", re.DOTALL)


def read(page):
    """The words of a page as somebody reads them."""
    return NOT_READ.sub(" ", page.content.decode())


@pytest.mark.slow
@pytest.mark.world("one_of_each")
def test_no_page_says_a_word_that_has_gone(client, keeper):
    client.force_login(keeper)
    said = []
    for url in urls_of_everything(client):
        answer = client.get(url)
        if answer.status_code == 200 and answer["Content-Type"].startswith("text/html"):
            words = read(answer)
            for instead, word in RETIRED.items():
                if found := re.search(rf".{{0,40}}\b{word}\b.{{0,40}}", words, re.IGNORECASE):
                    said.append(f"{url}: “{found[0].strip()}” (say {instead})")
    assert said == [], "\n".join(said)
