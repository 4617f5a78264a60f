"""Reference text by topic: read from `topics.txt`, with the program's own tables where it names them.

The form of that file: `= NAME: one line` begins a topic and `== TITLE` a section; `TERM :: text` is an entry and
`- text` a bullet, going on in lines indented by two; a line indented by four is printed as it is; `@NAME` stands for a
table of `TABLES`; all else are paragraphs.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Literal

CODE = "    "
"""What a line of code begins with in `topics.txt`, at least."""
Kind = Literal["heading", "text", "bullet", "entry", "code"]


@dataclass(frozen=True, slots=True)
class TopicPart:
    """A piece of a topic.

    Attributes:
        kind: what it is.
        says: its text; an entry's may have several lines, a code's is one.
        term: what an entry is about; empty for the others.
    """

    kind: Kind
    says: str
    term: str = ""


@dataclass(frozen=True, slots=True)
class Topic:
    """A topic: its name, one line that says what it holds, and its unread text."""

    name: str
    says: str
    text: str


def topics() -> dict[str, Topic]:
    """Every topic by its name, in the order of the file; no table is made yet."""
    text = files("patcher.reference").joinpath("topics.txt").read_text(encoding="utf-8")
    found = re.findall(r"^= ([a-z]+): (.+)\n((?:(?!= ).*\n)*)", text, re.MULTILINE)
    return {name: Topic(name, says, body) for name, says, body in found}


def parts_of(topic: Topic, tables: Mapping[str, Callable[[], list[TopicPart]]] | None = None) -> list[TopicPart]:
    """The parts of a topic, with its tables filled in.

    Args:
        topic: the topic.
        tables: what makes each table that the text names; those of the program unless given.
    """
    makers = TABLES if tables is None else tables
    return [
        part
        for block in _blocks(topic.text)
        for part in (makers[block[1:]]() if block.startswith("@") else [_part(block)])
    ]


def _blocks(text: str) -> Iterator[str]:
    """What belongs together, each as one line: a heading, a bullet, an entry, a line of code, a table's name, or else a
    paragraph.
    """
    block: list[str] = []
    for line in [*text.splitlines(), ""]:
        begins = re.match(r"- |\S.* :: ", line) or not line.strip()
        if begins and block:
            yield " ".join(block)
            block = []
        if line.startswith(("== ", "@", CODE)):
            yield line
        elif line.strip():
            block.append(line.strip())


def _part(block: str) -> TopicPart:
    if block.startswith(CODE):
        return TopicPart("code", block.removeprefix(CODE))
    if block.startswith("== "):
        return TopicPart("heading", block[3:])
    if block.startswith("- "):
        return TopicPart("bullet", block[2:])
    term, entry, says = block.partition(" :: ")
    return TopicPart("entry", says, term) if entry else TopicPart("text", block)


def _keys() -> list[TopicPart]:
    from patcher.reference.show_keys import show_keys

    return show_keys()


def _patterns() -> list[TopicPart]:
    from patcher.frames.request import SEEN

    return [TopicPart("entry", says, name.value) for name, says in SEEN.items()]


def _faults() -> list[TopicPart]:
    from patcher.faults.fault import FORMS

    return [TopicPart("entry", form.means, form.written(kind)) for kind, form in FORMS.items()]


def _wires() -> list[TopicPart]:
    from patcher.power.wires import AWG_BEARS, BLADES, CELSIUS, CLASS_5, MM2_BEARS, SOURCES, UNPRINTED, Wire

    wires = [*(Wire(awg=awg) for awg in AWG_BEARS), *(Wire(mm2=area) for area in sorted({*MM2_BEARS, *CLASS_5}))]
    sizes = [
        TopicPart("entry", f"may carry {wire.bears:g} A; {wire.ohms() * 1000:.3g} Ω a kilometre, one way", str(wire))
        for wire in wires
    ]
    blades = ", ".join(f"{amps:g}" for amps in BLADES)
    bare = " and ".join(f"{area:g} mm²" for area in CLASS_5 if area not in MM2_BEARS)
    unrated = f"; so may {bare}, whose amperes are not in the table that these are from" if bare else ""
    return [
        TopicPart("text", f"What a wire may carry, and its resistance at {CELSIUS:g} °C:"),
        *sizes,
        TopicPart("text", f"A size that is not listed may carry what the next thinner one may{unrated}."),
        TopicPart("text", f"Blade fuses: {blades} A."),
        *(TopicPart("entry", says, what) for what, says in SOURCES.items()),
        TopicPart("text", UNPRINTED),
    ]


TABLES: dict[str, Callable[[], list[TopicPart]]] = {
    "keys": _keys, "patterns": _patterns, "faults": _faults, "wires": _wires,
}  # fmt: skip
"""What makes each table; nothing that takes time is imported before it is called."""
