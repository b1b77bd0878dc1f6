"""The site as it is hosted: nginx with a certificate, and gunicorn with two workers, by what `hosting` wrote."""

import http.client
import os
import re
import socket
import sqlite3
import ssl
import subprocess
import sys
import uuid
from contextlib import closing
from pathlib import Path

import pytest

from clubdesk.desk import hosting
from tests.hosting.machine import HOUSE, bare_environment, environment_of, free_port, needs, running

DOMAIN = "books.club.example"
FRAME = """
daemon off; pid {folder}/pid; error_log {folder}/nginx.log; {user}
events {{ worker_connections 64; }}
http {{
  client_body_temp_path {folder}/body; proxy_temp_path {folder}/proxy; fastcgi_temp_path {folder}/fastcgi;
  uwsgi_temp_path {folder}/uwsgi; scgi_temp_path {folder}/scgi;
  include {folder}/site.conf;
}}
"""


class Site(http.client.HTTPSConnection):
    """Asks the port on loopback as if it were the site's address, and trusts the made certificate alone."""

    def __init__(self, folder, port):
        self.trusts = ssl.create_default_context(cafile=folder / "fullchain.pem")
        super().__init__(DOMAIN, port, timeout=120)

    def connect(self):
        plain = socket.create_connection(("127.0.0.1", self.port), timeout=120)
        self.sock = self.trusts.wrap_socket(plain, server_hostname=DOMAIN)

    def ask(self, method, path, body=None, **headers):
        self.request(method, path, body, {"Host": DOMAIN, "Connection": "close"} | headers)
        answer = self.getresponse()
        answer.text = answer.read().decode(errors="replace")
        self.close()
        return answer


