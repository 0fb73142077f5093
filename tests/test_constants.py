"""Every constant that decides what a reader is told has its reason beside it, of a known kind."""

import re

import pytest
from constants import KINDS, ROOT, WITHOUT_REASON, constants


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
        # An equation by its number; a year before a closing bracket.
        ("ridelog/filtering/noise.py", "_CRUISE_MPS2", "derivation"),
        ("ridelog/filtering/shared_offsets.py", "HARDEST_MPS2", "published"),
    ],
)
def test_the_kind_of_a_reason_is_read(file: str, name: str, kind: str) -> None:
    (one,) = [one for one in constants() if (one.file, one.name) == (file, name)]
    assert one.kind == kind and kind in KINDS


@pytest.mark.parametrize(
    ("file", "name"),
    [
        ("ridelog/core/quantity.py", "SPEED"),
        ("ridelog/machine/priors.py", "_MASS"),
        ("ridelog/importer/nmea_readings.py", "NO_TIME_OF_DAY"),
        ("ridelog/filtering/posterior.py", "_TABLE_SEED"),
        ("ridelog/machine/key_check.py", "_GROUPS"),
    ],
)
def test_quantities_marks_seeds_and_indices_are_no_constants(file: str, name: str) -> None:
    assert re.search(rf"^(\w+, )?{name} = ", (ROOT / file).read_text("utf-8"), re.MULTILINE)
    assert name not in {one.name for one in constants() if one.file == file}
