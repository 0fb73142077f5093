"""The whole book as plain files that other programs read, and such files read back into a book.

JSON, TOML and the logs themselves; one damaged ride never stops the others.
"""

import hashlib
import os
import secrets
import shutil
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from ridelog.book.book import Book
from ridelog.book.fill import fill_ride, lacking_of
from ridelog.book.machines import MOST_TOML
from ridelog.book.originals import Original, suffix_of
from ridelog.book.records import NewResult, RideEntry, checked_text
from ridelog.book.words import json_bytes, machines_words, ride_words
from ridelog.book.workshop import copy_workshop
from ridelog.book.written import (
    ADVICE,
    WrittenMachines,
    WrittenPhoto,
    WrittenResult,
    photo_name,
    read_document,
    read_log,
    read_machines,
    read_photo,
    read_ride,
)
from ridelog.core.errors import BookError, RideLogError
from ridelog.core.estimate import Estimate

_PHOTOS = "photos"
_READ_ME = """A ride book as plain files, written by ridelog.

machines.json          machines, their set-up states, what was done to them and their photos; each
                       set-up file also under setups/, each photo under photos/ by its SHA-256
workshop.json          the workshop on its papers; its logo lies beside it
rides/NUMBER-DAY-HASH/ one ride each:
  ride.json            file name, SHA-256, machine, set-up, conditions, notes, marked stretches,
                       what was looked at before it
  original.*           the log, byte for byte as it was given (missing if it was damaged)
  result.json          the newest figures, in SI units

The logs hold coordinates: they tell where the rides took place.
`ridelog book import FOLDER` reads all of it back.
"""


@dataclass(frozen=True)
class ExportedRides:
    """What came of an export: how many rides are whole in it, and what had to be left out."""

    count: int
    left_out: tuple[str, ...]


@dataclass(frozen=True)
class ImportedRides:
    """What came of reading an export, in rides and sentences.

    ``added`` are new, ``present`` were there with all that the export tells of them, ``differing``
    lack something that it tells, and ``problems`` could not be read.
    """

    added: int
    present: int
    differing: tuple[str, ...]
    problems: tuple[str, ...]


def export_book(book: Book, folder: Path) -> ExportedRides:
    """Write everything in the book as plain files, as it is at one moment.

    The folder appears complete or not at all; what is damaged is left out of it and named.
    BookError if it is there already or cannot be written.
    """
    if folder.exists():
        raise BookError(
            f"{folder}: this is there already and is left as it was.", "choose another name."
        )
    if not folder.absolute().parent.is_dir():
        raise BookError(
            f"{folder}: there is no folder {folder.absolute().parent}.", "make it first."
        )
    _sweep(folder)
    part = folder.with_name(f".{folder.name[:100]}.{os.getpid()}-{secrets.token_hex(4)}.part")
    count, left_out = 0, []
    try:
        part.mkdir(mode=0o700)
        (part / "README.txt").write_text(_READ_ME, encoding="utf-8")
        with book.one_moment():
            left_out += _write_machines(book, part)
            copy_workshop(book.words.folder, part)
            skip = 0
            while rides := book.rides.found(most=100, skip=skip):
                for ride in rides:
                    damaged = _write_ride(book, ride, part / "rides")
                    left_out += damaged
                    count += not damaged
                skip += len(rides)
        if hasattr(os, "sync"):
            os.sync()
        os.rename(part, folder)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise BookError(
            f"{folder}: the export cannot be written ({reason}).",
            "check the folder's rights and free space, or choose another place.",
        ) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return ExportedRides(count, tuple(left_out))


