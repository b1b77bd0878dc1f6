"""What an uploaded receipt may be: a PDF, or a photo that is drawn anew; up to ten megabytes, judged by its content.

It is kept under a name that nobody can guess and handed out so that no browser runs anything in it.
"""

import hashlib
import io
import uuid
import warnings
from dataclasses import dataclass
from typing import Any

from django import forms
from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.http import FileResponse, Http404
from PIL import Image, ImageOps
from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject

from clubdesk.errors import Refused
from clubdesk.handing import disposition
from clubdesk.uploads import FileInput

FORMATS = ("JPEG", "PNG")
MOST_PIXELS = 60_000_000
MOST_SIDE = 2400
MOST_OBJECTS = 20_000
WANTED = "Choose a PDF, or a photo as JPEG or PNG."
ACTIVE = {
    "/JS",
    "/JavaScript",
    "/Launch",
    "/EmbeddedFiles",
    "/EmbeddedFile",
    "/RichMedia",
    "/XFA",
    "/SubmitForm",
    "/ImportData",
    "/AA",
}


@dataclass(frozen=True)
class Evidence:
    """What is kept of an upload, and the digest of the upload as it was sent."""

    content: bytes
    content_type: str
    upload_digest: str = ""

    @property
    def digest(self) -> str:
        return hashlib.sha256(self.content).hexdigest()


def evidence_path(document: Any, name: str) -> str:
    """A name that says nothing and that nobody can guess."""
    return f"evidence/{uuid.uuid4().hex}"


def attach(document: Any, evidence: Evidence) -> None:
    """Make the evidence the receipt of a document that is about to be saved."""
    document.receipt_type, document.receipt_digest = evidence.content_type, evidence.digest
    document.receipt.save("receipt", ContentFile(evidence.content), save=False)


def fault_of_stored(stored: Any, digest: str) -> str:
    """What is wrong with a stored file; blank where it is the one that was uploaded."""
    try:
        with stored.open("rb") as file:
            found = hashlib.sha256(file.read()).hexdigest()
    except OSError:
        return "is missing"
    return "" if found == digest else "is not the file that was uploaded"


KINDS = {"application/pdf": "PDF", "image/jpeg": "photo", "image/png": "photo"}


def served(stored: Any, content_type: str, name: str) -> FileResponse:
    """A stored file for somebody who may see it; no browser runs anything in it. Raises Http404 where it is gone."""
    try:
        file = stored.open("rb")
    except OSError:
        raise Http404("The file is missing from the evidence folder; check_books names it.") from None
    response = FileResponse(file, content_type=content_type)
    response["Content-Disposition"] = disposition(name, is_shown=True)
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response["X-Content-Type-Options"] = "nosniff"
    response["Cache-Control"] = "private, no-store"
    return response


class EvidenceField(forms.FileField):
    """A receipt, examined by its content; gives `Evidence`."""

    def __init__(self, **kwargs: Any):
        kwargs.setdefault("label", "Receipt")
        kwargs.setdefault("help_text", "A PDF or a photo (JPEG, PNG), at most 10 MB.")
        kwargs.setdefault("widget", FileInput(attrs={"accept": "application/pdf,image/jpeg,image/png"}))
        super().__init__(allow_empty_file=True, **kwargs)

    def clean(self, data: Any, initial: Any = None) -> Any:
        upload = super().clean(data, initial)
        if not upload:
            return None
        try:
            return examine(upload)
        except Refused as refusal:
            raise forms.ValidationError(refusal.messages) from None


def examine(upload: UploadedFile[bytes] | io.BytesIO) -> Evidence:
    """Read the upload and say what it is. Raises Refused for anything else than a whole PDF, JPEG or PNG.

    A photo is drawn anew: whatever else its file carried (where it was taken, other formats behind it) is left behind.
    A PDF that can do anything by itself is refused. Source of the dangers: OWASP, File Upload Cheat Sheet.
    """
    upload.seek(0)
    content = upload.read(settings.EVIDENCE_LIMIT + 1)
    if len(content) > settings.EVIDENCE_LIMIT:
        raise Refused(f"The receipt is larger than {settings.EVIDENCE_LIMIT // 1024 // 1024} MB; send a smaller photo.")
    if not content:
        raise Refused(f"The receipt file is empty. {WANTED}")
    digest = hashlib.sha256(content).hexdigest()
    if content.startswith(b"%PDF-"):
        return Evidence(_pdf(content), "application/pdf", digest)
    return Evidence(_photo(content), "image/jpeg", digest)


def _pdf(content: bytes) -> bytes:
    try:
        reader = PdfReader(io.BytesIO(content), strict=False)
        if reader.is_encrypted:
            raise Refused(f"The PDF is locked with a password. {WANTED}")
        if not reader.pages:
            raise Refused(f"The PDF has no page. {WANTED}")
        active = _opens_by_itself(reader) or _active(reader)
    except Refused:
        raise
    except Exception:  # whatever a reader does with bytes from outside, the answer is the same
        raise Refused(f"The receipt starts like a PDF but is cut short. {WANTED}") from None
    if active:
        raise Refused(
            f"The PDF holds a program or another file inside it ({active[1:]}). Print it to a plain PDF first."
        )
    return content


def _opens_by_itself(reader: PdfReader) -> str:
    """What the PDF does as it is opened, other than to show a page of its own; blank where that is nothing."""
    first = reader.root_object.get("/OpenAction")
    action = first.get_object() if isinstance(first, IndirectObject) else first
    if not isinstance(action, DictionaryObject):
        return ""
    return "" if action.get("/S", "/GoTo") == "/GoTo" and "/Next" not in action else "/OpenAction"


def _active(reader: PdfReader) -> str:
    """The first thing in the PDF that could act by itself; blank where there is none."""
    waiting: list[Any] = [reader.trailer]
    seen: set[tuple[int, int]] = set()
    looked = 0
    while waiting:
        each = waiting.pop()
        looked += 1
        if looked > MOST_OBJECTS:
            raise Refused(f"The PDF is too involved to be looked through. {WANTED}")
        if isinstance(each, IndirectObject):
            if (each.idnum, each.generation) in seen:
                continue
            seen.add((each.idnum, each.generation))
            each = each.get_object()
        if isinstance(each, DictionaryObject):
            if found := ACTIVE.intersection(map(str, each.keys())) or ACTIVE.intersection(
                {str(each.raw_get("/S"))} if "/S" in each else ()
            ):
                return sorted(found)[0]
            waiting.extend(each.raw_get(key) for key in each if key != "/Parent")
        elif isinstance(each, ArrayObject):
            waiting.extend(list.__iter__(each))
    return ""


def _photo(content: bytes) -> bytes:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=FORMATS) as image:
                if image.width * image.height > MOST_PIXELS:
                    raise Refused(f"The photo has too many pixels. {WANTED}")
                upright = ImageOps.exif_transpose(image).convert("RGB")
                upright.thumbnail((MOST_SIDE, MOST_SIDE))
                upright.info.clear()
                drawn = io.BytesIO()
                upright.save(drawn, "JPEG", quality=85)
    except Refused:
        raise
    except Exception:  # whatever a decoder does with bytes from outside, the answer is the same
        raise Refused(f"The receipt is neither a PDF nor a photo that can be opened. {WANTED}") from None
    return drawn.getvalue()
