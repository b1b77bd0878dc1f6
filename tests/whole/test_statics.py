"""What browsers fetch: static files named by their contents and kept for good, text compressed, no idle script."""

import gzip
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.test import Client
from django.urls import reverse

from clubdesk import statics
from clubdesk.desk.house.pages import screens
from clubdesk.roll.models import Household
from clubdesk.settings import STORAGES

HEAVY = ("jquery", "select2", "xregexp", "actions.js", "urlify", "jsi18n")


@pytest.fixture
def gathered(settings, tmp_path):
    settings.STORAGES, settings.STATIC_ROOT = STORAGES, tmp_path / "static"
    settings.WHITENOISE_AUTOREFRESH = settings.WHITENOISE_USE_FINDERS = False
    statics.gather()
    return Path(settings.STATIC_ROOT)


def test_a_file_is_named_by_its_contents_compressed_and_kept_for_good(gathered):
    (name,) = (each.name for each in gathered.glob("desk/palette.*.css"))
    answer = Client(headers={"accept-encoding": "gzip"}).get(f"/static/desk/{name}")
    content = b"".join(answer.streaming_content)
    assert answer["Content-Encoding"] == "gzip"
    assert answer["Cache-Control"] == "max-age=315360000, public, immutable"
    assert gzip.decompress(content) == (gathered / "desk" / name).read_bytes()


def test_files_are_gathered_again_only_where_one_has_changed(gathered, monkeypatch):
    def gathers_again(**options):
        raise AssertionError("gathered again")

    monkeypatch.setattr(statics, "call_command", lambda *names, **options: gathers_again())
    statics.gather()
    (gathered / "gathered").write_text("other files")
    with pytest.raises(AssertionError, match="gathered again"):
        statics.gather()


def test_where_they_cannot_be_gathered_a_sentence_says_so(gathered, settings, tmp_path):
    (tmp_path / "file").write_text("")
    settings.STATIC_ROOT = tmp_path / "file" / "static"
    with pytest.raises(ImproperlyConfigured, match="Let .*file/static be written, for the static files"):
        statics.gather()


@pytest.mark.django_db
def test_the_sign_in_names_the_gathered_files(gathered):
    page = Client().get("/login/").content.decode()
    (name,) = (each.name for each in gathered.glob("desk/palette.*.css"))
    assert f"/static/desk/{name}" in page


@pytest.mark.django_db
@pytest.mark.world("season")
def test_pages_are_compressed_and_pdfs_go_out_as_they_are(client, keeper):
    client.force_login(keeper)
    page = client.get("/roll/household/", headers={"accept-encoding": "gzip"})
    assert page["Content-Encoding"] == "gzip"
    assert b"</html>" in gzip.decompress(page.content)
    url = reverse("admin:household_statement", args=[Household.objects.first().pk])
    paper = client.get(url, headers={"accept-encoding": "gzip"})
    assert paper["Content-Type"] == "application/pdf"
    assert not paper.has_header("Content-Encoding")


def acts(page):
    return 'name="action"' in page


@pytest.mark.django_db
@pytest.mark.world("season")
def test_no_list_and_no_plain_page_loads_a_script_that_it_does_not_use(client, keeper, settings):
    client.force_login(keeper)
    lists = [
        reverse(f"admin:{screen.opts.app_label}_{screen.opts.model_name}_changelist")
        for screen in screens() if screen.opts.model_name != "gstreturn"
    ]  # fmt: skip
    loaded = {url: client.get(url).content.decode() for url in ["/", *lists]}
    assert len(loaded) > 35
    unused = {url: [each for each in HEAVY if each in page] for url, page in loaded.items()}
    # What is done with many rows at once stands on a script, and that one on words.
    for_acts = {"actions.js", "jsi18n"}
    assert [url for url, found in unused.items() if set(found) - (for_acts if acts(loaded[url]) else set())] == []


@pytest.mark.django_db
def test_a_form_loads_what_its_fields_stand_on(client, keeper):
    client.force_login(keeper)
    pages = {url: client.get(url).content.decode() for url in ("/roll/person/add/", "/fees/feeitem/add/",
             "/rangeday/kit/add/", "/auth/group/1/change/", "/auth/group/")}  # fmt: skip
    found = {url: [heavy for heavy in HEAVY if heavy in page] for url, page in pages.items()}
    assert found == {
        "/roll/person/add/": ["jquery", "select2", "jsi18n"],
        "/fees/feeitem/add/": ["jquery", "urlify", "jsi18n"],
        "/rangeday/kit/add/": [],
        "/auth/group/1/change/": ["jquery", "jsi18n"],
        "/auth/group/": ["actions.js", "jsi18n"],
    }


@pytest.mark.django_db
def test_the_words_of_django_s_scripts_are_kept_for_a_day(client, keeper):
    client.force_login(keeper)
    assert client.get("/jsi18n/")["Cache-Control"] == "private, max-age=86400"
