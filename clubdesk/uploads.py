"""A file that was chosen stays chosen when something else of its form is refused.

A browser hands a file over once. What passed its field is kept here for an hour beside the evidence, in a folder of
whoever sent it (a session, or a family's link), under a signed token that the page carries; nobody else's folder is
ever looked into. The night takes away what is older, and so does each file that is kept.
"""

import hashlib
import hmac
import os
import time
import uuid
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from django import forms
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile, UploadedFile
from django.core.signing import BadSignature, dumps, loads
from django.http import HttpRequest
from django.utils.datastructures import MultiValueDict
from django.utils.html import format_html
from django.utils.safestring import SafeString

SALT, MARK = "clubdesk.uploads", "kept-"
KEPT_FOR = timedelta(hours=1)
MOST_OF_ONE = 6
"""So many files of one session or link at most; the oldest gives way."""
LARGEST = 20 * 1024 * 1024
SAID = '{}{}<p class="help kept">{}</p>'
LET_GO = "The file was kept for an hour, which is over; choose it again."
Files = MultiValueDict[str, UploadedFile[Any]]


@dataclass(frozen=True)
class Kept:
    """A file that the server has: its name, and the token by which the page asks for it again."""

    name: str
    token: str


class FileInput(forms.FileInput):
    """A file to choose; says which one is kept already, or that it was let go."""

    kept: Kept | None = None
    let_go = False

    def render(self, name: str, value: Any, attrs: Any = None, renderer: Any = None) -> SafeString:
        given = {**(attrs or {}), **({"required": False} if self.kept else {})}
        box = super().render(name, value, given, renderer)
        if self.kept:
            token = format_html('<input type="hidden" name="{}{}" value="{}">', MARK, name, self.kept.token)
            said = f"{self.kept.name} is kept; choose another to replace it."
            return format_html(SAID, box, token, said)
        return format_html(SAID, box, "", LET_GO) if self.let_go else box


def session_of(request: HttpRequest) -> str:
    """Whose files they are, of somebody signed in; blank for anybody else."""
    user = request.user
    return f"user {user.pk} {request.session.session_key}" if user.is_authenticated else ""


def sent_files(request: HttpRequest, whose: str) -> Files:
    """The files that came with a form, and in place of those that did not, what is kept of them."""
    files: Files = request.FILES.copy()
    for name in (each.removeprefix(MARK) for each in request.POST if each.startswith(MARK)):
        if name not in files and (found := _found(whose, request.POST[f"{MARK}{name}"])):
            files[name] = found
    return files


def keep(request: HttpRequest, form: forms.BaseForm, whose: str) -> None:
    """Keep each file of a form that is about to be shown again, where its own field has nothing against it."""
    for name, field in form.fields.items():
        if not isinstance(field, forms.FileField):
            continue
        widget, sent = field.widget, form.add_prefix(name)
        assert isinstance(widget, FileInput), f"{name} is not asked for by clubdesk.uploads.FileInput"
        upload = form.files.get(sent)
        if upload is None:
            widget.let_go = f"{MARK}{sent}" in request.POST
        elif whose and name not in form.errors:
            token = request.POST.get(f"{MARK}{sent}", "") if sent not in request.FILES else ""
            widget.kept = Kept(upload.name or "the file", token) if token else _put_away(upload, whose)


def forget() -> None:
    """Take away whatever was kept for longer than an hour, whoever's it is."""
    oldest = time.time() - KEPT_FOR.total_seconds()
    for folder in _folders():
        for file in folder.iterdir():
            with suppress(OSError):
                if file.stat().st_mtime <= oldest:
                    file.unlink()
        with suppress(OSError):
            folder.rmdir()  # which only an empty one lets be done


def root() -> Path:
    return Path(settings.MEDIA_ROOT).with_name(".uploads")


def _folders() -> Iterator[Path]:
    with suppress(OSError):
        yield from list(root().iterdir())


def _folder_of(whose: str) -> Path:
    return root() / hmac.new(settings.SECRET_KEY.encode(), f"{SALT} {whose}".encode(), hashlib.sha256).hexdigest()[:40]


def _put_away(upload: UploadedFile[bytes], whose: str) -> Kept | None:
    """None where the disk has no room, or the file is too large: then the browser has to send it again."""
    upload.seek(0)
    content = upload.read(LARGEST + 1)
    if len(content) > LARGEST:
        return None
    name, folder = uuid.uuid4().hex, _folder_of(whose)
    try:
        forget()
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with open(os.open(folder / name, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(content)
        for old in sorted(folder.iterdir(), key=lambda each: each.stat().st_mtime)[:-MOST_OF_ONE]:
            old.unlink()
    except OSError:
        return None
    called = (upload.name or "the file")[:100]
    return Kept(called, dumps([name, called, upload.content_type or ""], salt=SALT))


def _found(whose: str, token: str) -> SimpleUploadedFile | None:
    """The file of a token, where it is of whoever asks and not too old."""
    try:
        name, called, kind = loads(token, salt=SALT, max_age=KEPT_FOR)
        content = (_folder_of(whose) / name).read_bytes() if whose else None
    except (BadSignature, OSError, ValueError, TypeError):
        return None
    return None if content is None else SimpleUploadedFile(called, content, kind)
