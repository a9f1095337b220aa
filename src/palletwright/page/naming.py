"""Files that the page hands out: named so that no name can do harm."""

from __future__ import annotations

import re
from urllib.parse import quote

from fastapi.responses import Response


def attachment(blob: bytes | str, name: str, kind: str) -> Response:
    """A download under a plain name."""
    clean = re.sub(r"[^\w .+()-]", "_", name).strip(" .")[:120] or "file"
    plain = clean.encode("ascii", "replace").decode().replace("?", "_")
    said = f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(clean)}"
    return Response(blob, media_type=kind, headers={"content-disposition": said})
