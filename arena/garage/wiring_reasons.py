"""By which formula and from what source each number of the wiring advice comes: one entry a name.

Names are those of the JSON document. "From memory" means that the standard or sheet was not looked up.
"""

from __future__ import annotations

from typing import Final, NamedTuple


class Reason(NamedTuple):
    """Formula in words of the trade, and where it comes from."""

    formula: str
    source: str


_CAR = "the car file, or its default (from memory, `arena check` says which)"
_CIRCUIT = "Ohm's and Kirchhoff's laws"
_MOTOR = "brushed DC motor: V = I R + brush + Ke w, torque = Ke I (textbook)"
_PWM = "closed form of the current through R and L against a back EMF, freewheeling through an ideal diode"
_PART = "part data assumed, from memory"

MOTOR: Final[dict[str, Reason]] = {
    "resistance_ohm": Reason("winding and brushes' leads", _CAR),
    "ke_v_s": Reason("volts for each rad/s, equal to N m for each ampere", _CAR),
    "brush_v": Reason("constant drop at the brushes", _CAR),
    "start_v": Reason("volts at the motor that break a resting rotor away", _CAR),
    "start_a": Reason("(start_v - brush_v) / resistance_ohm", _MOTOR),
    "stall_v": Reason("brush_v + (torque at standstill / Ke) x (R + leads): a turning pump stops below it", _MOTOR),
    "lead_ohm": Reason("leads there and back, as they are now", _CAR),
    "design_v": Reason("the middle one of the supply voltages", "common practice: engine running"),
    "no_load_rpm": Reason("(V - brush) / Ke", _MOTOR),
    "stall_nm": Reason("Ke (V - brush) / (R + leads)", _MOTOR),
    "stall_current_a": Reason("(V - brush) / (R + leads), rotor held", _MOTOR),
    "bench_a": Reason("current with rated_v at the plug by these numbers", _MOTOR),
    "rated_a": Reason("current measured in the car", _CAR),
    "rated_v": Reason("voltage it was measured at", _CAR),
    "run_on_ah": Reason("current at supply.off_v, pump at full, x 10 minutes", _CIRCUIT),
    "bay_c": Reason("40 degC day + the larger of the bay's rise in traffic and after shut-down", _CAR),
}

POINT: Final[dict[str, Reason]] = {
    "supply_v": Reason("12.6 engine off, 13.8 running, 14.4 highest charging, or --at-v", "common practice, no source"),
    "supplies_v": Reason("the supply voltages asked about", "asked for"),
    "series_ohm": Reason("resistor in series", "asked for"),
    "duty": Reason("share of the period the switch is on", "asked for, or solved for the wanted flow"),
    "speed_rpm": Reason("root of Ke (V - brush - Ke w) / (R + leads + resistor) = load torque", _MOTOR),
    "speed_rad_s": Reason("the same", _MOTOR),
    "flow_l_min": Reason(
        "pump curve by affinity laws against the loop's loss, coolant at 40 degC",
        "affinity laws; curves of the car file",
    ),
    "flows_l_min": Reason("the same, one a supply voltage", "affinity laws; curves of the car file"),
    "current_a": Reason("load torque / Ke; mean over the period on PWM", _MOTOR),
    "motor_v": Reason("V - I x (leads + resistor); mean over the period on PWM, leads included there", _CIRCUIT),
    "resistor_w": Reason("I^2 x resistor", _CIRCUIT),
    "lead_w": Reason("I^2 x leads", _CIRCUIT),
    "winding_w": Reason("I^2 R; with the mean square of the current and the leads on PWM", _CIRCUIT),
    "brush_w": Reason("I x brush_v", _CIRCUIT),
    "shaft_w": Reason("load torque x speed (friction, pump losses and water together)", "mechanics"),
    "supply_w": Reason("V x current drawn from the supply", _CIRCUIT),
    "balance_w": Reason("supply_w less resistor, leads, winding, brushes and shaft: nothing but rounding", "first law"),
}

RESISTOR: Final[dict[str, Reason]] = {
    "ohm": Reason("(V - brush - I R - Ke w) / I - leads, with w and I = torque / Ke of the wanted flow", _MOTOR),
    "stall_w": Reason("I^2 x resistor with the rotor held: I = (V - brush) / (R + leads + resistor)", _CIRCUIT),
    "stall_a": Reason("that current", _CIRCUIT),
    "shorted_w": Reason("V^2 resistor / (resistor + leads)^2, pump's leads shorted: the most it can see", _CIRCUIT),
    "derating": Reason("(250 - bay) / (250 - 25), degC", "metal-clad wirewound makers' sheets, from memory"),
    "starting_v": Reason("lowest of the supply voltages: a start must work there", "judgement"),
    "most_ohm_that_starts": Reason("(V - brush) / start_a - R - leads at starting_v", _MOTOR),
    "least_flow_that_starts_l_min": Reason("flow at the design voltage through that resistor", _MOTOR),
    "parts_ohm": Reason("preferred numbers, ratio nearest 1", "IEC 60063 rows E12 and E24, from memory"),
    "hotter_share": Reason("series: R1 / (R1 + R2); side by side: the same for the smaller one", _CIRCUIT),
    "needed_w": Reason(
        "larger of running / 0.5 and rotor held, at the highest voltage, over the derating: no fuse opens in that "
        "stall, "
        "so the resistor must bear it for good; half in running keeps its surface down",
        "judgement; the factor 0.5 is common practice, no source",
    ),
    "needed_hotter_w": Reason("needed_w x hotter_share", _CIRCUIT),
    "rating_w": Reason("next rating sold above needed_hotter_w, screwed to metal", "common practice, no source"),
    "surface_running_c": Reason("bay + watts / rating x 225 K", "same straight line as the derating, from memory"),
    "surface_stall_c": Reason("the same with the rotor held", "same straight line as the derating, from memory"),
}

