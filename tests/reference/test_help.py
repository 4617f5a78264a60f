"""`patcher help`: every key, pattern, fault and document is in its topic, true, and no wider than the terminal."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import nullcontext
from functools import cache
from pathlib import Path
from typing import Annotated, Any, get_args
from unittest.mock import patch as patched

import numpy as np
import pytest
import tomli_w
import typer
from pydantic import TypeAdapter, ValidationError

from patcher.answers.terminal_answers import KEYS
from patcher.cli import app
from patcher.cli.inputs import load
from patcher.cli.phone import PORT
from patcher.faults import KINDS, parse
from patcher.faults.fault import FORMS
from patcher.film import read as reader
from patcher.film.measured import Sight
from patcher.film.verdict import Word
from patcher.frames.patterns import RAMP_SECONDS
from patcher.frames.request import PatternName
from patcher.patch.patch_file import dump, patch_path
from patcher.power.flow import LOADED
from patcher.power.wires import AWG_BEARS, BLADES, CLASS_5, MM2_BEARS, UNPRINTED
from patcher.reference import TopicPart, parts_of, topics
from patcher.reference.show_keys import show_keys
from patcher.reports import yard_film_report
from patcher.reports.topic_lines import WIDEST, lines
from patcher.show import likeness, mains_tables, photo_tables, run_tables, schema
from patcher.show.tables import Table
from patcher.trade import FASTEST_FLASH, TEST_LEVEL
from rig import clips as real_clips
from rig.feed_lines import UNFED
from rig.film_readings import reading
from rig.film_verdicts import faults_of, perfect
from rig.heron_lock import heron
from rig.shipped import SHOWS, Patcher

TABLES: dict[str, list[type[Table]]] = {
    "[show]": [schema.Settings],
    "[show.photo]": [photo_tables.Photo],
    "[show.photo] spans": [photo_tables.PhotoSpan],
    "[show.photo] wall": [photo_tables.PhotoWall],
    "[pixel.NAME]": [schema.PixelType],
    "[controller.NAME]": [schema.Controller],
    "[controller.NAME] logic": [schema.Logic],
    "[run.NAME]": [run_tables.Run],
    '[run.NAME] shape = "line"': [run_tables.LineRun],
    '[run.NAME] shape = "loop"': [run_tables.LoopRun],
    '[run.NAME] shape = "arch"': [run_tables.ArchRun],
    '[run.NAME] shape = "grid"': [run_tables.GridRun],
    '[run.NAME] shape = "band"': [run_tables.BandRun],
    '[run.NAME] shape = "points"': [run_tables.PointsRun],
    "[run.NAME] without a shape": [run_tables.PlainRun],
    '[run.NAME] like = "OTHER"': [likeness.Copy],
    "[prop.NAME]": [schema.Prop, schema.GridProp],
    "[supply.NAME]": [schema.Supply],
    "[socket.NAME]": [mains_tables.Socket],
    "[feed.NAME]": [schema.Feed],
    "[feed.NAME] taps": [schema.Tap],
    "[route.NAME]": [schema.CableRoute],
    "[[accept]]": [schema.Accept],
}
COMMANDS = typer.main.get_command(app).commands  # type: ignore[attr-defined]


def terms(topic: str) -> dict[str, str]:
    return {part.term: part.says for part in parts_of(topics()[topic]) if part.kind == "entry"}


def text(topic: str) -> str:
    return "\n".join(f"{part.term} {part.says}" for part in parts_of(topics()[topic]))


# --- the file ---------------------------------------------------------------------------------------------------------


@cache
def sections() -> dict[str, list[TopicPart]]:
    found: dict[str, list[TopicPart]] = {}
    for part in show_keys():
        if part.kind == "heading":
            title = part.says
        found.setdefault(title, []).append(part)
    return found


def test_every_table_is_there() -> None:
    # Source: `patcher schema`: the tables that it defines
    tables = {table.__name__ for group in TABLES.values() for table in group}
    assert tables - {"Run"} == set(schema.json_schema()["$defs"]) | {"Settings"} - {"Show"}
    assert list(sections()) == list(TABLES)


@pytest.mark.parametrize("title", TABLES)
def test_every_key_is_there_with_its_default(title: str) -> None:
    # Source: the schema that reads the file
    said = [(part.term, part.says.split("\n")) for part in sections()[title] if part.kind == "entry"]
    shared = run_tables.Run.model_fields if "run" in title and title != "[run.NAME]" else {}
    wanted = [
        (field.alias or name, field)
        for table in TABLES[title]
        for name, field in table.model_fields.items()
        if name not in shared and name != "shape"
    ]
    assert [term for term, _ in said] == [key for key, _ in wanted]
    for (key, field), (_, (means, given)) in zip(wanted, said, strict=True):
        assert means, f"{title} {key} has no meaning"
        assert given.startswith("must be given; ") == field.is_required(), key
        if not field.is_required() and field.get_default(call_default_factory=True) not in (None, "", (), {}):
            default = int(field.default) if isinstance(field.default, float) else field.default
            assert given.startswith(f"default {json.dumps(default)}; "), key


def test_what_must_be_given_but_for_some_tables_is_said_so() -> None:
    # Source: found in use: the address "may be left out", and without it no command worked
    given = {(title, part.term): part.says.split("\n")[1] for title in TABLES for part in sections()[title]
             if part.kind == "entry"}  # fmt: skip
    address = given["[controller.NAME]", "address"]
    assert address == "must be given, but for multicast and for a spare; text"
    plain = {"address": None, "ports": 4}
    for keys, taken in (({}, False), ({"delivery": "multicast"}, True), ({"spare": True}, True)):
        with nullcontext() if taken else pytest.raises(ValidationError, match="has no address"):
            schema.Controller.model_validate(plain | keys)
    every = [title for title, table in TABLES.items() if schema.Tap in table or schema.Feed in table]
    assert {(title, term) for (title, term), says in given.items() if title in every and "must be given" in says
            and not says.startswith("must be given; ")} == {
        (title, term) for title in every for term in ("pixel", "every", "supply", "from", "tap")
        if (title, term) in given
    }  # fmt: skip


NUMBER = re.compile(r"^[^;]*; (whole number|number)(.*)$")


def numbers() -> list[Any]:
    found = []
    for title, tables in TABLES.items():
        for part in sections()[title]:
            if part.kind == "entry" and (match := NUMBER.match(part.says.split("\n")[1])):
                fields = [(f.alias or name, f) for table in tables for name, f in table.model_fields.items()]
                field = next(field for key, field in fields if key == part.term)
                found.append(pytest.param(field, match[1], match[2], id=f"{title} {part.term}"))
    return found


@pytest.mark.parametrize(("field", "kind", "limits"), numbers())
def test_a_number_may_be_what_is_said_and_no_more(field: Any, kind: str, limits: str) -> None:
    # Judge: pydantic, which reads the file: the ends that are said are taken, and what is just past them is not
    reads = TypeAdapter(Annotated[field.annotation, *field.metadata] if field.metadata else field.annotation)

    def taken(value: float) -> bool:
        try:
            reads.validate_python(value)
        except ValidationError:
            return False
        return True

    number = int if kind == "whole number" else float
    step = 1 if number is int else 1e-7
    if match := re.match(r", ([-.\d]+) to ([-.\d]+)", limits):
        low, high = number(match[1]), number(match[2])
        assert taken(low), low
        assert not taken(low - step)
    else:
        match = re.match(r", more than ([-.\d]+), at most ([.\d]+)", limits)
        assert match, limits
        low, high = number(match[1]), number(match[2])
        assert not taken(low)
        assert taken(low + step)
    assert taken(high)
    assert not taken(high * (1 + 1e-9) + (1 if number is int else 0))


# --- patterns, faults, wires ------------------------------------------------------------------------------------------


def test_every_pattern_and_every_kind_of_fault_is_there() -> None:
    # Source: the names that `send` and `yard --fault` take
    assert list(terms("patterns")) == list(PatternName)
    assert [term.partition(":")[0] for term in list(terms("faults"))[: len(KINDS)]] == list(KINDS)
    assert all(terms("patterns").values())
    assert all(form.means for form in FORMS.values())


WHEEL = """\
[run.wheel]
pixel = "bulb-12v"
shape = "loop"
corners = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]
pixels = 40
"""


def test_every_fault_is_taken_as_it_is_written_there(heron_lock: Path) -> None:
    # Judge: `parse`, which reads what a person writes
    text = heron_lock.read_text(encoding="utf-8")
    table, hung = '4 = ["hedge"]', '4 = ["hedge", "wheel"]'
    assert text.count(table) == 1
    heron_lock.write_text(text.replace(table, hung).replace("[run.eaves]", f"{WHEEL}\n[run.eaves]"), encoding="utf-8")
    wiring = load(heron_lock)
    names = {
        "BOX/1,BOX/2": "mooring/1,mooring/2", "RUN,RUN": "gable,eaves", "BOX,BOX": "gatepost,mooring",
        "BOX/1": "mooring/1", "BOX": "mooring", "RUN/57": "willow/57", "GRID": "gate-left", "LOOP": "wheel",
        "RUN": "willow",
    }  # fmt: skip
    for kind, form in FORMS.items():
        examples = re.findall(rf"{kind}:[^ ,)]+(?:,[A-Z][^ )]*)?", form.means)
        every = [f"{kind}:{where}" + form.written(kind).partition(form.where)[2] for where in form.where.split(" or ")]
        for written in [*every, *examples]:
            where = written.partition(":")[2].partition("=")[0]
            parse(written.replace(where, names[where]), wiring)


def test_every_wire_and_fuse_is_there() -> None:
    # Source: the tables of `power/wires.py`
    said, listed = text("power"), terms("power")
    for awg, amps in AWG_BEARS.items():
        assert listed[f"AWG {awg}"].startswith(f"may carry {amps:g} A;")
    for area, amps in MM2_BEARS.items():
        assert listed[f"{area:g} mm²"].startswith(f"may carry {amps:g} A;")
        assert f"; {CLASS_5[area]:.3g} Ω" in listed[f"{area:g} mm²"]
    assert ", ".join(f"{amps:g}" for amps in BLADES) in said
    assert "memory" not in said
    assert said.count(UNPRINTED) == 1
    for source in ("NFPA 70", "DIN VDE 0298-4", "IEC 60228", "IEC 60028", "ASTM B258", "ISO 8820-3"):
        assert source in said


def test_a_wire_that_may_carry_no_more_than_a_thinner_one_says_why() -> None:
    # Source: found by a reader: 16 mm² and 25 mm² may both carry 82 A; the table of amperes ends before that of ohms
    bare = sorted(set(CLASS_5) - set(MM2_BEARS))
    words = text("power").partition("A size that is not listed")[2].partition(".\n")[0]
    assert bare
    assert all(f"{area:g} mm²" in words for area in bare)


def test_what_a_lead_from_a_box_brings_is_said_where_its_keys_are() -> None:
    # Source: the circuit (patcher/power/circuit.py): no lead leads from a box to a run; a reader found no word of it
    for topic in ("file", "power"):
        assert "A lead from a box brings data and ground only" in " ".join(text(topic).split())


def test_the_words_of_the_power_tables_are_explained(here: Patcher) -> None:
    # Source: the heads of the tables that `power` prints
    ran = here("power", SHOWS / "heron-lock.toml")
    printed = ran.stdout.splitlines()
    heads = [printed[number - 1] for number, line in enumerate(printed) if line.startswith("───")]
    words = {word for head in heads for word in re.split(r" {3,}", head.strip())}
    assert len(words) > 15
    said = text("power")
    assert {word for word in words if word not in said} <= {"at pixel"}


# --- words that must be true ------------------------------------------------------------------------------------------


def test_every_option_and_topic_that_is_named_is_there() -> None:
    # Source: the commands' own options
    options = {option for command in COMMANDS.values() for each in command.params for option in each.opts}
    options |= {option for command in COMMANDS.values() for each in command.params for option in each.secondary_opts}
    for name in topics():
        assert set(re.findall(r"--[a-z][a-z-]+", text(name))) <= options | {"--help"}, name
        assert set(re.findall(r"patcher help ([a-z]+)", text(name))) <= topics().keys()
        assert set(re.findall(r"patcher ([a-z]+) ", text(name))) <= COMMANDS.keys()


@pytest.mark.parametrize(
    ("topic", "says"),
    [
        ("patterns", f"`--level` is {TEST_LEVEL:g} unless"),
        ("patterns", f"More than {('zero', 'one', 'two', 'three')[FASTEST_FLASH]} flashes a second"),
        ("patterns", f"back in {RAMP_SECONDS:g} s"),
        ("power", f"within {LOADED * 100:g} % of its rating"),
        ("phone", f"`--port` is {PORT} unless"),
    ],
)
def test_numbers_are_those_of_the_program(topic: str, says: str) -> None:
    # Source: the constants that the program runs on
    assert says in text(topic)


def test_every_key_of_the_walk_is_there() -> None:
    # Source: the keys that `verify` takes
    said = [key for term in terms("verify") for key in term.split(", ")]
    assert set(KEYS) <= set(said)


def defaults(command: str) -> dict[str, Any]:
    return {option: each.default for each in COMMANDS[command].params for option in each.opts}


def test_defaults_that_are_named_are_those_of_the_commands() -> None:
    # Source: the commands' own options
    assert f"`--hold` seconds ({defaults('phone')['--hold']:g})" in text("phone")
    assert f"`--seconds` ({defaults('patch')['--seconds']:g} unless" in text("patch")
    assert f"{defaults('power')['--margin']:g} % of its rated volts" in text("power")
    assert f"`--label {defaults('sheet')['--label']}`" in text("sheet")
    assert f"--spares {defaults('sheet')['--spares']:g}" in terms("sheet")


# --- JSON -------------------------------------------------------------------------------------------------------------

JSON = "findings", "spans", "starts", "to_type", "to_tell", "own_settings", "to_send", "to_draw"
"""Values that are described once for several documents."""
FREE = {("power", "wire_metres"), ("adopt", "columns"), ("yard", "colours"), ("listen", "not_listened")}
"""Whose keys are names or letters out of the show, the table or the network."""


def named(says: str) -> set[str]:
    return set(re.findall(r"\w+", " ".join(re.findall(r"`([^`]*)`", says))))


def keys(value: Any, command: str) -> Iterator[str]:
    """The keys of a document, however deep."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield key
            if (command, key) not in FREE:
                yield from keys(inner, command)
    elif isinstance(value, list):
        for inner in value:
            yield from keys(inner, command)


