"""The list of sources at the end of a document, to which its sentences point by number."""

from typing import Any

from ridelog.analysis.subject import Caution

CONDITIONS_SOURCE = (
    "eKFV (Elektrokleinstfahrzeuge-Verordnung), Annex, no. 1.1 to 1.7: conditions of a speed test"
)


class Sources:
    """The sources of a page in the order in which its sentences name them, each once."""

    def __init__(self) -> None:
        self.listed: dict[str, int] = {}

    def mark(self, source: str) -> int | None:
        """Return the number of a source in the list, None without one."""
        return self.listed.setdefault(source, len(self.listed) + 1) if source else None

    def told(self, caution: Caution) -> dict[str, Any]:
        """Return a caution with the number of its source."""
        return {"text": caution.text, "source": caution.source, "mark": self.mark(caution.source)}
