"""What a user can choose about the measuring of a ride; every result carries its settings.

A choice is one field: its bounds, and how the command line asks for it. Whoever adds a choice adds
it here alone; options, results and ``ridelog verify`` follow.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, fields
from functools import cache
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

from annotated_types import Ge, Gt, Le

from ridelog.analysis.launches.windows import parse_rollout, parse_window
from ridelog.core.errors import RideLogError
from ridelog.core.units import SPEED_UNITS, SPEED_WORDS

if TYPE_CHECKING:
    from ridelog.core.track import Track

_KMH = SPEED_UNITS["km/h"]
# Walking pace: German road law names reversing as a walking-pace manoeuvre (StVO § 21a (1) no. 3),
# type approval begins above 6 km/h (Regulation (EU) 168/2013 Art. 2 (2) (a)), as do eKFV § 1 and
# the push aids of StVG § 1 (3). No published limit for reverse on such machines is known.
WALKING_PACE_MPS = _KMH.to_mps(6.0)
# Common practice, no source.
FAR_ABOVE_MPS = _KMH.to_mps(10.0)
# Sources disagree: 0.67 s (UK Highway Code), 1 s (French licence notes), 2.5 s (AASHTO, from
# memory). The default is common practice, no source; the user can set it.
REACTION_S = 1.0
# Longer than this nobody takes to touch a brake: own choice, double the longest of the sources.
_LONGEST_REACTION_S = 5.0
_SPEED = re.compile(r"(\d+(?:[.,]\d+)?)\s*([a-z/]+)", re.ASCII)
Spans = tuple[tuple[float, float], ...]
# Name, start and end of a stretch. [s]
Modes = tuple[tuple[str, float, float], ...]
# It stands over a column: own choice. Letters.
LONGEST_MODE = 20


@dataclass(frozen=True)
class Option:
    """How the command line asks for a field.

    flag : "--reaction". metavar : what is written behind it; empty for a switch.
    words : help. read : gives the value from the words, or raises RideLogError.
    many : whether it may be given several times. switched : value that a switch sets.
    lay : for what is written by the clock: gives the value from what was read, on one log.
    """

    flag: str
    metavar: str
    words: str
    read: Callable[[str], Any] = str
    many: bool = False
    switched: Any = None
    lay: "Callable[[Track, Sequence[Any]], Any] | None" = None


def speed_of(words: str) -> float:
    """Return a speed written with its unit, such as "24 km/h". [m/s]

    RideLogError if it is none.
    """
    found = _SPEED.fullmatch(words.strip().lower())
    if found is None or found[2] not in SPEED_WORDS or float(found[1].replace(",", ".")) <= 0:
        raise RideLogError(
            f'"{words}" is no speed.',
            f'write a number above 0 and one of {", ".join(SPEED_WORDS)}, such as "24 km/h".',
        )
    return float(found[1].replace(",", ".")) * SPEED_WORDS[found[2]]


def _reaction(words: str) -> float:
    try:
        seconds = float(words)
    except ValueError:
        seconds = float("nan")
    if not 0.0 <= seconds <= _LONGEST_REACTION_S:
        raise RideLogError(
            f"{words} s is no reaction time.", f"give 0 to {_LONGEST_REACTION_S:g} seconds."
        )
    return seconds


def _metres(words: str) -> float:
    try:
        return float(words.replace(",", "."))
    except ValueError as error:
        raise RideLogError(f'"{words}" is no length in metres.', "write it like 0.66.") from error


def _columns(words: str) -> str:
    from ridelog.importer.table_choice import parse_columns

    parse_columns(words)
    return words


def _mark(words: str) -> Any:
    from ridelog.analysis.reverse.measure import read_mark

    return read_mark(words)


@dataclass(frozen=True)
class NamedStretch:
    """A stretch ridden in a drive mode, as it was written; ``log`` is a file's name, or empty."""

    mode: str
    mark: Any
    log: str


