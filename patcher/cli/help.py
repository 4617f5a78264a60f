"""`help`: reference text by topic."""

from __future__ import annotations

import shutil
from typing import Annotated

import typer

from patcher.cli.options import AsJson
from patcher.errors import PatcherError, choose_from, refuse
from patcher.terminal.printed import say_json


def help_(
    context: typer.Context,
    topic: Annotated[str | None, typer.Argument(metavar="[TOPIC]", help="A topic; without one, list them all.")] = None,
    as_json: AsJson = False,
) -> None:
    """Explain a topic; without one, list the topics.

    The show file's keys, test patterns, faults, JSON, power, safety and more.
    """
    from patcher.reference import TopicPart, parts_of, topics
    from patcher.reports.topic_lines import WIDEST, lines

    known = topics()
    if topic is None:
        document: dict[str, object] = {"topics": [{"topic": each.name, "says": each.says} for each in known.values()]}
        parts = [TopicPart("entry", each.says, each.name) for each in known.values()]
        parts.append(
            TopicPart("text", "Read one: patcher help TOPIC. The options of a command: patcher COMMAND --help.")
        )
    elif topic in known:
        chosen = known[topic]
        parts = parts_of(chosen)
        said = [{"kind": part.kind, "term": part.term, "says": part.says} for part in parts]
        document = {"topic": chosen.name, "says": chosen.says, "parts": said}
        parts = [TopicPart("heading", f"{chosen.name}: {chosen.says}"), *parts]
    else:
        raise _not_known(topic, list(known), context)
    if as_json:
        say_json(document)
    else:
        print("\n".join(lines(parts, min(shutil.get_terminal_size().columns, WIDEST))))


def _not_known(topic: str, known: list[str], context: typer.Context) -> PatcherError:
    commands = getattr(context.parent and context.parent.command, "commands", {})
    if topic in commands:
        return refuse(topic, "is a command, not a topic", f"its options: patcher {topic} --help; topics: patcher help")
    return refuse(topic, "is not a topic", choose_from(topic, known, most=len(known)))