def test_every_command_with_json_has_its_document() -> None:
    # Source: the commands' own options
    listed = {name for term in terms("json") for name in re.split(r", (?:of [a-z]+)?", term) if name}
    wanted = {name for name, command in COMMANDS.items() if any("--json" in each.opts for each in command.params)}
    assert wanted <= listed
    assert listed & COMMANDS.keys() == wanted


TABLE = "Box;Output;Prop;String;Uni;Start;Pixels;Remarks\nWell house;1;Hedge;left;1;1;100;\n;2;;x;1;600;50;\n"
TO_US = ("--to", "127.0.0.1", "--seconds", "0")
DOCUMENTS = [
    ("check", ["check", "SHOW"]),
    ("patch", ["patch", "SHOW", "--every-pixel"]),
    ("diff", ["diff", "SHOW"]),
    ("todo", ["todo", "SHOW"]),
    ("adopt", ["adopt", "w.toml", "w.csv"]),
    ("swap, of boxes", ["swap", "SHOW", "gatepost", "shelf"]),
    ("swap, of boxes", ["swap", "SHOW", "mooring", "shelf"]),
    ("swap, of supplies", ["swap", "SHOW", "weir-12v", "shelf-12v"]),
    ("where", ["where", "SHOW", "gate"]),
    ("power", ["power", "SHOW"]),
    ("power", ["power", "dark.toml", "--plan"]),
    ("propose", ["propose", "SHOW", "--afresh", "--seconds", "2"]),
    ("send, bench", ["send", "dot", "SHOW", "--on", "gatepost", *TO_US]),
    ("send, bench", ["send", "dot", "SHOW", "--on", "gatepost", "--dry-run"]),
    ("send, bench", ["bench", "127.0.0.1", "dot", "--pixels", "3", "--dry-run"]),
    ("film", ["film", "SHOW", "--on", "gatepost", *TO_US]),
    ("film", ["film", "SHOW", "--dry-run"]),
    ("yard", ["yard", "SHOW", "--seconds", "0.1"]),
    ("listen", ["listen", "SHOW", "--yard", "--seconds", "0.1"]),
    ("verify", ["verify", "SHOW", "--report"]),
    ("diagnose", ["diagnose", "SHOW", "eaves", "--yard", "--fault", "cut:eaves/30"]),
    ("sheet", ["sheet", "SHOW", "--out", "out"]),
    ("help", ["help"]),
    ("help", ["help", "names"]),
]


