"""Every fault of the list can still be put in, and the last run of all of them caught each."""

import csv
from pathlib import Path

import pytest
from faults import FAULTS, ROOT, Fault


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_fault_can_be_put_in(fault: Fault) -> None:
    text = (ROOT / "ridelog" / fault.file).read_text(encoding="utf-8")
    assert text.count(fault.right) == 1 and fault.right != fault.wrong
    assert (ROOT / fault.tests).is_file()


def test_each_was_caught() -> None:
    """On request: python tests/suites/faults.py --out tests/validation/faults.csv"""
    place = Path(__file__).parent / "validation" / "faults.csv"
    rows = list(csv.DictReader(place.read_text(encoding="utf-8").splitlines()))
    assert [row["fault"] for row in rows] == [fault.name for fault in FAULTS]
    assert {row["outcome"] for row in rows} == {"caught"}
    # Named is a test of those that the fault has, and it is still there.
    for row, fault in zip(rows, FAULTS, strict=True):
        file, test = row["caught by"].split("::")
        assert file == fault.tests
        assert f"def {test.split('[')[0]}(" in (ROOT / file).read_text(encoding="utf-8")
