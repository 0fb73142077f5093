"""What the sample folder says in words: its README, filled from the truth, and a set-up file."""

from textwrap import fill

from ridelog.core.units import MPS_PER_KMH
from simulate.sample_truth import Record

# The machine before its change: what its workshop could know.
SETUP_FILE = "thistledrake-before.toml"
SETUP_TEXT = """\
# Thistledrake 2 as it was in the "before" rides. Invented, like everything in this folder.
# This is what the workshop could know without riding; the rest is left out on purpose.
name = "Thistledrake 2"
state = "before: 64 teeth behind"
machine_mass_kg = 92
rider_mass_kg = 81
tyre_circumference_m = 0.86
wheelbase_m = 1.05
track_width_m = 1.02
cg_height_m = 0.30
front_teeth = 15
rear_teeth = 64
surface = "asphalt"
battery_cells = 14
battery_chemistry = "li-ion"
battery_capacity_ah = 40
fuse_a = 100
fuse_v = 80
has_reverse = true
brakes = "two independent"
class_speed_kmh = 50
reverse_limit_kmh = 6
"""

# What could be done to it next.
OPTIONS_FILE = "thistledrake-options.toml"
OPTIONS_TEXT = """\
# What could be done to Thistledrake 2 next: two to six changes with what each costs. Invented.
currency = "EUR"

[[option]]
name = "56 teeth behind"
price = 40
hours = 1
change = { rear_teeth = 56 }

[[option]]
name = "72 teeth behind"
price = 45
hours = 1
change = { rear_teeth = 72 }

[[option]]
name = "16 cells"
price = 620
hours = 3.5
note = "with its charger"
change = { battery_cells = 16 }
"""

_INTRO = """\
# Sample tracks: an invented machine before and after one change

Everything here is invented. There is no workshop called Quillgarth Works, no owner called Edda
Quellmann, no electric kart called Thistledrake 2 and no Saddlow strip to drive it on. The logs were
computed by the project's own simulator (`tests/rides/simulate`): a vehicle whose true motion is
known and a receiver with errors. The coordinates lie in the open sea in the Gulf of Guinea, where
no one lives.

The story: Edda Quellmann finds that her kart runs out of speed halfway down the old runway. The
workshop fits a rear sprocket with 56 teeth instead of 64 and drives it three times before and three
times after, up and down the same straight. Each ride has four starts at full throttle, two stops
from top speed and two coast-downs, one of each kind in either direction, and turns round at a crawl
in between. The kart goes backwards by a switch; in one ride it does.

A kart this fast is for a grown driver on closed ground: read the cautions that ridelog prints with
every result.
"""

_MAKE = """\
## How they are made

    export PYTHONPATH=tests/rides
    python -m simulate --out sample_tracks --force    # write them again
    python -m simulate --out sample_tracks --check    # compare with what is here

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
        f"`{SETUP_FILE}` is what the workshop knew of the machine before the change\n"
        "(nothing of its motor), for `ridelog predict`. "
        f"`{OPTIONS_FILE}` lists what could\nbe changed next, for `ridelog options`.\n"
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
    fewer = before["rear_teeth"] - after["rear_teeth"]
    # One turn of the motor carries the machine further by the ratio of the teeth, and the same
    # torque pushes it less by the same ratio.
    taller = before["rear_teeth"] / after["rear_teeth"]
    by_teeth_mps = before["steady_mps"] * taller
    gain_mps = after["steady_mps"] - before["steady_mps"]
    level = (
        f"On the level in still air the machine settles at {_kmh(before['steady_mps'])} km/h with "
        f"{before['rear_teeth']} teeth behind and at {_kmh(after['steady_mps'])} km/h with "
        f"{after['rear_teeth']}; it pulls {before['pull_at_2_mps2']:.2f} and "
        f"{after['pull_at_2_mps2']:.2f} m/s² at 2 m/s. Below {_kmh(truth['crossing_mps'])} km/h "
        "the larger sprocket pulls harder, above it the smaller one. Rides differ by day: wind, "
        "charge and driver."
    )
    teeth = (
        f"What the teeth do: {before['rear_teeth']}/{after['rear_teeth']} lets every turn of the "
        f"motor carry the machine {100.0 * (taller - 1.0):.1f} % further and push it "
        f"{100.0 * (1.0 - 1.0 / taller):.1f} % less. By that ratio alone "
        f"{_kmh(before['steady_mps'])} km/h would become {_kmh(by_teeth_mps)}; but air and ground "
        f"resist more at speed, so it becomes {_kmh(after['steady_mps'])}: "
        f"{_kmh(gain_mps / fewer)} km/h for each of the {fewer} teeth."
    )
    return f"{fill(level, 100)}\n\n{fill(teeth, 100)}\n"


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
