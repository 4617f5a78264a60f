"""Any valid show through `power`, `power --plan` and `swap` of supplies: an answer, or the program's own words."""

from pathlib import Path

import pytest
import tomli_w
from hypothesis import HealthCheck, Phase, given, settings

from rig.any_power import anything, wired_or_none
from rig.shipped import Patcher


def commands(here: Patcher, file: Path, tables: dict) -> None:
    for words in (("power",), ("power", "--json"), ("power", "--plan"), ("power", "--plan", "--json"),
                  ("swap", "one", "shelf"), ("swap", "five", "shelf-five", "--json"), ("check",)):  # fmt: skip
        said = here(words[0], file, *words[1:])
        assert said.returncode in (0, 1, 2), words
        assert "nan" not in said.stdout.lower().replace("nance", ""), (words, said.stdout)
        assert (said.returncode == 2) <= ("error:" in said.stderr + said.stdout or '"error"' in said.stdout)


@pytest.mark.parametrize("wild", [False, True])
@pytest.mark.parametrize("examples", [8, pytest.param(150, marks=pytest.mark.long)])
def test_every_valid_show_gets_an_answer_or_words(
    here: Patcher, tmp_path: Path, examples: int, *, wild: bool
) -> None:  # fmt: skip
    seen = 0

    @settings(
        max_examples=examples,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.reuse, Phase.generate],  # no shrinking: an example takes long, and the first tells enough
    )
    @given(anything(wild=wild))
    def every(tables: dict) -> None:
        nonlocal seen
        if wired_or_none(tables) is None:
            return
        seen += 1
        file = tmp_path / "show.toml"
        file.write_text(tomli_w.dumps(tables), encoding="utf-8")
        commands(here, file, tables)

    every()
    assert seen > 0