@pytest.fixture(scope="module")
def hosted(tmp_path_factory):
    """The folder, the site's ports and the cookies of a treasurer, while gunicorn and nginx run."""
    nginx, openssl = needs("nginx"), needs("openssl")
    folder = tmp_path_factory.mktemp("hosted")
    certificate = [openssl, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", f"/CN={DOMAIN}",
                   "-addext", f"subjectAltName=DNS:{DOMAIN}",
                   "-keyout", folder / "privkey.pem", "-out", folder / "fullchain.pem"]  # fmt: skip
    subprocess.run(certificate, check=True, capture_output=True)
    hosting.write(DOMAIN, folder / "out")
    env = bare_environment() | environment_of(folder / "out" / "fletchbook.env") | {
        "DATABASE_URL": f"sqlite:///{folder / 'club.sqlite3'}", "EMAIL_URL": "consolemail://", "PYTHONPATH": str(HOUSE),
        "SECRET_KEY": uuid.uuid4().hex, "EXPORT_KEY": uuid.uuid4().hex,
    }  # fmt: skip
    begin = [sys.executable, "-m", "tests.hosting.signed_in", DOMAIN]
    begun = subprocess.run(
        begin,
        cwd=HOUSE,
        env=env | {"DJANGO_SETTINGS_MODULE": "clubdesk.settings"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert begun.returncode == 0, begun.stderr
    ports = free_port(), free_port(), free_port()
    with (
        running(_gunicorn(folder, ports[0]), port=ports[0], log=folder / "gunicorn.log", env=env),
        running([nginx, "-c", _site(folder, ports)], port=ports[2], log=folder / "nginx.out"),
    ):
        yield folder, ports, begun.stdout.strip().splitlines()[-1]


def _gunicorn(folder, port):
    """What the unit starts, on a port of the test's own."""
    unit = (folder / "out" / "fletchbook.service").read_text()
    command = re.search(r"^ExecStart=(.+)$", unit, re.MULTILINE)[1].split()
    assert command[0] == f"{sys.prefix}/bin/gunicorn"
    assert command[command.index("--workers") + 1] == "2"
    return [each.replace(f":{hosting.PORT}", f":{port}") for each in command]


def _site(folder, ports):
    """The site of nginx as it was written, with the test's ports, certificate and log."""
    gunicorn, plain, tls = ports
    text = (folder / "out" / "nginx.conf").read_text()
    text = re.sub(r"^ *listen \[::\].*$", "", text, flags=re.MULTILINE)
    text = text.replace("listen 443", f"listen 127.0.0.1:{tls}").replace("listen 80", f"listen 127.0.0.1:{plain}")
    text = text.replace(f"/etc/letsencrypt/live/{DOMAIN}", str(folder)).replace(f":{hosting.PORT}", f":{gunicorn}")
    (folder / "site.conf").write_text(text.replace("/var/log/nginx/fletchbook.log", str(folder / "nginx.log")))
    user = "user root;" if os.getuid() == 0 else ""
    (folder / "nginx.conf").write_text(FRAME.format(folder=folder, user=user))
    return folder / "nginx.conf"


@pytest.fixture
def site(hosted):
    return Site(hosted[0], hosted[1][2])


def test_the_monitor_is_answered_through_the_proxy(site):
    answer = site.ask("GET", "/health/")
    assert answer.text.splitlines()[:3] == ["database: ok", "tables: ok", "guards: ok"]
    assert answer.headers["Strict-Transport-Security"] == "max-age=31536000"
    assert "nginx/" not in answer.headers["Server"]


def test_who_comes_without_https_is_sent_to_it(hosted):
    plain = http.client.HTTPConnection("127.0.0.1", hosted[1][1], timeout=60)
    plain.request("GET", "/book/?a=1", headers={"Host": DOMAIN})
    answer = plain.getresponse()
    assert (answer.status, answer.headers["Location"]) == (301, f"https://{DOMAIN}/book/?a=1")


def test_another_name_than_the_sites_is_refused(site):
    site.request("GET", "/health/", headers={"Host": "else.example"})
    assert site.getresponse().status == 400


def test_the_page_to_sign_in_has_its_scripts_and_a_cookie_for_https_alone(site):
    page = site.ask("GET", "/login/")
    assert page.status == 200
    (cookie,) = page.headers.get_all("Set-Cookie")
    assert cookie.startswith("__Host-csrf=")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=Lax"} <= set(cookie.split("; "))
    files = re.findall(r'(?:href|src)="(/static/[^"]+\.(?:css|js))"', page.text)
    assert files
    assert {site.ask("GET", file).status for file in files} == {200}


def test_what_a_visitor_says_of_their_own_address_is_not_believed(site, hosted):
    page = site.ask("GET", "/login/")
    form = f"csrfmiddlewaretoken={token_in(page)}&login=nobody&password=wrong-one-here"
    headers = {"Cookie": page.headers["Set-Cookie"].split(";")[0], "X-Forwarded-For": "203.0.113.7",
               "X-Forwarded-Proto": "http", "Origin": f"https://{DOMAIN}",
               "Content-Type": "application/x-www-form-urlencoded"}  # fmt: skip
    assert site.ask("POST", "/login/", form, **headers).status == 200
    with closing(sqlite3.connect(hosted[0] / "club.sqlite3")) as book:
        found = book.execute("SELECT address FROM desk_signinrecord WHERE what = 'refused'").fetchall()
    assert found == [("127.0.0.1",)]


def token_in(page):
    return re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page.text)[1]


def upload(site, cookies, megabytes):
    page = site.ask("GET", "/reports/verify/", Cookie=cookies)
    assert page.status == 200, page.headers
    token = next(each.split(";")[0] for each in page.headers.get_all("Set-Cookie") if "csrf" in each)
    edge = uuid.uuid4().hex
    head = f'--{edge}\r\nContent-Disposition: form-data; name="csrfmiddlewaretoken"\r\n\r\n{token_in(page)}\r\n'
    head += f'--{edge}\r\nContent-Disposition: form-data; name="file"; filename="year.xlsx"\r\n\r\n'
    body = head.encode() + os.urandom(megabytes * 1024**2) + f"\r\n--{edge}--\r\n".encode()
    headers = {"Content-Type": f"multipart/form-data; boundary={edge}", "Origin": f"https://{DOMAIN}"}
    return site.ask("POST", "/reports/verify/", body, Cookie=f"{cookies}; {token}", **headers)


@pytest.mark.parametrize("megabytes", [10, 20])
def test_a_file_as_large_as_the_form_promises_arrives_and_is_answered_in_words(site, hosted, megabytes):
    answer = upload(site, hosted[2], megabytes)
    assert answer.status == 422
    assert "neither a PDF nor a workbook" in answer.text


def test_a_larger_one_is_turned_away_before_the_site_has_it(site, hosted):
    before = (hosted[0] / "gunicorn.log").read_text().count("POST /reports/verify/")
    assert upload(site, hosted[2], 23).status == 413
    assert (hosted[0] / "gunicorn.log").read_text().count("POST /reports/verify/") == before


def test_each_request_is_one_line_of_the_log_without_what_was_asked_for(site, hosted):
    word = uuid.uuid4().hex
    site.ask("GET", f"/find/?q={word}")
    site.ask("GET", f"/open/{word}/")
    text = (hosted[0] / "gunicorn.log").read_text()
    lines = [line for line in text.splitlines() if " GET /find/ " in line or " GET /open/.../ " in line]
    assert len(lines) == 2
    assert all(re.search(r" [2-9A-Z]{6} GET \S+ \d{3} \d+ ms user -$", line) for line in lines)
    assert word not in text
    assert word not in "".join(each.read_text() for each in Path(hosted[0]).glob("nginx.*") if each.suffix != ".conf")


def test_two_workers_serve_it(hosted):
    text = (hosted[0] / "gunicorn.log").read_text()
    assert len(re.findall(r"Booting worker with pid", text)) == 2


def test_what_the_site_writes_is_for_its_owner_alone(hosted):
    files = sorted(hosted[0].glob("club.sqlite3*"))
    assert files
    assert {each.name: each.stat().st_mode & 0o077 for each in files} == dict.fromkeys((each.name for each in files), 0)
