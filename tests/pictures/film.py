"""Draws the picture of the film that README shows: the demonstration's, made smaller.

python tests/pictures/film.py           runs the demonstration
python tests/pictures/film.py PICTURE   takes the picture that it has drawn
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import cv2

ROOT = Path(__file__).parent.parent.parent
PICTURE = Path(__file__).with_name("film.jpg")
WIDE, GOOD = 1440, 82


def smaller(picture: Path) -> cv2.typing.MatLike:
    """The picture as README shows it."""
    whole = cv2.imread(str(picture))
    assert whole is not None
    high = round(whole.shape[0] * WIDE / whole.shape[1])
    return cv2.resize(whole, (WIDE, high), interpolation=cv2.INTER_AREA)


def main() -> None:
    """Draw it."""
    with tempfile.TemporaryDirectory() as own:
        picture = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(own) / "verdict.png"
        if len(sys.argv) == 1:
            demo = ["film", "shows/heron-lock.toml", "--demo", "--picture", str(picture)]
            subprocess.run([sys.executable, "-m", "patcher", *demo], cwd=ROOT, check=True)
        cv2.imwrite(str(PICTURE), smaller(picture), [cv2.IMWRITE_JPEG_QUALITY, GOOD])


if __name__ == "__main__":
    main()
