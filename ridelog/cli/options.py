"""The options that commands share; those of commands that measure come from Settings."""

import inspect
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridelog.analysis.settings import Option, Settings, options, stretches_by_log
from ridelog.cli.plain_words import Command, Group
from ridelog.core.errors import RideLogError

if TYPE_CHECKING:
    from ridelog.core.track import Track


class Units(StrEnum):
    """The units in which speeds are printed; files of results are in SI units always."""

    KMH = "km/h"
    MPH = "mph"


def takes(metavar: str, words: str) -> Any:
    """Return an option, called as its parameter, by what is written behind it and its help."""
    return typer.Option(metavar=metavar, help=words)


UnitsOption = Annotated[Units, typer.Option(help="Units of speed to print.")]
Ride = Annotated[
    Path,
    typer.Argument(
        metavar="RIDE",
        help="The log of one ride: GPX, NMEA, UBX, FIT, TCX or CSV, plain, gzip or zip.",
        show_default=False,
    ),
]
Force = Annotated[bool, typer.Option("--force", help="Replace files that are there already.")]
CsvFile = Annotated[
    Path | None,
    typer.Option(
        "--csv", metavar="FILE", help="Write the figures as a table; - for standard output."
    ),
]
JsonFile = Annotated[
    Path | None,
    typer.Option("--json", metavar="FILE", help="Write the result as JSON; - for standard output."),
]


Columns = Annotated[
    str | None,
    takes("KEY=COLUMN,...", options()["columns"].words),
]


@contextmanager
def words_of(*flags: str) -> Iterator[None]:
    """Call it wrong use of these options where what is written behind them cannot be."""
    try:
        yield
    except RideLogError as error:
        hint = " / ".join(f"'{flag}'" for flag in flags)
        raise typer.BadParameter(str(error), param_hint=hint) from error


def read_columns(words: str | None) -> str:
    """Return what ``--columns`` says; BadParameter if it cannot be read."""
    with words_of("--columns"):
        return str(options()["columns"].read(words)) if words else ""


def command_group(name: str, words: str) -> typer.Typer:
    """Return an empty group of commands, which shows its help when it is called by itself."""
    return typer.Typer(
        name=name, cls=Group, help=words, no_args_is_help=True, pretty_exceptions_enable=False,
        rich_markup_mode=None,
    )  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """What the command line asks for: settings, and what is laid on a log once it is read."""

    settings: Settings = field(default_factory=Settings)
    by_clock: dict[str, list[Any]] = field(default_factory=dict)

    def on(self, track: "Track") -> Settings:
        """Return the settings for one log.

        RideLogError if what goes by the clock does not lie inside the log.
        """
        known = options()
        laid = {
            name: lay(track, read)
            for name, read in self.by_clock.items()
            if (lay := known[name].lay) is not None
        }
        return replace(self.settings, **laid)

    def on_each(self, tracks: "Sequence[Track]") -> list[Settings]:
        """Return the settings for each of several logs, with the drive modes that lie in it.

        RideLogError if a stretch lies in none of them.
        """
        modes = stretches_by_log(tracks, self.by_clock.get("modes_s", []))
        return [
            replace(self, by_clock={**self.by_clock, "modes_s": own}).on(track)
            for track, own in zip(tracks, modes, strict=True)
        ]


def with_settings(command: Callable[..., None], *, only: Collection[str] = ()) -> Any:
    """Return a command that takes the options of ``Settings`` and gets them as ``asked``.

    ``only`` names the fields that are asked for, all that the command line can ask for if empty.
    """
    chosen = {name: one for name, one in options().items() if name in only or not only}

    @wraps(command)
    def wrapped(**given: Any) -> None:
        words = {name: given.pop(name) for name in chosen}
        command(**given, asked=_asked(chosen, words))

    usual = inspect.signature(command)
    kept = [each for each in usual.parameters.values() if each.name != "asked"]
    added = [
        inspect.Parameter(
            name,
            inspect.Parameter.KEYWORD_ONLY,
            default=False if one.switched is not None else None,
            annotation=_annotation(one),
        )
        for name, one in chosen.items()
    ]
    every = [each.replace(kind=inspect.Parameter.KEYWORD_ONLY) for each in (*kept, *added)]
    wrapped.__signature__ = usual.replace(parameters=every)  # type: ignore[attr-defined]  # read by typer
    wrapped.__annotations__ = {each.name: each.annotation for each in every}
    del wrapped.__wrapped__
    return wrapped


def _annotation(one: Option) -> Any:
    if one.switched is not None:
        return Annotated[bool, typer.Option(one.flag, help=one.words)]
    kind = list[str] | None if one.many else str | None
    return Annotated[
        kind, typer.Option(one.flag, metavar=one.metavar, help=one.words, show_default=False)
    ]


def _asked(chosen: dict[str, Option], words: dict[str, Any]) -> Asked:
    """Return what the words ask for; BadParameter if they cannot be read or contradict."""
    values: dict[str, Any] = {}
    by_clock: dict[str, list[Any]] = {}
    for name, one in chosen.items():
        given = words[name]
        if one.switched is not None:
            if given:
                values[name] = one.switched
        elif given:
            with words_of(one.flag):
                read = [one.read(each) for each in (given if one.many else [given])]
            if one.lay is not None:
                by_clock[name] = read
            else:
                values[name] = tuple(dict.fromkeys(read)) if one.many else read[0]
    asked = Asked(replace(Settings(), **values), by_clock)
    _check(asked)
    return asked


def _check(asked: Asked) -> None:
    settings = asked.settings
    if "reverse_marks_s" in asked.by_clock and settings.has_reverse is False:
        raise typer.BadParameter(
            "a machine that cannot reverse has no reverse to mark: give one of the two.",
            param_hint="'--reverse' / '--cannot-reverse'",
        )
    if settings.reverse_strong_mps < settings.reverse_caution_mps:
        raise typer.BadParameter(
            "the strong caution lies below the caution.", param_hint="'--reverse-alarm'"
        )
    if settings.track_width_m is None and settings.cg_height_m is None:
        return
    from ridelog.analysis.handling.measure import checked_dimensions

    with words_of("--track-width", "--cg-height"):
        checked_dimensions(settings.track_width_m, settings.cg_height_m)


class VariadicCommand(Command):
    """A command whose repeatable options also take all the words up to the next option."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Parse the words after repeating an option's name before each of its values."""
        names = [
            name
            for parameter in self.params
            # By its name, not its class: typer brings its own copy of click from 0.29 on.
            if parameter.param_type_name == "option" and getattr(parameter, "multiple", False)
            for name in (*parameter.opts, *parameter.secondary_opts)
        ]
        return super().parse_args(ctx, spread(args, names))


def spread(words: list[str], names: Iterable[str]) -> list[str]:
    """Return a command line in which every value of a repeatable option has its name before it.

    ``--before A B --out D`` becomes ``--before A --before B --out D``. A single "--" ends it, as
    everywhere.
    """
    repeatable = set(names)
    result: list[str] = []
    current: str | None = None
    first = False
    for position, word in enumerate(words):
        if word == "--":
            return [*result, *words[position:]]
        if word.startswith("-") and word != "-":
            name, equals, _ = word.partition("=")
            current = name if name in repeatable else None
            # A value after "=" has been given already; further ones may follow.
            first = current is not None and not equals
            result.append(word)
        elif current is not None and not first:
            result += [current, word]
        else:
            first = False
            result.append(word)
    return result
