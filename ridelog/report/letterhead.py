"""The workshop on its papers: name, how to reach it, its logo."""

from base64 import b64encode
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from ridelog.core.bounded_read import read_at_most
from ridelog.core.errors import RideLogError
from ridelog.core.text import clean, shown_name

# A logo is printed some centimetres wide; a page with more in it is slow to send. Own choice.
MOST_LOGO_BYTES = 1_000_000
_KINDS = ((b"\x89PNG\r\n\x1a\n", "png", "image/png"), (b"\xff\xd8\xff", "jpg", "image/jpeg"))


@dataclass(frozen=True)
class Letterhead:
    """Name and contact, empty for none; the logo's bytes and kind (png or jpg)."""

    workshop: str = ""
    contact: str = ""
    logo: bytes = b""
    kind: str = ""

    @property
    def logo_file(self) -> str:
        """Name of the logo as a file beside a template, empty for none."""
        return f"logo.{self.kind}" if self.logo else ""

    def beside(self, inputs: Mapping[str, str]) -> tuple[dict[str, str], dict[str, bytes]]:
        """Return a template's inputs with the logo's name, and the logo as a file beside it."""
        if not self.logo:
            return dict(inputs), {}
        return {**inputs, "logo": self.logo_file}, {self.logo_file: self.logo}

    @property
    def logo_url(self) -> str:
        """The logo inside a page, empty for none."""
        types = {kind: media for _, kind, media in _KINDS}
        if not self.logo:
            return ""
        return f"data:{types[self.kind]};base64,{b64encode(self.logo).decode('ascii')}"


def letterhead(workshop: str = "", contact: str = "", logo: Path | None = None) -> Letterhead:
    """Return a letterhead.

    RideLogError if the logo cannot be read, is too large, or is neither PNG nor JPEG.
    """
    data, kind = b"", ""
    if logo is not None:
        try:
            data = read_at_most(logo, MOST_LOGO_BYTES)
        except OSError as error:
            reason = (error.strerror or type(error).__name__).lower()
            raise RideLogError(
                f"{shown_name(str(logo))}: the logo cannot be read ({reason}).",
                "check the name and the folder.",
            ) from error
        kind = logo_kind(shown_name(str(logo)), data)
    return Letterhead(clean(workshop.strip()), clean(contact.strip()), data, kind)


def logo_kind(shown: str, data: bytes) -> str:
    """Return "png" or "jpg" of a logo; RideLogError if it is neither, or too large."""
    kind = next((kind for magic, kind, _ in _KINDS if data.startswith(magic)), "")
    if not kind or len(data) > MOST_LOGO_BYTES:
        raise RideLogError(
            f"{shown}: a logo is a PNG or JPEG of at most {MOST_LOGO_BYTES // 1000:,} kB.",
            "save it as PNG, some 600 pixels wide.",
        )
    return kind
