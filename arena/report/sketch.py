"""A wiring sketch, with symbols in the style of IEC 60617, as .svg, .png or .pdf.

Battery, fuse, contacts (drawn at rest), coils, resistor, motor, diode and switch; one panel an arrangement.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from arena.garage.fail_on import FailOn
from arena.garage.wiring import Wiring
from arena.report.pictures import new_figure, panel, write_picture

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, NOTE, WARN = "#1a1a1a", "#0072b2", "#b3440a"
WIDTH, PANEL = 940, 460
RAIL, EARTH = 90, 410  # heights of feed and ground within a panel
PT = 0.72  # points of a hundredth of an inch


def write_sketch(advice: Wiring, path: Path) -> None:
    """Write the sketch; whole or not at all. Raises BadInput for another ending, or where it cannot be written."""
    what = "; ".join(f"{a.name}: {a.polarity.split(';')[0]}" for a in advice.fail_on)
    write_picture(path, lambda: sketch_figure(advice), _title(advice), what, "--sketch")


def _title(advice: Wiring) -> str:
    """What the picture is called: whether the pump runs full when the computer lets go."""
    safe = all(arrangement.rests_full for arrangement in advice.fail_on)
    said = "means full pump" if safe else "does NOT mean full pump by wiring alone"
    return f"Pump wiring of {advice.car}: a computer that resets or lets go {said}"


def sketch_figure(advice: Wiring) -> Figure:
    """The sketch: a panel an arrangement, cautions below."""
    height = PANEL * len(advice.fail_on) + 190
    figure = new_figure(WIDTH, height)
    figure.set_facecolor("white")
    sheet = panel(figure, 0, 0, WIDTH, height)
    sheet.set_xlim(0, WIDTH)
    sheet.set_ylim(height, 0)
    sheet.set_axis_off()
    pen = Pen(sheet)
    for k, arrangement in enumerate(advice.fail_on):
        pen.top = PANEL * k
        {"relay": _relay, "switch": _switch, "signal": _signal}[arrangement.kind](pen, advice, arrangement)
    pen.top = PANEL * len(advice.fail_on)
    _cautions(pen, advice)
    return figure


class Pen:
    """Draws symbols on a sheet of pixels; heights count from `top`. What is drawn later lies above."""

    def __init__(self, sheet: Axes) -> None:
        self.sheet = sheet
        self.top = 0
        self.depth = 1.0

    def above(self) -> float:
        """The next depth."""
        self.depth += 0.001
        return self.depth

    def line(self, *points: tuple[float, float], dashed: bool = False) -> None:
        """A wire through points; dashed: a mechanical link."""
        x, y = zip(*points, strict=True)
        look = {"linestyle": (0, (5, 4)), "linewidth": PT} if dashed else {"linewidth": 1.6 * PT}
        self.sheet.plot(x, [v + self.top for v in y], color=INK, zorder=self.above(), **look)

    def shape(self, points: list[tuple[float, float]], edge: float = 1.6) -> None:
        """A white polygon."""
        from matplotlib.patches import Polygon

        moved = [(x, y + self.top) for x, y in points]
        self.sheet.add_patch(Polygon(moved, facecolor="white", edgecolor=INK, linewidth=edge * PT, zorder=self.above()))

    def disc(self, x: float, y: float, radius: float, fill: str = "white") -> None:
        """A circle."""
        from matplotlib.patches import Circle

        self.sheet.add_patch(
            Circle((x, y + self.top), radius, facecolor=fill, edgecolor=INK, linewidth=1.6 * PT, zorder=self.above())
        )

    def box(self, x: float, y: float, w: float, h: float, edge: float = 1.6) -> None:
        """A rectangle by its upper left corner."""
        self.shape([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], edge)

    def dot(self, x: float, y: float) -> None:
        """A joint."""
        self.disc(x, y, 2.5, INK)

    def text(self, x: float, y: float, words: str, colour: str = INK, size: float = 13, anchor: str = "left") -> None:
        """Words with their baseline at y."""
        self.sheet.text(
            x, y + self.top, words, color=colour, fontsize=0.94 * size * PT, ha=anchor, va="baseline",
            zorder=self.above(),
        )  # fmt: skip

    def ground(self, x: float, y: float = EARTH) -> None:
        """Ground: three bars."""
        for k, half in enumerate((12, 8, 4)):
            self.line((x - half, y + 5 * k), (x + half, y + 5 * k))

    def battery(self, x: float) -> None:
        """Battery from feed to ground, plus on top."""
        self.line((x, RAIL), (x, 225))
        for k, half in enumerate((16, 8, 16, 8)):
            self.line((x - half, 225 + 9 * k), (x + half, 225 + 9 * k))
        self.line((x, 252), (x, EARTH))
        self.ground(x)
        self.text(x + 20, 228, "+")
        self.text(x - 20, 205, "battery", NOTE, 12, "right")

    def fuse(self, x: float, y: float) -> None:
        """Fuse 46 wide: a rectangle with its conductor through it."""
        self.box(x, y - 8, 46, 16)
        self.line((x, y), (x + 46, y))

    def resistor(self, x: float, y: float, upright: bool = False) -> None:
        """Resistor 50 long from (x, y): a rectangle."""
        self.box(*((x - 9, y, 18, 50) if upright else (x, y - 9, 50, 18)))

    def make_contact(self, x: float, y: float) -> None:
        """A make contact 50 wide."""
        self.line((x, y), (x + 12, y), (x + 42, y - 16))
        self.line((x + 40, y), (x + 50, y))

    def changeover(self, x: float, y: float) -> None:
        """A changeover contact at rest: common (x, y); 60 on, rest contact 20 above, working one 20 below."""
        self.line((x, y), (x + 12, y), (x + 50, y - 18))
        self.line((x + 60, y - 20), (x + 46, y - 20), (x + 46, y - 14))
        self.line((x + 60, y + 20), (x + 46, y + 20), (x + 46, y + 12))

    def coil(self, x: float, y: float) -> None:
        """A relay coil 44 wide, 24 high, centre (x, y), with a diode across it (cathode to plus)."""
        self.line((x, y - 34), (x, y + 40))
        self.box(x - 22, y - 12, 44, 24)
        self.line((x, y - 28), (x + 40, y - 28), (x + 40, y + 28), (x, y + 28))
        self.dot(x, y - 28)
        self.dot(x, y + 28)
        self.diode(x + 40, y)

    def diode(self, x: float, y: float, zener: bool = False) -> None:
        """An upright diode, cathode on top."""
        self.shape([(x - 8, y + 8), (x + 8, y + 8), (x, y - 6)])
        self.line((x - 8, y - 6), (x + 8, y - 6), *(((x + 8, y - 11),) if zener else ()))

    def motor(self, x: float, y: float) -> None:
        """A motor of radius 24."""
        self.disc(x, y, 24)
        self.text(x, y + 6, "M", INK, 18, "center")

    def capacitor(self, x: float, y: float) -> None:
        """Two plates across an upright wire."""
        self.box(x - 3, y - 4, 6, 8, edge=0.0)
        for dy in (-4, 4):
            self.line((x - 14, y + dy), (x + 14, y + dy))

    def mosfet(self, x: float, y: float) -> None:
        """N-channel enhancement switch: drain (x, y - 30), source (x, y + 30), gate (x - 40, y + 16)."""
        self.line((x - 40, y + 16), (x - 24, y + 16), (x - 24, y - 18))
        for dy in (-16, 0, 16):
            self.line((x - 18, y + dy - 6), (x - 18, y + dy + 6))
        self.line((x - 18, y - 16), (x, y - 16), (x, y - 30))
        self.line((x - 18, y), (x, y), (x, y + 16), (x - 18, y + 16))
        self.line((x, y + 16), (x, y + 30))
        self.line((x - 11, y - 4), (x - 18, y), (x - 11, y + 4))

    def computer(self, x: float, y: float, w: float, outputs: tuple[str, ...]) -> None:
        """The engine computer as a box with its outputs named along the lower edge inside."""
        self.box(x, y, w, 52)
        self.text(x + w / 2, y + 20, "engine computer", INK, 13, "center")
        for k, words in enumerate(outputs):
            self.text(x + w * (2 * k + 1) / (2 * len(outputs)), y + 40, words, NOTE, 12, "center")


def _supply(pen: Pen, advice: Wiring, arrangement: FailOn, to: float) -> None:
    """Battery, fuse, key contact and the rail; heading and polarity."""
    pen.text(24, 30, arrangement.name, INK, 17)
    pen.text(24, 50, "at rest, as drawn: " + arrangement.polarity.split(";")[0], NOTE, 12)
    fuse = "fuse: none fits" if advice.leads.fuse_a is None else f"F1 {advice.leads.fuse_a:g} A"
    area = "lead: see table" if advice.leads.area_mm2 is None else f"{advice.leads.area_mm2:g} mm2 copper"
    pen.battery(80)
    pen.line((80, RAIL), (110, RAIL))
    pen.fuse(110, RAIL)
    pen.text(133, RAIL - 14, fuse, NOTE, 12, "center")
    pen.text(120, RAIL + 26, "at the battery", NOTE, 12)
    pen.line((156, RAIL), (200, RAIL))
    pen.make_contact(200, RAIL)
    pen.text(225, RAIL - 22, "key", NOTE, 12, "center")
    pen.line((250, RAIL), (to, RAIL))
    pen.text(262, RAIL - 8, area, NOTE, 12)


def _relay(pen: Pen, advice: Wiring, arrangement: FailOn) -> None:
    _supply(pen, advice, arrangement, 400)
    d = advice.dropping
    chosen = next((c for c in d.choices if c.starts), d.choices[0] if d.choices else None) if d is not None else None
    pen.dot(330, RAIL)
    pen.line((330, RAIL), (330, 226), (540, 226))
    pen.changeover(400, RAIL)
    pen.text(406, RAIL + 20, "K1", NOTE)
    pen.line((460, RAIL - 20), (800, RAIL - 20), (800, 226))
    pen.line((460, RAIL + 20), (520, RAIL + 20), (520, RAIL + 40), (530, RAIL + 40))
    pen.changeover(530, RAIL + 40)
    pen.text(536, RAIL + 60, "K2", NOTE)
    pen.line((590, RAIL + 20), (650, RAIL + 20))
    pen.resistor(650, RAIL + 20)
    pen.line((700, RAIL + 20), (800, RAIL + 20))
    pen.dot(800, RAIL + 20)
    pen.text(560, RAIL + 78, "empty", NOTE, 12)
    if chosen is not None:
        each = " each" if len(chosen.combination.parts_ohm) > 1 else ""
        rating = "" if chosen.rating_w is None else f", {chosen.rating_w:g} W{each}"
        pen.text(675, RAIL + 46, f"{chosen.combination.words()} ohm{rating}", NOTE, 12, "center")
        flow = next(x.flow_l_min for x in chosen.points if x.supply_v == advice.motor.design_v)
        pen.text(675, RAIL + 76, f"{flow:.1f} L/min at {advice.motor.design_v:g} V", NOTE, 12, "center")
        pen.text(675, RAIL + 61, "on bare metal, HOT", WARN, 12, "center")
    pen.motor(800, 250)
    pen.text(832, 254, "pump", NOTE)
    pen.line((800, 274), (800, EARTH))
    pen.ground(800)
    for x, name, contact in ((420, "K1", (430, RAIL - 8)), (540, "K2", (560, RAIL + 32))):
        pen.coil(x, 260)
        pen.text(x - 28, 264, name, NOTE, 13, "right")
        pen.line((x, 248), (x, 200), (contact[0], 200), contact, dashed=True)
    pen.dot(420, 226)
    pen.line((420, 300), (420, 340))
    pen.line((540, 300), (540, 340))
    pen.computer(360, 340, 240, ("output 1", "output 2"))
    pen.text(612, 362, "both outputs let go = FULL", NOTE, 12)
    pen.text(612, 378, "1 pulls = LOW; 1 and 2 = OFF", NOTE, 12)


def _switch(pen: Pen, advice: Wiring, arrangement: FailOn) -> None:
    _supply(pen, advice, arrangement, 790)
    p = advice.pulsing
    pen.dot(440, RAIL)
    pen.line((440, RAIL), (440, EARTH))
    pen.capacitor(440, 170)
    pen.ground(440)
    if p is not None:
        pen.text(419, 166, f"C1 {p.switch.filter_uf:.0f} uF", NOTE, 12, "right")
    pen.dot(570, RAIL)
    pen.line((570, RAIL), (570, 296))
    pen.resistor(570, 140, upright=True)
    pen.text(553, 168, "gate resistor", NOTE, 12, "right")
    pen.text(553, 182, "AT THE SWITCH", NOTE, 12, "right")
    pen.dot(570, 296)
    pen.line((570, 296), (570, EARTH))
    pen.diode(570, 350, zener=True)
    pen.text(584, 368, "12 V", NOTE, 12)
    pen.ground(570)
    pen.line((570, 296), (660, 296))
    pen.line((570, 296), (500, 296), (500, 330), (300, 330), (300, 340))
    pen.computer(190, 340, 220, ("output, open drain",))
    pen.text(190, 312, "active (to ground) = OFF; open = FULL", NOTE, 12)
    pen.mosfet(700, 280)
    pen.text(712, 296, "switch", NOTE, 12)
    pen.line((700, 310), (700, EARTH))
    pen.ground(700)
    pen.line((700, RAIL), (700, 250))
    pen.dot(700, RAIL)
    pen.motor(700, 160)
    pen.text(668, 164, "pump", NOTE, 13, "right")
    pen.line((790, RAIL), (790, 225), (700, 225))
    pen.dot(700, 225)
    pen.diode(790, 160)
    pen.text(806, 156, "flyback", NOTE, 12)
    if p is not None:
        pen.text(806, 172, f"{p.switch.diode_stall_a:.0f} A or more", NOTE, 12)
        pen.text(712, 314, f"bears {p.switch.stall_a:.0f} A", NOTE, 12)


def _signal(pen: Pen, advice: Wiring, arrangement: FailOn) -> None:
    _supply(pen, advice, arrangement, 720)
    pen.box(640, 150, 200, 150)
    pen.text(652, 172, "pump with its own", INK)
    pen.text(652, 188, "controller", INK)
    pen.motor(790, 250)
    pen.line((720, RAIL), (720, 150))
    pen.line((720, 300), (720, EARTH))
    pen.ground(720)
    pen.line((640, 250), (380, 250), (380, 340))
    pen.text(648, 254, "signal", NOTE, 12)
    pen.computer(270, 340, 220, ("output",))
    if "HIGH" in arrangement.polarity:
        pen.dot(560, RAIL)
        pen.line((560, RAIL), (560, 250))
        pen.resistor(560, 140, upright=True)
        pen.text(548, 168, "pull-up AT THE PUMP", NOTE, 12, "right")
        pen.text(548, 184, "(to the signal's supply)", NOTE, 12, "right")
        pen.dot(560, 250)
    elif "LOW" in arrangement.polarity:
        pen.dot(560, 250)
        pen.line((560, 250), (560, EARTH))
        pen.resistor(560, 300, upright=True)
        pen.ground(560)
        pen.text(576, 330, "pull-down AT THE PUMP", NOTE, 12)
    else:
        pen.text(400, 240, "no resting level is full: see the text", WARN, 12)
    pen.text(24, 445, "What the pump does with its signal unplugged must be tried before it is trusted.", WARN, 12)


def _cautions(pen: Pen, advice: Wiring) -> None:
    pen.line((24, 4), (WIDTH - 24, 4))
    for k, words in enumerate(advice.cautions):
        pen.text(24, 26 + 19 * k, words, INK, 12)
