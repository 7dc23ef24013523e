"""The wiring advice on a terminal and as a JSON document; the cautions always stand in it."""

from __future__ import annotations

import dataclasses
import textwrap
from typing import Any

from arena.garage.pulsing import PulseAdvice
from arena.garage.wiring import Wiring
from arena.garage.wiring_reasons import REASONS, SECTIONS
from arena.report.screen import console, say, show, table
from arena.report.terminal import METRIC, figure
from arena.units import Units

Columns = list[tuple[str, str]]


def wiring_document(advice: Wiring) -> dict[str, Any]:
    """`arena wiring --json`: the advice by its names, and the formula and source of each number."""
    return {
        "schema": 1,
        **dataclasses.asdict(advice),
        "explain": {name: {"formula": r.formula, "source": r.source} for name, r in REASONS.items()},
    }


def show_wiring(advice: Wiring, explain: bool = False, units: Units = METRIC) -> None:
    """Everything, for a person; 80 columns and up."""
    head(advice, units)
    if advice.dropping is not None:
        dropping(advice, units)
    if advice.pulsing is not None:
        pulsing(advice.pulsing, units)
    if advice.signal:
        signal(advice, units)
    leads(advice, units)
    fail_on(advice)
    for note in advice.notes:
        prose(f"note: {note}")
    say()
    say("CAUTIONS")
    for caution in advice.cautions:
        prose(f"- {caution}", "  ")
    say()
    if explain:
        explained()
    else:
        prose("--explain gives the formula and the source of each number; --sketch FILE.svg draws the wiring.")


def head(advice: Wiring, units: Units = METRIC) -> None:
    """The pump at each supply voltage."""
    m = advice.motor
    say(f"Pump of {advice.car}: wanted low flow {flow(advice.flow_l_min, units)} {units.flow_unit}")
    prose(
        f"motor {m.resistance_ohm:g} ohm, {m.ke_v_s:g} V s/rad, brushes {m.brush_v:g} V, leads {m.lead_ohm:g} ohm; "
        f"load: {m.load}"
    )
    prose(
        f"breaks away at {m.start_v:g} V ({m.start_a:.2f} A), stops below {m.stall_v:.2f} V; without load "
        f"{m.no_load_rpm:.0f} rpm and held {m.stall_nm:.3f} N m at {m.design_v:g} V"
    )
    say()
    columns: Columns = [
        ("full pump at", "right"),
        (f"flow {units.flow_unit}", "right"),
        ("rpm", "right"),
        ("A", "right"),
    ]
    columns += [("W", "right"), ("held A", "right"), ("sums to W", "right")]
    rows = [
        [f"{p.supply_v:g} V", flow(p.flow_l_min, units), figure(p.speed_rpm, 0), figure(p.current_a, 2),
         figure(p.supply_w, 1), figure(a, 1), figure(p.supply_w - p.balance_w, 1)]
        for p, a in zip(m.full, m.stall_current_a, strict=True)
    ]  # fmt: skip
    show(table(columns, rows))
    say()


def dropping(advice: Wiring, units: Units = METRIC) -> None:
    """The resistor."""
    d = advice.dropping
    assert d is not None
    say("DROPPING RESISTOR (two-speed)")
    columns: Columns = [("for the flow at", "right"), ("ohm", "right"), ("A", "right"), ("motor V", "right")]
    columns += [("running W", "right"), ("held W", "right"), ("shorted W", "right")]
    rows = []
    for w in d.wanted:
        if w.point is None or w.ohm is None:
            rows.append([f"{w.supply_v:g} V", "not reached, even without a resistor", "", "", "", "", ""])
        else:
            rows.append(
                [f"{w.supply_v:g} V", figure(w.ohm, 2), figure(w.point.current_a, 2), figure(w.point.motor_v, 2),
                 figure(w.point.resistor_w, 1), figure(w.stall_w, 1), figure(w.shorted_w, 1)]
            )  # fmt: skip
    show(table(columns, rows))
    say()
    columns = [("row", "left"), ("ohm", "left"), (f"flow {units.flow_unit}", "left"), ("run W", "right")]
    columns += [
        ("held W", "right"),
        ("rate W", "right"),
        (f"{units.temperature_unit} run/held", "right"),
        ("starts", "left"),
    ]
    rows = []
    for c in sorted(d.choices, key=lambda c: not c.starts):  # what starts the pump first
        surface = (
            "-"
            if c.surface_running_c is None
            else f"{degrees(c.surface_running_c, units)}/{degrees(c.surface_stall_c, units)}"
        )
        count = f"{len(c.combination.parts_ohm)} x " if len(c.combination.parts_ohm) > 1 else ""
        rows.append(
            [c.row, c.combination.words(), "/".join(flow(p.flow_l_min, units) for p in c.points),
             figure(max(p.resistor_w for p in c.points), 1), figure(c.stall_w, 0),
             f"{count}{c.rating_w:g}" if c.rating_w else "none sold", surface, "yes" if c.starts else "NO"]
        )  # fmt: skip
    show(table(columns, rows))
    volts = "/".join(f"{v:g}" for v in advice.supplies_v)
    prose(f"flow at {volts} V; + in series, || side by side; watts at {max(advice.supplies_v):g} V.")
    if not all(c.starts for c in d.choices):
        prose(
            "NO: the pump does not break away through that resistor. Use it only where every start begins with full "
            "pump for a second or more; otherwise take a row that says yes."
        )
    if any(c.row == "yours" for c in d.choices):
        say()
        yours(advice)
    resistor_words(advice, units)


