"""What a change would break: fuse, voltages, class, brakes, tipping over, lithium."""

from collections.abc import Iterable, Iterator, Mapping
from functools import partial

from ridelog.analysis.braking.subject import BRAKING_CODES
from ridelog.analysis.subject import DANGER, WARNING, Caution, age_class_caution, general_cautions
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import ACCELERATION, CURRENT, both_units, plain, text, text_or_span
from ridelog.core.units import METRES_PER_FOOT, MPS_PER_KMH, SI, STANDARD_GRAVITY_MPS2
from ridelog.machine.electrics import electrical_sheet, in_words
from ridelog.machine.setup import MachineSetup, pack_voltage
from ridelog.machine.setup_check import dangers
from ridelog.machine.tipping import effective_track_m, lifts_forward_mps2

_NONE = "common practice, no source"
# Continuous load of a fuse at 25 °C as a share of its rating: maker guidance, from memory.
_FUSE_SHARE = 0.75
# Common blade fuses: 32 V or 58 V (ISO 8820-3).
_BLADE_FUSE_V = 32.0
# Rise of the stopping distance that is worth a caution; common practice, no source.
_LONGER_STOP = 1.10
# Tilt tables show 10-15 % less than track / (2 height) (FME report for The Oregonian, 2007).
_TIP_SHARE = 0.85
# Deceleration asked of vehicles up to 25 km/h: StVZO § 41 (4), eKFV § 4 (1).
_YARDSTICK_MPS2 = 3.5
# A rise of the top speed that reverse may share: own choice, less is not seen.
_SPEED_STEP = 1.02
# 6 km/h: Regulation (EU) 168/2013 Art. 2 (2) (a), eKFV § 1; the same as settings.WALKING_PACE_MPS.
_WALKING_MPS = 6.0 * MPS_PER_KMH

_warning = partial(Caution, gravity=WARNING)
Pair = tuple[Estimate | None, Estimate | None]
_BRAKES = ("brakes", "brake_decel_mps2")


def risks(
    before: MachineSetup,
    after: MachineSetup,
    measures: Mapping[str, Pair],
    seen: Iterable[Caution] = (),
) -> tuple[Caution, ...]:
    """Return the cautions of a change, particular ones first, the gravest of them first.

    Each measure has its estimates now and changed. ``seen`` is what rides on the machine as it is
    warn of: it lasts, but for brakes that the change is about.
    """
    other_brakes = any(getattr(before, key) != getattr(after, key) for key in _BRAKES)
    particular = (
        *(one for one in seen if not (other_brakes and one.code in BRAKING_CODES)),
        *_fuse(after, measures),
        *_voltages(before, after),
        *_speed(after, measures),
        *_brakes(after, measures),
        *_tipping(after, measures),
        *_lifting(after, measures),
        *_lithium(before, after),
        *_electrical(after),
        *_dangers(after),
    )
    return (*sorted(particular, key=lambda one: -one.gravity), *general_cautions())


def _dangers(after: MachineSetup) -> Iterator[Caution]:
    for doubt in dangers(after):
        yield Caution(doubt.code, doubt.text, None, None, doubt.source, gravity=DANGER)


# Lines of the electrical sheet of which the cautions above say more.
_SAID = ("fuse volts", "motor volts", "controller volts")


def _electrical(after: MachineSetup) -> Iterator[Caution]:
    """Say what the electrical sheet contradicts and nothing else says."""
    for line in electrical_sheet(after):
        if line.state == "contradicts" and not line.elsewhere and line.name not in _SAID:
            code = f"electrical_{line.name.replace(' ', '_')}"
            words = f"{line.name[0].upper()}{line.name[1:]} do not fit: {in_words(line.text)}"
            yield _warning(code, words, None, None, line.source)


def _after(measures: Mapping[str, Pair], name: str) -> Estimate | None:
    return measures[name][1] if name in measures else None


def _both_lengths(length_m: float) -> str:
    return f"{length_m:.0f} m ({length_m / METRES_PER_FOOT:.0f} ft)"


def _as_g(accel_mps2: float) -> str:
    return f"{accel_mps2 / STANDARD_GRAVITY_MPS2:.2f} g"


