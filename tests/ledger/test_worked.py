"""The three batches of docs/worked-batches.md, run as they stand there: they print what it says of them."""

from __future__ import annotations

import json

from click.testing import CliRunner

from service.bench.procedure import load_procedure
from service.cli import app
from tests.ledger.worked import worked_batches


def test_the_worked_batches_come_out_as_the_page_says(tmp_path):
    data = ["--data", str(tmp_path / "log")]

    def run(words):
        done = CliRunner().invoke(app, [*words, *data])
        assert done.exit_code == 0, f"{words}: {done.output}"
        return done.output

    worked = worked_batches()
    assert len(worked) == 3
    for one in worked:
        output = ""
        for words in one.commands:
            output = run(words)
        assert [line for line in one.wanted if line not in output] == [], output
    procedure = load_procedure("chloride_lye_sugar")
    titles = [procedure.stage(stage).title for stage in ("acid-rinse", "last-wash", "melt")]
    assert [title for title in titles if f"{title} against the gate" not in run(["batch", "timeline", "1"])] == []
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
