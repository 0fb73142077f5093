"""The README of the sample folder, its tables filled from the truth."""

from ridelog.core.units import MPS_PER_KMH
from ridelog.simulate.sample_truth import Record

_INTRO = """\
# Sample tracks: an invented machine before and after one change

Everything here is invented. There is no Tannhollow Yard workshop, no owner called Mira Ostrand, no
child's quad called Bramblehop 4 and no Long Quay to ride it on. The logs were computed by
`ridelog.simulate`: a vehicle whose true motion is known and a receiver with errors. The coordinates
lie in the open sea in the Gulf of Guinea, where no one lives.

The story: Mira Ostrand finds her daughter's quad weak when pulling away. The workshop fits one
tooth fewer on the front sprocket (11 to 10) and rides it three times before and three times after,
up and down the same straight. Each ride has four starts at full throttle, two stops from top speed
and two coast-downs, one of each kind in either direction, and turns round at a crawl in between.

The machine has a child's seat: read the cautions that ridelog prints with every result.
"""

_MAKE = """\
## How they are made

    python -m ridelog.simulate --out sample_tracks --force    # write them again
    python -m ridelog.simulate --out sample_tracks --check    # compare with what is here

Each file has its own seed (in `truth.json`), so the same bytes come out every time. This page is
written by the same command.
"""


def readme_text(truth: Record, sizes_bytes: dict[str, int]) -> str:
    """Return the page.

    Parameters
    ----------
    truth : dict
        The content of truth.json.
    sizes_bytes : dict
        Size of every file by name. [bytes]
    """
    rides: dict[str, Record] = truth["rides"]
    parts = [_INTRO, "## Files\n"]
    parts.append(
        _table(
            ["File", "What it is", "Fixes", "Length (s)", "Size (KB)"],
            [
                [
                    f"`{file}`",
                    ride["note"],
                    str(ride["fixes"]),
                    f"{ride['duration_s']:.0f}",
                    f"{sizes_bytes[file] / 1000:.0f}",
                ]
                for file, ride in rides.items()
            ],
        )
    )
    parts.append(
        "`truth.json` holds the true figures of every ride, in SI units.\n\n"
        "`bramblehop-before.toml` is what the workshop knew of the machine before the change\n"
        "(nothing of its motor), for `ridelog predict`.\n"
    )
    parts.append("## What is true\n")
    parts.append(
        "What the receiver's errors hide and ridelog should find again. Speeds are in km/h, the\n"
        "launch is the quickest 0-20 km/h of the ride, braking the mean of its stops from above\n"
        "18 km/h.\n"
    )
    parts.append(
        _table(
            ["File", "Best second", "Best 5 s", "Two-way mean", "0-20 km/h (s)", "Braking (m/s²)"],
            [[f"`{file}`", *_figures(ride)] for file, ride in rides.items()],
        )
    )
    parts.append(_machines(truth))
    parts.append(_reverse(rides))
    parts.append(_MAKE)
    return "\n".join(parts)


def _figures(ride: Record) -> list[str]:
    launches = [launch["0-20 km/h"] for launch in ride["launches"]]
    quickest = min(value for value in launches if value is not None)
    stops = [stop["mean_decel_mps2"] for stop in ride["brakings"] if stop["from_mps"] > 5.0]
    speeds = (ride["best_1s_mps"], ride["best_5s_mps"], ride["two_way_mps"])
    return [*(_kmh(speed) for speed in speeds), f"{quickest:.2f}", f"{sum(stops) / len(stops):.2f}"]


def _machines(truth: Record) -> str:
    before, after = truth["machines"]["before"], truth["machines"]["after"]
    return (
        f"On the level in still air the machine settles at {_kmh(before['steady_mps'])} km/h with "
        f"{before['front_teeth']} teeth in front and at\n{_kmh(after['steady_mps'])} km/h with "
        f"{after['front_teeth']}; it pulls {before['pull_at_2_mps2']:.2f} and "
        f"{after['pull_at_2_mps2']:.2f} m/s² at 2 m/s. Below {_kmh(truth['crossing_mps'])} km/h "
        f"the\nsmaller sprocket pulls harder, above it the larger one. Rides differ by day: wind, "
        f"charge and rider.\n"
    )


def _reverse(rides: dict[str, Record]) -> str:
    lines = [
        f"`{file}` goes backwards once, {span['distance_m']:.1f} m from {span['start_s']:.1f} s "
        f"on, at up to {_kmh(span['top_1s_mps'])} km/h: too fast,\nwalking pace is 6 km/h.\n"
        for file, ride in rides.items()
        for span in ride["reverses"]
    ]
    return "\n".join(lines)


def _kmh(speed_mps: float) -> str:
    return f"{speed_mps / MPS_PER_KMH:.2f}"


def _table(head: list[str], rows: list[list[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines) + "\n"
