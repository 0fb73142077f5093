"""Words of the command line that need no check, taken without loading typer's.

From 0.29 on typer checks every word with pydantic, whose import costs as much as all other modules
of the command line. Texts, paths of which nothing is asked, and what was not given pass as they
are; anything else is left to typer, as is everything in a version of it that works otherwise.
"""

import os
from pathlib import Path
from typing import Any

from typer.core import TyperCommand, TyperGroup

# What typer may be told to look for in a path.
_ASKED = ("parser", "path_type", "click_type", "exists", "resolve_path", "writable", "executable")


class Command(TyperCommand):
    """A command that takes plain words by itself."""

    def get_params(self, ctx: Any) -> list[Any]:
        """Return its parameters, with what typer adds."""
        return _plain(super().get_params(ctx))


class Group(TyperGroup):
    """A group of commands that takes plain words by itself."""

    def get_params(self, ctx: Any) -> list[Any]:
        """Return its parameters, with what typer adds."""
        return _plain(super().get_params(ctx))


def _plain(parameters: list[Any]) -> list[Any]:
    for each in parameters:
        if getattr(each, "_runtime_param", each) is None:
            each._runtime_param = _Plain(each)
    return parameters


class _Plain:
    """What typer asks to make a value of a word."""

    def __init__(self, parameter: Any) -> None:
        self._parameter = parameter
        self._checked: Any = None

    def coerce(self, value: Any, param: Any, ctx: Any) -> Any:
        """Return the value of what was written for a parameter."""
        several = param.multiple or param.nargs == -1
        if value is None:
            return () if several else None
        kind, asked = param.type_descriptor.annotation, param.type_descriptor.parameter_info
        if several:
            if kind == list[str] and all(type(each) is str for each in value):
                return list(value)
        elif kind is Path:
            if isinstance(value, str | Path) and _is_free(value, asked):
                return Path(value)
        elif isinstance(kind, type) and issubclass(kind, str) and isinstance(value, kind):
            return value
        if self._checked is None:
            self._parameter._runtime_param = None
            self._checked = self._parameter.get_runtime_param()
        return self._checked.coerce(value, param=param, ctx=ctx)


def _is_free(path: str | Path, asked: Any) -> bool:
    """Return whether nothing that typer would look for is asked of a path."""
    if any(getattr(asked, name, None) for name in _ASKED):
        return False
    if not (asked.file_okay and asked.dir_okay):
        return False
    return not os.path.exists(path) or os.access(path, os.R_OK)
