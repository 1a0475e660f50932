"""The layout of every main screen, held as a picture at the smallest size and at a usual one.

After a change that is meant: look at the new pictures (tests/pictures/make_pictures.py), then
``python -m pytest tests/app/test_layout.py --snapshot-update``.
"""

from __future__ import annotations

from functools import partial

import pytest
from pictures.scenes import SCENES, make_weekend, opened, play

HELD = (
    "home",
    "timeline",
    "heat-detail",
    "lap-import",
    "build",
    "build-step",
    "measure",
    "bite",
    "ear-read",
    "shims",
    "pace",
    "daysheet",
    "clock",
    "wear",
    "race",
)
BY_NAME = {scene.name: scene for scene in SCENES}


@pytest.mark.parametrize("size", [(80, 24), (140, 40)], ids=["80x24", "140x40"])
@pytest.mark.parametrize("name", HELD)
def test_layout(name, size, tmp_path, snap_compare):
    scene = BY_NAME[name]
    with opened(scene, make_weekend("demo", tmp_path / "demo")) as app:
        assert snap_compare(app, terminal_size=size, run_before=partial(play, scene))