def yours(advice: Wiring) -> None:
    """Resistors at hand, in full: each row's watts add up."""
    d = advice.dropping
    assert d is not None
    columns: Columns = [("yours", "right"), ("at", "right"), ("rad/s", "right"), ("rpm", "right"), ("A", "right")]
    columns += [("motor V", "right"), ("resistor W", "right"), ("supply W", "right"), ("sums to W", "right")]
    rows = [
        [f"{p.series_ohm:g} ohm", f"{p.supply_v:g} V", figure(p.speed_rad_s, 3), figure(p.speed_rpm, 1),
         figure(p.current_a, 5), figure(p.motor_v, 4), figure(p.resistor_w, 4), figure(p.supply_w, 3),
         figure(p.supply_w - p.balance_w, 3)]
        for c in d.choices if c.row == "yours" for p in c.points
    ]  # fmt: skip
    show(table(columns, rows))


def resistor_words(advice: Wiring, units: Units = METRIC) -> None:
    """What the resistor needs besides ohms."""
    d = advice.dropping
    assert d is not None
    bay = f"{degrees(d.bay_c, units)} {units.temperature_unit}"
    least = f"{flow(d.least_flow_that_starts_l_min, units)} {units.flow_unit}"
    prose(
        "Rating: with the rotor held no fuse opens (a few ampere), so the resistor must bear that for good; in "
        "running it "
        f"takes at most half. A bay of {bay} leaves {100 * d.derating:.0f} % of a rating. Metal-clad, "
        "screwed "
        "to bare metal: without that metal it bears some 40 % (from memory) and runs far hotter."
    )
    prose(
        "Surface: hot enough to burn skin, melt a hose and light dirt and oil. Metal mount, guard, nothing touching it."
    )
    wants = [w.ohm for w in d.wanted if w.supply_v == d.design_v and w.ohm is not None]
    if d.most_ohm_that_starts < 0.0:
        prose(f"This pump does not start at {d.starting_v:g} V through any resistor, nor without one.")
    elif wants and wants[0] > d.most_ohm_that_starts:
        prose(
            f"STARTING: through more than {d.most_ohm_that_starts:.2f} ohm this pump does not break away at "
            f"{d.starting_v:g} V; the lowest flow it starts into through a resistor is "
            f"{least} at {d.design_v:g} V. Less needs a second on full pump before "
            "the "
            "resistor is switched in, or PWM."
        )
    say()