def import_book(book: Book, folder: Path, *, fill: bool = False) -> ImportedRides:
    """Add the machines and rides of an export to a book, each wholly or not at all.

    Rides that are there stay as they are; with ``fill`` they get what they lack. BookError if the
    folder is no export of a ride book.
    """
    places = [place for place in sorted((folder / "rides").glob("*")) if place.is_dir()]
    differing: list[str] = []
    problems: list[str] = []
    machines = None
    try:
        machines = read_machines(folder / "machines.json")
    except BookError as error:
        if not any((place / "ride.json").is_file() for place in places):
            raise BookError(
                f"{folder}: this is no export of a ride book that this ridelog knows "
                f"({error.problem})",
                "give the folder that `ridelog book export` wrote.",
            ) from error
        problems.append(str(error))
    if machines is not None:
        with book.all_or_nothing():
            differing += take_machines(book, machines)
        problems += _take_photos(book, machines, folder / _PHOTOS)
        copy_workshop(folder, book.words.folder)
    added = present = 0
    for place in places:
        try:
            new, lacking = _take_ride(book, place, fill)
            added, present = added + new, present + (not new and not lacking)
            if lacking:
                differing.append(lacking)
        except RideLogError as error:
            problems.append(str(error))
        except (OSError, ValueError, RecursionError, OverflowError, sqlite3.Error) as error:
            words = f"{place.name}: the ride is not as it was exported ({error})."
            problems.append(str(BookError(words, ADVICE)))
    return ImportedRides(added, present, tuple(differing), tuple(problems))


def take_machines(book: Book, written: WrittenMachines) -> list[str]:
    """Add written machines to a book; return sentences about those that stay different."""
    differing = []
    for entry in written.machines:
        machine = book.machines.named(entry.name)
        if entry.note and not machine.note:
            book.machines.change(machine.id, name=machine.name, note=entry.note)
        note = checked_text("note", entry.note)
        other = ["note"] if note and machine.note not in ("", note) else []
        for part in entry.setups:
            setup = book.machines.setup_named(machine.id, part.name)
            if not setup.toml and not setup.since_utc:
                book.machines.change_setup(
                    setup.id, name=setup.name, since_utc=part.since, toml=part.toml
                )
                setup = book.machines.setup(setup.id)
            toml = checked_text("set-up file", part.toml, MOST_TOML)
            if toml not in ("", setup.toml) or part.since not in ("", setup.since_utc):
                other.append(f"set-up {setup.name}")
        for work in entry.work:
            book.past.add_work(machine.id, **work.model_dump())
        known = [(answer.kind, answer.asked) for answer in book.kept.of(machine.id)]
        for answer in reversed(entry.kept):
            if (answer.kind, answer.asked) not in known:
                book.kept.put(machine.id, **answer.model_dump())
        if other:
            differing.append(
                f"machine {machine.name} stays as it is, but the export has another "
                f"{' and another '.join(other)}."
            )
    return differing


def _take_photos(book: Book, written: WrittenMachines, folder: Path) -> list[str]:
    """Add the photos of an export; return sentences about those that are damaged."""
    problems = []
    for entry in written.machines:
        machine = book.machines.named(entry.name)
        there = {photo.sha256 for photo in book.past.photos(machine.id)}
        for photo in entry.photos:
            if photo.sha256 in there:
                continue
            try:
                data = read_photo(folder / photo.exported_name, photo.sha256)
                show_photo(book, machine.id, photo, book.store(data))
            except BookError as error:
                problems.append(f"machine {machine.name}, photo {photo.file}: {error}")
    return problems


def show_photo(book: Book, machine_id: int, photo: WrittenPhoto, original: Original) -> None:
    """Give a machine a written photo whose bytes lie, or lay, among the originals."""
    book.past.add_photo(
        machine_id, original, file=photo.file, kind=photo.kind, day=photo.day, words=photo.words,
        added_utc=photo.added_utc,
    )  # fmt: skip


def _write_machines(book: Book, part: Path) -> list[str]:
    """Write all machines with their set-ups and photos; return sentences about damaged photos."""
    damaged = []
    (part / "machines.json").write_bytes(
        json_bytes(machines_words(book.machines, book.past, book.kept))
    )
    for machine in book.machines.all():
        for photo in book.past.photos(machine.id):
            try:
                data = book.original(photo.sha256)
            except BookError as error:
                damaged.append(f"machine {machine.name}, photo {photo.file}: {error}")
                continue
            (part / _PHOTOS).mkdir(exist_ok=True)
            (part / _PHOTOS / photo_name(photo.sha256, photo.kind)).write_bytes(data)
        for setup in book.machines.setups(machine.id):
            if setup.toml:
                (part / "setups").mkdir(exist_ok=True)
                name = f"machine-{machine.id}-setup-{setup.id}.toml"
                (part / "setups" / name).write_text(
                    setup.toml + "\n", encoding="utf-8", errors="replace"
                )
    return damaged


