"""Every constant that decides what a reader is told has its reason beside it, of a known kind."""

import pytest
from constants import KINDS, WITHOUT_REASON, constants


def test_no_further_constant_stands_without_a_reason() -> None:
    """Those that stood so when this was written are listed, and the list may only grow shorter.

    After mending some: python tests/suites/constants.py --record
    """
    known = set(WITHOUT_REASON.read_text(encoding="utf-8").splitlines())
    bare = {f"{one.file} {one.name}" for one in constants() if not one.kind}
    assert bare - known == set(), "say beside it: source, derivation, measurement, own choice"
    assert known - bare == set(), "these have a reason now: record the list again"


@pytest.mark.parametrize(
    ("file", "name", "kind"),
    [
        ("ridelog/core/units.py", "METRES_PER_MILE", "published"),
        ("ridelog/core/estimate.py", "WIDEST_SHARE", "practice"),
        ("ridelog/analysis/settings.py", "WALKING_PACE_MPS", "published"),
        ("ridelog/analysis/settings.py", "FAR_ABOVE_MPS", "practice"),
        ("ridelog/analysis/braking/stopping.py", "_ONE_BRAKE_SHARE", "published"),
        ("ridelog/analysis/energy/measure.py", "_UNSEEN_SHARE", "measurement"),
    ],
)
def test_the_kind_of_a_reason_is_read(file: str, name: str, kind: str) -> None:
    (one,) = [one for one in constants() if (one.file, one.name) == (file, name)]
    assert one.kind == kind and kind in KINDS
