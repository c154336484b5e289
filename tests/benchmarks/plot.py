"""A plot with two logarithmic axes, as SVG text (W3C SVG 1.1)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 760, 460, 70, 190, 30, 50
# Colours that stay apart for most eyes, dark enough on white; each line has its own dash as well.
COLOURS = ("#0b5394", "#b45f06", "#38761d", "#741b47", "#134f5c", "#7f6000", "#444444", "#990000")
DASHES = ("none", "8 4", "2 3", "10 3 2 3")
Points = Sequence[tuple[float, float]]


def plot(title: str, across: str, up: str, lines: Mapping[str, Points]) -> str:
    """The lines by name, of points with figures above nought; the names stand at the right."""
    every = [point for points in lines.values() for point in points]
    low_x, high_x = _decades([x for x, _ in every])
    low_y, high_y = _decades([y for _, y in every])

    def at(x: float, y: float) -> tuple[float, float]:
        along = (math.log10(x) - low_x) / (high_x - low_x) * (WIDTH - LEFT - RIGHT)
        above = (math.log10(y) - low_y) / (high_y - low_y) * (HEIGHT - TOP - BOTTOM)
        return LEFT + along, HEIGHT - BOTTOM - above

    form = 'font-family="sans-serif" font-size="12"'
    upright = f'transform="translate(16 {HEIGHT / 2}) rotate(-90)" text-anchor="middle"'
    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" {form}>',
        f"<title>{escape(title)}</title>",
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>',
        _text(LEFT, 18, title),
        _text(LEFT + (WIDTH - LEFT - RIGHT) / 2, HEIGHT - 10, across, "middle"),
        f"<text {upright}>{escape(up)}</text>",
    ]
    for power in range(low_x, high_x + 1):
        (x, bottom), (_, top) = at(10.0**power, 10.0**low_y), at(10.0**power, 10.0**high_y)
        drawn += [_grid(x, bottom, x, top), _text(x, bottom + 16, f"{10**power:,}", "middle")]
    for power in range(low_y, high_y + 1):
        (left, y), (right, _) = at(10.0**low_x, 10.0**power), at(10.0**high_x, 10.0**power)
        drawn += [_grid(left, y, right, y), _text(left - 6, y + 4, f"{10.0**power:g}", "end")]
    ends = {name: at(*points[-1])[1] for name, points in lines.items()}
    places = _apart(ends)
    for number, (name, points) in enumerate(lines.items()):
        colour, dash = COLOURS[number % len(COLOURS)], DASHES[number % len(DASHES)]
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in (at(*point) for point in points))
        drawn.append(
            f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2"'
            f' stroke-dasharray="{dash}"/>'
        )
        drawn.append(_text(WIDTH - RIGHT + 8, places[name] + 4, name, colour=colour))
    return "\n".join((*drawn, "</svg>\n"))


def _decades(figures: Sequence[float]) -> tuple[int, int]:
    low, high = math.floor(math.log10(min(figures))), math.ceil(math.log10(max(figures)))
    return low, max(high, low + 1)


def _apart(wanted: Mapping[str, float], least: float = 15) -> dict[str, float]:
    """Heights for the names, none upon another."""
    placed: dict[str, float] = {}
    below = -math.inf
    for name, y in sorted(wanted.items(), key=lambda item: item[1]):
        placed[name] = below = max(y, below + least)
    return placed


def _grid(x1: float, y1: float, x2: float, y2: float) -> str:
    return f'<path d="M{x1:.1f} {y1:.1f} L{x2:.1f} {y2:.1f}" stroke="#dddddd"/>'


def _text(x: float, y: float, words: str, anchor: str = "start", colour: str = "black") -> str:
    place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{colour}"'
    return f"<text {place}>{escape(words)}</text>"