def _mode(words: str) -> NamedStretch:
    name, equals, rest = words.partition("=")
    span, _, log = rest.partition("@")
    if not equals or not name.strip() or len(name.strip()) > LONGEST_MODE:
        raise RideLogError(
            f'"{words}" names no drive mode.',
            'write it like "eco=83.5/120" or "eco=12:03/12:05"; of several logs, '
            '"eco=83.5/120@LOG".',
        )
    return NamedStretch(name.strip(), _mark(span), log.strip())


def _laid_modes(track: "Track", modes: Sequence[NamedStretch]) -> Modes:
    return tuple(
        (one.mode, *_laid(track, [one.mark])[0]) for one in stretches_by_log([track], modes)[0]
    )


def stretches_by_log(
    tracks: "Sequence[Track]", modes: Sequence[NamedStretch]
) -> list[list[NamedStretch]]:
    """Return for each of some logs the stretches of drive modes that lie in it.

    A stretch that names no log belongs to every log in which it lies. RideLogError if one lies in
    none.
    """
    found: list[list[NamedStretch]] = [[] for _ in tracks]
    for one in modes:
        lies, why = False, None
        for track, kept in zip(tracks, found, strict=True):
            if one.log not in ("", track.source.file):
                continue
            try:
                _laid(track, [one.mark])
            except RideLogError as error:
                why = error
                continue
            kept.append(one)
            lies = True
        if lies:
            continue
        names = ", ".join(track.source.file for track in tracks) or "the logs"
        raise why or RideLogError(
            f"{one.log or 'no log'}: the drive mode {one.mode} is named for a log that is not "
            "given.",
            f"name one of {names}.",
        )
    return found


def _laid(track: "Track", marks: Sequence[Any]) -> Spans:
    from ridelog.analysis.reverse.measure import lay_marks

    return lay_marks(track, marks)


_Speed = Annotated[float, Gt(0.0)]
_Length = Annotated[float, Gt(0.0)]


