"""What a user can choose about the measuring of a ride; every result carries its settings."""

from dataclasses import dataclass
from typing import Any

from ridelog.analysis.braking.stopping import REACTION_S
from ridelog.analysis.reverse.cautions import FAR_ABOVE_MPS, WALKING_PACE_MPS


@dataclass(frozen=True)
class Settings:
    """Choices that change figures; the defaults are what the commands use without options.

    Whoever adds a choice adds it here, so that ``ridelog verify`` can compute a result again.

    Attributes
    ----------
    windows : launch windows in words, such as "0-20 km/h"; empty for the usual ones.
    rollout_m : distance taken off the beginning of a launch. [m]
    has_reverse : whether the machine can go backwards; None where nobody said.
    reverse_marks_s : (start, end) of stretches that the rider marked as reverse travel. [s]
    left_out_s : (start, end) of stretches that the rider left out of every figure. [s]
    reverse_caution_mps, reverse_strong_mps : best second in reverse above which a caution, and a
        strong one, is given. [m/s]
    reaction_s : time until the brake is touched, for the stopping distance. [s]
    advised_mps : top speed above which a caution is given, None for none. [m/s]
    track_width_m, cg_height_m : of the machine with its rider, for the tip-over margin. [m]
    """

    windows: tuple[str, ...] = ()
    rollout_m: float = 0.0
    has_reverse: bool | None = None
    reverse_marks_s: tuple[tuple[float, float], ...] = ()
    left_out_s: tuple[tuple[float, float], ...] = ()
    reverse_caution_mps: float = WALKING_PACE_MPS
    reverse_strong_mps: float = FAR_ABOVE_MPS
    reaction_s: float = REACTION_S
    advised_mps: float | None = None
    track_width_m: float | None = None
    cg_height_m: float | None = None

    def as_json(self) -> dict[str, Any]:
        """Return the settings as a JSON object."""
        return {
            "windows": list(self.windows),
            "rollout_m": self.rollout_m,
            "has_reverse": self.has_reverse,
            "reverse_marks_s": [list(mark) for mark in self.reverse_marks_s],
            "left_out_s": [list(stretch) for stretch in self.left_out_s],
            "reverse_caution_mps": self.reverse_caution_mps,
            "reverse_strong_mps": self.reverse_strong_mps,
            "reaction_s": self.reaction_s,
            "advised_mps": self.advised_mps,
            "track_width_m": self.track_width_m,
            "cg_height_m": self.cg_height_m,
        }

    @classmethod
    def from_json(cls, record: dict[str, Any]) -> "Settings":
        """Return the settings that a result carries; what it does not name is the default."""
        return cls(
            windows=tuple(str(words) for words in record.get("windows", ())),
            rollout_m=float(record.get("rollout_m", 0.0)),
            has_reverse=record.get("has_reverse"),
            reverse_marks_s=_stretches(record.get("reverse_marks_s", ())),
            left_out_s=_stretches(record.get("left_out_s", ())),
            reverse_caution_mps=float(record.get("reverse_caution_mps", WALKING_PACE_MPS)),
            reverse_strong_mps=float(record.get("reverse_strong_mps", FAR_ABOVE_MPS)),
            reaction_s=float(record.get("reaction_s", REACTION_S)),
            advised_mps=_known(record.get("advised_mps")),
            track_width_m=_known(record.get("track_width_m")),
            cg_height_m=_known(record.get("cg_height_m")),
        )


def _known(value: Any) -> float | None:
    return None if value is None else float(value)


def _stretches(pairs: Any) -> tuple[tuple[float, float], ...]:
    return tuple((float(start), float(end)) for start, end in pairs)
