"""What a reader must be warned of about a top speed."""

from ridelog.analysis.cautions import DANGER, Caution, age_class_caution, both_units
from ridelog.analysis.coverage import WELL_SEEN
from ridelog.analysis.top_speed.measure import TopSpeed
from ridelog.core.estimate import Estimate

# Opposite runs further apart than this are not accepted by the eKFV Annex, no. 2.1.2.
_RUNS_WITHIN = 0.10
# Slower than this nobody rode; common practice, no source.
_A_RIDE_MPS = 0.5
# An interval wider than this share of the figure; common practice, no source.
_WIDE_INTERVAL = 0.10


def top_speed_cautions(top: TopSpeed) -> tuple[Caution, ...]:
    """Return the warnings that the top speed of a ride calls for."""
    found: list[Caution] = []
    best = top.best_1s_mps
    if best is None:
        return ()
    if best.value < _A_RIDE_MPS:
        return ()
    if (age := age_class_caution(best.value)) is not None:
        found.append(age)
    if best.value > 0.0 and (best.high - best.low) > _WIDE_INTERVAL * best.value:
        found.append(
            Caution(
                "wide_interval",
                f"The top speed is only known to {100 * (best.high - best.low) / best.value:.0f} % "
                "(width of its interval): the signal does not support a firmer figure.",
                (best.high - best.low) / best.value,
                _WIDE_INTERVAL,
                "common practice, no source",
            )
        )
    if top.seen_share < WELL_SEEN:
        found.append(
            Caution(
                "partly_seen",
                f"{100.0 * (1.0 - top.seen_share):.0f} % of the way lies between fixes too far "
                "apart to tell the speed of a second: the machine may have been faster there.",
                top.seen_share,
                WELL_SEEN,
                "own derivation: an interval for nine rides of ten cannot leave a tenth unseen",
            )
        )
    if top.two_way_mps is None:
        found.append(
            Caution(
                "one_direction",
                "No mean of two opposite directions: a tail wind or a slope may be part of the "
                "top speed.",
                None,
                None,
                "eKFV Annex, no. 2.1.1: runs in both directions",
            )
        )
    elif len(top.runs) == 2:
        speeds = [run.speed.value for run in top.runs]
        apart = (max(speeds) - min(speeds)) / max(*speeds, 1e-9)
        if apart > _RUNS_WITHIN:
            found.append(
                Caution(
                    "directions_differ",
                    f"The two directions differ by {100 * apart:.0f} %: wind, slope or another way "
                    "of riding, so neither a run nor their mean is a fair top speed.",
                    apart,
                    _RUNS_WITHIN,
                    "eKFV Annex, no. 2.1.2: not more than 10 %",
                )
            )
    return tuple(found)


def advised_speed_caution(top: Estimate | None, advised_mps: float | None) -> tuple[Caution, ...]:
    """Return the warning that a top speed lies above the one that the user advised."""
    if top is None or advised_mps is None or top.value <= advised_mps:
        return ()
    sure = "" if top.low > advised_mps else " (its interval reaches below that)"
    return (
        Caution(
            "advised_speed",
            f"Top speed {both_units(top.value)} is above the advised {both_units(advised_mps)}"
            f"{sure}: limit the machine before anyone rides it for whom that speed was advised.",
            top.value,
            advised_mps,
            "limit chosen by the user",
            gravity=DANGER,
        ),
    )