def _write_ride(book: Book, ride: RideEntry, rides: Path) -> list[str]:
    """Write what is sound of a ride; return sentences about the rest."""
    damaged = []
    day = ride.start_utc[:10] if ride.start_utc[:1].isdigit() else "no-date"
    place = rides / f"{ride.id:05d}-{day}-{ride.sha256[:12]}"
    place.mkdir(parents=True)
    try:
        data = book.original(ride.sha256)
        (place / f"original.{suffix_of(ride.format, data)}").write_bytes(data)
    except BookError as error:
        damaged.append(f"ride {ride.id}: {error}")
    words = ride_words(book.details, ride) | {"result": None}
    try:
        result = book.results.latest(ride.id)
        if result is not None:
            figures = book.results.figures([ride.id])[ride.id]
            words["result"] = {
                "version": result.version,
                "settings": result.settings,
                "figures": {
                    name: {"value": f.value, "low": f.low, "high": f.high}
                    for name, f in figures.items()
                },
            }
            (place / "result.json").write_bytes(json_bytes(result.document))
    except (BookError, ValueError) as error:
        words["result"] = None
        damaged.append(f"ride {ride.id}, its figures: {error}")
    (place / "ride.json").write_bytes(json_bytes(words))
    return damaged


def _take_ride(book: Book, place: Path, fill: bool) -> tuple[bool, str]:
    """Add one ride; return whether it is new, and what of the export is not in the book, in words.

    BookError if its log or its words are damaged; without its figures it is measured anew.
    """
    written = read_ride(place / "ride.json")
    data = read_log(place)
    if hashlib.sha256(data).hexdigest() != written.sha256:
        raise BookError(
            f"{place.name}: the log does not match its SHA-256 {written.sha256[:12]}.", ADVICE
        )
    result, problem = None, ""
    try:
        if written.result is not None:
            result = _new_result(written.result, place)
        elif not written.tells_figures():
            problem = f"{place.name}: ride.json says nothing about figures."
    except (BookError, ValueError) as error:
        problem = f"{place.name}: the figures are not as they were exported ({error})."
    original = book.store(data)
    with book.all_or_nothing():
        ride, new = book.rides.add(original, written.file)
        if new or fill:
            fill_ride(book, ride, written)
        if result is not None and (new or (fill and not _holds(book, ride, result))):
            book.results.put(ride.id, result)
            book.rides.describe(
                ride.id, format=written.format, start_utc=written.start_utc,
                duration_s=written.duration_s,
            )  # fmt: skip
    ride = book.rides.get(ride.id)
    lacking = lacking_of(book, ride, written)
    if result is not None and not _holds(book, ride, result):
        lacking.append("figures")
    if lacking:
        problem = (
            f"ride {ride.id}, {ride.file}, stays as it is, but the export has other "
            f"{', '.join(lacking)}. {problem}"
        )
    return new, problem.strip()


def _holds(book: Book, ride: RideEntry, result: NewResult) -> bool:
    """Return whether a ride has these figures, or newer ones of another version."""
    try:
        kept = book.results.all(ride.id)
    except BookError:  # damaged: what the export has is better
        return False
    same = [one for one in kept if one.version == result.version]
    return any(one.document == result.document for one in same) if same else bool(kept)


def _new_result(made: WrittenResult, place: Path) -> NewResult:
    figures = {name: Estimate(f.value, f.low, f.high) for name, f in made.figures.items()}
    return NewResult(made.version, made.settings, read_document(place / "result.json"), figures)


def _sweep(folder: Path) -> None:
    """Take away what an export that was ended left behind."""
    if os.name == "nt":  # no question about a process there that does it no harm
        return
    for part in folder.absolute().parent.glob(f".{folder.name[:100]}.*.part"):
        number = part.name[: -len(".part")].rsplit(".", 1)[-1].split("-")[0]
        try:
            os.kill(int(number), 0)
        except ProcessLookupError:
            shutil.rmtree(part, ignore_errors=True)
        except (ValueError, OverflowError, PermissionError):
            continue
