"""The three batches of docs/worked-batches.md, run as they stand there: they print what it says of them."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

from click.testing import CliRunner

from service.cli import app

PAGE = Path(__file__).parents[2] / "docs" / "worked-batches.md"
FENCES = re.compile(r"```sh\n(.*?)```\s+```text\n(.*?)```", re.DOTALL)


def test_the_worked_batches_come_out_as_the_page_says(tmp_path):
    data = ["--data", str(tmp_path / "log")]

    def run(words):
        done = CliRunner().invoke(app, [*words, *data])
        assert done.exit_code == 0, f"{words}: {done.output}"
        return done.output

    blocks = FENCES.findall(PAGE.read_text(encoding="utf-8"))
    assert len(blocks) == 3
    for commands, wanted in blocks:
        output = ""
        for line in commands.strip().splitlines():
            program, *words = shlex.split(line)
            assert program == "stripread"
            output = run(words)
        assert [line for line in wanted.strip().splitlines() if line not in output] == [], output
    stages = [run(["batch", "timeline", "1"]).count(stage) for stage in ("acid-rinse", "last-wash", "melt")]
    assert min(stages) >= 1
    for batch, came_in in ((1, 75.0), (4, 120.0)):
        found = json.loads(run(["batch", "vessels", str(batch), "--json"]))
        assert found["closes"]
        total = sum(one["silver_g"][1] for one in found["vessels"])
        assert abs(total - found["inputs_g"][1]) < 0.01 * found["inputs_g"][1]
        assert abs(found["inputs_g"][1] - came_in) < 0.01 * came_in + 0.5
    by = {one["key"]: one for one in json.loads(run(["batch", "vessels", "1", "--json"]))["vessels"]}
    assert by["·slag"]["silver_g"][1] > by["·crucible"]["silver_g"][1] > 0.0
    iron = json.loads(run(["batch", "vessels", "2", "--json"]))
    assert not iron["closes"]
    assert iron["suspect"]["silver_g"][0] < 12.0 < iron["suspect"]["silver_g"][2] + 1.0
