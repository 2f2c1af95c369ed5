"""Files and pasted text that come in at the desk, and the files that go out."""

from __future__ import annotations

from django.http import HttpRequest

_MOST_BYTES = 5 * 1024 * 1024


def read_upload(request: HttpRequest) -> tuple[str, list[tuple[str, str]]]:
    """Return the text of the uploaded file, or else what was pasted, and what is wrong with it as a text."""
    upload = request.FILES.get("file")
    if upload is None:
        text = request.POST.get("text", "")
        if not text.strip():
            return text, [("file", "Nothing was sent. Choose a file, or paste its text into the box.")]
        return text.replace("\r\n", "\n"), []
    if upload.size is not None and upload.size > _MOST_BYTES:
        return "", [("file", f"{upload.name} has {upload.size} bytes. Send at most 5 megabytes at once.")]
    raw = upload.read()
    try:
        return raw.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        return raw.decode("utf-8-sig", errors="replace"), [
            ("file", f"{upload.name} is not UTF-8 text (byte {error.start + 1}). Save it as UTF-8 and send it again.")
        ]
