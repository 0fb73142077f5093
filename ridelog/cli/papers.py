"""What the papers for the owner are asked for on the command line."""

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ridelog.cli.options import takes, words_of
from ridelog.report.aim import Aim

if TYPE_CHECKING:
    from ridelog.report.letterhead import Letterhead


class Paper(StrEnum):
    """The paper of a PDF."""

    A4 = "a4"
    LETTER = "letter"


PAPERS = {Paper.A4: "a4", Paper.LETTER: "us-letter"}
PaperOption = Annotated[Paper, typer.Option(help="Paper of the PDF.")]
WorkshopOption = Annotated[str, typer.Option(help="Your workshop's name, for the paper.")]
ContactOption = Annotated[str, typer.Option(help="How to reach the workshop, in a line.")]
LogoOption = Annotated[Path | None, takes("FILE", "Your workshop's logo, PNG or JPEG.")]
NoteOption = Annotated[str, typer.Option(help="A line of yours on the paper.")]
AimOption = Annotated[
    Aim | None, typer.Option(help="What the owner wants: it decides what is called better.")
]


def asked_letterhead(workshop: str, contact: str, logo: Path | None) -> "Letterhead":
    """Return the head of a paper; BadParameter if the logo cannot be used."""
    from ridelog.report.letterhead import letterhead

    with words_of("--logo"):
        return letterhead(workshop, contact, logo)
