"""A folder of broken files: each ends in one sentence with file, place, value and advice."""

import gzip
import io
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest
from log_lines import gga, gpx, log, point, rmc, second, sentence

from ridelog.core.errors import RideLogError, UnreadableLogError
from ridelog.importer import load_track

FIVE = "".join(point(second(i)) for i in range(5))
UNTIMED = sentence("GPRMC,,A,4807.038,N,01131.000,E,010.0,084.4,030526,,,A")
RIDE = log([line for i in range(5) for line in (rmc(43200 + i), gga(43200 + i))])


def archive(**members: bytes) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in members.items():
            packed.writestr(name, data)
    return stream.getvalue()


# Each file with the place or value that its message must show.
BROKEN: dict[str, tuple[bytes, str]] = {
    "empty.gpx": (b"", "0 bytes"),
    "blank.nmea": (b"\r\n \x00\x00\n", "6 bytes"),
    "photo.gpx": (b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(range(256)) * 50, "it is no text"),
    "letter.txt": (b"Dear owner,\nthe quad is ready.\n", "'Dear owner, the quad is"),
    "page.gpx": (b"<!DOCTYPE html><html><body>404</body></html>", "'html'"),
    "map.gpx": (b'<?xml version="1.0"?>\n<kml><Placemark/></kml>', "'kml'"),
    "start-only.gpx": (gpx(FIVE)[:30], "<?xml"),
    "no-point.gpx": (gpx(FIVE)[:160], "line 4"),
    "garbled.gpx": (gpx(FIVE).replace(b"<trk>", b"<trk><<"), "line 3"),
    "way-points.gpx": (gpx("", before='<wpt lat="1" lon="2"/>' * 3), "3 way-points"),
    "no-times.gpx": (gpx(point() * 4), "4 fixes"),
    "one-point.gpx": (gpx(point(second(0))), "2026-05-03T09:00:00Z"),
    "1901.gpx": (gpx(point("1901-12-13T20:45:52Z") * 4), "4 fixes"),
    "same-time.gpx": (gpx(point(second(7)) * 4), "2026-05-03T09:00:07Z"),
    "bad-times.gpx": (gpx(point("yesterday") * 4), "4 fixes"),
    "entities.gpx": (b'<!DOCTYPE gpx [<!ENTITY lol "ha">]><gpx/>', "'lol'"),
    "deep.gpx": (gpx(FIVE, after="<a>" * 10000 + "</a>" * 10000), "201 levels"),
    "unknown-code.gpx": (gpx(FIVE).replace(b"UTF-8", b"KLINGON"), "line 1"),
    "all-wrong.nmea": (log([rmc(43200 + i, wrong=True) for i in range(4)]), "4 wrong"),
    "no-checksums.nmea": (RIDE.replace(b"*", b","), "10 cut short"),
    "never-a-fix.nmea": (log([rmc(43200 + i, status="V") for i in range(4)]), "0 valid of 4"),
    "satellites.nmea": (log([sentence("GPGSV,1,1,00")]), "no RMC, GGA"),
    "no-times.nmea": (log([UNTIMED] * 3), "its 3 positions"),
    "one-epoch.nmea": (log([rmc(43200), gga(43200)]), "2026-05-03T12:00:00Z"),
    "cut.zip": (archive(ride=RIDE)[:40], "zip"),
    "two.zip": (archive(one=RIDE, two=gpx(FIVE)), "'one', 'two'"),
    "none.zip": (archive(readme=b"no log"), "'readme'"),
    "nested.zip": (archive(inner=archive(ride=RIDE)), "'inner'"),
    "garbage.gz": (b"\x1f\x8b\x08\x00" + b"\x07" * 200, "gzip data are damaged"),
    "cut.gz": (gzip.compress(RIDE)[:15], "after 15 bytes"),
    "letter.gz": (gzip.compress(b"Dear owner"), "'Dear owner'"),
    "nothing.gz": (gzip.compress(b""), "0 bytes"),
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, (data, _) in BROKEN.items():
        (tmp_path / name).write_bytes(data)
    return tmp_path


def test_every_file_of_the_folder_ends_in_one_sentence(folder: Path) -> None:
    walked = sorted(path for path in folder.iterdir())
    assert [path.name for path in walked] == sorted(BROKEN)
    for path in walked:
        with pytest.raises(RideLogError) as caught:
            load_track(path)
        problem, advice = caught.value.problem, caught.value.advice
        assert problem.startswith(path.name), problem
        assert BROKEN[path.name][1] in problem, problem
        assert problem.endswith("."), problem
        assert advice.endswith("."), problem
        for text in (problem, advice):
            # One sentence: no line breaks, and no full stop followed by a new sentence.
            assert "\n" not in text
            assert ". " not in text, text
            assert len(text) < 250


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(UnreadableLogError) as caught:
        load_track(tmp_path / "gone.gpx")
    assert caught.value.problem.endswith(
        "gone.gpx: the file cannot be read (No such file or directory)."
    )
    assert caught.value.advice == "check the path and that you may read the file."
    with pytest.raises(UnreadableLogError, match="cannot be read"):
        load_track(tmp_path)
    with pytest.raises(UnreadableLogError, match="cannot be read"):
        load_track("a\0b")


def test_a_name_cannot_break_the_message(tmp_path: Path) -> None:
    path = tmp_path / "a\nb\x1b[31m.gpx"
    path.write_bytes(b"x")
    with pytest.raises(UnreadableLogError) as caught:
        load_track(str(path))
    assert caught.value.problem.startswith("a\ufffdb\ufffd[31m.gpx, start of file:")


def test_jump_over_the_date_line_is_read() -> None:
    from ridelog.importer import log_from_bytes

    track = log_from_bytes(
        "ride.gpx", gpx(point(second(0), lon="179.99999") + point(second(1), lon="-179.99999"))
    )
    assert np.isfinite(track.longitude_deg).all()


def test_importing_the_importer_stays_light() -> None:
    code = (
        "import sys, ridelog.importer; "
        "heavy = {'pandas', 'scipy', 'matplotlib', 'gpxpy', 'rich', 'typer'} & set(sys.modules); "
        "print(sorted(heavy))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
