"""Any damage to a valid log ends in a Track or in a RideLogError, never in anything else."""

import gzip

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from log_lines import gga, gpx, log, point, rmc, second, sentence

from ridelog.core.errors import RideLogError
from ridelog.importer import log_from_bytes, require_times

NMEA = log(
    line
    for i in range(8)
    for line in (
        rmc(86396 + i, date="030526" if i < 4 else "040526"),
        gga(86396 + i),
        sentence(f"GPVTG,84.4,T,,M,{i}.0,N,,K,A"),
        sentence("GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1"),
        sentence("GPZDA,235959.00,03,05,2026,00,00"),
    )
)
GPX = gpx(
    "".join(
        point(second(i), children="<fix>3d</fix><sat>9</sat><x:speed>2</x:speed>") for i in range(8)
    )
)
LOGS = {"ride.nmea": NMEA, "ride.gpx": GPX, "ride.gz": gzip.compress(NMEA)}


def read(name: str, data: bytes) -> None:
    try:
        track = require_times(log_from_bytes(name, data))
    except RideLogError as error:
        assert error.problem.startswith(name)
        assert "\n" not in str(error)
        return
    usable = track.time_s[np.isfinite(track.time_s)]
    assert np.unique(usable).shape[0] >= 2
    assert track.utc_text(float(usable[0])).endswith("Z")
    assert track.utc_text(float(usable.max())).endswith("Z")
    assert track.utc_text(float(usable.min())).endswith("Z")
    kept = track.time_s[track.flags & np.uint32(2 | 4 | 8) == 0]
    assert (np.diff(kept) > 0).all()


def damaged(data: st.DataObject, original: bytes) -> bytes:
    document = bytearray(original)
    for _ in range(data.draw(st.integers(1, 6))):
        if not document:
            break
        place = data.draw(st.integers(0, len(document) - 1))
        match data.draw(st.integers(0, 4)):
            case 0:
                document[place] = data.draw(st.integers(0, 255))
            case 1:
                del document[place : place + data.draw(st.integers(1, 200))]
            case 2:
                document[place:place] = data.draw(st.binary(max_size=20))
            case 3:
                span = document[place : place + data.draw(st.integers(1, 200))]
                other = data.draw(st.integers(0, len(document)))
                document[other:other] = span
            case _:
                del document[place:]
    return bytes(document)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.sampled_from(sorted(LOGS)), st.data())
def test_damaged_log(name: str, data: st.DataObject) -> None:
    read(name, damaged(data, LOGS[name]))


FIELD = st.sampled_from(
    ["", " ", "0", "-1", "9999999999", "1e308", "99999999999999999999.9", "A", "V", "N", "S", "E",
     "W", "000000.00", "235959.99", "240000", "4807.038", "01131.000", "030526", "311299", "010180",
     "290200", "655.35", "nan", "AAAA", "6"]
)  # fmt: skip


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["RMC", "GGA", "GNS", "GLL", "VTG", "GSA", "GST", "ZDA"]),
            st.lists(FIELD, max_size=20),
        ),
        max_size=15,
    )
)
def test_any_fields_with_right_checksums(rows: list[tuple[str, list[str]]]) -> None:
    lines = [sentence(",".join([f"GP{kind}", *fields])) for kind, fields in rows]
    read("ride.nmea", log([rmc(43200), *lines, rmc(43201), *lines[::-1], rmc(43202)]))


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 86399), st.sampled_from(["030526", "040526", "", "060180", "170906"])
        ),
        min_size=1,
        max_size=25,
    )
)
def test_any_order_of_times_and_dates(rows: list[tuple[int, str]]) -> None:
    read("ride.nmea", log(rmc(float(seconds), date=date) for seconds, date in rows))
