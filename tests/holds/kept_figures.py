"""The figures of short rides as they are, so that none moves unless a commit says so.

    PYTHONPATH=. python tests/holds/kept_figures.py            # what moved
    PYTHONPATH=. python tests/holds/kept_figures.py --record   # keep what comes out now

Whoever moves a figure on purpose records anew and says in the commit what moved by how much.
"""

import argparse
import json
import subprocess
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from functools import cache, partial
from pathlib import Path
from typing import Any

from kept_rides import RIDES, SEED, KeptRide
from own_rides import ridden

from ridelog import __version__
from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import compare
from ridelog.compare.predicted import options_from, predict_from
from ridelog.core.estimate import Estimate
from ridelog.core.flags import flag_names
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.machine.options import ChangeOption
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_file import read_setup
from ridelog.present.json import FIELD, as_json
from ridelog.report.compare_json import compare_json
from ridelog.report.options_json import options_json
from ridelog.report.predict_json import predict_json
from ridelog.report.ride_json import ride_json, to_bytes
from ridelog.workflow.verify import Disagreement, disagreements

ROOT = Path(__file__).resolve().parents[2]
KEPT = ROOT / "tests" / "validation" / "figures"
# A twentieth of what `verify` allows, 0.1 % of a half width: other kernels of linear algebra move a
# figure by 3e-9 half widths (tests/validation/kernels.json), a change of the code by more.
LEEWAY = 0.05
# Digits that are kept: a half width is seldom less than a ten-thousandth of its value, and a
# thousandth of that is asked for.
_DIGITS = 7
# What tells who made a result, from which bytes and with what, or is the same in all.
_LEFT_OUT = (
    "schema", "ridelog_version", "source", "settings", FIELD, "setup", "changed_setup", "level",
    "unit", "title",
)  # fmt: skip
# The rest of what moved follows from what is shown first: own choice.
_MOST_SHOWN = 20
# A machine, and the same with another motor: force, power, rolling and air per mass.
_BEFORE, _AFTER = (1.3, 7.0, 0.2, 0.004), (1.6, 8.5, 0.2, 0.004)
Figures = dict[str, Any]
KMH = SPEED_UNITS["km/h"]


def _ride(name: str) -> Figures:
    """Return what is told of a ride, and of some of its fixes and its receiver."""
    ride = next(one for one in RIDES if one.name == name)
    with tempfile.TemporaryDirectory() as folder:
        motion = estimate_motion(ride.track(Path(folder)))
    result = analyse(motion, Settings(**ride.settings))
    return {**ride_json(result), "noise": motion.noise, "fixes": _fixes(motion)}


