"""What goes wrong inside a calculation reaches the user as one sentence."""

import numpy as np
import pytest

from ridelog.cli import main
from ridelog.core.errors import CalculationError, NotEnoughDataError, calculating


def test_a_singular_matrix_becomes_a_sentence() -> None:
    with pytest.raises(CalculationError) as raised, calculating("morning.gpx"):
        np.linalg.inv(np.zeros((2, 2)))
    problem = raised.value.problem
    assert problem.startswith(
        "morning.gpx: ridelog could not finish its calculation (LinAlgError in "
    )
    assert problem.endswith("; the log itself is unharmed.")
    assert raised.value.advice == (
        "report this with the log, if you may share it; a log without its first and last seconds "
        "may give an answer."
    )


def test_what_the_user_can_mend_keeps_its_own_words() -> None:
    with pytest.raises(NotEnoughDataError, match="too short"), calculating("morning.gpx"):
        raise NotEnoughDataError("too short")


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (
            ZeroDivisionError("1/0"),
            "ridelog: this command: ridelog could not finish its calculation",
        ),
        (MemoryError(), "ridelog: the memory of this computer does not suffice."),
    ],
)
def test_no_command_shows_a_traceback(
    error: Exception,
    words: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def fails(*, args: list[str] | None) -> None:
        raise error

    monkeypatch.setattr(main, "app", fails)
    with pytest.raises(SystemExit) as left:
        main.run([])
    assert left.value.code == 1
    told = capsys.readouterr().err
    assert told.startswith(words) and "Traceback" not in told
