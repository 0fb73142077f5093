"""A digest over a result's own content, so that an altered digit is noticed wherever it is."""

import hashlib
import json
from typing import Any

FIELD = "content_sha256"


def sealed(document: dict[str, Any]) -> dict[str, Any]:
    """Return a result with the digest of everything else in it as its last field."""
    content = {name: value for name, value in document.items() if name != FIELD}
    return {**content, FIELD: digest_of(content)}


def digest_of(document: dict[str, Any]) -> str:
    """Return the SHA-256 of a result without its digest, independent of spacing and order."""
    content = {name: value for name, value in document.items() if name != FIELD}
    text = json.dumps(
        content, allow_nan=False, ensure_ascii=True, sort_keys=True, separators=(",", ":")
    )
    return hashlib.sha256(text.encode("ascii")).hexdigest()
