"""Is reverse found, and nothing else called so? Random rides by random receivers, on request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/reverse.py [--rides N] [--seed S] [--logs 10r,5p0.3,1r] [--hands N]
        [--shaped N] [--record]

For each kind of log N rides with reverses, N forward ones that look like it, and some that are
turned round by hand. Counted are reverses of at least 0.5 m/s for 2 s: "two-sided" ones with
forward travel before and after, "one-sided" ones at the start or end of a log. "Covered" is the
share of the true stretch that the found or uncertain one covers, "overlap" the time both share over
the time of either. The top reverse speed is compared with the best second of the truth
inside each that is found. Reverses whose speed is not held have rows of their own: peaked, uneven.
What has to come out: at 5 Hz and more all two-sided claimed (found or uncertain), 90 % found,
covered 0.95; at 1 Hz reported the same with 0.92; at 1 Hz positions 90 % claimed, 80 % found, 0.8;
no forward ride found, none turned by hand found.
"""

import argparse
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from labelled_rides import RandomRide
from log_in_memory import to_track
from receiver_presets import preset
from record import Cell, Record, add_options
from reverse_rides import (
    FORWARD_KINDS,
    REVERSE_KINDS,
    SHAPED_KINDS,
    forward_ride,
    reverse_ride,
    turned_by_hand,
)
from scores import Answers, Interval
from simulate import Span, Truth

from ridelog.analysis.reverse.measure import Reverse, find_reverse
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion

LOGS = ("10r", "5r", "1r", "10p0.02", "10p0.05", "10p0.3", "5p0.02", "5p0.3",
        "1p0.02", "1p0.1", "1p0.3")  # fmt: skip
_FAST_MPS, _LONG_S = 0.5, 2.0


@dataclass
class Seen:
    """One true reverse and what was said of it."""

    kind: str
    two_sided: bool
    state: str
    covered: float = 0.0
    overlap: float = 0.0
    error_mps: Interval | None = None


@dataclass
class Outcome:
    kind: str
    state: str
    invented: int = 0
    seen: list[Seen] = field(default_factory=list)


def logged(ride: RandomRide, log: str, rng: np.random.Generator) -> Motion:
    """Return the motion that a random receiver of a kind of log gives of a ride."""
    reports = "r" in log
    rate, _, white = log.partition("r" if reports else "p")
    rate_hz = float(rate)
    receiver = preset(
        "clean" if rng.random() < 0.5 else "drifting", rate_hz, rng, reports_speed=reports,
        position_white_m=float(white) if white else 0.05 if rate_hz >= 5.0 else 0.3,
    )  # fmt: skip
    return estimate_motion(to_track(receiver.observe(ride.truth, rng)))


def one_ride(log: str, what: str, seed: int, number: int) -> Outcome:
    """Return what was found of one ride."""
    rng = np.random.default_rng([seed, number, sum(map(ord, what + log))])
    if what == "reverse":
        kind = REVERSE_KINDS[number % len(REVERSE_KINDS)]
        ride = reverse_ride(rng, kind)
    elif what == "shaped":
        kind = SHAPED_KINDS[number % len(SHAPED_KINDS)]
        ride = reverse_ride(rng, kind)
    elif what == "forward":
        kind = FORWARD_KINDS[number % len(FORWARD_KINDS)]
        ride = forward_ride(rng, kind)
    else:
        kind, ride = "by hand", turned_by_hand(rng)
    found = find_reverse(logged(ride, log, rng))
    truths = ride.labels["reverses"]
    invented = sum(
        not any(a.start_s < s.end_s and s.start_s < a.end_s for a in truths) for s in found.segments
    )
    seen = [_seen(kind, ride.truth, span, found) for span in truths if _counts(ride.truth, span)]
    return Outcome(kind, found.state, invented, seen)


def _counts(truth: Truth, span: Span) -> bool:
    inside = (truth.time_s >= span.start_s) & (truth.time_s <= span.end_s)
    fast = np.count_nonzero(truth.velocity_mps[inside] <= -_FAST_MPS)
    return bool(fast * (truth.time_s[1] - truth.time_s[0]) >= _LONG_S)


