"""Draws the figures of the pages on air, light and sun: python docs/sums/make_figures.py FOLDER.

Each figure is worked out with the sums it explains, so a changed sum is a changed figure. A test
draws them anew and holds them against those in docs/pictures.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from rules.air import dew_point_c, saturation_vapour_pressure_kpa, vapour_pressure_kpa
from rules.light import LUX_PER_UMOL, ppfd_of_illuminance
from rules.light_day import light_sum_umol_m2, minutes_of_day
from rules.model.place import Obstruction, Place
from rules.sky import (
    clear_sky_ppfd_umol_m2_s,
    direct_sun_from_umol_m2_s,
    skyline_deg,
    under_shade_umol_m2_s,
)
from rules.sun import sun_position

if TYPE_CHECKING:
    from collections.abc import Sequence

Floats = NDArray[np.float64]

WIDTH, HEIGHT = 640, 400
LEFT, RIGHT, TOP, BOTTOM = 70, 24, 20, 56
INK, FAINT, BLUE, RUST, GOLD = "#22302a", "#c9d1cc", "#1f5f8b", "#a8431f", "#b7860b"

TERN_HOLLOW = Place(
    title="Tern Hollow",
    latitude_deg=-24.0,
    longitude_deg=160.0,
    elevation_m=40.0,
    time_zone="Etc/GMT-11",
)
DAY = date(2026, 11, 15)
SHADE = 0.88
HEDGE = tuple(
    Obstruction(azimuth_deg=azimuth, elevation_deg=elevation)
    for azimuth, elevation in [(60.0, 0.0), (75.0, 11.0), (115.0, 14.0), (130.0, 0.0)]
)


@dataclass(slots=True)
class Chart:
    """A drawing with two axes: `across` and `up` are the lowest and highest value shown."""

    title: str
    across: tuple[float, float]
    up: tuple[float, float]
    parts: list[str] = field(default_factory=list)

    def x(self, value: float) -> float:
        """Return where a value of the lower axis stands, in pixels from the left."""
        low, high = self.across
        return LEFT + (value - low) / (high - low) * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        """Return where a value of the upright axis stands, in pixels from the top."""
        low, high = self.up
        return HEIGHT - BOTTOM - (value - low) / (high - low) * (HEIGHT - TOP - BOTTOM)

    def say(
        self, words: str, *, at: tuple[float, float], anchor: str = "start", ink: str = INK
    ) -> None:
        """Write words at a place in pixels."""
        left, top = at
        self.parts.append(
            f'<text x="{left:.0f}" y="{top:.0f}" text-anchor="{anchor}" fill="{ink}">'
            f"{escape(words)}</text>"
        )

    def axes(self, across: str, up: str, *, marks: tuple[Sequence[float], Sequence[float]]) -> None:
        """Draw the marks of both axes with their names."""
        for value in marks[0]:
            x = self.x(value)
            self.parts.append(_line(x, TOP, x, HEIGHT - BOTTOM, ink=FAINT))
            self.say(f"{value:g}", at=(x, HEIGHT - BOTTOM + 18), anchor="middle")
        for value in marks[1]:
            y = self.y(value)
            self.parts.append(_line(LEFT, y, WIDTH - RIGHT, y, ink=FAINT))
            self.say(f"{value:g}", at=(LEFT - 8, y + 4), anchor="end")
        self.say(across, at=((LEFT + WIDTH - RIGHT) / 2, HEIGHT - 12), anchor="middle")
        self.parts.append(
            f'<text transform="translate(18 {(TOP + HEIGHT - BOTTOM) / 2:.0f}) rotate(-90)" '
            f'text-anchor="middle" fill="{INK}">{escape(up)}</text>'
        )

    def curve(self, across: Floats, up: Floats, *, ink: str, dashes: str = "none") -> None:
        """Draw a line through points."""
        points = " ".join(
            f"{self.x(x):.1f},{self.y(y):.1f}"
            for x, y in zip(across.tolist(), up.tolist(), strict=True)
        )
        self.parts.append(
            f'<polyline points="{points}" fill="none" stroke="{ink}" stroke-width="2" '
            f'stroke-dasharray="{dashes}"/>'
        )

    def svg(self) -> str:
        """Return the drawing as the text of an SVG file."""
        return "\n".join(
            [
                f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
                f'role="img" aria-label="{escape(self.title)}" font-family="sans-serif" '
                'font-size="13">',
                f"<title>{escape(self.title)}</title>",
                f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>',
                *self.parts,
                "</svg>\n",
            ]
        )


def air() -> str:
    """Draw saturation, what air of 30 °C and 70 % holds, and what it lacks for two leaves."""
    chart = Chart("What air can hold, what it holds, what a leaf loses to it", (0, 45), (0, 10))
    marks = ([0, 10, 20, 30, 40], [0, 2, 4, 6, 8, 10])
    chart.axes("temperature, °C", "vapour pressure, kPa", marks=marks)
    warm = np.linspace(0.0, 45.0, 91)
    chart.curve(warm, saturation_vapour_pressure_kpa(warm), ink=BLUE)
    held = vapour_pressure_kpa(30.0, 70.0)
    dew = dew_point_c(held)
    chart.curve(np.array([0.0, 45.0]), np.array([held, held]), ink=INK, dashes="4 4")
    for at_c, ink, words in ((30.0, GOLD, "air 30 °C: 1.27 kPa"), (36.0, RUST, "leaf 36 °C")):
        top = saturation_vapour_pressure_kpa(at_c)
        chart.curve(np.array([at_c, at_c]), np.array([held, top]), ink=ink)
        told = words if at_c == 30.0 else f"{words}: {top - held:.2f} kPa"
        chart.say(told, at=(chart.x(at_c) - 8, chart.y(top) - 4), anchor="end", ink=ink)
    chart.curve(np.array([dew, dew]), np.array([0.0, held]), ink=INK, dashes="2 3")
    chart.say(f"dew point {dew:.1f} °C", at=(chart.x(dew) - 6, chart.y(0.5)), anchor="end")
    chart.say(f"held at 70 %: {held:.2f} kPa", at=(chart.x(1.0), chart.y(held) - 6))
    chart.say("saturation", at=(chart.x(43.0), chart.y(9.3)), anchor="end", ink=BLUE)
    return chart.svg()


def light() -> str:
    """Draw what a reading of 10,000 lx means for a leaf under each source."""
    sources = sorted(LUX_PER_UMOL, key=LUX_PER_UMOL.__getitem__)
    chart = Chart("What 10,000 lx mean for a leaf, by light source", (0, 220), (0, len(sources)))
    chart.axes("PPFD, µmol m⁻² s⁻¹", "", marks=([0, 50, 100, 150, 200], []))
    for row, source in enumerate(reversed(sources)):
        ppfd = ppfd_of_illuminance(10_000.0, source)
        top, bottom = chart.y(row + 0.85), chart.y(row + 0.15)
        chart.parts.append(
            f'<rect x="{LEFT}" y="{top:.0f}" width="{chart.x(ppfd) - LEFT:.0f}" '
            f'height="{bottom - top:.0f}" fill="{GOLD}"/>'
        )
        words = f"{source.value.replace('_', ' ')}: {ppfd:.0f}"
        chart.say(words, at=(LEFT + 8, (top + bottom) / 2 + 5))
    return chart.svg()


def sun() -> str:
    """Draw a clear day: open sky, under cloth, and from where on it is direct sun."""
    chart = Chart("A clear day in the open and under 88 % shade", (4, 20), (0, 2200))
    marks = ([4, 6, 8, 10, 12, 14, 16, 18, 20], [0, 500, 1000, 1500, 2000])
    chart.axes("hour, local", "PPFD, µmol m⁻² s⁻¹", marks=marks)
    minutes = minutes_of_day(TERN_HOLLOW, DAY)[4 * 60 : 20 * 60 : 10]
    hour = np.linspace(4.0, 20.0, minutes.size, endpoint=False)
    clear = clear_sky_ppfd_umol_m2_s(TERN_HOLLOW, minutes)
    shaded = under_shade_umol_m2_s(clear, shade_fraction=0.88)
    chart.curve(hour, clear, ink=GOLD)
    chart.curve(hour, shaded, ink=BLUE)
    bound = direct_sun_from_umol_m2_s(clear, shade_fraction=0.88)
    chart.curve(hour, bound, ink=RUST, dashes="5 4")
    chart.say("open sky", at=(chart.x(15.2), chart.y(1750)), ink=GOLD)
    chart.say("direct sun from here on", at=(chart.x(12), chart.y(440)), anchor="middle", ink=RUST)
    chart.say("under 88 % shade", at=(chart.x(12), chart.y(90)), anchor="middle", ink=BLUE)
    return chart.svg()


def skyline() -> str:
    """Draw the sun's path over a hedge in the east, and where the sun clears it."""
    chart = Chart("The sun's path and a hedge in the east", (40, 140), (0, 50))
    marks = ([40, 60, 80, 100, 120, 140], [0, 10, 20, 30, 40, 50])
    chart.axes("azimuth from true north, °", "elevation, °", marks=marks)
    towards = np.linspace(40.0, 140.0, 201)
    chart.curve(towards, skyline_deg(HEDGE, towards), ink=INK)
    minutes = minutes_of_day(TERN_HOLLOW, DAY)[5 * 60 + 30 : 9 * 60 : 10]
    position = sun_position(TERN_HOLLOW, minutes)
    chart.curve(position.azimuth_deg, position.apparent_elevation_deg, ink=GOLD)
    for i in range(3, minutes.size, 6):
        x, y = position.azimuth_deg[i], position.apparent_elevation_deg[i]
        chart.say(f"{6 + i // 6}:00", at=(chart.x(x) + 8, chart.y(y) - 4), ink=GOLD)
        chart.parts.append(
            f'<circle cx="{chart.x(x):.0f}" cy="{chart.y(y):.0f}" r="4" fill="{GOLD}"/>'
        )
    chart.say("hedge", at=(chart.x(82), chart.y(5)), ink=INK)
    return chart.svg()


