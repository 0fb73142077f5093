"""A finished random ride: what samples are labelled with, and what only suites ask for."""

from dataclasses import dataclass

import numpy as np
from simulate import Machine, RideLayout, Span
from simulate.labels import LabelledRide, joined, labels_of, of_kind
from simulate.vehicle import Wobble, steady_hand

# Kinds of spans that make up a run, forward and straight on.
_RUN_KINDS = {"launch", "pull", "steady", "coast", "braking", "release", "shift"}


@dataclass(frozen=True)
class RandomRide(LabelledRide):
    """A ride with more labels.

    Attributes
    ----------
    labels : dict of tuples of Span
        runs: straight forward stretches between stands and turns, longer than 10 m.
        steady, stands: as laid out.
    machine : Machine
    weave_onset_mps : float or None
        Speed from which the machine weaves, None if it does not. [m/s]
    """

    machine: Machine
    weave_onset_mps: float | None = None


def finish(
    ride: RideLayout,
    rng: np.random.Generator,
    *,
    wobbles: tuple[Wobble, ...] | None = None,
    weave_onset_mps: float | None = None,
) -> RandomRide:
    """Return a laid-out ride with its labels; a steady hand steers unless told otherwise."""
    truth = ride.build(rng, (steady_hand(),) if wobbles is None else wobbles)
    labels = {
        **labels_of(ride, truth),
        "runs": tuple(_runs(ride.spans)),
        "steady": tuple(s for s in of_kind(ride.spans, "steady") if s.turn_rad == 0.0),
        "stands": of_kind(ride.spans, "stand"),
    }
    return RandomRide(truth, labels, ride.machine, weave_onset_mps)


def _runs(spans: list[Span]) -> list[Span]:
    """Return the straight forward stretches of more than 10 m."""
    found: list[Span] = []
    group: list[Span] = []

    def straight(span: Span) -> bool:
        forward = span.to_mps > -1e-9 and span.from_mps > -1e-9
        return span.kind in _RUN_KINDS and span.turn_rad == 0.0 and forward

    for span in [*spans, None]:
        if span is not None and straight(span):
            group.append(span)
            continue
        if group and sum(part.distance_m for part in group) > 10.0:
            found.append(joined("run", group))
        group = []
    return found