def _seen(kind: str, truth: Truth, span: Span, found: Reverse) -> Seen:
    before = truth.velocity_mps[truth.time_s < span.start_s]
    after = truth.velocity_mps[truth.time_s > span.end_s]
    two_sided = bool(before.max(initial=0.0) > _FAST_MPS and after.max(initial=0.0) > _FAST_MPS)
    shared = [(min(s.end_s, span.end_s) - max(s.start_s, span.start_s), s) for s in found.segments]
    shared = [(common, s) for common, s in shared if common > 0.0]
    if not shared:
        return Seen(kind, two_sided, "missed")
    best = max(shared, key=lambda pair: pair[0])[1]
    common = sum(pair[0] for pair in shared)
    either = max(span.end_s, *(s.end_s for _, s in shared)) - min(
        span.start_s, *(s.start_s for _, s in shared)
    )
    covered = common / (span.end_s - span.start_s)
    result = Seen(kind, two_sided, best.state, covered, common / either)
    if best.top_speed_mps is not None:
        true = truth.best_mean_speed(
            1.0, start_s=span.start_s, end_s=span.end_s, reverse=True
        ).speed_mps
        top = best.top_speed_mps
        result.error_mps = (top.value - true, top.low - true, top.high - true)
    return result


def rows(outcomes: dict[str, list[Outcome]]) -> Iterator[dict[str, Cell]]:
    """Yield what became of true reverses, of forward rides and of those turned round by hand."""
    seen = [one for outcome in outcomes["reverse"] for one in outcome.seen]
    for name, some in (
        ("two-sided", [one for one in seen if one.two_sided]),
        ("one-sided", [one for one in seen if not one.two_sided]),
    ):
        yield {"what": name, **told(some)}
    yield {
        "what": "beside true ones",
        "asked": len(outcomes["reverse"]),
        "found": sum(outcome.invented for outcome in outcomes["reverse"]),
    }
    for what in ("forward", "by hand"):
        states = Counter(outcome.state for outcome in outcomes[what])
        yield {
            "what": what,
            "asked": len(outcomes[what]),
            "found": states["found"],
            "claimed": states["found"] + states["uncertain"],
        }
    shaped = [one for outcome in outcomes["shaped"] for one in outcome.seen]
    for kind in SHAPED_KINDS if shaped else ():
        yield {"what": kind, **told([one for one in shaped if one.kind == kind])}


def told(seen: list[Seen]) -> dict[str, Cell]:
    """Return how many reverses were claimed and found, how well placed and how well measured."""
    claimed = [one for one in seen if one.state != "missed"]
    found = [one for one in seen if one.state == "found"]
    # A figure is only given of what is found; the truth stands at zero error.
    speeds = Answers.of_intervals((0.0, one.error_mps) for one in found)
    return {
        "asked": len(seen),
        "found": len(found),
        "claimed": len(claimed),
        "covered": float(np.mean([one.covered for one in claimed])) if claimed else None,
        "overlap": float(np.mean([one.overlap for one in claimed])) if claimed else None,
        **speeds.figures(),
    }


def main() -> None:
    """Run the suite and print the rows of each kind of log."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=int, default=200)
    parser.add_argument("--hands", type=int, default=40)
    parser.add_argument("--shaped", type=int, default=60)
    add_options(parser, "reverse")
    parser.add_argument("--logs", default=",".join(LOGS))
    parser.add_argument("--processes", type=int, default=None)
    chosen = parser.parse_args()
    record = Record("reverse", chosen, rides=chosen.rides)
    with ProcessPoolExecutor(chosen.processes) as pool:
        for log in chosen.logs.split(","):
            outcomes = {
                what: list(pool.map(partial(one_ride, log, what, chosen.seed), range(count)))
                for what, count in (
                    ("reverse", chosen.rides), ("forward", chosen.rides), ("by hand", chosen.hands),
                    ("shaped", chosen.shaped),
                )
            }  # fmt: skip
            for row in rows(outcomes):
                record.add(log=log, **row)
    record.save()


if __name__ == "__main__":
    main()