def _fuse(after: MachineSetup, measures: Mapping[str, Pair]) -> Iterator[Caution]:
    current = _after(measures, "battery_current_peak_a")
    if after.fuse_a is not None and current is not None:
        allowed = _FUSE_SHARE * after.fuse_a
        if current.high > allowed:
            sure = current.low > allowed
            yield _warning(
                "fuse_amperes",
                f"The battery current {'reaches' if sure else 'may reach'} "
                f"{text_or_span(current, CURRENT, SI)}, and a fuse of {after.fuse_a:g} A carries "
                f"{allowed:.0f} A for long: full throttle only briefly until it is measured. Size "
                "fuse, wires and connectors together; a larger fuse on the same wires protects "
                "nothing.",
                current.high,
                allowed,
                "fuse makers' guidance of 75 % at 25 °C, from memory",
            )
    pack = pack_voltage(after)
    if pack is None:
        return
    if after.fuse_v is not None and pack.full_v > after.fuse_v:
        yield _warning(
            "fuse_volts",
            f"Full, the battery has {pack.full_v:.1f} V; the fuse is rated {after.fuse_v:g} V and "
            "may not break the current.",
            pack.full_v,
            after.fuse_v,
            "ISO 8820-3: blade fuses of 32 V or 58 V",
        )
    elif after.fuse_v is None and pack.full_v > _BLADE_FUSE_V:
        yield Caution(
            "fuse_volts_unknown",
            f"Full, the battery has {pack.full_v:.1f} V. Common blade fuses are rated 32 V, others "
            "58 V: read what is printed on this one and write fuse_v into the set-up.",
            pack.full_v,
            _BLADE_FUSE_V,
            "ISO 8820-3: blade fuses of 32 V or 58 V",
        )
    if after.battery_max_a is not None and current is not None:
        if current.high > after.battery_max_a:
            yield _warning(
                "battery_amperes",
                f"The battery current may reach {plain(current.high, CURRENT, SI)}; the battery "
                f"allows {after.battery_max_a:g} A.",
                current.high,
                after.battery_max_a,
                "the set-up's battery_max_a",
            )


def _voltages(before: MachineSetup, after: MachineSetup) -> Iterator[Caution]:
    pack, old = pack_voltage(after), pack_voltage(before)
    if pack is None:
        return
    for name, part in (("motor_max_v", "motor"), ("controller_max_v", "controller")):
        limit = getattr(after, name)
        if limit is not None and pack.full_v > limit:
            yield Caution(
                f"{part}_over_voltage",
                f"Full, the battery has {pack.full_v:.1f} V; the {part}'s maker allows "
                f"{limit:g} V.",
                pack.full_v,
                limit,
                f"the set-up's {name}",
                gravity=DANGER,
            )
    if old is not None and pack.full_v > 1.001 * old.full_v:
        yield _warning(
            "more_volts",
            f"From {old.full_v:.1f} to {pack.full_v:.1f} V when full: motor, controller, wiring, "
            "connectors, switch, charger and fuse must each be rated for the full voltage and the "
            "new current.",
            pack.full_v,
            old.full_v,
            "engineering judgement; " + _NONE,
        )


def _speed(after: MachineSetup, measures: Mapping[str, Pair]) -> Iterator[Caution]:
    top = _after(measures, "top_speed_mps")
    if top is None:
        return
    limit = after.class_speed_kmh
    if limit is not None and top.high > limit * MPS_PER_KMH:
        sure = top.low > limit * MPS_PER_KMH
        yield _warning(
            "class_speed",
            f"The top speed {'is' if sure else 'may be'} above {both_units(limit * MPS_PER_KMH)}, "
            "its class or advised speed. A machine faster than its class may lose approval and "
            "insurance, and no longer fit its rider.",
            top.value,
            limit * MPS_PER_KMH,
            "the set-up's class speed; compare StVZO § 30a (1)",
        )
    by_age = None if after.adult_rider else age_class_caution(top.value, "reaches")
    if by_age is not None:
        yield by_age
    now = measures["top_speed_mps"][0]
    if after.has_reverse and now is not None and top.value > _SPEED_STEP * now.value:
        yield Caution(
            "reverse_speed",
            "Reverse may become faster as well: measure it again, walking pace is "
            f"{both_units(_WALKING_MPS)}.",
            None,
            _WALKING_MPS,
            "StVO § 21a (1) no. 3 calls reversing a walking-pace manoeuvre",
        )