def pulsing(p: PulseAdvice, units: Units = METRIC) -> None:
    """PWM: duty table, frequencies, switch."""
    say(f"PWM (brushed pump, {p.hz:g} Hz)")
    volts = [f"{f'{units.flow_unit} ' if k == 0 else ''}{v:g}V" for k, v in enumerate(p.supplies_v)]
    columns: Columns = [("duty %", "right"), *((v, "right") for v in volts)]
    columns += [("rpm", "right"), ("A", "right"), ("ripple A", "right"), ("W", "right"), ("", "left")]
    rows = []
    for r in p.rows:
        x = r.point
        words = [] if x.continuous or not x.speed_rpm else ["rests"]
        words += [] if all(r.starts) else ["no start"] if x.speed_rpm else ["stalled"]
        rows.append(
            [figure(100.0 * r.duty, 1), *(flow(f, units) for f in r.flows_l_min), figure(x.speed_rpm, 0),
             figure(x.current_a, 2), figure(x.max_a - x.min_a, 2), figure(x.supply_w, 1), ", ".join(words)]
        )  # fmt: skip
    show(table(columns, rows))
    prose(
        f"rpm and on: at {p.design_v:g} V. rests: current falls to nothing in each period, so flow is more than duty "
        "says."
    )
    each = zip(p.supplies_v, p.start_duty, p.stall_duty, strict=True)
    prose(
        "duty that starts the pump from rest / below which a turning pump stops: "
        + ", ".join(f"{share(a)} / {share(b)} at {v:g} V" for v, a, b in each)
        + f"; for the wanted flow {share(p.flow_duty)} at {p.design_v:g} V"
    )
    first = p.start_duty[p.supplies_v.index(min(p.supplies_v))]
    if p.flow_duty is not None and (first is None or p.flow_duty < first):
        prose(
            f"STARTING: the wanted flow's duty is below the duty that starts the pump at {min(p.supplies_v):g} V: "
            "begin "
            "every start with a second at full duty."
        )
    say()
    frequencies(p)
    switch(p)


def frequencies(p: PulseAdvice) -> None:
    """The window, and what each frequency costs at the wanted flow."""
    columns: Columns = [("Hz", "right"), ("duty%", "right"), ("ripple A", "right"), ("rms/mean", "right")]
    columns += [
        ("swing%", "right"),
        ("switch W", "right"),
        ("diode W", "right"),
        ("uF", "right"),
        ("", "left"),
    ]
    rows = [
        [f"{f.hz:g}", figure(100 * f.duty, 1), figure(f.ripple_a, 2), figure(f.rms_over_mean, 2),
         figure(f.speed_swing_pct, 1), figure(f.switching_w + f.conduction_w, 2), figure(f.diode_w, 2),
         figure(f.filter_uf, 0) if f.filter_uf < 1e4 else "-",
         " ".join(([] if f.continuous else ["rests"]) + (["heard"] if f.heard else []))]
        for f in p.frequencies
    ]  # fmt: skip
    show(table(columns, rows))
    until = "nowhere up to 1 MHz" if p.continuous_hz is None else f"from {p.continuous_hz:.0f} Hz"
    prose(
        f"Window at the wanted flow: the pump's inertia holds the speed from about {p.steady_hz:.0f} Hz; the current "
        "never "
        f"rests {until} (duty then means voltage); switching costs under half a watt up to {p.loss_hz / 1e3:.0f} kHz. "
        "100 Hz to 16 kHz is heard as hum or whine, most at 2 to 5 kHz; above 18 kHz it is quiet but needs a real gate "
        "driver. Below the resting limit the pump still runs, with more heat in the winding (rms/mean squared) and "
        "more flow than duty says."
    )
    say()


def switch(p: PulseAdvice) -> None:
    """What the switch, the diode and the supply must bear."""
    s = p.switch
    prose(
        f"Switch at {s.supply_v:g} V and {s.hz:g} Hz: {s.stall_a:.1f} A at every start and with the rotor held, "
        f"{s.peak_a:.1f} A peak and {s.switch_rms_a:.1f} A rms in running; {s.switch_w:.2f} W running, "
        f"{s.switch_stall_w:.1f} W "
        "held (10 mohm, 1 us edges assumed): rate it for the held current without a time limit and cool it better "
        "than "
        f"{s.sink_k_w:.0f} K/W. 40 V parts or more: load dump."
    )
    prose(
        f"Flyback diode: {s.diode_mean_a:.1f} A mean in running, {s.diode_stall_a:.1f} A with the rotor held, "
        f"{s.stall_a:.1f} A peak, {s.diode_w:.1f} W; Schottky or fast, close to the pump. Supply: "
        f"{s.supply_ripple_rms_a:.1f} A "
        f"rms ripple; {s.filter_uf:.0f} uF at the switch holds it within 0.5 V (low-impedance kind, 105 degC or more)."
    )
    say()