@pytest.mark.parametrize(("entry", "call"), DOCUMENTS, ids=[" ".join(call[:2]) for _, call in DOCUMENTS])
def test_every_key_of_a_document_is_named(entry: str, call: list[str], here: Patcher, heron_lock: Path) -> None:
    # Source: the document itself, however deep
    (heron_lock.parent / "w.csv").write_text(TABLE, encoding="utf-8")
    (heron_lock.parent / "dark.toml").write_text(tomli_w.dumps(UNFED))
    ran = here(*[str(heron_lock) if word == "SHOW" else word for word in call], "--json")
    document = json.loads(ran.stdout)
    assert document, ran.stderr
    said = terms("json")
    known = named(said[entry]) | {"to_type", "to_tell", "own_settings", "to_send", "to_draw"} & named(said[entry])
    for shared in JSON:
        if shared in known or entry == "where":
            known |= named(said[shared])
    assert set(keys(document, call[0])) - known == set()


def film_document(here: Patcher, show: Path, *options: str) -> dict[str, Any]:
    """What `film --read` prints, as a person's script gets it, of two clips whose lights are made up: one names a fault
    that the other does not have, and a run is measured.
    """
    _, patch, plan, _ = heron()
    patch_path(show).write_text(dump(patch))
    said = [perfect(plan, named=faults_of(plan, "reversed:towpath")), perfect(plan, hidden=[("gable", 20)])]
    hedge = Sight(np.column_stack([np.linspace(27, 33, 150), np.full(150, 0.6)]), np.full(150, 0.03))
    clips = [real_clips.written(show.parent / f"clip-{number}.mp4", [0.0, 0.1, 0.2]) for number in range(2)]
    with patched.object(reader, "read_clip", lambda facts, *_: reader.Reading(
        facts, 3, True, "", said[clips.index(facts.path)], None, {"hedge": hedge}
    )):  # fmt: skip
        ran = here("film", show, *[word for clip in clips for word in ("--read", clip)], *options, "--json")
    found: dict[str, Any] = json.loads(ran.stdout)
    return found


