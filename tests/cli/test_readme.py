"""README is true: what it prints is what is printed; what it says of safety, the program says too."""

import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from patcher.cli import draw
from patcher.cli.inputs import load, load_patch
from patcher.faults import build, departure, parse, planned
from patcher.film import proofs
from patcher.reference import parts_of, topics
from pictures.film import PICTURE, smaller
from rig.shipped import ROOT, Patcher

README = (ROOT / "README.md").read_text(encoding="utf-8")
LEFT_OUT = "…"
"""A line that stands for lines that README leaves out."""


def test_the_two_set_up_lines_are_there_once_each() -> None:
    # Source: .ci/run takes the first line that names the demo and the first with pytest, and runs them
    lines = [line for line in README.splitlines() if line.startswith("    python3 -m venv")]
    assert ["demo" in line for line in lines] == [True, False]
    assert "pytest" in lines[1]
    assert next(line for line in README.splitlines() if "patcher demo" in line) == lines[0]
    assert next(line for line in README.splitlines() if "pytest" in line) == lines[1]


def test_every_topic_that_readme_names_is_there() -> None:
    # Source: `patcher help`
    named = set(re.findall(r"`patcher help ([a-z]+)`", README))
    assert len(named) > 8
    assert named <= topics().keys()


def test_what_readme_says_of_safety_the_program_says_too() -> None:
    # Source: README.md, Safety
    here = README.split("## Safety\n")[1].split("\n## ")[0]
    words = re.sub(r"^- ", "", here.replace("**", "").replace("this page", "this text"), flags=re.MULTILINE).split()
    assert words == [word for part in parts_of(topics()["safety"]) for word in part.says.split()]


# --- what README prints is what is printed ---------------------------------------------------------------------------


def shown(command: str) -> list[list[str]]:
    """What README shows below a command, each time that it stands there: lines, up to the next command or the end."""
    found = re.findall(rf"^\$ {re.escape(command)}\n(.*?)(?=^\$ |^```)", README, re.MULTILINE | re.DOTALL)
    assert found, command
    return [text.replace("\u00a0", " ").splitlines() for text in found]


def holds(printed: str, lines: list[str]) -> None:
    """README's lines are what was printed: all of it, but where a line says that others are left out."""
    real = [line.rstrip() for line in printed.replace("\u00a0", " ").splitlines()]
    at = 0
    pieces = "\n".join(lines).split(f"\n{LEFT_OUT}\n") if lines else [""]
    begins, ends = lines[0] != LEFT_OUT, lines[-1] != LEFT_OUT
    for number, text in enumerate(pieces):
        piece = [line.rstrip() for line in text.splitlines() if line != LEFT_OUT]
        last = number == len(pieces) - 1
        starts = [at] if number == 0 and begins else range(at, len(real))
        where = next((start for start in starts if real[start : start + len(piece)] == piece), None)
        assert where is not None, "not printed, or not in this order:\n" + "\n".join([*piece, "printed:", *real])
        at = where + len(piece)
        if last and ends:
            tail = real[len(real) - len(piece) :]
            assert tail == piece, "README leaves out the end without saying so"


