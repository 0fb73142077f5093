"""A finished ride with the list of what is in it, for suites that check what was found."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.spans import runs_of
from ridelog.simulate.machine import Machine
from ridelog.simulate.spans import Span
from ridelog.simulate.truth import STEP_S, Truth
from ridelog.simulate.vehicle import Ride
from ridelog.simulate.wobble import Wobble, steady_hand

# Kinds of spans that make up a run, forward and straight on.
_RUN_KINDS = {"launch", "pull", "steady", "coast", "braking", "release", "shift"}


@dataclass(frozen=True)
class LabelledRide:
    """The truth of a ride, and what is in it.

    Attributes
    ----------
    truth : Truth
    labels : dict of tuples of Span
        launches: standing starts forward to more than 1 m/s, up to the end of the pull.
        brakings: from the first touch of the brake to its release.
        reverses: every stretch of backward travel, read from the truth's sign.
        runs: straight forward stretches between stands and turns, longer than 10 m.
        turns, coasts, steady, stands: as laid out.
    machine : Machine
    weave_onset_mps : float or None
        Speed from which the machine weaves, None if it does not. [m/s]
    """

    truth: Truth
    labels: dict[str, tuple[Span, ...]]
    machine: Machine
    weave_onset_mps: float | None = None


def finish(
    ride: Ride,
    rng: np.random.Generator,
    *,
    wobbles: tuple[Wobble, ...] | None = None,
    weave_onset_mps: float | None = None,
) -> LabelledRide:
    """Return a laid-out ride with its labels; a steady hand steers unless told otherwise."""
    truth = ride.build(rng, (steady_hand(),) if wobbles is None else wobbles)
    spans = ride.spans
    labels = {
        "launches": tuple(_launches(spans)),
        "brakings": _of_kind(spans, "braking"),
        "reverses": tuple(_reverses(truth)),
        "runs": tuple(_runs(spans)),
        "turns": tuple(s for s in spans if s.turn_rad != 0.0 and s.distance_m > 0.0),
        "coasts": _of_kind(spans, "coast"),
        "steady": tuple(s for s in spans if s.kind == "steady" and s.turn_rad == 0.0),
        "stands": _of_kind(spans, "stand"),
    }
    return LabelledRide(truth, labels, ride.machine, weave_onset_mps)


def _of_kind(spans: list[Span], kind: str) -> tuple[Span, ...]:
    return tuple(span for span in spans if span.kind == kind)


def _launches(spans: list[Span]) -> list[Span]:
    """Return the standing starts, each with the release that follows it."""
    found = []
    for i, span in enumerate(spans):
        if span.kind not in ("launch", "shift") or abs(span.from_mps) > 1e-9 or span.to_mps < 1.0:
            continue
        whole = [span]
        if i + 1 < len(spans) and spans[i + 1].kind == "release":
            whole.append(spans[i + 1])
        found.append(_joined("launch", whole))
    return found


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
            found.append(_joined("run", group))
        group = []
    return found


def _reverses(truth: Truth) -> list[Span]:
    """Return the stretches of backward travel."""
    found = []
    for start, end in runs_of(truth.velocity_mps < -1e-9):
        part = truth.velocity_mps[start:end]
        found.append(
            Span(
                kind="reverse",
                start_s=float(truth.time_s[start]),
                end_s=float(truth.time_s[end - 1]),
                from_mps=float(part[0]),
                to_mps=float(part[-1]),
                top_mps=float(-np.min(part)),
                distance_m=float(-np.sum(part) * STEP_S),
                heading_rad=float(truth.heading_rad[start]),
                turn_rad=float(truth.heading_rad[end - 1] - truth.heading_rad[start]),
            )
        )
    return found


def _joined(kind: str, parts: list[Span]) -> Span:
    first, last = parts[0], parts[-1]
    return Span(
        kind=kind,
        start_s=first.start_s,
        end_s=last.end_s,
        from_mps=first.from_mps,
        to_mps=last.to_mps,
        top_mps=max(part.top_mps for part in parts),
        distance_m=sum(part.distance_m for part in parts),
        heading_rad=first.heading_rad,
        turn_rad=sum(part.turn_rad for part in parts),
    )
