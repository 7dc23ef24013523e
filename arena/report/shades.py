"""Shades of duties: cividis, even to every eye (Nunez, Anderton, Renslow 2018, PLoS ONE 13(7): e0199239)."""

from __future__ import annotations

from collections.abc import Sequence


def shade(share: float) -> tuple[int, int, int]:
    """Red, green and blue (0..255) of a share 0..1; outside it is held at the ends."""
    import matplotlib

    r, g, b, _ = matplotlib.colormaps["cividis"](min(max(share, 0.0), 1.0), bytes=True)
    return int(r), int(g), int(b)


def dark(share: float) -> bool:
    """Whether the shade of a share wants light letters: white on it has more contrast than black (WCAG 2.2)."""
    light = luminance(shade(share))
    return 1.05 / (light + 0.05) > (light + 0.05) / 0.05


def luminance(channels: Sequence[int]) -> float:
    """Relative luminance of an sRGB colour of three bytes, 0..1 (WCAG 2.2, definition of relative luminance)."""
    linear = [c / 255.0 for c in channels]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in linear]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
