"""Thinned sample rides, quick enough for the commands, written once."""

import re
from pathlib import Path

import pytest

from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import Comparison, compare
from ridelog.workflow.measure import measure_ride

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tracks"


# The first run there and back of a sample takes less. [fixes at 10 Hz]
THERE_AND_BACK = 1100


def thinned(name: str, every: int) -> str:
    """Return a sample's first two runs, of which only every so many fixes are left."""
    text = (SAMPLES / name).read_text(encoding="utf-8")
    fixes = iter(range(10**6))
    if name.endswith(".nmea"):
        epochs = re.split(r"(?=^\$..RMC)", text, flags=re.MULTILINE)[1:]
        return "".join(each for each in epochs if _kept(next(fixes), every))
    return re.sub(
        r"<trkpt.*?</trkpt>\s*",
        lambda found: found[0] if _kept(next(fixes), every) else "",
        text,
        flags=re.DOTALL,
    )


def _kept(number: int, every: int) -> bool:
    return number % every == 0 and number < THERE_AND_BACK


@pytest.fixture(scope="session")
def thin_logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with before/ and after/, two rides of 2 Hz each."""
    folder = tmp_path_factory.mktemp("logs")
    # Not the ride under a cloudy sky: so thin, it tells no speed.
    sides = {"before": ("before-1.gpx", "before-3.gpx"), "after": ("after-1.gpx", "after-2.nmea")}
    for side, names in sides.items():
        (folder / side).mkdir()
        for name in names:
            (folder / side / name).write_text(thinned(name, 5), encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def thin_rides(thin_logs: Path) -> dict[str, tuple[MeasuredRide, ...]]:
    return {
        side: tuple(measure_ride(path, Settings()) for path in sorted((thin_logs / side).iterdir()))
        for side in ("before", "after")
    }


@pytest.fixture(scope="session")
def thin_comparison(thin_rides: dict[str, tuple[MeasuredRide, ...]]) -> Comparison:
    # Both packs were full: else the charge alone could be the difference.
    full = {"charge": "full"}
    return compare(
        thin_rides["before"], thin_rides["after"], noted_before=full, noted_after=dict(full)
    )