def doses() -> str:
    """Draw a day's light at a bench with a gap in its cloth: its sum, and its minutes of sun."""
    chart = Chart("A day's light and its sum", (5, 19), (0, 20))
    marks = ([6, 8, 10, 12, 14, 16, 18], [0, 4, 8, 12, 16, 20])
    chart.axes("local time, h", "light sum, mol m⁻²; light, 100 µmol m⁻² s⁻¹", marks=marks)
    minutes = minutes_of_day(TERN_HOLLOW, DAY)
    hours = np.arange(minutes.size) / 60.0
    clear = clear_sky_ppfd_umol_m2_s(TERN_HOLLOW, minutes)
    cloth = under_shade_umol_m2_s(clear, shade_fraction=SHADE)
    gap = (hours >= 9.0) & (hours < 10.0)
    felt = np.where(gap, 0.8 * clear, cloth)
    sum_mol = light_sum_umol_m2(0, felt) / 1e6
    lit = (hours >= 5.0) & (hours <= 19.0)
    chart.curve(hours[lit], felt[lit] / 100.0, ink=GOLD)
    bound = direct_sun_from_umol_m2_s(clear, shade_fraction=SHADE)
    chart.curve(hours[lit], bound[lit] / 100.0, ink=RUST, dashes="2 4")
    chart.curve(hours[lit], sum_mol[lit], ink=BLUE)
    chart.curve(np.array([5.0, 19.0]), np.array([8.0, 8.0]), ink=INK, dashes="6 3")
    chart.say("bound of the sum", at=(chart.x(5.3), chart.y(8.4)), ink=INK)
    chart.say("sum", at=(chart.x(17.0), chart.y(9.6)), ink=BLUE)
    chart.say("light", at=(chart.x(10.2), chart.y(15.2)), ink=GOLD)
    chart.say("direct sun from here on", at=(chart.x(12.6), chart.y(5.2)), ink=RUST)
    return chart.svg()


FIGURES = {"air": air, "light": light, "sun": sun, "skyline": skyline, "doses": doses}


def _line(left: float, top: float, right: float, bottom: float, *, ink: str) -> str:
    return (
        f'<line x1="{left:.0f}" y1="{top:.0f}" x2="{right:.0f}" y2="{bottom:.0f}" stroke="{ink}"/>'
    )


def main(folder: Path) -> None:
    """Draw every figure into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, draw in FIGURES.items():
        (folder / f"{name}.svg").write_text(draw(), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else Path(__file__).parents[1] / "pictures")
