"""Do the figures of a speed display hold, and are its rules judged right? On request.

    python tests/suites/displays.py [--rides N] [--seed S] [--record]

Every ride is ridden anew, at 1, 5 and 10 Hz in turn, with a display whose factor, offset and delay
are drawn, read off 12 to 40 times at random moments and rounded to 0.1 or 1 km/h. Rows: each figure
at each rate and at all of them; then each rule, with how often it was said to be met and was not at
some speed that was tested, said to be broken and was met, or left open.
"""

import argparse
from collections import defaultdict

import numpy as np
from log_in_memory import to_track
from random_rides import out_and_back
from receiver_presets import preset
from record import Cell, Record, add_options
from scores import Answers
from truth_at import truth_at

from ridelog.compare.display.measure import DisplayCheck, check_display
from ridelog.core.errors import NotEnoughDataError
from ridelog.core.estimate import Estimate
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.smoother import estimate_motion

_KMH = SPEED_UNITS["km/h"]
FIGURES = ("factor", "offset_mps", "delay_s")
RATES_HZ = (1.0, 5.0, 10.0)
# UN Regulation No. 39, 5.3: 0 <= V1 - V2 <= 0.1 V2 + 4 km/h; eKFV, Annex 2, 2.1.4: without the 4.
RULES = {"UN R39": _KMH.to_mps(4.0), "eKFV": 0.0}


def checked(seed: int, number: int) -> tuple[float, dict[str, float], DisplayCheck | None]:
    """Return the rate of a ride, what its display has, and what was found of it."""
    rng = np.random.default_rng([seed, number])
    rate_hz = RATES_HZ[number % len(RATES_HZ)]
    ride = out_and_back(rng, top_mps=9.0, plateau_s=8.0, passes=2, pull_end="settles")
    seen = preset("clean", rate_hz, rng).observe(ride.truth, rng)
    motion = estimate_motion(to_track(seen))
    real = {
        "factor": float(rng.uniform(0.9, 1.15)),
        "offset_mps": float(rng.uniform(-0.2, 0.6)),
        "delay_s": float(rng.uniform(0.0, 2.0)),
    }
    step = _KMH.to_mps(float(rng.choice([0.1, 1.0])))
    piece = motion.pieces[0]
    at_s = rng.uniform(piece.start_s + 3.0, piece.end_s - 1.0, int(rng.integers(12, 41)))
    at_s = np.sort(at_s)
    true = np.abs(truth_at(ride.truth, at_s - real["delay_s"]).velocity_mps)
    shown = np.round((real["factor"] * true + real["offset_mps"]) / step) * step
    try:
        return rate_hz, real, check_display(motion, at_s, shown, step)
    except NotEnoughDataError:
        return rate_hz, real, None


def truly_met(real: dict[str, float], span_mps: tuple[float, float], most_mps: float) -> bool:
    """Return whether a display meets a rule at every speed that was tested; it is a line."""
    for true in span_mps:
        over = real["factor"] * true + real["offset_mps"] - true
        if not 0.0 <= over <= 0.1 * true + most_mps:
            return False
    return True


def main() -> None:
    """Check the displays, keep what came of them."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--rides", type=int, default=100)
    add_options(parser, "displays")
    chosen = parser.parse_args()
    record = Record("displays", chosen, rides=chosen.rides)
    figures: dict[tuple[str, str], list[tuple[Estimate | None, float]]] = defaultdict(list)
    rules: dict[str, dict[str, int]] = {rule: defaultdict(int) for rule in RULES}
    for number in range(chosen.rides):
        rate_hz, real, found = checked(chosen.seed, number)
        for name in FIGURES:
            pair = (getattr(found, name) if found else None, real[name])
            for log in (f"{rate_hz:.0f}", "all"):
                figures[log, name].append(pair)
        for (rule, most_mps), limit in zip(
            RULES.items(), found.limits if found else (), strict=False
        ):
            met = truly_met(real, found.tested_mps, most_mps) if found else False
            said = {True: "met", False: "broken", None: "open"}[limit.met]
            rules[rule]["truly_met"] += met
            rules[rule][f"said_{said}"] += 1
            rules[rule]["said_met_but_is_not"] += said == "met" and not met
            rules[rule]["said_broken_but_is_met"] += said == "broken" and met
    for (log, name), pairs in sorted(figures.items()):
        told = Answers.given(pairs)
        record.add(
            log=log, figure=name, n=len(told), asked=len(pairs), bias=told.bias, rms=told.rms,
            held=told.held, width=told.width,
        )  # fmt: skip
    for rule, counts in rules.items():
        row: dict[str, Cell] = {"log": "all", "figure": rule, "n": sum(
            counts[f"said_{one}"] for one in ("met", "broken", "open")
        )}  # fmt: skip
        names = ("truly_met", "said_met", "said_broken", "said_open", "said_met_but_is_not",
                 "said_broken_but_is_met")  # fmt: skip
        record.add(**row, **{name: counts[name] for name in names})
    record.save()


if __name__ == "__main__":
    main()
