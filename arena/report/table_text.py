"""A tuned duty table in the terminal: even shading that reads without colour, and how to read it."""

from __future__ import annotations

from rich.style import Style
from rich.text import Text

from arena.contest.axes import Axis
from arena.contest.table_shape import ROUGHNESS_PRICE
from arena.contest.table_tuning import MOST_OVER_K, TunedTable
from arena.contest.table_visits import SEEN_S
from arena.report.screen import console, say
from arena.report.shades import dark, shade
from arena.report.table_picture import words
from arena.report.terminal import METRIC
from arena.units import Units


def show_table(made: TunedTable, units: Units = METRIC) -> None:
    """The table: duty in per cent, shaded where colour can be shown; brackets where no drive comes."""
    axes = made.axes
    down, across = (shown(axis, units) for axis in (axes.down, axes.across))
    say(f"pump duty, %; down: {words(down)}; across: {words(across)}")
    wide = max(6, *(len(f"{v:g}") + 2 for v in across.given))
    side = max(len(f"{v:g}") for v in down.given) + 1
    out = console()
    out.print(Text(" " * side + "".join(f"{v:g}".rjust(wide - 1) + " " for v in across.given), style="bold"))
    for i, at in enumerate(down.given):
        line = Text(f"{at:g}".rjust(side), style="bold")
        for j in range(axes.shape[1]):
            line.append_text(_cell(float(made.cells[i, j]), bool(made.visited[i, j]), wide))
        out.print(line)


def shown(axis: Axis, units: Units) -> Axis:
    """An axis as printed: as its file has it, or in US units where those are asked for."""
    if not units.us or axis.heading == axis.sense.us:
        return axis
    label = {"iat_c": "degC", "coolant_c": "degC", "ambient_c": "degC", "map_kpa": "kPa", "speed_kmh": "km/h"}
    return Axis(axis.sense.us, tuple(round(units.labelled(v, label[axis.heading])[0], 2) for v in axis.given))


def _cell(duty: float, visited: bool, wide: int) -> Text:
    number = f"{100.0 * duty:.4g}"
    text = f"{number} " if visited else f"({number})"
    r, g, b = shade(duty)
    back = f"#{r:02x}{g:02x}{b:02x}"
    return Text(text.rjust(wide), style=Style(color="#ffffff" if dark(duty) else "#000000", bgcolor=back))


def table_words(made: TunedTable, units: Units = METRIC) -> list[str]:
    """How to read the table, how it was kept acceptable, and whether it ever runs the pump."""
    axes = made.axes
    kelvin, unit = units.labelled(MOST_OVER_K, "K")
    seen = int(made.visited.sum())
    out = [
        f"(brackets): never visited by these drives (under {SEEN_S:g} s): filled by rule with the largest visited "
        f"duty at or below it on both axes, full from the limit temperature up. {seen} of {made.cells.size} cells are "
        "visited."
    ]
    where = f"That is {axes.lowest_why}." if axes.lowest_why else "The axes file gives that duty."
    if axes.reading == "off":
        out.append(
            f"Read bilinearly, held at the edges; under the lowest running duty of {100 * axes.floor():g} % the output "
            f"is off (once running, it stays on down to {100 * (axes.floor() - axes.hysteresis):g} %). {where}"
        )
    else:
        out.append(
            "Read bilinearly, held at the edges, output as read; no cell lies between 0 and "
            f"{100 * axes.floor():g} %. {where}"
        )
    along = "rises with temperature, falls with speed" if made.falling else "never falls along either axis"
    out.append(
        f"Duty {along}, in steps of {100 * axes.duty_step:g} %. Smoothness: {ROUGHNESS_PRICE:g} of the score for a "
        f"mean squared second difference of 1; here {ROUGHNESS_PRICE * made.roughness:.5f}. Limit: mean excess on "
        f"boost at most {kelvin:g} {unit} in the worst training world."
    )
    if made.never_runs:
        out.insert(
            0,
            "THE PUMP NEVER RUNS here: in every cell that these drives reach, off is best. The bracketed cells are a "
            "guard for warmer days only.",
        )
    return out
