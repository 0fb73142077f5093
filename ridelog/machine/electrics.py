"""The electrical sheet: each part against the pack as confirmed, contradicting, or not confirmed.

What nobody has read off a part stays "not confirmed" until somebody writes it into the set-up: a
part that was never asked about is how a lamp burns out on a bigger pack. The sheet replaces no
licensed work; local codes come first.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ridelog.core.estimate import QUANTILE
from ridelog.machine.pack import kind_of, resistance_ohm, resting_full_v, resting_share
from ridelog.machine.setup import KEYS, MachineSetup, pack_voltage
from ridelog.present.words import joined

_KEY = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")
State = Literal["confirmed", "contradicts", "not confirmed"]

# Specific resistance of annealed copper at 20 °C: IEC 60028, 1 / 58 ohm mm²/m. [ohm mm²/m]
COPPER_OHM_MM2PM = 1.0 / 58.0
# Continuous amperes of copper wires with PVC at 30 °C by square millimetres, from memory: two of
# them in conduit (IEC 60364-5-52, table B.52.2, method B1), and lying free in a vehicle (Bosch,
# Automotive Handbook, electrical conductors for motor vehicles, after ISO 6722).
_SIZES_MM2 = (0.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0)
_IN_CONDUIT_A = (
    0.0, 17.5, 24.0, 32.0, 41.0, 57.0, 76.0, 101.0, 125.0, 151.0, 192.0, 232.0, 269.0
)  # fmt: skip
_FREE_A = (
    0.0, 24.0, 32.0, 42.0, 54.0, 73.0, 98.0, 129.0, 158.0, 198.0, 245.0, 292.0, 344.0
)  # fmt: skip
_WIRE_SOURCE = (
    "IEC 60364-5-52, table B.52.2, method B1; free in a vehicle: Bosch, Automotive Handbook (both "
    "from memory)"
)
# Voltage drop: IEC 60364-5-52, annex G, 5 % for other uses than lighting (from memory).
_DROP_SHARE = 0.05
# A converter is loaded to at most this; fuses carry this share of their rating for long (makers'
# guidance at 25 °C, from memory).
_CONVERTER_SHARE, _FUSE_SHARE = 0.80, 0.75
# Cells whose maker says nothing: amperes for each ampere hour that hardly any stands; common
# practice, no source.
_MOST_C = {"li-ion": 5.0, "lifepo4": 5.0, "lead-acid": 5.0}
_LABEL = "the set-up's own figures"


@dataclass(frozen=True)
class SheetLine:
    """One line of the electrical sheet: what is checked, its state, why, and by what.

    ``elsewhere`` is True where ``setup_check.contradictions`` says the same.
    """

    name: str
    state: State
    text: str
    source: str = _LABEL
    elsewhere: bool = False


def ampacity_a(wire_mm2: float, *, free: bool = False) -> float:
    """Return what a copper wire carries for long, in conduit or lying free in a vehicle. [A]

    On straight lines between the sizes of the tables, which bend the other way.
    """
    return float(np.interp(wire_mm2, _SIZES_MM2, _FREE_A if free else _IN_CONDUIT_A))


def voltage_drop_v(wire_mm2: float, length_m: float, current_a: float) -> float:
    """Return the drop over both ways of a copper wire at 20 °C. [V]

    ``length_m`` is the length of one way.
    """
    return 2.0 * length_m * COPPER_OHM_MM2PM / wire_mm2 * current_a


def in_words(text: str) -> str:
    """Return a line of the sheet with the questions of its keys in place of their names."""

    def asked(found: re.Match[str]) -> str:
        key = KEYS.get(found[0])
        return f"“{key.question}”" if key else found[0]

    return _KEY.sub(asked, text)


def by_kind(names: Iterable[str]) -> str:
    """Return names of lines in short, those of one kind together: "volts of motor and switch"."""
    kinds: dict[str, list[str]] = {}
    for part, _, kind in (name.rpartition(" ") for name in names):
        kinds.setdefault(kind, []).append(part)
    return "; ".join(
        f"{kind} of {joined(parts)}" if all(parts) else kind for kind, parts in kinds.items()
    )


def electrical_sheet(setup: MachineSetup) -> tuple[SheetLine, ...]:
    """Return every line of the sheet, in one order for all set-ups."""
    return (*_volts(setup), *_currents(setup), *_supply(setup), *_charger(setup))


# Parts that see the pack's full volts: key of the rating, words.
_RATED = (
    ("controller_max_v", "controller"),
    ("motor_max_v", "motor"),
    ("fuse_v", "fuse"),
    ("switch_max_v", "switch"),
    ("connector_max_v", "connector"),
    ("display_max_v", "display"),
    ("converter_max_v", "converter"),
)


def _volts(setup: MachineSetup) -> Iterator[SheetLine]:
    pack = pack_voltage(setup)
    for key, part in _RATED:
        rated = getattr(setup, key)
        if rated is None or pack is None:
            missing = key if rated is None else "the battery's voltage"
            yield SheetLine(f"{part} volts", "not confirmed", f"{missing} is not known.")
        elif pack.full_v > rated * 1.0001:
            yield SheetLine(
                f"{part} volts", "contradicts",
                f"Full, the battery has {pack.full_v:.1f} V; {key} = {rated:g} V.",
            )  # fmt: skip
        else:
            yield SheetLine(
                f"{part} volts", "confirmed", f"{rated:g} V for {pack.full_v:.1f} V when full."
            )
    # Lamps and horn on the pack itself, or behind a converter.
    for part, verb in (("lights", "take"), ("horn", "takes")):
        low, high = getattr(setup, f"{part}_min_v"), getattr(setup, f"{part}_max_v")
        supply = setup.converter_out_v
        if high is None or (pack is None and supply is None):
            missing = f"{part}_max_v" if high is None else "the battery's voltage"
            yield SheetLine(f"{part} volts", "not confirmed", f"{missing} is not known.")
            continue
        if supply is not None:
            first, last = supply, supply
        else:
            assert pack is not None
            first, last = setup.controller_cutoff_v or pack.empty_v, pack.full_v
        wrong = last > high * 1.0001 or (low is not None and first < low)
        feed = f"{first:.1f} to {last:.1f} V" if first != last else f"{last:g} V"
        takes = f"{part} {verb} {'' if low is None else f'{low:g} to '}{high:g} V"
        state: State = "contradicts" if wrong else "confirmed"
        yield SheetLine(f"{part} volts", state, f"The {takes}; they get {feed}.")


def _currents(setup: MachineSetup) -> Iterator[SheetLine]:
    limit, fuse = setup.battery_limit_a, setup.fuse_a
    lasting = setup.battery_continuous_a
    if limit is None or fuse is None:
        missing = "battery_limit_a" if limit is None else "fuse_a"
        yield SheetLine("fuse amperes", "not confirmed", f"{missing} is not known.")
    elif limit >= fuse:
        yield SheetLine(
            "fuse amperes", "contradicts",
            f"battery_limit_a = {limit:g} A is at or above fuse_a = {fuse:g} A: it may blow while "
            "riding, or was chosen too small.",
            elsewhere=limit > fuse,
        )  # fmt: skip
    elif lasting is not None and lasting > _FUSE_SHARE * fuse:
        yield SheetLine(
            "fuse amperes", "contradicts",
            f"battery_continuous_a = {lasting:g} A is above {_FUSE_SHARE * fuse:.0f} A, what a "
            f"fuse of {fuse:g} A carries for long.",
            "fuse makers' guidance of 75 % at 25 °C, from memory",
        )  # fmt: skip
    else:
        known = lasting is not None
        yield SheetLine(
            "fuse amperes", "confirmed" if known else "not confirmed",
            f"The peak of {limit:g} A is below the fuse of {fuse:g} A"
            + ("." if known else "; battery_continuous_a, which heats it, is not known."),
            "fuse makers' guidance of 75 % at 25 °C, from memory",
        )  # fmt: skip
    wire = setup.wire_mm2
    free_a = None if wire is None else ampacity_a(wire, free=True)
    for key, part, amps, source in (
        ("wire_mm2", "wire", free_a, _WIRE_SOURCE),
        ("connector_max_a", "connector", setup.connector_max_a, _LABEL),
        ("battery_max_a", "battery", setup.battery_max_a, _LABEL),
    ):
        if amps is None or fuse is None:
            missing = key if amps is None else "fuse_a"
            yield SheetLine(f"{part} amperes", "not confirmed", f"{missing} is not known.", source)
            continue
        over = fuse > amps * 1.0001
        state: State = "contradicts" if over else "confirmed"
        told = f"which carries {amps:.3g} A."
        if part == "wire" and not over and wire is not None and fuse > ampacity_a(wire) * 1.0001:
            state = "not confirmed"
            told = (
                f"which carries {amps:.3g} A where it lies free in air, {ampacity_a(wire):.3g} A "
                "in conduit or a closed frame."
            )
        yield SheetLine(
            f"{part} amperes", state,
            f"The fuse of {fuse:g} A {'does not protect' if over else 'protects'} the {part}, "
            f"{told}",
            source,
        )  # fmt: skip
    yield from _cells(setup, limit)
    pack = pack_voltage(setup)
    if wire is None or setup.wire_length_m is None or limit is None or pack is None:
        yield SheetLine(
            "voltage drop", "not confirmed", "wire_mm2, wire_length_m, battery_limit_a or the "
            "battery's voltage is not known.", "IEC 60028; IEC 60364-5-52, annex G (from memory)",
        )  # fmt: skip
    else:
        drop = voltage_drop_v(wire, setup.wire_length_m, limit)
        over = drop > _DROP_SHARE * pack.nominal_v
        yield SheetLine(
            "voltage drop", "contradicts" if over else "confirmed",
            f"At {limit:g} A the wires lose {drop:.2f} V of {pack.nominal_v:.1f} V.",
            "IEC 60028; IEC 60364-5-52, annex G: 5 % (from memory)",
        )  # fmt: skip


def _cells(setup: MachineSetup, limit: float | None) -> Iterator[SheetLine]:
    capacity, chemistry = setup.battery_capacity_ah, setup.battery_chemistry or "li-ion"
    if limit is not None and setup.battery_max_a is not None and limit > setup.battery_max_a:
        yield SheetLine(
            "cells", "contradicts", f"battery_limit_a = {limit:g} A is above battery_max_a = "
            f"{setup.battery_max_a:g} A.",
            elsewhere=True,
        )  # fmt: skip
    elif limit is not None and capacity is not None and setup.battery_max_a is None:
        most = _MOST_C[chemistry] * capacity
        over = limit > most
        yield SheetLine(
            "cells", "contradicts" if over else "not confirmed",
            f"battery_limit_a = {limit:g} A is {limit / capacity:.1f} times the {capacity:g} Ah; "
            + ("hardly any cells stand that." if over else "battery_max_a is not known."),
            "five times the ampere hours: common practice, no source",
        )  # fmt: skip
    given = setup.battery_resistance_ohm
    full, ohm = resting_full_v(setup), given or resistance_ohm(setup)
    cutoff, pack = setup.controller_cutoff_v, pack_voltage(setup)
    if None not in (full, ohm, cutoff, limit, pack):
        assert full is not None and ohm is not None and limit is not None and cutoff is not None
        half = full * float(resting_share(setup, np.array([0.5]))[0])
        under = half - ohm * limit
        # Cells made for much current resist less: one in twenty at most by this share.
        spread = 0.0 if given else QUANTILE * kind_of(setup).resistance_log_sd
        best = half - ohm * float(np.exp(-spread)) * limit
        state: State = (
            "contradicts" if best < cutoff else "not confirmed" if under < cutoff else "confirmed"
        )
        cells = f", {best:.1f} V with the best of such cells," if under < min(cutoff, best) else ""
        yield SheetLine(
            "sag", state,
            f"Half full the battery has {half:.1f} V and sags to {under:.1f} V{cells} at "
            f"{limit:g} A; the controller cuts off at {cutoff:g} V"
            + ("; battery_resistance_ohm is not known." if state == "not confirmed" else "."),
            "U - R I; resistance of the pack given, or from its cells (machine (12))",
        )  # fmt: skip


def _supply(setup: MachineSetup) -> Iterator[SheetLine]:
    watts = [setup.lights_w, setup.horn_w, setup.accessories_w]
    rated = setup.converter_w
    if rated is None or all(one is None for one in watts):
        yield SheetLine("converter watts", "not confirmed", "converter_w or its loads are unknown.")
    else:
        total = sum(one or 0.0 for one in watts)
        over = total > _CONVERTER_SHARE * rated
        known = all(one is not None for one in watts)
        yield SheetLine(
            "converter watts",
            "contradicts" if over else "confirmed" if known else "not confirmed",
            f"Its loads take {total:g} W of {rated:g} W; at most 80 % should be used.",
            "80 % of the rating: common practice, no source",
        )
    pack, least = pack_voltage(setup), setup.converter_min_v
    if pack is not None and least is not None:
        lowest = setup.controller_cutoff_v or pack.empty_v
        yield SheetLine(
            "converter least volts", "contradicts" if lowest < least else "confirmed",
            f"It works from {least:g} V; empty, the battery has {lowest:.1f} V.",
        )  # fmt: skip


def _charger(setup: MachineSetup) -> Iterator[SheetLine]:
    pack, volts, amps = pack_voltage(setup), setup.charger_v, setup.charger_a
    if pack is None or volts is None:
        missing = "charger_v" if volts is None else "the battery's voltage"
        yield SheetLine("charger volts", "not confirmed", f"{missing} is not known.")
    else:
        # A lead-acid charger ends above the voltage at rest.
        most = 1.16 if setup.battery_chemistry == "lead-acid" else 1.01
        wrong = not 0.95 * pack.full_v <= volts <= most * pack.full_v
        yield SheetLine(
            "charger volts", "contradicts" if wrong else "confirmed",
            f"charger_v = {volts:g} V for a battery of {pack.full_v:.1f} V when full.",
        )  # fmt: skip
    if amps is None or setup.battery_capacity_ah is None:
        missing = "charger_a" if amps is None else "battery_capacity_ah"
        yield SheetLine("charger amperes", "not confirmed", f"{missing} is not known.")
    else:
        over = amps > setup.battery_capacity_ah
        yield SheetLine(
            "charger amperes", "contradicts" if over else "confirmed",
            f"charger_a = {amps:g} A for {setup.battery_capacity_ah:g} Ah.",
            "at most the capacity in one hour: common practice, no source",
        )  # fmt: skip
