"""The colours of page and figures: one role, one colour on white and one on a dark ground.

Chosen for colour-blind readers and for grey print; every role is also told by shape, width or name.
"""

from dataclasses import dataclass

from matplotlib import colormaps
from matplotlib.colors import to_hex

# How finely speed is told by colour on the path.
SPEED_CLASSES = 10
# Parts of cividis (in matplotlib, CC0) in which every step keeps a contrast of 3:1 to its ground
# (WCAG 2.2, 1.4.11; computed).
_LIGHT_PART, _DARK_PART = (0.0, 0.60), (0.40, 1.0)


@dataclass(frozen=True)
class Role:
    """One use of colour; ``name`` is that of the CSS variable."""

    name: str
    light: str
    dark: str


PAPER = Role("paper", "#ffffff", "#14171a")
INK = Role("ink", "#1b1f24", "#e8eaed")
QUIET = Role("quiet", "#595959", "#9aa0a6")
RULE = Role("rule", "#d3d7dc", "#363c44")
LINE = Role("line", "#00204d", "#56b4e9")
BAND = Role("band", "#b9c6dd", "#2b4d66")
MARK = Role("mark", "#b26a00", "#e69f00")
SHADE = Role("shade", "#e6e4df", "#2a2c2f")
HATCH = Role("hatch", "#8a8780", "#74777c")


def _speed_roles() -> tuple[Role, ...]:
    scale = colormaps["cividis"]
    roles = []
    for index in range(SPEED_CLASSES):
        share = index / (SPEED_CLASSES - 1)
        light, dark = (
            to_hex(scale(low + share * (high - low))) for low, high in (_LIGHT_PART, _DARK_PART)
        )
        roles.append(Role(f"speed{index}", light, dark))
    return tuple(roles)


SPEED_ROLES = _speed_roles()
ROLES = (PAPER, INK, QUIET, RULE, LINE, BAND, MARK, SHADE, HATCH, *SPEED_ROLES)


def css_variables(*, dark: bool) -> str:
    """Return the colours as CSS declarations."""
    return " ".join(f"--{role.name}:{role.dark if dark else role.light};" for role in ROLES)
