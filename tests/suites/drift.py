"""Machines over a season: is an unchanged one left alone, and a loss of top speed told? On request.

    python tests/suites/drift.py [--machines 100] [--rides 40] [--seed S] [--jobs 2] [--record]

Every machine is drawn, and every ride of it: wind, the rider's speed, passes, receiver. The rides
go through their logs' fixes, the smoother and every figure that a season is judged by. "unchanged"
machines stay as they are; "slower" ones are the same machines with a top speed 5 % less from a
drawn ride on, between a quarter and three quarters of the season. A row says how many machines are
called worse by any figure, how many better, and how many are told to have lost top speed; "off by"
is the median distance in rides between the told and the true change, "loss told" the median of the
told losses as a share; a time grows as a machine gets worse, so its losses are below zero.
"""

import argparse
import statistics
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np
from log_in_memory import to_track
from random_rides import out_and_back, random_machine
from receiver_presets import RECEIVER_KINDS, preset
from record import Cell, Record, add_options
from simulate import Machine

from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.compare.drift import WATCHED, Drift, drifts_of
from ridelog.core.errors import NotEnoughDataError
from ridelog.filtering.smoother import estimate_motion

LOSS = 0.05
_RATES_HZ, _RATE_SHARES = (1.0, 5.0, 10.0), (0.8, 0.1, 0.1)
_TOP = ("best_1s_mps", "two_way_mps")


@dataclass(frozen=True)
class Season:
    """What was told of one machine; ``changed_at`` is the first ride after the loss, if any."""

    found: tuple[Drift, ...]
    changed_at: int | None

    @property
    def worse(self) -> bool:
        """Whether anything is called worse."""
        return any(one.drifted for one in self.found)

    @property
    def better(self) -> bool:
        """Whether anything is called better."""
        return any(one.improved for one in self.found)

    @property
    def top_lost(self) -> tuple[Drift, ...]:
        """What is told of a loss of top speed."""
        return tuple(one for one in self.found if one.drifted and one.watched.name in _TOP)


def two_seasons(number: int, seed: int, rides: int) -> tuple[Season, Season]:
    """Return the season of a machine that stays as it is, and of the same one slower midway."""
    rng = np.random.default_rng([seed, number])
    top_mps = float(rng.uniform(4.5, 11.0))
    machine = random_machine(rng, top_mps)
    slower = machine.with_steady_speed((1.0 - LOSS) * top_mps)
    at = int(rng.integers(rides // 4, 3 * rides // 4 + 1))
    unchanged = [figures_of(machine, [seed, number, k]) for k in range(rides)]
    # Rides before the loss are the same rides.
    lost = unchanged[:at] + [figures_of(slower, [seed, number, k, 1]) for k in range(at, rides)]
    return Season(told(unchanged), None), Season(told(lost), at)


def told(rides: list[dict[str, float]]) -> tuple[Drift, ...]:
    """Return what is told of the rides of one machine."""
    return drifts_of({one.name: [ride.get(one.name, np.nan) for ride in rides] for one in WATCHED})


def figures_of(machine: Machine, seed: list[int]) -> dict[str, float]:
    """Return the firm figures of one ride on a machine; none if its log gives no answer."""
    rng = np.random.default_rng(seed)
    ends = "settles" if rng.random() < 0.7 else "held"
    plateau_s = float(rng.uniform(2.0, 6.0))
    ride = out_and_back(rng, machine=machine, passes=2, plateau_s=plateau_s, pull_end=ends)
    rate_hz = float(rng.choice(_RATES_HZ, p=_RATE_SHARES))
    kind = RECEIVER_KINDS[int(rng.integers(len(RECEIVER_KINDS)))]
    receiver = preset(kind, rate_hz, rng, reports_speed=bool(rng.random() < 0.7))
    try:
        motion = estimate_motion(to_track(receiver.observe(ride.truth, rng)))
        figures = analyse(motion, Settings()).figures.values()
    except NotEnoughDataError:
        return {}
    return {one.name: one.firm.value for one in figures if one.firm}


def rows(kind: str, seasons: list[Season]) -> Iterator[dict[str, Cell]]:
    """Yield what was told of machines of one kind, then of each figure."""
    tops = [one.top_lost for one in seasons]
    yield {
        "machines": kind,
        "n": len(seasons),
        "called worse": sum(one.worse for one in seasons),
        "called better": sum(one.better for one in seasons),
        "loss of top speed told": sum(bool(top) for top in tops),
    }
    for watched in WATCHED:
        of_it = [(s, d) for s in seasons for d in s.found if d.watched.name == watched.name]
        hit = [(s, d) for s, d in of_it if d.drifted]
        row: dict[str, Cell] = {"machines": kind, "figure": watched.title, "n": len(of_it),
                                "called worse": len(hit),
                                "called better": sum(d.improved for _, d in of_it)}  # fmt: skip
        if hit and hit[0][0].changed_at is not None:
            row["loss told"] = statistics.median(-d.difference.value / d.before for _, d in hit)
            # Of those rides alone that tell the figure, which are nearly all for top speeds.
            row["off by"] = statistics.median(abs(d.first_after - (s.changed_at or 0))
                                              for s, d in hit)  # fmt: skip
        yield row


def main() -> None:
    """Run the suite and print its rows."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--machines", type=int, default=100)
    parser.add_argument("--rides", type=int, default=40)
    parser.add_argument("--jobs", type=int, default=1, help="processes side by side")
    add_options(parser, "drift")
    chosen = parser.parse_args()
    record = Record("drift", chosen, rides=chosen.machines)
    one = partial(two_seasons, seed=chosen.seed, rides=chosen.rides)
    pairs: list[tuple[Season, Season]] = []
    with ProcessPoolExecutor(chosen.jobs) as pool:
        for pair in (pool.map if chosen.jobs > 1 else map)(one, range(chosen.machines)):
            pairs.append(pair)
            if len(pairs) % 10 == 0:
                record.show(
                    machines=len(pairs),
                    unchanged_called_worse=sum(a.worse for a, _ in pairs),
                    slower_told=sum(bool(b.top_lost) for _, b in pairs),
                )
    for kind, seasons in zip(("unchanged", "slower"), zip(*pairs, strict=True), strict=True):
        for row in rows(kind, list(seasons)):
            record.add(**row)
    record.save()


if __name__ == "__main__":
    main()