def test_the_document_of_clips_has_the_keys_that_are_named_and_no_others(here: Patcher, heron_lock: Path) -> None:
    # Source: the document itself; the issue's own keys, on which others rely
    found = film_document(here, heron_lock, "--measure", "hedge")
    says = terms("json")["film, of clips"]
    assert set(keys(found, "film")) == named(re.sub(r"--\w+", "", says))
    assert found["withdrawn"] + found["found"] + found["contradicted"]
    assert found["measured"][0]["written"]
    issued = {"clips": "file seconds frames good says", "pixels": "run pixel verdict lit_by at"}
    for key, inner in issued.items():
        assert set(inner.split()) <= found[key][0].keys()
    assert {"found", "proved", "of"} <= found.keys()
    assert set(re.findall(r'"([a-z-]+)"', says)) == set(get_args(Word))


def test_the_document_of_a_demonstration_has_the_keys_that_are_named_and_no_others() -> None:
    # Source: the document itself
    plan = heron()[2]
    told = yard_film_report.held_against(reading(SHOWS / "heron-lock.toml", plan, perfect(plan)), ())
    says = re.sub(r"--\w+", "", terms("json")["film, of a demonstration"])
    assert set(yard_film_report.demo_document(told, ())) == named(says)


def test_every_quotation_of_code_ends() -> None:
    # Source: found in the entry of film: what was left open took half a sentence for keys
    for topic in topics().values():
        for part in parts_of(topic):
            assert (part.term + part.says).count("`") % 2 == 0, (topic.name, part)