@dataclass(frozen=True)
class Settings:
    """Choices that change figures or cautions; the defaults are what the commands use.

    windows : launch windows in words, such as "0-20 km/h"; empty for the usual ones.
    rollout_m : distance taken off the beginning of a launch. [m]
    has_reverse : whether the machine can go backwards; None where nobody said.
    reverse_marks_s : (start, end) of spans that the rider marked as reverse travel. [s]
    left_out_s : (start, end) of spans that the rider left out of every figure. [s]
    modes_s : (name, start, end) of stretches ridden in a drive mode. [s]
    reverse_caution_mps, reverse_strong_mps : best second in reverse above which a caution, and a
        strong one, is given. [m/s]
    reaction_s : time until the brake is touched, for the stopping distance. [s]
    advised_mps : top speed above which a caution is given, None for none. [m/s]
    track_width_m, cg_height_m : of the machine with its rider, for the tip-over margin. [m]
    adult_rider : whether only adults ride it: the caution about classes of age is settled then.
    columns : which column of a CSV table is which, where its head does not say; other logs need
        none.
    """

    windows: Annotated[
        tuple[str, ...],
        Option(
            "--window",
            "WINDOW",
            "A launch window in words: 0-20 km/h, 10-20 mph (rolling), 0-30 m, 0-60 ft. May be "
            "given several times; without it, windows that suit the speed reached.",
            lambda words: parse_window(words).label,
            many=True,
        ),
    ] = ()
    rollout_m: Annotated[
        float,
        Ge(0.0),
        Option(
            "--rollout",
            "LENGTH",
            "Start the clock of standing windows only after this distance, such as 1 ft. Off by "
            "default: on a slow machine it hides half a second.",
            parse_rollout,
        ),
    ] = 0.0
    has_reverse: Annotated[
        bool | None,
        Option(
            "--cannot-reverse",
            "",
            "The machine has no reverse: everything is forward.",
            switched=False,
        ),
    ] = None
    reverse_marks_s: Annotated[
        Spans,
        Option(
            "--reverse",
            "START/END",
            "A stretch ridden backwards, by the clock in UTC (12:03:10/12:03:25) or in seconds "
            "since the first fix (83.5/98). May be given several times.",
            _mark,
            many=True,
            lay=_laid,
        ),
    ] = ()
    left_out_s: Spans = ()
    modes_s: Annotated[
        Modes,
        Option(
            "--mode",
            "NAME=START/END",
            "A stretch ridden in a drive mode, such as eco=83.5/120; the clock as for --reverse. "
            "May be given several times; each mode gets figures of its own. Of several logs one is "
            "named behind it: eco=83.5/120@LOG.",
            _mode,
            many=True,
            lay=_laid_modes,
        ),
    ] = ()
    reverse_caution_mps: Annotated[
        _Speed,
        Option("--reverse-caution", "SPEED", "Caution above this speed backwards.", speed_of),
    ] = WALKING_PACE_MPS
    reverse_strong_mps: Annotated[
        _Speed,
        Option("--reverse-alarm", "SPEED", "Strong caution above this speed backwards.", speed_of),
    ] = FAR_ABOVE_MPS
    reaction_s: Annotated[
        float,
        Ge(0.0),
        Le(_LONGEST_REACTION_S),
        Option(
            "--reaction",
            "SECONDS",
            "Time until the rider touches the brake, for the stopping distance.",
            _reaction,
        ),
    ] = REACTION_S
    advised_mps: Annotated[
        _Speed | None,
        Option(
            "--advised-speed",
            "SPEED",
            'Caution when the top speed is above this, such as "24 km/h" for a young rider.',
            speed_of,
        ),
    ] = None
    track_width_m: Annotated[
        _Length | None,
        Option(
            "--track-width",
            "METRES",
            "Between the middles of left and right tyres; with --cg-height, for the tip-over "
            "margin of turns.",
            _metres,
        ),
    ] = None
    cg_height_m: Annotated[
        _Length | None,
        Option(
            "--cg-height",
            "METRES",
            "Height of the centre of gravity of machine and rider; with --track-width.",
            _metres,
        ),
    ] = None
    adult_rider: Annotated[
        bool,
        Option(
            "--adult-rider",
            "",
            "Only adults ride it: nothing is said of classes of age.",
            switched=True,
        ),
    ] = False
    columns: Annotated[
        str,
        Option(
            "--columns",
            "KEY=COLUMN,...",
            "Of a CSV table, what its head does not say, such as "
            '"time=Zeit:UTC,lat=3,speed=km/h": name or number of a column, unit, zone.',
            _columns,
        ),
    ] = ""

    def as_json(self) -> dict[str, Any]:
        """Return the settings as a JSON object."""
        return {name: _listed(value) for name, value in asdict(self).items()}

    @classmethod
    def from_json(cls, record: dict[str, Any]) -> "Settings":
        """Return the settings that a result carries; what it does not name is the default.

        ValueError if a member is not known, or its value cannot be or lies outside its bounds.
        """
        known = {field.name for field in fields(cls)}
        if unknown := [name for name in record if name not in known]:
            raise ValueError(f"no such setting: {', '.join(unknown)}")
        return cls(**{name: check(record[name]) for name, check in _checks() if name in record})


def _listed(value: Any) -> Any:
    return [_listed(each) for each in value] if isinstance(value, tuple) else value


@cache
def _checks() -> tuple[tuple[str, Callable[[Any], Any]], ...]:
    """Return for each field what checks a value from outside and gives it in its type."""
    # Loaded only when needed: it would double the time until the command line answers.
    from pydantic import ConfigDict, TypeAdapter

    config = ConfigDict(allow_inf_nan=False)
    hints = get_type_hints(Settings, include_extras=True)
    return tuple(
        (field.name, TypeAdapter(hints[field.name], config=config).validate_python)
        for field in fields(Settings)
    )


def options() -> dict[str, Option]:
    """Return how the command line asks for each field that it asks for."""
    hints = get_type_hints(Settings, include_extras=True)
    found: dict[str, Option] = {}
    for field in fields(Settings):
        for each in getattr(hints[field.name], "__metadata__", ()):
            if isinstance(each, Option):
                found[field.name] = each
    return found
