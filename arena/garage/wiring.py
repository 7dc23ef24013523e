"""From a car's pump to things on a bench: resistor, PWM, conductor, fuse, relay, and wiring that fails to full pump.

`advise` works everything out; `wiring_reasons.py` says by which formula and from what source each number comes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from arena.errors import BadInput
from arena.garage.bench_pump import RPM, BenchPump, Load, RunningPoint
from arena.garage.conductors import LeadAdvice, lead_advice
from arena.garage.dropping import DroppingAdvice, dropping_advice
from arena.garage.fail_on import FailOn, fail_on
from arena.garage.pulsing import PulseAdvice, pulse_advice
from arena.plant.electrics import signal_speed_share
from arena.plant.numbers import CarNumbers

SUPPLIES_V: Final = (12.6, 13.8, 14.4)
USUAL_FLOW_L_MIN: Final = 6.0
USUAL_SHARE: Final = 0.4  # of full flow, where that is less
HOT_DAY_C: Final = 40.0
DEFAULT_LENGTH_M: Final = 3.5

CAUTIONS: Final = (
    "Coolant is hot and under pressure. Open the system only when cold. Watch the level: a leaking core lets "
    "coolant into the cylinders.",
    "A dropping resistor gets hot enough to burn skin and to start a fire: metal mount, a fuse, away from plastic, "
    "hoses and fuel.",
    "Fuse at the source; conductor rated for the stall current or protected by the fuse; flyback path for PWM.",
    "The pump must not run dry. Coolant standing still in the core can boil on boost.",
    "A failed probe, a resetting computer or a broken signal wire must mean full pump: try each of them on the bench.",
    "Simulation is no knock protection: watch knock and temperatures on the car.",
    "No tuning while driving; tests off public roads or by a passenger.",
    "Local road-worthiness, noise and emission rules and licensed trades come first.",
)


@dataclass(frozen=True)
class MotorFacts:
    """The pump's motor as the car file has it, and what follows at each supply voltage."""

    resistance_ohm: float
    ke_v_s: float
    brush_v: float
    start_v: float
    start_a: float
    stall_v: float
    lead_ohm: float
    load: str
    design_v: float
    no_load_rpm: float  # at the design voltage, without any torque
    stall_nm: float
    stall_current_a: tuple[float, ...]  # one a supply voltage
    full: tuple[RunningPoint, ...]
    bench_a: float  # at rated_v at the plug, to hold against the clamp meter
    rated_a: float
    rated_v: float


@dataclass(frozen=True)
class SignalRow:
    """A pump with its own controller at one signal duty and the design voltage."""

    duty: float
    speed_share: float
    speed_rpm: float
    flow_l_min: float
    battery_a: float


@dataclass(frozen=True)
class Wiring:
    """Everything `arena wiring` tells."""

    car: str
    flow_l_min: float
    supplies_v: tuple[float, ...]
    bay_c: float
    motor: MotorFacts
    dropping: DroppingAdvice | None
    pulsing: PulseAdvice | None
    signal: tuple[SignalRow, ...]
    signal_still: tuple[tuple[float, float], ...]  # stretches of signal duty in which a signal pump stands still
    leads: LeadAdvice
    fail_on: tuple[FailOn, ...]
    run_on_ah: float
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def advise(
    car: CarNumbers,
    name: str = "car",
    flow_l_min: float | None = None,
    length_m: float = DEFAULT_LENGTH_M,
    supplies_v: tuple[float, ...] = SUPPLIES_V,
    mine_ohm: tuple[float, ...] = (),
    duties: tuple[float, ...] = (),
    load: Load | None = None,
    bay_c: float | None = None,
) -> Wiring:
    """All the advice for one car. Raises BadInput for a pump that cannot be, a flow it cannot reach, or bad options."""
    _check(flow_l_min, length_m, supplies_v, mine_ohm, duties, bay_c)
    pump = BenchPump(car, load, name)
    hot = bay_c if bay_c is not None else HOT_DAY_C + max(car.body.bay_rise_traffic_k, car.body.bay_rise_soak_k)
    motor = motor_facts(pump, supplies_v)
    stands = [p.supply_v for p in motor.full if not p.speed_rpm]
    if stands:
        raise BadInput(f"{name}: the pump does not turn at {stands[0]:g} V", "Give a higher --at-v, or check the pump.")
    full = next(p for p in motor.full if p.supply_v == motor.design_v).flow_l_min
    flow = flow_l_min if flow_l_min is not None else min(USUAL_FLOW_L_MIN, USUAL_SHARE * full)
    signal = car.pump.kind == "signal"
    if flow >= full:
        raise BadInput(
            f"--flow-l-min {flow:g}: this pump moves {full:.1f} L/min at {motor.design_v:g} V with nothing in series",
            f"Ask for less than {full:.1f} L/min.",
        )
    high = max(supplies_v)
    top = next(p for p in motor.full if p.supply_v == high)
    run_on = pump.at(car.supply.off_v).current_a * 10.0 / 60.0
    return Wiring(
        name, flow, supplies_v, hot, motor,
        None if signal else dropping_advice(pump, flow, supplies_v, hot, mine_ohm),
        None if signal else pulse_advice(pump, flow, supplies_v, hot, duties),
        signal_rows(pump, motor.design_v, duties) if signal else (), still_stretches(car) if signal else (),
        lead_advice(length_m, top.current_a, pump.stall_a(high), high, hot),
        fail_on(car, run_on), run_on, tuple(_notes(pump, motor, mine_ohm, load)), CAUTIONS,
    )  # fmt: skip


