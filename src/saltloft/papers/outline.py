"""The outline of a section as it hangs: round, oval or pressed flat, ring by ring.

The engine counts a pressed piece by the round one of the same section; a ring of
that one is drawn as the line in the true outline that holds the same area.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt


@dataclass(frozen=True)
class Outline:
    """The shape of a section, in units of the round diameter of the same area.

    Args:
        shape: str. 'round', 'oval' (an ellipse) or 'pressed' (a strip between two half circles).
        width, thickness: float. Large and small diameter over the round one. [1]
    """

    shape: str = "round"
    width: float = 1.0
    thickness: float = 1.0

    def half_axes(self, radius: float, outer: float) -> tuple[float, float]:
        """Half width and half thickness of the line that holds the area of a ring.

        Args:
            radius: float. Of the ring in the round piece. [any length]
            outer: float. Of the round piece. [same]

        Returns:
            two floats. [same]

        Notes:
            Inside a strip, lines of one depth keep its straight part; inside an ellipse they are
            taken as ellipses of the same difference of axes. At the core both are a line.
        """
        if self.shape == "round":
            return radius, radius
        longer, thin = outer * (self.width - self.thickness), outer * self.thickness
        share = (radius / outer) ** 2
        if self.shape == "oval":
            half = 0.5 * (sqrt(longer**2 + 4.0 * share * thin * (thin + longer)) - longer)
        else:
            area = share * (pi * thin**2 + 4.0 * thin * longer)
            half = (sqrt(16.0 * longer**2 + 4.0 * pi * area) - 4.0 * longer) / (2.0 * pi)
        return half + longer, half

    def drawn(self, radius: float, outer: float, scale: float, attributes: str) -> str:
        """A ring as an element of a drawing whose middle is 60, 60.

        Args:
            radius, outer: float. As `half_axes`. [mm]
            scale: float. [px/mm]
            attributes: str. What else the element bears.
        """
        wide, thin = (scale * half for half in self.half_axes(radius, outer))
        if self.shape == "round":
            return f'<circle cx="60" cy="60" r="{wide:.2f}" {attributes}/>'
        if self.shape == "pressed":
            place = f'x="{60 - wide:.2f}" y="{60 - thin:.2f}" width="{2 * wide:.2f}" height="{2 * thin:.2f}"'
            return f'<rect {place} rx="{thin:.2f}" {attributes}/>'
        return f'<ellipse cx="60" cy="60" rx="{wide:.2f}" ry="{thin:.2f}" {attributes}/>'


ROUND = Outline()
