"""What is said for a terminal, in the words of the phone's page."""

from __future__ import annotations

import re

from patcher.phone.content import WHOLE

TERMINAL_WORDS = (
    (r"patcher send ports PATH: it sends", lambda found: "the computer (send ports): it sends"),
    (r"patcher send (\w+) PATH --on (\S+?)(?=[:. ]|$)", lambda found: f"find {found[2]} here, pattern {found[1]}"),
    (r"patcher send (\w+) PATH", lambda found: f"find “{WHOLE}” here, pattern {found[1]}"),
    (r" --level ([\d.]+), then --level ([\d.]+)", lambda found: f", at the lowest level, then at {_percent(found[2])}"),
    (r"patcher where PATH \S+ says", lambda found: "“Boxes: what to type in” says"),
    (r"patcher swap PATH (\S+) (\S+)", lambda found: f"{found[2]} can take over from {found[1]}"),
    (r"patcher power PATH --plan proposes feeds", lambda found: "the computer proposes feeds (power --plan)"),
    (r"patcher power PATH works", lambda found: "The computer (power) works"),
    (r"outside (\S+): patcher diagnose PATH (\S+)$", lambda found: f"outside {found[1]}: look at all of {found[2]}"),
    (r"run diagnose again", lambda found: "check it again"),
    (r"press b for the whole step", lambda found: "tap “The whole step”"),
    (r"To continue it: patcher diagnose PATH (\S+)$", lambda found: f"“Go on with {found[1]}” continues it."),
    (r"^\s*Stopped here\. Every answer .+ to continue\.$", lambda found: ""),
    (r"^\s*→ ", lambda found: "Your answer: "),
    (r"([Pp])ress b\b", lambda found: f"{'T' if found[1] == 'P' else 't'}ap “Previous step”"),
    (r"patcher patch PATH$", lambda found: "see “Boxes: what to type in”"),
    (
        r"patcher patch PATH; patcher todo PATH lists what to change:$",
        lambda found: "see “Progress and notes” for what to change:",
    ),
    (r"patcher todo PATH(?: lists them| says what)?(?=$|\))", lambda found: "see “Progress and notes”"),
    (r"patcher verify PATH asks only for those", lambda found: "the walk-through asks only for those"),
    (r"patcher verify PATH", lambda found: "the walk-through"),
    (r"patcher film plays\b", lambda found: "the code plays"),
    (r"patcher check PATH", lambda found: "check on the computer"),
    (
        r"([Cc])opy the clip from the phone once more(?:, as it was recorded)?",
        lambda found: f"{'F' if found[1] == 'C' else 'f'}ilm it once more",
    ),
    (r", and read all clips together", lambda found: "; the computer reads several clips together (film --read)"),
)
"""Words that name a key of the terminal or a command, and the page's own for them; PATH stands for the show file."""
A_PATH = r"""(?:'(?:[^']|'"'"')*'|\S+?\.toml)(?: --yard)?"""
"""A path as a shell reads it, with the option of practice behind it where it is there."""


def on_page(line: str) -> str:
    """A line that may name keys of the terminal or commands, in the page's words."""
    for pattern, words in TERMINAL_WORDS:
        line = re.sub(pattern.replace("PATH", A_PATH), words, line)
    return line


def _percent(level: str) -> str:
    return f"{float(level) * 100:.0f} %"