def _brakes(after: MachineSetup, measures: Mapping[str, Pair]) -> Iterator[Caution]:
    now, stop = measures.get("stopping_distance_m", (None, None))
    if now is not None and stop is not None and stop.value > _LONGER_STOP * now.value:
        longer = stop.value / now.value - 1.0
        yield _warning(
            "longer_stop",
            f"From the new top speed it needs {_both_lengths(stop.value)} to stop, "
            f"{100 * longer:.0f} % more than now: brakes first, then speed.",
            stop.value,
            now.value,
            "physics: distance = speed × reaction time + speed² / (2 × deceleration)",
        )
    if after.brakes in ("none", "one"):
        yield _warning(
            "brakes",
            f"The set-up names {'no brake' if after.brakes == 'none' else 'one brake'}; two that "
            "work apart from each other are asked of small electric vehicles on German roads.",
            None,
            None,
            "eKFV § 4 (1)",
        )
    weak = after.brake_decel_mps2
    if weak is not None and weak < _YARDSTICK_MPS2:
        yield Caution(
            "weak_brakes",
            f"A hard stop of {_as_g(weak)} is below {_as_g(_YARDSTICK_MPS2)}, what slow vehicles "
            "must reach.",
            weak,
            _YARDSTICK_MPS2,
            "StVZO § 41 (4), design speed up to 25 km/h; eKFV § 4 (1)",
            gravity=DANGER,
        )


def _tipping(after: MachineSetup, measures: Mapping[str, Pair]) -> Iterator[Caution]:
    lateral = _after(measures, "lateral_accel_mps2")
    track_m = effective_track_m(after)
    if track_m is None or after.cg_height_m is None or lateral is None:
        return
    limit = _TIP_SHARE * track_m / (2.0 * after.cg_height_m) * STANDARD_GRAVITY_MPS2
    if lateral.high > limit:
        yield Caution(
            "tip_over",
            f"Taken that much faster, the hardest turn ridden asks for {_as_g(lateral.value)} "
            f"sideways (up to {_as_g(lateral.high)}); with this track width and height of the "
            f"centre of gravity the machine may tip over from {_as_g(limit)} on. Advisory only: "
            "rider, springs and tyres move it.",
            lateral.value,
            limit,
            "static stability factor, NHTSA; tilt tables 10-15 % below: FME for The Oregonian, "
            "2007",
            gravity=DANGER,
        )


def _lifting(after: MachineSetup, measures: Mapping[str, Pair]) -> Iterator[Caution]:
    pull, limit = _after(measures, "pull_at_0_mps2"), lifts_forward_mps2(after)
    if pull is None or limit is None or pull.high < limit:
        return
    yield _warning(
        "tips_backwards",
        f"At full throttle from standstill the pull is {text(pull, ACCELERATION, SI)}; from "
        f"{plain(limit, ACCELERATION, SI)} the front wheels lift (rear wheels driven, weight as in "
        "the set-up), uphill as on the level. Open the throttle gently, lean forward, and let "
        "nobody start who has not been told.",
        pull.value,
        limit,
        "g b / h: moments about the contact of the rear wheels (Cossalter, Motorcycle Dynamics, "
        "2006, from memory)",
    )


def _lithium(before: MachineSetup, after: MachineSetup) -> Iterator[Caution]:
    names = ("battery_cells", "battery_chemistry", "battery_nominal_v", "battery_full_v",
             "battery_capacity_ah")  # fmt: skip
    if all(getattr(before, name) == getattr(after, name) for name in names):
        return
    yield _warning(
        "battery_care",
        "A battery is changed: use only a battery and a charger made for each other and for this "
        "machine, tested and marked; do not charge unattended, overnight, near an exit, below 0 °C "
        "or above 40 °C; stop at smell, swelling, heat, leaking or a change of colour; repairs "
        "belong in qualified hands.",
        None,
        None,
        "NFPA tip sheets, as printed by fire services",
    )
