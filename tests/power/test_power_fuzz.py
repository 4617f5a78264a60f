"""Any valid show through `power`, `power --plan` and `swap` of supplies: an answer, or the program's own words."""

from itertools import count
from pathlib import Path

import pytest
import tomli_w
from hypothesis import Phase, given

from rig.any_power import anything, wired_or_none
from rig.examples import examples, many
from rig.shipped import Patcher

COMMANDS = (
    ("power",), ("power", "--plan", "--json"), ("swap", "one", "shelf"), ("power", "--json"), ("power", "--plan"),
    ("swap", "five", "shelf-five", "--json"), ("check",),
)  # fmt: skip


@pytest.mark.many
@pytest.mark.parametrize("wild", [False, True])
def test_every_valid_show_gets_an_answer_or_words(here: Patcher, tmp_path: Path, *, wild: bool) -> None:
    turns = count()

    @examples(3, 40, phases=[Phase.reuse, Phase.generate])  # no shrinking: an example takes long
    @given(anything(wild=wild).filter(wired_or_none))
    def every(tables: dict) -> None:
        file = tmp_path / "show.toml"
        file.write_text(tomli_w.dumps(tables), encoding="utf-8")
        turn = next(turns)
        for words in COMMANDS if many else COMMANDS[turn % 2 :: 2]:
            said = here(words[0], file, *words[1:])
            assert said.returncode in (0, 1, 2), words
            assert "nan" not in said.stdout.lower().replace("nance", ""), (words, said.stdout)
            assert (said.returncode == 2) <= ("error:" in said.stderr + said.stdout or '"error"' in said.stdout)

    every()
    assert next(turns) > 1
