"""Files of a person's: written whole or not at all, by one program at a time, and kept as they keep them."""

import json
import os
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from patcher.errors import PatcherError
from patcher.patch.patch_file import patch_path
from patcher.show import writer
from patcher.show.line_numbers import with_ends_of
from patcher.show.writer import UNSEALED, alone_with, as_read, write_output, write_together, write_whole
from patcher.walk.record import Entry
from patcher.walk.record_file import change_record, checks_path, read_record
from rig.examples import tries
from rig.feed_lines import UNFED
from rig.shipped import Patcher

TABLE = "controller,port,run,universe,channel,pixels\nroof,1,eaves,1,1,50\nroof,2,gutter,2,1,50\n"


def python(code: str, *arguments: object, **options: object) -> subprocess.Popen[str]:
    return subprocess.Popen(  # type: ignore[call-overload,no-any-return]
        [sys.executable, "-c", code, *map(str, arguments)], text=True, **{"stdout": subprocess.PIPE} | options
    )


def hidden(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir() if path.name.startswith(".")]


# --- processes beside each other ----------------------------------------------------------------------------------

NOTES = """
import sys
from pathlib import Path
from patcher.walk.record_file import change_record, local_time
from patcher.walk.record import Entry
show, name, number = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
print("ready", flush=True)
sys.stdin.readline()
for at in range(number):
    change_record(show, lambda record: record.added("notes", Entry(name, local_time(), str(at))))
"""


@pytest.mark.many
def test_no_answer_is_lost_between_processes(tmp_path: Path) -> None:
    # Source: found in use: 175 of 300 notes were kept. Real processes, all at once.
    show, each = tmp_path / "show.toml", tries(15, 50)
    names = "abc"
    writers = [python(NOTES, show, name, each, stdin=subprocess.PIPE) for name in names]
    for process in writers:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    for process in writers:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    for process in writers:
        process.communicate(timeout=60)
        assert process.returncode == 0
    kept = read_record(show).notes
    for name in names:
        assert [entry.what for entry in kept if entry.thing == name] == [str(at) for at in range(each)]
    assert hidden(tmp_path) == []


def test_a_program_that_is_killed_lets_go_of_the_lock(tmp_path: Path) -> None:
    # Source: flock(2): a lock ends when the last descriptor of its file is closed, however the process ends.
    path = tmp_path / "show.checks.toml"
    code = (
        "import sys, time\nfrom pathlib import Path\nfrom patcher.show.writer import alone_with\n"
        "with alone_with(Path(sys.argv[1])):\n    print('locked', flush=True)\n    time.sleep(60)\n"
    )
    with python(code, path) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "locked\n"
        assert len(hidden(tmp_path)) == 1
        holder.kill()
    write_whole(path, "new\n")
    assert (path.read_text(), hidden(tmp_path)) == ("new\n", [])


def test_a_lock_that_is_held_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("patcher.show.writer.PATIENCE", 0.05)
    path = tmp_path / "show.toml"
    with alone_with(path), pytest.raises(PatcherError, match="being written by another Patcher"):
        write_whole(path, "new\n")
    assert not path.exists()


def test_a_lock_on_a_file_that_is_gone_is_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Whoever had the lock deletes its file when done: one that was opened before that keeps nobody out.
    opening, gone = writer._opened, []

    def opened(lock: Path) -> int:
        handle = opening(lock)
        if not gone:
            gone.append(lock.unlink())
        return handle

    monkeypatch.setattr(writer, "_opened", opened)
    with alone_with(tmp_path / "show.toml"):
        assert len(hidden(tmp_path)) == 1


def test_a_killed_write_leaves_the_old_or_the_new_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "record.toml"
    path.write_text("0" * 200_000)
    code = (
        "import sys\nfrom pathlib import Path\nfrom patcher.show.writer import write_whole\n"
        "print('ready', flush=True)\n"
        "while True:\n    for sign in '0123456789':\n        write_whole(Path(sys.argv[1]), sign * 200_000)\n"
    )
    for turn in range(4):
        with python(code, path) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            time.sleep(0.02 + turn * 0.007)  # when it is killed is any moment; what must hold then is the same
            writer.kill()
        text = path.read_text()
        assert len(text) == 200_000
        assert len(set(text)) == 1
        write_whole(path, f"{turn}")
        assert hidden(tmp_path) == []
        path.write_text("0" * 200_000)
    (other := tmp_path / ".patcher-of-another-file.part").touch()
    write_whole(path, "again")
    assert other.exists()