def _fixes(motion: Motion) -> list[Figures]:
    """Return the motion at every fix of some, each number with its standard deviation."""
    found = []
    for row in motion.known_rows[:: max(len(motion.known_rows) // 8, 1)]:
        speed, speed_sd = float(motion.speed_mps[row]), float(motion.speed_sd_mps[row])
        accel, accel_sd = float(motion.accel_mps2[row]), float(motion.accel_sd_mps2[row])
        found.append(
            {
                "time_s": motion.track.time_s[row],
                "east_m": motion.east_m[row],
                "north_m": motion.north_m[row],
                "speed_mps": Estimate(speed, speed - speed_sd, speed + speed_sd),
                "accel_mps2": Estimate(accel, accel - accel_sd, accel + accel_sd),
                "course_rad": motion.course_rad[row],
                "yaw_rate_radps": motion.yaw_rate_radps[row],
                "flags": flag_names(int(motion.flags[row])),
            }
        )
    return found


@cache
def _side(side: str) -> tuple[MeasuredRide, ...]:
    """Return two rides of a machine before or after a change."""
    given = _BEFORE if side == "before" else _AFTER
    rides = (
        KeptRide(f"{side} {number}", lambda random: ridden(random, given), 5, True)
        for number in (1, 2)
    )
    with tempfile.TemporaryDirectory() as folder:
        return tuple(analyse(estimate_motion(one.track(Path(folder)))) for one in rides)


def _comparison() -> Figures:
    full = {"charge": "full"}
    return compare_json(
        compare(_side("before"), _side("after"), noted_before=full, noted_after=dict(full))
    )


def _modes() -> Figures:
    """Return two stretches of two rides each compared as drive modes."""
    rides = []
    for ride in _side("before"):
        middle = 0.5 * ride.motion.pieces[-1].end_s
        spans = (("eco", 0.0, middle), ("full", middle, ride.motion.pieces[-1].end_s))
        rides.append(analyse(ride.motion, Settings(modes_s=spans)))
    sides = [tuple(one.modes[k].ride for one in rides) for k in (0, 1)]
    return compare_json(compare(*sides, modes=("eco", "full")))


def _setup() -> MachineSetup:
    """Return the sample kart's set-up, as light as the air's drag of ``_BEFORE`` asks for."""
    kart = read_setup(ROOT / "sample_tracks" / "thistledrake-before.toml")
    return kart.model_copy(update={"machine_mass_kg": 35.0, "rider_mass_kg": 45.0})


def _prediction() -> Figures:
    rides = _side("before")[:1]
    return predict_json(predict_from(_setup(), rides, {"rear_teeth": 56}, KMH))


def _options() -> Figures:
    setup = _setup()
    options = (
        ChangeOption("teeth", {"rear_teeth": 72}, 45.0, 1.0, ""),
        ChangeOption("cells", {"battery_cells": 16}, 620.0, 3.5, ""),
    )
    rides = _side("before")[:1]
    return options_json(options_from(setup, rides, options, KMH), rides, KMH)


MADE: dict[str, Callable[[], Figures]] = {
    **{one.name: partial(_ride, one.name) for one in RIDES},
    "comparison": _comparison, "modes": _modes, "prediction": _prediction, "options": _options,
}  # fmt: skip


def figures_of(name: str) -> Figures:
    """Return what is told of a ride, comparison or prediction now, as it is kept."""
    figures: Figures = _shortened(json.loads(to_bytes(as_json(MADE[name]()))))
    return figures


def _shortened(part: Any) -> Any:
    if isinstance(part, dict):
        return {key: _shortened(each) for key, each in part.items() if key not in _LEFT_OUT}
    if isinstance(part, list):
        return [_shortened(each) for each in part]
    return float(f"{part:.{_DIGITS}g}") if isinstance(part, float) else part


def moved(name: str) -> list[str]:
    """Return each value that is not as it was kept: which, from what to what, how far."""
    kept = json.loads((KEPT / f"{name}.json").read_text(encoding="utf-8"))["figures"]
    return [_words(one) for one in disagreements(kept, figures_of(name), leeway=LEEWAY)]


def _words(one: Disagreement) -> str:
    words = f"{one.name}: {one.recorded} -> {one.computed}"
    if one.half_width is None:
        return words
    return f"{words}, {(one.computed - one.recorded) / one.half_width:+.2g} half widths"


def _keep(name: str) -> None:
    head = {
        "command": "python tests/holds/kept_figures.py --record",
        "seed": SEED,
        "ridelog_version": __version__,
        "commit": _git("rev-parse", "--short", "HEAD"),
        "date": datetime.now(UTC).date().isoformat(),
    }
    KEPT.mkdir(parents=True, exist_ok=True)
    text = _laid_out({**head, "figures": figures_of(name)})
    (KEPT / f"{name}.json").write_text(text + "\n", encoding="utf-8")


def _laid_out(part: Any, deep: int = 0) -> str:
    """Return JSON with what fits on one line on one, so that a change shows as the figure's."""
    line = json.dumps(part, ensure_ascii=False)
    if not isinstance(part, dict | list) or len(line) + deep <= 100:
        return line
    pad = "\n" + " " * (deep + 1)
    if isinstance(part, dict):
        inner = [f"{json.dumps(key)}: {_laid_out(each, deep + 1)}" for key, each in part.items()]
        return "{" + pad + f",{pad}".join(inner) + "\n" + " " * deep + "}"
    return "[" + pad + f",{pad}".join(_laid_out(each, deep + 1) for each in part) + "]"


def _git(*words: str) -> str:
    done = subprocess.run(["git", *words], cwd=ROOT, check=True, capture_output=True, text=True)
    return done.stdout.strip()


def main() -> None:
    """Say what moved, or keep what comes out."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("names", nargs="*", default=list(MADE), help="which; all if left out")
    parser.add_argument("--record", action="store_true", help="keep what moved as it is now")
    chosen = parser.parse_args()
    for name in chosen.names:
        kept = (KEPT / f"{name}.json").exists()
        found = moved(name) if kept else []
        print(f"{name}: {len(found)} values moved", *found[:_MOST_SHOWN], sep="\n  ", flush=True)
        if chosen.record and (found or not kept):
            _keep(name)


if __name__ == "__main__":
    main()
