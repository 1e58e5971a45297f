"""The colours and why they are these.

In: the name of an agent, a duty or a role. Out: a CSS custom property of assets/style.css, which site.js resolves
when it draws, so that light, dark and print each have their own shade and no figure holds a colour.

The accent is the violet of the indelible pencil, once the pencil of log books: it is the one strong hue that no agent
colour of BS 7863 / EN 3 uses (red, cream, blue, black, yellow; we give clean agent a green), so that a violet mark never
reads as an agent. Bars without a meaning of their own are grey; the accent marks what the title speaks of. Status has a
word and a shape; its colour only helps. Series of a line chart differ by shade, by dash and by a label at the line's end.
"""

from __future__ import annotations

ACCENT = "var(--accent)"
INK = "var(--ink)"
QUIET = "var(--mark)"
LIMIT = "var(--limit)"
OUTLINE = "var(--outline)"

# BS 7863 with EN 3: water red, foam cream, powder blue, CO2 black, wet chemical yellow. Clean agent: our choice.
AGENTS = ("water", "foam", "powder", "co2", "wet_chemical", "clean_agent")

SERIES = (("var(--accent)", "solid"), ("var(--ink)", "dash"), ("var(--series-3)", "dot"), ("var(--series-4)", "dashdot"))


def pick_agent_colour(agent: str) -> str:
    """The colour of an agent; an unknown agent is plain grey."""
    return f"var(--agent-{agent.replace('_', '-')})" if agent in AGENTS else QUIET


def pick_agent_ink(agent: str) -> str:
    """A text colour that reads on the agent's colour."""
    return f"var(--on-{agent.replace('_', '-')})" if agent in AGENTS else INK


def pick_series(index: int) -> tuple[str, str]:
    """Colour and dash of the n-th line of a chart."""
    return SERIES[index % len(SERIES)]
