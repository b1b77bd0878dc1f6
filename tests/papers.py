"""What a PDF says, for tests."""

import io

from pypdf import PdfReader


def words_of(content):
    """All the text of a PDF's pages."""
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)
