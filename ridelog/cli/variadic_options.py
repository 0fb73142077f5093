"""Options that take several values after one name: ``--before A B C``."""

from collections.abc import Iterable
from typing import Any

from typer.core import TyperCommand


class VariadicCommand(TyperCommand):
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
