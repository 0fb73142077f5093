"""What the head of a table's column says: quantity and unit, in English, German and French."""

import re
import unicodedata
from dataclasses import dataclass
from typing import Final

# Words of a head that say nothing of the quantity.
_EMPTY: Final = frozenset(
    "location position pos current raw device value wgs84 wgs 84 data geo geogr geographische "
    "geographischer geografische the of de der des die du la le les en in l a msl above sea level "
    "ueber uber nn phone fix".split()
)
_GPS: Final = frozenset({"gps", "gnss", "ground", "grund", "sol"})
# Heads without unit, units' words and words of _EMPTY and _GPS, as they may be written.
_NAMES: Final[dict[str, str]] = {
    "time": "time|timestamp|time stamp|datetime|date time|dateandtime|utc|zeit|zeitstempel|uhrzeit"
    "|zeitpunkt|datum zeit|datum uhrzeit|datum und uhrzeit|date heure|date et heure|heure|temps"
    "|horodatage|unixtime|unix time|unix timestamp|unix|epoch|epoch time|elapsed|elapsed time"
    "|time elapsed|seconds elapsed|seconds|sec|secs|t|sekunden|secondes|millis|milliseconds"
    "|recorded at|created at|logging time|ortszeit|lokalzeit|lokale zeit|local time|localtime"
    "|heure locale|laufzeit|time local|time since start|zeit seit start|temps ecoule|utc zeit"
    "|utc time|time utc|utc uhrzeit|heure utc|zeit utc",
    "date": "date|datum|jour|tag|day|utc date|date utc|local date|datum utc",
    "lat": "lat|latitude|breite|breitengrad|breitengrade",
    "lon": "lon|lng|long|longitude|lange|laenge|langengrad|laengengrad|langengrade",
    "height": "alt|altitude|ele|elevation|height|hohe|hoehe|hauteur",
    "speed": "speed|velocity|v|geschwindigkeit|geschw|tempo|vitesse|spd|sog|speed over"
    "|geschwindigkeit uber|vitesse fond",
    "course": "course|cog|bearing|kurs|cap|course over|track angle|kurs uber|route fond",
    "direction": "heading|richtung|direction|azimut|azimuth|orientation|track|peilung|kompass",
    "hdop": "hdop|h dop|horizontal dop",
    "satellites": "sat|sats|satellites|satellite|satelliten|num sats|num satellites|numsv|num sv"
    "|nsat|satellites used|nb satellites|nombre satellites|anzahl satelliten|nombre satellites",
    "accuracy": "accuracy|hacc|h acc|haccuracy|horizontal accuracy|accuracy horizontal|acc"
    "|genauigkeit|horizontale genauigkeit|positionsgenauigkeit|precision|precision horizontale"
    "|exactitude",
    "speed_accuracy": "speed accuracy|speed acc|sacc|s acc|geschwindigkeit genauigkeit"
    "|geschwindigkeitsgenauigkeit|genauigkeit geschwindigkeit|precision vitesse|vitesse precision"
    "|accuracy speed",
}
_KIND_OF: Final = {
    tuple(words.split()): kind for kind, names in _NAMES.items() for words in names.split("|")
}
# Units of each quantity, by the name in which ridelog writes them.
_SPEEDS: Final = {
    "km/h": "km/h|kmh|kph|kmph|km/std|km/stunde|km h|km h-1|km/hr|kilometer pro stunde"
    "|kilometers per hour|kilometres per hour|kilometres par heure|km/heure",
    "m/s": "m/s|mps|m/sec|m/sek|m s-1|ms-1|m s|m.s-1|meter pro sekunde|meters per second"
    "|metres per second|metres par seconde",
    "mph": "mph|mi/h|miles/h|miles per hour|mi/hr",
    "kn": "kn|kt|kts|knot|knots|knoten|noeud|noeuds|nds",
}
_ANGLES: Final = {
    "deg": "deg|°|degree|degrees|grad|degres|degre|dd|decimal degrees|dezimalgrad|° n|° e",
    "e7": "e7|1e-7|10^-7|deg*1e7|1e7|deg e7",
    "ddmm": "ddmm|ddmm.mmmm|dddmm.mmmm|ddmm.mm",
}
_SPANS: Final = {
    "s": "s|sec|secs|second|seconds|sek|sekunden|seconde|secondes",
    "ms": "ms|msec|millis|millisecond|milliseconds|millisekunden|millisecondes",
    "us": "us|µs|microseconds|mikrosekunden",
    "ns": "ns|nanoseconds|nanosekunden",
}
_LENGTHS: Final = {
    "m": "m|meter|meters|metre|metres|metern",
    "ft": "ft|feet|foot|fuss|pieds",
}
_UNITS: Final[dict[str, dict[str, str]]] = {
    "speed": _SPEEDS,
    "speed_accuracy": _SPEEDS,
    "lat": _ANGLES,
    "lon": _ANGLES,
    "course": {"deg": _ANGLES["deg"] + "|° true|°t"},
    "time": _SPANS,
    "height": _LENGTHS,
    "accuracy": _LENGTHS,
}
UNIT_OF: Final = {
    kind: {word: unit for unit, words in units.items() for word in words.split("|")}
    for kind, units in _UNITS.items()
}
_EVERY_UNIT: Final = sorted(
    {word for units in UNIT_OF.values() for word in units}, key=len, reverse=True
)
_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_TAIL = re.compile(r"(?:[\s_,;:./-]|\bin\b)\s*(" + "|".join(map(re.escape, _EVERY_UNIT)) + r")\s*$")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")
_ZERO = ("utc", "gmt", "zulu")
_LOCAL = ("local", "locale", "lokal", "lokale", "localtime", "ortszeit", "lokalzeit", "lokalezeit")
_SINCE_START = frozenset(
    "elapsed seconds sec secs sekunden secondes millis milliseconds laufzeit ecoule start".split()
)
_DAY_FIRST = re.compile(r"^(?:dd?|tt?|jj?)[-./ ]mm?[-./ ]", re.IGNORECASE)
_MONTH_FIRST = re.compile(r"^mm?[-./ ](?:dd?|tt?|jj?)[-./ ]", re.IGNORECASE)


