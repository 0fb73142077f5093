"""What was typed to stand on a paper, as the papers take it."""

from pathlib import Path
from typing import TypedDict

from ridelog.core.errors import RideLogError
from ridelog.report.aim import Aim
from ridelog.report.letterhead import Letterhead, letterhead


class OnPaper(TypedDict):
    """What was typed to stand on a paper beside its figures."""

    workshop: str
    contact: str
    logo: str
    note: str
    aim: str
    paper: str


class ForPaper(TypedDict):
    """Letterhead, line and aim by the names under which papers take them."""

    letterhead: Letterhead
    note: str
    aim: Aim | None


def said_on(typed: OnPaper) -> ForPaper:
    """Return what papers take."""
    aim = Aim(typed["aim"]) if typed["aim"] else None
    return ForPaper(letterhead=head_of(typed), note=typed["note"], aim=aim)


def head_of(typed: OnPaper) -> Letterhead:
    """Return the head of a paper; no logo if that has gone or been spoilt since."""
    workshop, contact, logo = typed["workshop"], typed["contact"], typed["logo"]
    try:
        return letterhead(workshop, contact, Path(logo) if logo else None)
    except RideLogError:
        return letterhead(workshop, contact)