# --- a save made meanwhile ----------------------------------------------------------------------------------------


def _table(folder: Path) -> Path:
    path = folder / "table.csv"
    path.write_text("controller,port,run,universe,channel\ngatepost,1,gate-left,40,1\n")
    return path


@pytest.mark.parametrize(
    "call",
    [
        ("patch",), ("patch", "--fresh"), ("swap", "gatepost", "shelf", "--write"),
        ("power", "--plan", "--write"), ("adopt", "table.csv"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("saved", ["show", "patch"])
def test_a_save_made_meanwhile_is_not_written_over(
    heron_lock: Path, here: Patcher, monkeypatch: pytest.MonkeyPatch, call: tuple[str, ...], saved: str
) -> None:
    # The editor saves while the command works: after it has read the show, before it writes.
    from patcher.show import show_file

    if call[0] == "adopt":
        _table(heron_lock.parent)
    elif call[0] == "power":
        heron_lock.write_text(tomli_w.dumps(UNFED))
    if call[0] != "adopt":
        assert here("patch", heron_lock).returncode == 0
    if saved == "patch" and call[0] in ("adopt", "power"):
        pytest.skip("there is none yet, or none of it is wanted")
    path = heron_lock if saved == "show" else patch_path(heron_lock)
    reading = show_file.read_show
    texts: dict[Path, bytes] = {}

    def read_and_save(show: Path):
        found = reading(show)
        if not texts:
            path.write_bytes(path.read_bytes() + (b"# saved meanwhile\n" if saved == "show" else b"\n"))
            texts.update({one: one.read_bytes() for one in heron_lock.parent.iterdir()})
        return found

    monkeypatch.setattr(show_file, "read_show", read_and_save)
    ran = here(call[0], heron_lock, *call[1:])
    assert ran.returncode == 2, ran.stdout
    assert "was changed by another program" in ran.stderr
    assert {one: one.read_bytes() for one in heron_lock.parent.iterdir()} == texts


def test_all_files_are_written_or_none(tmp_path: Path, here: Patcher) -> None:
    # Source: found in use: adopt on a full disk said that nothing changed though the draft was written.
    (tmp_path / "table.csv").write_text(TABLE)
    patch_path(tmp_path / "roof.toml").symlink_to(tmp_path / "no-such-folder" / "patch.toml")
    ran = here("adopt", "roof.toml", "table.csv")
    assert ran.returncode == 2
    assert "nothing was changed" in ran.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["roof.patch.toml", "table.csv"]


def test_what_was_replaced_is_put_back_where_the_next_file_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = tmp_path / "a.toml", tmp_path / "b.toml"
    for path in (first, second):
        path.write_text("old\n")
    replacing = Path.replace

    def fails(self: Path, target: Path) -> Path:
        if target == second:
            raise OSError(5, "Input/output error")
        return replacing(self, target)

    monkeypatch.setattr(Path, "replace", fails)
    with pytest.raises(PatcherError, match="Input/output error; nothing was changed"):
        write_together(as_read(first, second), {first: "new\n", second: "new\n"})
    assert [path.read_text() for path in (first, second)] == ["old\n", "old\n"]
    assert hidden(tmp_path) == []


# --- kept as the person keeps them --------------------------------------------------------------------------------


def test_a_file_is_written_through_its_links(tmp_path: Path) -> None:
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    (real := folder / "real.toml").write_text("old\n")
    (link := tmp_path / "link.toml").symlink_to("elsewhere/real.toml")
    (other := tmp_path / "other.toml").symlink_to(link)
    write_whole(other, "new\n")
    assert (link.is_symlink(), other.is_symlink(), real.read_text()) == (True, True, "new\n")
    (nowhere := tmp_path / "nowhere.toml").symlink_to(folder / "made.toml")
    write_whole(nowhere, "made\n")
    assert (nowhere.is_symlink(), (folder / "made.toml").read_text()) == (True, "made\n")
    (ring := tmp_path / "ring.toml").symlink_to(ring)
    with pytest.raises(PatcherError, match="nothing was changed"):
        write_whole(ring, "never\n")
    assert hidden(tmp_path) + hidden(folder) == []


def test_a_read_only_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "show.toml"
    path.write_text("old\n")
    path.chmod(0o444)
    with pytest.raises(PatcherError, match="is read-only"):
        write_whole(path, "new\n")
    assert (path.read_text(), hidden(tmp_path)) == ("old\n", [])
    write_whole(path, "old\n")  # nothing is to be written


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664, 0o755])
def test_the_mode_stays(tmp_path: Path, mode: int) -> None:
    path = tmp_path / "show.toml"
    path.write_text("old\n")
    path.chmod(mode)
    write_whole(path, "new\n")
    assert (path.read_text(), stat.S_IMODE(path.stat().st_mode)) == ("new\n", mode)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root gives a file to somebody else")
def test_the_owner_stays_or_nothing_is_written(tmp_path: Path) -> None:
    path = tmp_path / "show.toml"
    path.write_text("old\n")
    os.chown(path, 1234, 2345)
    write_whole(path, "new\n")
    assert (path.read_text(), path.stat().st_uid, path.stat().st_gid) == ("new\n", 1234, 2345)
    path.chmod(0o666)
    tmp_path.chmod(0o777)
    for folder in tmp_path.parents:
        if folder.is_relative_to(Path(tempfile.gettempdir()) / "pytest-of-root"):
            folder.chmod(0o711)
    child = os.fork()
    if not child:
        os.setgroups([])
        os.setgid(999)
        os.setuid(999)
        try:
            write_whole(path, "mine\n")
        except PatcherError as error:
            os._exit(7 if "belongs to somebody else" in str(error) else 1)
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 7
    assert (path.read_text(), path.stat().st_uid, hidden(tmp_path)) == ("new\n", 1234, [])


@given(st.lists(st.tuples(st.sampled_from(["a = 1", "b = 2", "", "# c"]), st.booleans()), max_size=12), st.data())
def test_every_line_that_stays_keeps_its_end(lines: list[tuple[str, bool]], data: st.DataObject) -> None:
    # Source: TOML 1.0, Spec: a newline is LF or CRLF, each for itself.
    old = "".join(line + "\r" * crlf + "\n" for line, crlf in lines)
    assert with_ends_of(old, old) == old
    assert with_ends_of(old, old.replace("\r\n", "\n")) == old
    at = data.draw(st.integers(0, len(lines)))
    new = [line for line, _ in lines]
    new.insert(at, "new = 9")
    got = with_ends_of(old, "".join(f"{line}\n" for line in new)).split("\n")[:-1]
    assert [line.removesuffix("\r") for line in got] == new
    assert [line.endswith("\r") for number, line in enumerate(got) if number != at] == [crlf for _, crlf in lines]


def test_mark_and_mixed_line_ends_of_a_show_stay(heron_lock: Path, here: Patcher) -> None:
    # Judge: the bytes of every line that the edit of a show with plain line ends leaves as it was.
    text = heron_lock.read_text(encoding="utf-8")
    assert here("patch", heron_lock).returncode == 0
    kept = patch_path(heron_lock)
    kept.write_bytes(b"\xef\xbb\xbf" + kept.read_bytes().replace(b"\n", b"\r\n"))
    lines = text.encode().split(b"\n")
    mixed = b"".join(line + (b"\r\n" if number % 3 else b"\n") for number, line in enumerate(lines[:-1]))
    heron_lock.write_bytes(b"\xef\xbb\xbf" + mixed)
    ran = here("swap", heron_lock, "gatepost", "shelf", "--write")
    assert ran.returncode == 0, ran.stderr
    after = heron_lock.read_bytes()
    assert after.startswith(b"\xef\xbb\xbf")
    assert after != b"\xef\xbb\xbf" + mixed
    old, new = mixed.split(b"\n"), after.removeprefix(b"\xef\xbb\xbf").split(b"\n")
    bare, after_bare = ([line.removesuffix(b"\r") for line in lines] for lines in (old, new))
    others = bare.index(b"[prop.footbridge]")  # behind the tables of the two boxes
    same = [line for line in old[others:] if bare.count(one := line.removesuffix(b"\r")) == after_bare.count(one) == 1]
    assert len(same) > 50
    assert [line for line in same if line not in new] == []
    patch = kept.read_bytes()
    assert patch.startswith(b"\xef\xbb\xbf")
    assert patch.count(b"\n") == patch.count(b"\r\n") > 10


# --- outputs ------------------------------------------------------------------------------------------------------

OUTPUTS: dict[str, Callable[[Path, Path], list[object]]] = {
    "svg": lambda show, to: ["power", show, "eaves", "--svg", to],
    "snapshot": lambda show, to: ["yard", show, "--seconds", 0, "--snapshot", to],
}


@pytest.mark.parametrize("output", OUTPUTS)
def test_an_output_replaces_nothing_but_an_output(heron_lock: Path, here: Patcher, output: str) -> None:
    # Source: found in use: an output replaced any file. Now none of a person's, and none of the show's.
    folder, call = heron_lock.parent, OUTPUTS[output]
    (folder / "letter.svg").write_text("Dear Mooring,\n")
    (folder / "empty.json").touch()
    (folder / "plot.svg").symlink_to(heron_lock)
    (folder / "copy.svg").hardlink_to(heron_lock)
    (folder / "new.svg").symlink_to(patch_path(heron_lock))
    (folder / "folder.svg").mkdir()
    os.mkfifo(folder / "pipe.svg")
    before = {path: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    names = [*(path.name for path in folder.iterdir()), patch_path(heron_lock).name, checks_path(heron_lock).name]
    for name in [*names, "Heron-Lock.Patch.TOML"]:
        ran = here(*call(heron_lock, folder / name))
        assert ran.returncode == 2, name
        assert name in ran.stderr
        assert {path: path.read_bytes() for path in folder.iterdir() if path.is_file()} == before, name
    for _ in range(2):
        assert here(*call(heron_lock, folder / "mine.out")).returncode in (0, 1)
    own = (folder / "mine.out").read_text()
    (folder / "mine.out").write_text(own.replace("\n", "\r\n"))  # as a version control may
    assert here(*call(heron_lock, folder / "mine.out")).returncode in (0, 1)
    (folder / "mine.out").write_text(own + " ")
    assert here(*call(heron_lock, folder / "mine.out")).returncode == 2
    assert (folder / "mine.out").read_text() == own + " "
    assert hidden(folder) == []


def test_sheets_are_not_written_through_a_link_that_somebody_put_there(tmp_path: Path, here: Patcher) -> None:
    # The list of the folder names labels.html as Patcher's own, but what stands there by now is the show.
    show = tmp_path / "my.toml"
    here("new", show)
    text = show.read_text()
    assert here("sheet", show, "--out", "out").returncode == 0
    (labels := tmp_path / "out" / "labels.html").unlink()
    labels.symlink_to(show)
    ran = here("sheet", show, "--out", "out")
    assert ran.returncode == 2
    assert "labels.html: exists already, and Patcher did not write it" in ran.stderr
    assert show.read_text() == text


def test_every_option_that_names_an_output_is_tried_above() -> None:
    # A new option that writes a file belongs under the same rule. Those that read one are named here. The picture of
    # a film, which wants a clip that can be read, is held to it in `tests/reports/test_film_picture.py`; a clip of the
    # yard replaces no file at all, see `tests/yard/test_filmed.py`.
    from typer.main import get_command

    from patcher.cli import app

    read, folders, of_a_clip = {"answers", "show", "table", "file", "clips", "photo"}, {"out"}, {"picture", "film"}
    group = get_command(app)
    paths = {
        parameter.name
        for command in group.commands.values()  # type: ignore[attr-defined]
        for parameter in command.params
        if "Path" in str(parameter.type_descriptor.annotation)
    }
    assert paths - read - folders - of_a_clip == set(OUTPUTS)


@given(st.text(st.characters(exclude_categories=("Cs",)), max_size=40))
def test_a_text_that_is_not_sealed_is_not_an_output(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    path = tmp_path_factory.mktemp("out") / "x.json"
    path.write_text(text, encoding="utf-8", newline="")
    with pytest.raises(PatcherError, match="Patcher did not write it"):
        write_output(path, UNSEALED)
    path.write_text(f"{UNSEALED}{text}", encoding="utf-8", newline="")
    with pytest.raises(PatcherError, match="Patcher did not write it"):
        write_output(path, UNSEALED)


def test_new_writes_over_nothing_and_only_what_a_command_takes(tmp_path: Path, here: Patcher) -> None:
    for name in ("a.patch.toml", "a.checks.toml", "a.txt"):
        ran = here("new", name)
        assert (ran.returncode, list(tmp_path.iterdir())) == (2, [])
        assert name in ran.stderr
    (tmp_path / "patcher.schema.json").write_text("{}")
    assert here("new", "a.toml").returncode == 2
    assert [path.name for path in tmp_path.iterdir()] == ["patcher.schema.json"]
    (tmp_path / "patcher.schema.json").unlink()
    assert here("new", "a.toml").returncode == 0
    assert here("new", "b.toml").returncode == 0
    assert here("check", "b.toml").returncode == 0


def test_where_a_show_is_not_those_beside_it_are_named_and_no_other_file(heron_lock: Path, here: Patcher) -> None:
    for name in ("pyproject.toml", "heron-lock.checks.toml", "heron-lock.patch.toml"):
        heron_lock.with_name(name).write_text('[project]\nname = "show"\n')
    os.mkfifo(heron_lock.with_name("waits.toml"))
    ran = here("check", "heron-look.toml")
    assert (ran.returncode, "there is: heron-lock.toml\n" in ran.stderr.replace("  [", "\n")) == (2, True)


# --- what is written can be read again ----------------------------------------------------------------------------


@pytest.mark.parametrize("zone", ["XXX-0:44:30", "XXX+0:19:32", "XXX-23:59:59", "XXX-24:59:59", "nonsense", ""])
def test_a_record_in_any_time_zone_is_read_again(
    heron_lock: Path, here: Patcher, monkeypatch: pytest.MonkeyPatch, zone: str
) -> None:
    # Source: RFC 3339 5.6, time-numoffset: hours and minutes only. POSIX TZ takes seconds, as old local times had.
    with monkeypatch.context() as away:
        away.setenv("TZ", zone)
        time.tzset()
        for _ in range(2):
            ran = here("verify", heron_lock, "eaves", "--note", "loose")
            assert ran.returncode == 0, ran.stderr
    time.tzset()
    first, second = read_record(heron_lock).notes
    assert abs(time.time() - second.when.timestamp()) < 120
    assert first.when <= second.when


def test_no_record_grows_too_large_to_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from patcher.show import show_file
    from patcher.walk.record_file import local_time

    assert show_file.LARGEST_FILE == writer.LARGEST_FILE
    for module in (show_file, writer):
        monkeypatch.setattr(module, "LARGEST_FILE", 20_000)
    show = tmp_path / "show.toml"
    long = Entry("eaves", local_time(), "x" * (20_000 - 2000))
    change_record(show, lambda record: record.added("notes", long))
    before = checks_path(show).read_bytes()
    with pytest.raises(PatcherError, match="could not be read again; nothing was written"):
        change_record(show, lambda record: record.added("notes", Entry("eaves", local_time(), "y" * 3000)))
    assert checks_path(show).read_bytes() == before
    assert read_record(show).notes == (long,)


def test_words_that_are_no_unicode_are_kept_as_far_as_they_can_be(heron_lock: Path) -> None:
    # Source: PEP 383: what is no UTF-8 on a command line comes as lone surrogates.
    command = [os.fsencode(sys.executable), b"-m", b"patcher", b"verify", os.fsencode(heron_lock), b"eaves"]
    ran = subprocess.run([*command, b"--note", b"caf\xe9"], capture_output=True, timeout=60)
    assert (ran.returncode, ran.stderr.count(b"fault")) == (0, 0)
    assert [entry.what for entry in read_record(heron_lock).notes] == ["caf?"]


def test_a_snapshot_is_json(heron_lock: Path, here: Patcher) -> None:
    to = heron_lock.with_name("lamps.json")
    assert here("yard", heron_lock, "--seconds", 0, "--snapshot", to).returncode == 0
    assert {"seal", "boxes", "runs"} == json.loads(to.read_text()).keys()
