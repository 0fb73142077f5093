"""Everything a user can cause, as one family of exceptions.

The command line and the page show these as a sentence, never as a traceback.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class RideLogError(Exception):
    """A problem the user can act on: what is wrong, where, and what to do next.

    Parameters
    ----------
    problem : str
        One sentence with the place and the value seen, without "What to do".
    advice : str
        What the user can do next, one sentence; may be empty.
    """

    # What a command ends with: 1 where the input cannot give an answer, 2 where the command line
    # is wrong.
    exit_status = 1

    def __init__(self, problem: str, advice: str = "") -> None:
        self.problem = problem
        self.advice = advice
        super().__init__(f"{problem} What to do: {advice}" if advice else problem)


class UnreadableLogError(RideLogError):
    """The file is not a log that ridelog can read."""


class NotEnoughDataError(RideLogError):
    """The log is readable but cannot support the answer that was asked for."""


class OutputError(RideLogError):
    """A result cannot be written where it was asked to go."""


class PlaceError(OutputError):
    """The place that was named for a result may not be used."""

    exit_status = 2


class SetupError(RideLogError):
    """The set-up of a machine, or a change to it, cannot be as it is written."""


class BookError(RideLogError):
    """The ride book cannot do what was asked of it."""


class ReceiverError(RideLogError):
    """A receiver cannot be listened to, or has stopped sending."""


class CalculationError(RideLogError):
    """The calculation itself went wrong: no fault of the user's, and their log is kept."""


# What arithmetic and arrays raise, LinAlgError (a ValueError) among them.
_OF_CALCULATIONS = (ArithmeticError, AssertionError, LookupError, TypeError, ValueError)


@contextmanager
def calculating(what: str) -> Iterator[None]:
    """Turn what goes wrong inside into one sentence about ``what``, such as a log's name.

    Raises
    ------
    CalculationError
        With the exception and the place it came from.
    """
    try:
        yield
    except _OF_CALCULATIONS as error:
        raise failed_calculation(what, error) from error


def failed_calculation(what: str, error: Exception) -> CalculationError:
    """Return the sentence for a calculation that went wrong where it should not."""
    place, trace = "", error.__traceback__
    while trace is not None:
        place = f" in {Path(trace.tb_frame.f_code.co_filename).name}, line {trace.tb_lineno}"
        trace = trace.tb_next
    return CalculationError(
        f"{what}: ridelog could not finish its calculation ({type(error).__name__}{place}); the "
        "log itself is unharmed.",
        "report this with the log, if you may share it; a log without its first and last seconds "
        "may give an answer.",
    )
