"""Tests run with other sources in the place of some modules, and no file written.

A process that has loaded the libraries, but nothing of ridelog, is forked; in the child the changed
source takes its module's place as it is imported, and pytest runs there. Programs that a test
starts see the files, not the change.
"""

import importlib
import os
import resource
import signal
import sys
import time
import traceback
from collections.abc import Mapping, Sequence
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from pathlib import Path
from types import CodeType, ModuleType

# What is changed is the code beside these files, not what may be installed from elsewhere.
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
# What is loaded before pytest cannot be rewritten by it, which changes no outcome.
_QUIET = ("-W", "ignore::pytest.PytestAssertRewriteWarning")
_LOADED = (
    "numpy", "scipy.stats", "scipy.optimize", "scipy.linalg", "scipy.special", "scipy.signal",
    "scipy.interpolate", "pandas", "pydantic", "pytest", "hypothesis", "jinja2", "typer", "rich",
    "matplotlib.figure", "matplotlib.backends.backend_svg", "gpxpy", "jsonschema", "fitdecode",
)  # fmt: skip

# A process seldom has less than this part of a processor to itself. Own choice.
_WAITING = 20.0


class _Changed(MetaPathFinder):
    """Gives modules other sources than their files hold."""

    def __init__(self, sources: Mapping[str, str]) -> None:
        self._sources = sources

    def find_spec(
        self, name: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Return how a changed module is loaded; None leaves it to others."""
        if name not in self._sources:
            return None
        spec = PathFinder.find_spec(name, path, target)
        if spec is not None and spec.origin:
            spec.loader = _Loader(name, spec.origin, self._sources[name])
        return spec


class _Loader(SourceFileLoader):
    def __init__(self, name: str, place: str, source: str) -> None:
        super().__init__(name, place)
        self._source = source

    def get_code(self, fullname: str) -> CodeType:
        code: CodeType = compile(self._source, self.path, "exec", dont_inherit=True)
        return code


def load_libraries() -> None:
    """Load what every test needs and no change touches, once for all children."""
    for name in _LOADED:
        importlib.import_module(name)


def run_tests(
    tests: Sequence[str], sources: Mapping[str, str], log: Path, limit_s: float
) -> int | None:
    """Run tests in a child with other sources; return pytest's answer, None if it took too long.

    The limit is one of the processor's time, so that a busy machine ends no tests that would pass.
    """
    child = os.fork()
    if child == 0:
        code = 70
        try:
            os.setsid()
            most_s = int(limit_s) + 1
            resource.setrlimit(resource.RLIMIT_CPU, (most_s, most_s + 5))
            out = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(out, 1)
            os.dup2(out, 2)
            sys.meta_path.insert(0, _Changed(sources))
            pytest = importlib.import_module("pytest")
            code = int(
                pytest.main(["-q", "-x", "-p", "no:cacheprovider", "--tb=line", *_QUIET, *tests])
            )
        except BaseException:
            traceback.print_exc()
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
    # A child that waits uses no time of the processor; it is ended too.
    end_s = time.monotonic() + _WAITING * limit_s
    while time.monotonic() < end_s:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            code = os.waitstatus_to_exitcode(status)
            return None if code == -signal.SIGXCPU else code
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def first_failure(log: Path) -> str:
    """Return the test that failed first, or why none was run."""
    lines = log.read_text(encoding="utf-8", errors="replace").splitlines()
    for line in lines:
        if line.startswith(("FAILED ", "ERROR ")):
            return line.split(" ", 1)[1].split(" - ")[0].strip()
    return "(does not import)"