# --- on the screen ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [24, 40, 59, 60, 80, WIDEST])
def test_no_line_is_wider_than_the_terminal_and_no_word_is_lost(width: int) -> None:
    # Source: a line wider than the terminal is broken in the middle of words by the terminal
    for topic in topics().values():
        parts = parts_of(topic)
        printed = list(lines(parts, width))
        assert max(map(len, printed)) <= width, topic.name
        words = "".join("".join((part.term, part.says)) for part in parts if part.kind != "bullet")
        bullets = "".join("-" + part.says for part in parts if part.kind == "bullet")
        shown = "".join(line for line in printed if set(line) != {"─"})
        assert sorted(re.sub(r"\s", "", shown)) == sorted(re.sub(r"\s", "", words + bullets)), topic.name


def test_help_lists_its_topics_a_line_each(here: Patcher, monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: the design: `patcher help TOPIC`; a line of a terminal has 80 columns
    monkeypatch.setenv("COLUMNS", "80")
    ran = here("help")
    assert (ran.returncode, ran.stderr) == (0, "")
    for number, topic in enumerate(topics().values()):
        assert ran.stdout.splitlines()[number].split(None, 1) == [topic.name, topic.says]
    assert {"file", "patterns", "faults", "json", "power", "safety"} <= topics().keys()


def test_a_topic_that_there_is_not(here: Patcher) -> None:
    # Source: the design: an error says the place, the reason and the remedy
    ran = here("help", "zzz")
    assert ran.returncode == 2
    assert "choose from: " + ", ".join(topics()) in ran.stderr
    assert "did you mean “patterns”?" in here("help", "pattern").stderr
    assert "patcher send --help" in here("help", "send").stderr
    assert json.loads(here("help", "zzz", "--json").stdout)["findings"][0]["where"] == "zzz"


@pytest.mark.long
def test_it_is_printed_where_a_terminal_has_few_columns() -> None:
    # Source: a pipe, as of a pager, has the width that COLUMNS says, else 80
    for columns in ("30", "80", "300"):
        ran = subprocess.run(
            [sys.executable, "-m", "patcher", "help", "file"],
            capture_output=True, text=True, timeout=60, env={**os.environ, "COLUMNS": columns},
        )  # fmt: skip
        assert ran.returncode == 0
        assert max(map(len, ran.stdout.splitlines())) <= min(int(columns), WIDEST)
