"""A finished ride with the list of what is in it, to check what is found."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.spans import runs_of
from simulate.truth import STEP_S, Span, Truth
from simulate.vehicle import RideLayout, steady_hand


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
        turns, coasts: as laid out.
    """

    truth: Truth
    labels: dict[str, tuple[Span, ...]]


def finish(ride: RideLayout, rng: np.random.Generator) -> LabelledRide:
    """Return a laid-out ride with its labels; a steady hand steers."""
    truth = ride.build(rng, (steady_hand(),))
    return LabelledRide(truth, labels_of(ride, truth))


def labels_of(ride: RideLayout, truth: Truth) -> dict[str, tuple[Span, ...]]:
    """Return what is in a ride, as LabelledRide has it."""
    spans = ride.spans
    return {
        "launches": tuple(_launches(spans)),
        "brakings": of_kind(spans, "braking"),
        "reverses": tuple(_reverses(truth)),
        "turns": tuple(s for s in spans if s.turn_rad != 0.0 and s.distance_m > 0.0),
        "coasts": of_kind(spans, "coast"),
    }


def of_kind(spans: list[Span], kind: str) -> tuple[Span, ...]:
    """Return the pieces of one kind as they were laid out."""
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
        found.append(joined("launch", whole))
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


def joined(kind: str, parts: list[Span]) -> Span:
    """Return neighbouring pieces as one."""
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