@pytest.fixture
def cottage(heron_lock: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The shipped show in a folder `shows`, as README names it, with the patch of the season before."""
    shows = heron_lock.parent / "shows"
    shows.mkdir()
    for path in (heron_lock, heron_lock.with_name("willow.csv")):
        path.rename(shows / path.name)
    monkeypatch.chdir(heron_lock.parent)
    return shows / heron_lock.name


def test_the_sockets(here: Patcher, cottage: Path) -> None:
    # Source: README.md, Power: will it hold?
    text = cottage.read_text(encoding="utf-8")
    for supply in ("lockhouse-12v", "gate-5v"):
        heading = f"[supply.{supply}]\n"
        assert text.count(heading) == 1
        text = text.replace(heading, f'{heading}socket = "porch"\n')
    (lines,) = re.findall(r"^```toml\n(\[socket\.porch\].*?)^```", README, re.MULTILINE | re.DOTALL)
    cottage.write_text(f"{text}\n{lines}", encoding="utf-8")
    command = "power shows/heron-lock.toml --hours 6 --days 30 --price 0.30"
    holds(here(*command.split()).stdout, shown(f"patcher {command}")[0])


def test_the_list_of_the_season(here: Patcher, cottage: Path) -> None:
    # Source: README.md, The season's list
    show = "shows/heron-lock.toml"
    assert here("patch", show).returncode == 0
    ticked = f"todo {show} --hung cottage --took 75"
    for command in (ticked, f"todo {show}"):
        holds(here(*command.split()).stdout, shown(f"patcher {command}")[0])
    words = ("verify", show, "gate-left/12", "--replaced", "went dark", "--batch", "2025")
    holds(here(*words).stdout, shown(f'patcher verify {show} gate-left/12 --replaced "went dark" --batch 2025')[0])
    holds(here("verify", show, "--report").stdout, shown(f"patcher verify {show} --report")[0])


def test_the_supplies_that_are_chosen(here: Patcher, cottage: Path) -> None:
    # Source: README.md, Power: will it hold? The show without its tables of supplies and feeds, and without `logic`
    tables = re.split(r"(?m)^(?=\[)", cottage.read_text(encoding="utf-8"))
    bare = "".join(table for table in tables if not re.match(r"\[supply\.|\[feed\.|\[\[accept\]\]", table))
    cottage.write_text(re.sub(r"(?m)^logic.*\n", "", bare), encoding="utf-8")
    command = "power shows/heron-lock.toml --plan --supplies 5V60A,12V12.5A"
    holds(here(*command.split()).stdout, shown(f"patcher {command}")[0])
    assert here(*command.split(), "--write").returncode == 0
    said = here("power", "shows/heron-lock.toml")
    assert said.returncode == 0
    assert not re.findall(r"^(?:Error|Warning)", said.stdout, re.MULTILINE)


def test_the_demo(patcher: Patcher, tmp_path: Path) -> None:
    # Source: README.md, Set up; the design: the main job on a shipped show, on this machine alone
    (block,) = re.findall(r"^```text\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    ran = patcher("demo")
    assert (ran.returncode, ran.stderr) == (0, "")
    holds(ran.stdout, block.replace("\u00a0", " ").splitlines())
    assert list(tmp_path.iterdir()) == []


def test_the_first_show(here: Patcher, tmp_path: Path) -> None:
    # Source: README.md, A first show in five minutes; the three slips are those that its `check` names
    holds(here("new", "my-show.toml").stdout, shown("patcher new my-show.toml")[0])
    sound, faulty = shown("patcher check my-show.toml")
    holds(here("check", "my-show.toml").stdout, sound)
    show = tmp_path / "my-show.toml"
    text = show.read_text(encoding="utf-8")
    wrong = text
    for right, slip in (('"panel"]', '"panle"]'), ("\npixels = 50", "\npixles = 50"), ('"top-right"', '"top"')):
        assert right in wrong, right
        wrong = wrong.replace(right, slip, 1)
    show.write_text(wrong, encoding="utf-8")
    ran = here("check", "my-show.toml")
    holds(ran.stdout + ran.stderr, faulty)
    show.write_text(text, encoding="utf-8")
    for command in ("patch my-show.toml", "todo my-show.toml --typed box --told house", "where my-show.toml panel/12"):
        holds(here(*command.split()).stdout, shown(f"patcher {command}")[0])


def test_the_first_dot_in_the_yard(patcher: Patcher, tmp_path: Path) -> None:
    # Source: README.md, A first show in five minutes; the address is the file's own
    for command in ("new", "patch"):
        assert patcher(command, "my-show.toml").returncode == 0
    send = "send dot my-show.toml --on panel/8-12 --yard --loops 1"
    with subprocess.Popen(
        [sys.executable, "-m", "patcher", "yard", "my-show.toml"], cwd=tmp_path, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=os.environ,
    ) as process:  # fmt: skip
        assert process.stderr is not None
        said = [process.stderr.readline(), process.stderr.readline()]
        sent = patcher(*send.split())
        process.send_signal(signal.SIGINT)
        out, _ = process.communicate(timeout=20)
    address = re.compile(r"127\.\d+\.\d+\.\d+")
    lines = [address.sub("", line) for line in shown("patcher yard my-show.toml")[0]]
    holds(plain(address.sub("", "".join(said) + out)), [plain(line) for line in lines])
    holds(plain(sent.stdout), [plain(line) for line in shown(f"patcher {send}")[0]])


def plain(text: str) -> str:
    """Without what hangs on the clock: how often a pattern is sent again, and what a busy machine left out."""
    return re.sub(r"\d+(?= (packets|frames))| \(\d+ late frames? left out\)", "", text)


@pytest.mark.long
def test_the_walk(cottage: Path, here: Patcher) -> None:
    # Source: README.md, One evening
    fault = "gatepost --yard --fault swapped-ports:gatepost/1,gatepost/2"
    ran = here("verify", "shows/heron-lock.toml", *fault.split())
    holds(ran.stdout, shown(f"patcher verify shows/heron-lock.toml {fault}")[0])


@pytest.mark.long
def test_the_diagnosis(cottage: Path, here: Patcher) -> None:
    # Source: README.md, One evening
    fault = "willow --yard --fault cut:willow/301"
    ran = here("diagnose", "shows/heron-lock.toml", *fault.split())
    holds(ran.stdout, shown(f"patcher diagnose shows/heron-lock.toml {fault}")[0])


@pytest.mark.long
def test_the_film(cottage: Path, here: Patcher, monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: README.md, One evening by film: its words, its picture; and that the demonstration is no false one
    demo = "film shows/heron-lock.toml --demo"
    read, kept = proofs.read_only, []
    monkeypatch.setattr(proofs, "read_only", lambda *given: kept[0] if kept else kept.append(read(*given)) or kept[0])
    before = {path.name for path in cottage.parent.iterdir()}
    ran = here(*demo.split(), "--picture", "verdict.png")
    assert ran.returncode == 0, ran.stdout + ran.stderr
    monkeypatch.setattr("patcher.yard.clip_file.write_clip", lambda *given: None)  # the same reading, as a document
    holds_true(json.loads(here(*demo.split(), "--json").stdout), cottage)
    assert {path.name for path in cottage.parent.iterdir()} == before
    holds(ran.stdout, shown(f"patcher {demo} --picture verdict.png")[0])
    drawn, picture = smaller(cottage.parents[1] / "verdict.png"), cv2.imread(str(PICTURE))
    assert picture is not None
    assert picture.shape == drawn.shape
    assert np.abs(picture.astype(float) - drawn).mean() < 3, "python tests/pictures/film.py draws it anew"


def holds_true(found: dict[str, Any], show: Path) -> None:
    """A demonstration proves no pixel that takes other data than planned, and names what was put in, nothing else."""
    wiring = load(show)
    plan = planned(wiring, load_patch(show, wiring))
    faults = build(wiring, [parse(text, wiring) for text in found["faults"]]).faults
    assert len(faults) == 3
    takes = plan.takes | departure(plan, faults).takes
    proved = [(pixel["run"], pixel["pixel"] - 1) for pixel in found["pixels"] if pixel["verdict"] == "proved"]
    for run, at in proved:
        assert (takes[run][at] == plan.takes[run][at]).all(), (run, at)
    assert len(proved) > 0.4 * len(found["pixels"])
    named = departure(plan, [parse(text, wiring) for text in found["found"]]).takes
    assert {*named} == {*departure(plan, faults).takes}
    assert (found["falsely_proved"], found["missed"], found["not_put_in"]) == (0, [], [])


def test_the_proposals(cottage: Path, here: Patcher) -> None:
    # Source: README.md, Which run on which port
    call = "propose shows/heron-lock.toml --afresh --number 2 --seconds 100"  # more than it needs
    ran = here(*call.split())
    assert ran.returncode == 0
    holds(ran.stdout, shown("patcher propose shows/heron-lock.toml --afresh --number 2")[0])


def test_the_swap(cottage: Path, here: Patcher) -> None:
    # Source: README.md, A dead box, a dead supply
    assert here("patch", "shows/heron-lock.toml").returncode == 0
    swapped = here("swap", "shows/heron-lock.toml", "gatepost", "shelf")
    assert swapped.returncode == 0
    holds(swapped.stdout, shown("patcher swap shows/heron-lock.toml gatepost shelf")[0])


def test_the_next_season(cottage: Path, here: Patcher) -> None:
    # Source: README.md, The next season: its edits, done as they stand there, and nothing else
    part = README.split("## The next season\n")[1].split("\n## ")[0]
    assert "`patcher patch shows/heron-lock.toml`" in part.split("```")[0]
    assert here("patch", "shows/heron-lock.toml").returncode == 0
    text = cottage.read_text(encoding="utf-8")
    words = " ".join(part.split("```")[0].split())
    edits = re.findall(r"in `(\[[\w.-]+\])` (write|add) `(.*?)`", words)
    assert len(edits) == 3
    for heading, what, line in edits:
        before, table, rest = text.partition(f"{heading}")
        assert table, heading
        first, newline, rest = rest.partition("\n")
        if what == "add":
            rest = f"{line}\n{rest}"
        else:
            rest = re.sub(rf"^{line.split()[0]} = .*$", line, rest, count=1, flags=re.MULTILINE)
        text = before + table + first + newline + rest
    [new] = re.findall(r"^```toml\n(.*?)^```", part, re.MULTILINE | re.DOTALL)
    cottage.write_text(f"{text}\n{new}", encoding="utf-8")
    for command in ("diff shows/heron-lock.toml", "power shows/heron-lock.toml --plan"):
        ran = here(*command.split())
        assert ran.returncode == 0
        holds(ran.stdout, shown(f"patcher {command}")[0])


def test_the_power(cottage: Path, here: Patcher) -> None:
    # Source: README.md, Power: will it hold?
    ran = here("power", "shows/heron-lock.toml")
    head = "".join(ran.stdout.splitlines(keepends=True)[:10])
    holds(head, shown("patcher power shows/heron-lock.toml | head -10")[0])


def test_the_help(here: Patcher, monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: README.md, Where the rest is
    monkeypatch.setenv("COLUMNS", "80")
    holds(here("help").stdout, shown("patcher help")[0])


def test_what_draw_says(capsys: pytest.CaptureFixture[str]) -> None:
    # Source: README.md, Draw it on a photograph; its code is a new one each time
    said = shown("patcher draw my-show.toml --photo house.jpg")[0]
    draw._say(said[0], "127.0.0.1")
    assert draw.PORT == 8421
    holds(capsys.readouterr().out, said)


def test_every_command_that_is_shown_is_tried() -> None:
    # Source: this file, and `tests/sheets/test_sheet.py` for the sheets; the phone's code is a new one each time
    tried = Path(__file__).read_text(encoding="utf-8")
    for command in re.findall(r"^\$ patcher (.*)$", README, re.MULTILINE):
        name = command.split()[0]
        assert name in ("sheet", "phone") or f'"{name}' in tried or f"patcher {name}" in tried, command


def test_the_table_of_ones_own(tmp_path: Path, here: Patcher) -> None:
    # Source: `patcher help adopt`: its table, and what it says becomes of it
    rows = [part.says for part in parts_of(topics()["adopt"]) if part.kind == "code"]
    (tmp_path / "well-green.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    ran = here("adopt", "well-green.toml", "well-green.csv")
    assert ran.returncode == 1
    assert ran.stdout.count("error: ") == 1
    assert "error: well-green.csv (line 8): Millpond: there is no channel 600" in ran.stdout
    assert "Taken: 700 pixels on 2 boxes, 5 starts, 5 universes." in ran.stdout
    assert "FILL IN" in (tmp_path / "well-green.toml").read_text(encoding="utf-8")
    assert here("check", "well-green.toml").returncode == 0
