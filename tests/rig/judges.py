"""Independent programs that the tests ask for a verdict.

On a machine without one of them its tests skip and say what to install; where `PATCHER_JUDGES=required` is set (as in
.ci/run) a missing judge is a failure.
"""

import os
import shutil

import pytest


def judge(program: str, package: str) -> str:
    """The path of `program`, which the Debian package `package` brings."""
    path = shutil.which(program)
    if path is None:
        reason = f"the judge {program} is missing: apt-get install {package}"
        if os.environ.get("PATCHER_JUDGES") == "required":
            pytest.fail(reason)
        pytest.skip(reason)
    return path