@dataclass(frozen=True)
class Head:
    """What a column's head says.

    text : as it stands in the table.
    kind : "time", "date", "lat", "lon", "height", "speed", "course", "direction" (of travel or of a
        compass), "hdop", "satellites", "accuracy", "speed_accuracy"; "" for anything else.
    unit : as ridelog writes it, "" if none is said.
    strange_unit : what stands where a unit should, if it is none that is known.
    of_receiver : whether the head says that a satellite receiver tells it.
    zone : "utc", "local" or "" for times.
    since_start : whether a time counts from the start, by its name.
    day_order : "d/m/y", "m/d/y" or "".
    """

    text: str
    kind: str = ""
    unit: str = ""
    strange_unit: str = ""
    of_receiver: bool = False
    zone: str = ""
    since_start: bool = False
    day_order: str = ""


def head_of(text: str) -> Head:
    """Return what the head of a column says; nothing is guessed from its cells."""
    plain = folded(_CAMEL.sub(" ", text))
    inside = [part.strip() for part in _BRACKETS.findall(plain)]
    name = _BRACKETS.sub(" ", plain).strip(" \"'")
    tail = "" if inside else _tail(name)
    words = _words(name)
    if tail:
        short = _words(name[: len(name) - len(tail)])
        # "t ms" is a time in milliseconds; "v" and "ms" alone are names.
        if _kind(short) or not _kind(words):
            words, inside = short, [tail]
    # What stands in brackets and is no unit belongs to the name: "Speed (GPS)".
    units = [part for part in inside if part]
    kind = _kind(words)
    if not kind and units:
        more = [*words, *(word for part in units for word in _words(part))]
        kind = _kind(more)
        words = more if kind else words
    said = {*words, *(word for part in units for word in _words(part))}
    known = UNIT_OF.get(kind, {})
    unit = next((known[part] for part in map(_spelt, units) if part in known), "")
    strange = [
        part for part in units
        if _spelt(part) not in known and not said_elsewhere(part) and not _is_form(part)
    ]  # fmt: skip
    if kind == "time" and not unit:
        unit = next((known[word] for word in words if word in known and word in _SINCE_START), "")
        unit = "ms" if "millis" in words else unit
    forms = " ".join(inside)
    return Head(
        text=text,
        kind=kind,
        unit=unit,
        strange_unit=strange[0] if strange and not unit else "",
        of_receiver=bool(said & _GPS),
        zone="utc" if said & set(_ZERO) else "local" if said & set(_LOCAL) else "",
        since_start=bool(said & _SINCE_START),
        day_order="d/m/y" if _DAY_FIRST.match(forms) else "m/d/y" if _MONTH_FIRST.match(forms)
        else "",
    )  # fmt: skip


def folded(text: str) -> str:
    """Return a text in small letters without accents."""
    parts = unicodedata.normalize("NFKD", text.casefold().replace("œ", "oe").replace("µ", "u"))
    return "".join(letter for letter in parts if not unicodedata.combining(letter))


def said_elsewhere(part: str) -> bool:
    """Return whether words in brackets tell of zone or source, not of a unit."""
    return set(_words(part)) <= {*_ZERO, *_LOCAL, *_GPS, *_EMPTY, "unix", "epoch", "true", "time"}


def _is_form(part: str) -> bool:
    """Return whether words in brackets show how a time is written, such as hh:mm:ss."""
    return not set(re.sub(r"[-:./,\s]", "", part)) - set("hmsydtjafzi+")


def _words(text: str) -> list[str]:
    return re.findall(r"[a-z0-9]+", text)


def _spelt(part: str) -> str:
    return " ".join(part.replace("⋅", " ").replace("·", " ").replace("^-", "-").split())


def _tail(name: str) -> str:
    found = _TAIL.search(name)
    return found[1] if found else ""


def _kind(words: list[str]) -> str:
    plain = tuple(words)
    bare = tuple(word for word in words if word not in _EMPTY and word not in _GPS)
    zoned = tuple(word for word in bare if word not in _ZERO and word not in _LOCAL)
    for one in (plain, bare, zoned):
        if one in _KIND_OF:
            return _KIND_OF[one]
    return ""