PULSES: Final[dict[str, Reason]] = {
    "hz": Reason("pump.pwm_hz, or the row's", _CAR),
    "start_duty": Reason("lowest duty whose mean current at rest reaches start_a, one a supply voltage", _PWM),
    "stall_duty": Reason(
        "duty whose mean current at rest no longer holds running friction, one a supply voltage", _PWM
    ),
    "flow_duty": Reason("duty of the wanted flow at the design voltage", _PWM),
    "min_a": Reason("lowest current of the period", _PWM),
    "max_a": Reason("highest current of the period", _PWM),
    "rms_a": Reason("root of the mean square over the period", _PWM),
    "supply_a": Reason("mean current drawn while the switch is on, over the whole period", _PWM),
    "supply_rms_a": Reason("root of its mean square", _PWM),
    "diode_a": Reason("mean motor current less mean supply current", _CIRCUIT),
    "smooth_rpm": Reason("the same duty with mean voltage duty x V and no ripple", _MOTOR),
    "smooth_a": Reason("the same duty with mean voltage duty x V and no ripple", _MOTOR),
    "smooth_supply_w": Reason("duty x V x I", _CIRCUIT),
    "smooth_balance_w": Reason("duty x V x I less where it goes: nothing but rounding", "first law"),
    "ripple_a": Reason("max_a - min_a at the wanted flow", _PWM),
    "rms_over_mean": Reason("rms_a / current_a: its square is the extra heat in the winding", _PWM),
    "speed_swing_pct": Reason("about (1 - duty) / (hz x spin_up_tau_s)", "first-order run-down of the rotor; rough"),
    "steady_hz": Reason("hz at which speed_swing_pct is 10 %", "judgement"),
    "continuous_hz": Reason("hz above which min_a stays over 0 at the wanted flow", _PWM),
    "loss_hz": Reason("hz at which switching_w is 0.5 W", "judgement; " + _PART),
    "switching_w": Reason("0.5 V max_a (rise + fall) hz, rise + fall 1 us", _PART),
    "conduction_w": Reason("supply_rms_a^2 x 10 mohm", _PART),
    "diode_w": Reason("diode current x 0.6 V", _PART),
    "filter_uf": Reason(
        "I (1 - duty) / (hz x 0.5 V): feeds the on time within 0.5 V", "charge balance; 0.5 V is judgement"
    ),
    "peak_a": Reason("highest max_a over duty, running", _PWM),
    "switch_rms_a": Reason("highest supply_rms_a over duty, running", _PWM),
    "switch_w": Reason("conduction and switching, worst duty, running", _PART),
    "switch_stall_w": Reason("stall current^2 x 10 mohm: it must bear that until the fuse opens", _PART),
    "diode_mean_a": Reason("highest diode_a over duty, running", _PWM),
    "diode_stall_a": Reason("highest mean diode current over duty with the rotor held", _PWM),
    "sink_k_w": Reason("(150 degC - bay) / worst switch heat", "common practice, no source"),
    "supply_ripple_rms_a": Reason("root of supply_rms_a^2 - supply_a^2, worst duty: what the capacitor carries", _PWM),
    "signal_still": Reason("signal duties at which the car file's points give no speed", _CAR),
    "speed_share": Reason("straight between the car file's signal points", _CAR),
    "battery_a": Reason("motor volts x amps / supply volts; the controller's own losses are left out", _CIRCUIT),
}

LEADS: Final[dict[str, Reason]] = {
    "length_m": Reason("one way, battery to pump", "asked for"),
    "running_a": Reason("pump at full, highest supply voltage", _MOTOR),
    "drop_limit_v": Reason("3 % of the supply, there and back, at running current", "common practice, no source"),
    "area_mm2": Reason("smallest that keeps the drop and outlives the fuse", "IEC 60228 sizes, class 5 (flexible)"),
    "ohm_20c": Reason("2 x length x highest resistance at 20 degC", "IEC 60228, class 5, plain copper"),
    "ohm_hot": Reason("that x (1 + 0.00393 (wire_c - 20))", "copper's temperature coefficient, textbook"),
    "wire_c": Reason("bay + (125 - bay) x (running_a / ampacity_a)^2", "heat balance"),
    "drop_v": Reason("running_a x ohm_hot", _CIRCUIT),
    "drop_pct": Reason("of the supply", _CIRCUIT),
    "ampacity_a": Reason(
        "table at air 40, conductor 70 degC x root of ((125 - bay) / 30 x copper's resistance at 70 / at 125 degC)",
        "IEC 60204-1 table 6, PVC, method B1, from memory, not looked up; insulation class C of ISO 6722-1, from "
        "memory",
    ),
    "fuse_a": Reason(
        "smallest sold from fuse_least_a to fuse_most_a that bears a start, else the largest",
        "ISO 8820-3 ratings, from memory",
    ),
    "fuse_least_a": Reason("running_a / 0.75", "common practice, no source"),
    "fuse_most_a": Reason(
        "stall current / 1.6: opens on a held rotor within a minute", "ISO 8820-3 time-current, from memory"
    ),
    "relay_a": Reason(
        "next contact rating at or above the stall current, on the contact used", "common practice, no source"
    ),
    "coil_a": Reason("V / 85 ohm: what the computer's output must sink", _PART),
}

REASONS: Final[dict[str, Reason]] = {**MOTOR, **POINT, **RESISTOR, **PULSES, **LEADS}
SECTIONS: Final[dict[str, dict[str, Reason]]] = {
    "motor and surroundings": MOTOR,
    "running points": POINT,
    "resistor": RESISTOR,
    "PWM and signal": PULSES,
    "leads, fuse, relay": LEADS,
}
