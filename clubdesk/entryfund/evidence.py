"""What an uploaded receipt may be: a PDF, JPEG or PNG up to ten megabytes, judged by its content."""

import io
import warnings
from dataclasses import dataclass

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from PIL import Image

from clubdesk.errors import Refused

IMAGE_TYPES = {"JPEG": "image/jpeg", "PNG": "image/png"}
MOST_PIXELS = 60_000_000
WANTED = "Choose a PDF, or a photo as JPEG or PNG."


@dataclass(frozen=True)
class Evidence:
    content: bytes
    content_type: str


def examine(upload: UploadedFile | io.BytesIO) -> Evidence:
    """Read the upload and say what it is. Raises Refused for anything else than a whole PDF, JPEG or PNG."""
    content = upload.read(settings.EVIDENCE_LIMIT + 1)
    if len(content) > settings.EVIDENCE_LIMIT:
        raise Refused(f"The receipt is larger than {settings.EVIDENCE_LIMIT // 1024 // 1024} MB; send a smaller photo.")
    if not content:
        raise Refused(f"The receipt file is empty. {WANTED}")
    if content.startswith(b"%PDF-"):
        return _pdf(content)
    return _image(content)


def _pdf(content: bytes) -> Evidence:
    if b"%%EOF" not in content[-1024:] or b"startxref" not in content:
        raise Refused(f"The receipt starts like a PDF but is not whole. {WANTED}")
    return Evidence(content, "application/pdf")


def _image(content: bytes) -> Evidence:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=list(IMAGE_TYPES)) as image:
                kind = image.format
                if image.width * image.height > MOST_PIXELS:
                    raise Refused(f"The photo has too many pixels. {WANTED}")
                image.load()
    except Refused:
        raise
    except Exception:  # whatever a decoder does with bytes from outside, the answer is the same
        raise Refused(f"The receipt is neither a PDF nor a photo that can be opened. {WANTED}") from None
    return Evidence(content, IMAGE_TYPES[str(kind)])