def still_stretches(car: CarNumbers) -> tuple[tuple[float, float], ...]:
    """Stretches of signal duty (from, to), 0..1, in which a pump with its own controller stands still."""
    grid = [k / 1000.0 for k in range(1001)]
    still = [signal_speed_share(d, car.pump.signal_duty, car.pump.signal_speed) <= 0.0 for d in grid]
    starts = [k for k in range(1001) if still[k] and (k == 0 or not still[k - 1])]
    ends = [k for k in range(1001) if still[k] and (k == 1000 or not still[k + 1])]
    return tuple((grid[a], grid[b]) for a, b in zip(starts, ends, strict=True))


def load_from(text: str | None) -> Load | None:
    """`CONSTANT,SQUARED` as a load; None for None. Raises BadInput for anything else."""
    if text is None:
        return None
    try:
        constant, squared = (float(part) for part in text.split(","))
    except ValueError:
        constant = squared = float("nan")
    if not (0.0 <= constant < 100.0 and 0.0 <= squared < 1.0 and constant + squared > 0.0):
        raise BadInput(
            f"--load-nm {text}: not two numbers CONSTANT,SQUARED from 0 in N m and N m s2, one of them above 0",
            "Write for example --load-nm 0.004,4e-7.",
        )
    return Load(constant, squared)


def motor_facts(pump: BenchPump, supplies_v: tuple[float, ...]) -> MotorFacts:
    """What the motor does at each supply voltage."""
    p = pump.car.pump
    design = sorted(supplies_v)[len(supplies_v) // 2]
    load = pump.load
    words = (
        "hydraulics of the car at 40 degC and its friction"
        if load is None
        else f"{load.constant_nm:g} N m + {load.squared_nm_s2:g} N m s2 x speed^2, as given"
    )
    return MotorFacts(
        p.resistance_ohm, p.ke_v_s, p.brush_v, p.start_v, pump.start_a, pump.stall_v(), pump.lead_ohm, words, design,
        (design - p.brush_v) / p.ke_v_s * RPM, p.ke_v_s * pump.stall_a(design),
        tuple(pump.stall_a(v) for v in supplies_v), tuple(pump.at(v) for v in supplies_v),
        pump.plug_a(p.rated_v), p.rated_current_a, p.rated_v,
    )  # fmt: skip


def signal_rows(pump: BenchPump, supply_v: float, duties: tuple[float, ...] = ()) -> tuple[SignalRow, ...]:
    """Signal duty to flow of a pump with its own controller; its electronics' own losses are left out."""
    p, top = pump.car.pump, pump.at(supply_v)
    rows = []
    for duty in duties or tuple(0.1 * k for k in range(11)):
        share = float(signal_speed_share(duty, p.signal_duty, p.signal_speed))
        speed = share * top.speed_rad_s
        amps = pump.torque_nm(speed) / p.ke_v_s if speed else 0.0
        volts = p.brush_v + p.resistance_ohm * amps + p.ke_v_s * speed if speed else 0.0
        rows.append(SignalRow(duty, share, speed * RPM, pump.flow_l_min(speed), amps * volts / supply_v))
    return tuple(rows)


def _check(
    flow_l_min: float | None,
    length_m: float,
    supplies_v: tuple[float, ...],
    mine_ohm: tuple[float, ...],
    duties: tuple[float, ...],
    bay_c: float | None,
) -> None:
    def outside(value: float, low: float, high: float) -> bool:
        return not low <= value <= high

    faults = []
    if flow_l_min is not None and outside(flow_l_min, 0.1, 500.0):
        faults.append(f"--flow-l-min {flow_l_min:g}: outside 0.1..500 L/min")
    if outside(length_m, 0.1, 50.0):
        faults.append(f"--length-m {length_m:g}: outside 0.1..50 m")
    faults += [f"--at-v {v:g}: outside 3..60 V" for v in supplies_v if outside(v, 3.0, 60.0)]
    faults += [f"--resistor-ohm {r:g}: outside 0..100 ohm" for r in mine_ohm if outside(r, 0.0, 100.0)]
    faults += [f"--duty-pct {100 * d:g}: outside 0..100 %" for d in duties if outside(d, 0.0, 1.0)]
    if bay_c is not None and outside(bay_c, -40.0, 120.0):
        faults.append(f"--bay-c {bay_c:g}: outside -40..120 degC")
    if len(set(supplies_v)) != len(supplies_v):
        faults.append("--at-v: the same voltage is given twice")
    if faults:
        raise BadInput(faults, "Give a value in that range.")


def _notes(pump: BenchPump, motor: MotorFacts, mine_ohm: tuple[float, ...], load: Load | None) -> list[str]:
    found = []
    p = pump.car.pump
    if load is None and abs(motor.bench_a / p.rated_current_a - 1.0) > 0.15:
        found.append(
            f"at {p.rated_v:g} V these numbers give {motor.bench_a:.1f} A, the car file's rated_a is "
            f"{p.rated_current_a:g} A: check resistance, ke and friction against a clamp meter before buying"
        )
    if p.kind == "signal":
        found.append(
            "a pump with its own controller: no dropping resistor and no pulsed feed, its signal sets the speed"
        )
        if mine_ohm:
            found.append("--resistor-ohm is left out of account for it")
    found.append("coolant at 40 degC; a cold start on thick coolant moves less and draws more")
    return found
