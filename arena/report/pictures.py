"""Pictures as files, drawn with matplotlib: .svg, .png or .pdf by their ending, whole or not at all.

The same picture has the same bytes every time: no date, no random ids, none of the user's own drawing defaults.
matplotlib is imported when the first picture is drawn, not before.
"""

from __future__ import annotations

import io
import logging
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from arena.errors import BadInput
from arena.writing import write_whole

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ENDINGS = (".svg", ".png", ".pdf")
PAPER, INK, SOFT, RULE, WASH = "#fbfaf6", "#1d2226", "#545c60", "#c9c5b8", "#f0ede2"
BLUE, ORANGE, GREEN, RED = "#056cb5", "#b45a0c", "#00805f", "#b23a00"
PNG_DPI = 200  # twice the size on a screen
_PT = 0.72  # points of a hundredth of an inch: sizes are thought of in pixels, 100 to the inch
_LOOK: dict[str, Any] = {
    "font.family": ["DejaVu Sans", "sans-serif"], "font.size": 12 * _PT, "text.parse_math": False, "text.color": INK,
    "axes.edgecolor": INK, "axes.linewidth": 0.8, "axes.labelcolor": SOFT, "axes.facecolor": "none",
    "axes.spines.top": False, "axes.spines.right": False, "axes.grid": True, "axes.axisbelow": True,
    "axes.labelsize": 12 * _PT, "axes.titlesize": 13 * _PT, "axes.titlelocation": "left", "axes.unicode_minus": True,
    "grid.color": RULE, "grid.linewidth": 0.6, "xtick.color": INK, "ytick.color": INK, "xtick.labelcolor": SOFT,
    "ytick.labelcolor": SOFT, "xtick.labelsize": 12 * _PT, "ytick.labelsize": 12 * _PT, "xtick.major.size": 3.0,
    "ytick.major.size": 3.0, "legend.frameon": False, "legend.fontsize": 12 * _PT, "figure.facecolor": PAPER,
    "figure.dpi": 100, "lines.solid_joinstyle": "round", "hatch.linewidth": 1.2, "svg.fonttype": "none",
    "svg.hashsalt": "arena", "pdf.fonttype": 42, "path.simplify": False,
}  # fmt: skip


def check_ending(path: Path | None, option: str) -> None:
    """Raises BadInput for a file name that is not one of a picture. `option` is what the user gave it with."""
    if path is not None and path.suffix.lower() not in ENDINGS:
        given = f"ends in {path.suffix!r}" if path.suffix else "has no ending"
        raise BadInput(f"{option} {path}: {given}", "Name a file ending in .svg, .png or .pdf.")


def write_picture(path: Path, draw: Callable[[], Figure], title: str, what: str, option: str = "--plot") -> None:
    """Draw and write a picture. Raises BadInput for an unknown ending and where it cannot be written."""
    check_ending(path, option)
    content = picture_bytes(draw, path.suffix.lower(), title, what)
    try:
        write_whole(path, content)
    except OSError as error:
        raise BadInput(
            f"{option} {path}: cannot be written: {error.strerror or error}", "Name a file in a folder you may write."
        ) from error


def picture_bytes(draw: Callable[[], Figure], ending: str, title: str, what: str) -> bytes:
    """A picture as the content of a file; `title` and `what` (its alternative text) go into it as its description."""
    import matplotlib

    log = logging.getLogger("matplotlib.font_manager")
    before = log.level
    log.setLevel(logging.ERROR)  # it reports on stderr when it lists the machine's fonts for the first time
    try:
        with matplotlib.rc_context():
            matplotlib.rcdefaults()
            parameters: Any = matplotlib.rcParams
            parameters.update(_LOOK)
            figure, out, dpi = draw(), io.BytesIO(), PNG_DPI if ending == ".png" else 100
            figure.savefig(out, format=ending[1:], dpi=dpi, metadata=_metadata(ending, title, what))
    finally:
        log.setLevel(before)
    return _described(out.getvalue(), what) if ending == ".svg" else out.getvalue()


def new_figure(width: float, height: float) -> Figure:
    """An empty figure of width x height pixels."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width / 100.0, height / 100.0))


def panel(figure: Figure, left: float, top: float, width: float, height: float) -> Axes:
    """Axes at a place given in pixels from the upper left corner."""
    wide, high = figure.get_size_inches() * 100.0
    return figure.add_axes((left / wide, 1.0 - (top + height) / high, width / wide, height / high))


def put(figure: Figure, x: float, y: float, text: str, size: float = 12.0, **more: Any) -> None:
    """Words with their baseline at y pixels from the top; size in pixels."""
    wide, high = figure.get_size_inches() * 100.0
    figure.text(x / wide, 1.0 - y / high, text, fontsize=size * _PT, va="baseline", **more)


def _metadata(ending: str, title: str, what: str) -> dict[str, Any]:
    if ending == ".svg":
        return {"Title": title, "Date": None, "Creator": None}
    if ending == ".pdf":
        return {"Title": title, "Subject": what, "CreationDate": None, "Creator": None, "Producer": None}
    return {"Title": title, "Description": what, "Software": None}


def _described(svg: bytes, what: str) -> bytes:
    """The SVG with a description, and marked as one image for those who have it read out."""
    marked = svg.replace(b"<svg ", b'<svg role="img" ', 1)
    return marked.replace(b"</title>", b"</title>\n <desc>" + escape(what).encode() + b"</desc>", 1)