def signal(advice: Wiring, units: Units = METRIC) -> None:
    """A pump with its own controller."""
    say("SIGNAL INPUT (pump with its own controller)")
    columns: Columns = [
        ("signal %", "right"),
        ("speed %", "right"),
        ("rpm", "right"),
        (units.flow_unit, "right"),
        ("A", "right"),
    ]
    rows = [
        [figure(100 * r.duty, 1), figure(100 * r.speed_share, 0), figure(r.speed_rpm, 0), flow(r.flow_l_min, units),
         figure(r.battery_a, 2)]
        for r in advice.signal
    ]  # fmt: skip
    show(table(columns, rows))
    for low, high in advice.signal_still:
        prose(f"stands still from {100 * low:.1f} to {100 * high:.1f} % signal")
    say()


def leads(advice: Wiring, units: Units = METRIC) -> None:
    """Conductor, fuse, relay."""
    x = advice.leads
    say(f"LEADS ({x.length_m:g} m one way, {x.running_a:.1f} A running and {x.stall_a:.1f} A held at {x.supply_v:g} V)")
    columns: Columns = [
        ("mm2", "right"),
        (f"mohm {degrees(20.0, units)} {units.temperature_unit}", "right"),
        ("mohm hot", "right"),
        ("drop V", "right"),
    ]
    columns += [("%", "right"), ("carries A", "right"), ("", "left")]
    rows = [
        [f"{s.area_mm2:g}", figure(1e3 * s.ohm_20c, 1), figure(1e3 * s.ohm_hot, 1), figure(s.drop_v, 3),
         figure(s.drop_pct, 1), figure(s.ampacity_a, 1),
         "<- use" if s.area_mm2 == x.area_mm2 else "" if s.fits else "no"]
        for s in x.sizes
    ]  # fmt: skip
    show(table(columns, rows))
    bay = f"{degrees(x.bay_c, units)} {units.temperature_unit}"
    fuse = f"{x.fuse_a:g} A" if x.fuse_a is not None else "none found"
    relay = f"{x.relay_a:g} A" if x.relay_a is not None else "more than the usual ones"
    prose(
        f"there and back, class 5 copper (IEC 60228), air {bay}, drop at most {x.drop_limit_v:.2f} V. "
        f"Fuse {fuse} at the battery ({x.fuse_least_a:.1f} to {x.fuse_most_a:.1f} A: bears running, opens on a held "
        "rotor). "
        f"Relay contact {relay} at 14 V on the contact used; its coil takes {x.coil_a:.2f} A."
    )
    for note in x.notes:
        prose(f"note: {note}")
    say()


def fail_on(advice: Wiring) -> None:
    """Wiring that fails to full pump, or that it does not."""
    for f in advice.fail_on:
        say(f"FAIL-ON WIRING: {f.name}" if f.rests_full else f"WIRING, NOT FAIL-ON: {f.name}")
        prose(f"polarity: {f.polarity}", "  ")
        for line in f.wiring:
            prose(line, "  ", "  ")
        for case in f.cases:
            prose(f"{case.event}: {case.pump}. {sentence(case.because)}", "    ", "  ")
        prose(f"NOT covered: {f.not_covered}", "    ", "  ")
        say()


def flow(l_min: float, units: Units) -> str:
    """A coolant flow as it is to be printed."""
    return figure(float(units.labelled(l_min, "L/min")[0]), 2 if units.us else 1)


def degrees(celsius: float | None, units: Units) -> str:
    """A temperature as it is to be printed, to the degree; a dash for none."""
    return "-" if celsius is None else f"{units.labelled(celsius, 'degC')[0]:.0f}"


def explained() -> None:
    """Formula and source of each number."""
    for section, reasons in SECTIONS.items():
        say(f"EXPLAIN: {section}")
        for name, r in reasons.items():
            prose(f"{name} = {r.formula} [{r.source}]", "    ", "  ")
        say()


def prose(text: str, later: str = "", first: str = "") -> None:
    """A paragraph, wrapped at the terminal's width; one line when piped."""
    width = console().width
    if width >= 1000:
        say(first + text)
        return
    for line in textwrap.wrap(text, min(width, 100), initial_indent=first, subsequent_indent=later or first) or [""]:
        say(line)


def share(value: float | None) -> str:
    """A duty in per cent."""
    return "never" if value is None else f"{100.0 * value:.1f} %"


def sentence(text: str) -> str:
    """With a capital letter and a full stop."""
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")
