"""Sockets where other commands edit the show file: a dead supply's spare, names that are taken."""

import tomllib
from pathlib import Path

import pytest
import tomli_w

from patcher.acts.act import read_act
from patcher.acts.acting import acted
from patcher.errors import PatcherError
from rig.mains_shows import hut
from rig.shipped import Patcher


@pytest.mark.parametrize(("of_spare", "of_dead"), [(None, "porch"), ("shed", "porch"), ("shed", None)])
def test_a_spare_is_plugged_in_where_the_dead_supply_was(
    here: Patcher, tmp_path: Path, of_spare: str | None, of_dead: str | None
) -> None:
    plug = {} if of_dead is None else {"socket": of_dead}
    tables = hut({"gable": 10}, {"gable": plug}, {"porch": {"volts": 230.0}, "shed": {"volts": 230.0}})
    tables["supply"]["shelf"] = {"volts": 12.0, "amps": 30.0, "spare": True, "efficiency": 0.9}
    if of_spare is not None:
        tables["supply"]["shelf"]["socket"] = of_spare
    show = tmp_path / "show.toml"
    show.write_text(tomli_w.dumps(tables))
    ran = here("swap", show, "gable", "shelf", "--write")
    assert ran.returncode == 0, ran.stderr
    [(name, supply)] = tomllib.loads(show.read_text())["supply"].items()
    assert (name, supply["socket"], supply["efficiency"]) == ("shelf", of_dead or of_spare, 0.9)


def test_a_new_thing_gets_no_socket_s_name() -> None:
    text = tomli_w.dumps(hut({"gable": 10}, {"gable": {}}, {"porch": {}, "porch-2": {}}))
    new = {"act": "supply", "name": "porch", "keys": {"volts": 12.0, "amps": 5.0}}
    with pytest.raises(PatcherError) as refused:
        acted(text, read_act(new))
    [finding] = refused.value.findings
    assert "has the name of a socket" in finding.says
    assert "porch-3" in finding.remedy
