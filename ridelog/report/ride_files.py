"""The files about one ride by name: the page, its pictures, the result."""

from ridelog.analysis.subject import MeasuredRide
from ridelog.core.units import SpeedUnit
from ridelog.report.ride_json import ride_json, to_bytes
from ridelog.report.ride_page import ride_page
from ridelog.report.ride_pictures import ride_pictures
from ridelog.report.ride_sections import ride_sections


def ride_files(
    ride: MeasuredRide, unit: SpeedUnit, *, show_coordinates: bool = False
) -> dict[str, bytes]:
    """Return every file about a ride.

    Parameters
    ----------
    ride : MeasuredRide
        With everything that was measured.
    unit : SpeedUnit
        In which speeds and lengths are given.
    show_coordinates : bool
        Whether the page may tell where on earth the ride took place.
    """
    pictures = ride_pictures(ride, unit)
    sections = ride_sections(ride, unit)
    page = ride_page(ride, pictures, unit, sections=sections, show_coordinates=show_coordinates)
    drawn = (*pictures, *(picture for section in sections for picture in section.pictures))
    return {
        "ride.html": page.encode("utf-8", errors="replace"),
        **{f"{picture.name}.png": picture.png for picture in drawn},
        "result.json": to_bytes(ride_json(ride)),
    }
