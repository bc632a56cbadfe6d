"""Gates of looks, named tests and time, and the routes by zinc and by iron that are made of them."""

import re
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from service.bench.gates.judge import Surroundings, judge
from service.bench.notes import KINDS, Note, checked
from service.bench.procedure import SHIPPED, Stage, load_procedure
from service.bench.stages.gate_kinds import GATES, Event
from service.bench.state import state_of
from service.demo import script
from service.demo.scripts import script_of
from service.log import store
from service.log.course.moving import choose_procedure, move_on
from service.log.database import Database
from service.log.models import made_up_time
from service.log.notes import add_note
from stripread.errors import CallError
from stripread.words import speaking
from tests.bench_arithmetic.test_procedure import _ph


@pytest.fixture
def log(tmp_path):
    """A log of its own, open to write to."""
    database = Database(f"sqlite:///{tmp_path / 'log.sqlite3'}")
    database.migrate()
    with database.write() as c:
        yield c
    database.close()


START = datetime.fromisoformat("2026-03-01T08:00:00+00:00")
DEMO = Path(script.__file__).parent


def at(hours):
    return (START + timedelta(hours=hours)).isoformat()


def notes_of(*told):
    """Notes of (hours, kind, fields), numbered from 1."""
    return [Note(checked(kind, fields), at(hours), n) for n, (hours, kind, fields) in enumerate(told, 1)]


def judged(kind, *told, now=99.0, since=0.0, began=None, seen=(), **keys):
    gate = GATES[kind](**keys)
    around = Surroundings(notes=notes_of(*told), since=at(since), began=began or {}, now=at(now), every=seen)
    return judge(Stage(id="s", title="S", gate=gate), seen, (), around)


def look(hours, grains="no", bubbles="no", **more):
    return hours, "metal_check", {"grains": grains, **({"bubbles": bubbles} if bubbles else {}), **more}


def used(hours, what):
    return hours, "used", {"what": what, "grams": 5.0}


ZINC = {"metal": ("zinc", "Zn")}


@pytest.mark.parametrize(
    ("told", "keys", "state"),
    [
        ([], {}, "cannot tell"),
        ([look(1)], {}, "hold"),
        ([look(1), look(1.4)], {}, "hold"),  # the same moment, as good as
        ([look(1), look(1.5)], {}, "open"),
        ([look(1), look(1.3), look(1.5)], {}, "open"),
        ([look(1), look(2, bubbles="yes")], {}, "hold"),
        ([look(1), look(2, grains="yes")], {}, "hold"),
        ([look(1), look(2, magnet="yes")], {}, "hold"),
        ([look(1), look(2, bubbles="yes"), look(3)], {}, "hold"),  # the run begins anew
        ([look(1), look(2, grains="unsure"), look(3)], {}, "hold"),
        ([look(1), look(2, bubbles="")], {}, "cannot tell"),  # the eye alone proves nothing
        ([look(1), look(2, bubbles="unsure")], {}, "cannot tell"),
        ([look(1), look(2)], {"magnet": True}, "cannot tell"),
        ([look(1, magnet="no"), look(2, magnet="no")], {"magnet": True}, "open"),
        ([look(-2), look(-1), look(1)], {}, "hold"),  # of the stage before
        ([look(1), used(1.5, "Zinc, granulated"), look(2)], ZINC, "hold"),  # more metal went in since
        ([look(1), used(1.5, "5 g Zn"), look(2)], ZINC, "hold"),
        ([look(1), used(1.5, "citric acid"), look(2)], ZINC, "open"),
    ],
)
def test_metal_is_gone_by_looks_at_different_moments(told, keys, state):
    assert judged("metal_gone", *told, **keys).state == state


def named(hours, found="no", wash=None, name="chloride"):
    return hours, "named_test", {"name": name, "found": found, **({} if wash is None else {"wash": wash})}


@pytest.mark.parametrize(
    ("told", "state"),
    [
        ([], "cannot tell"),
        ([named(1, wash=3, name="iron"), named(2, wash=4, name="iron")], "cannot tell"),
        ([named(1, wash=3)], "hold"),
        ([named(1, wash=3), named(2, wash=3)], "hold"),  # one wash twice
        ([named(1, wash=3), named(2, wash=4)], "open"),
        ([named(1, "yes", 3), named(2, wash=4)], "hold"),
        ([named(1, "yes", 2), named(2, wash=3), named(3, wash=4)], "open"),
        ([named(1, wash=3), named(2, "yes", 4)], "hold"),
        ([named(1, "yes", 4), named(2, wash=3), named(3, wash=4)], "hold"),  # found in one of the two washes
        ([named(1, wash=3), named(2, "unsure", 4)], "cannot tell"),
        ([named(1, wash=3), named(2)], "cannot tell"),  # of which wash?
        ([named(1, wash=5), named(2, wash=4)], "cannot tell"),  # a number is wrong
        ([named(-1, wash=3), named(2, wash=4)], "hold"),
        ([named(1, wash=3, name="Chlorid"), named(2, wash=4, name="CLORURO")], "open"),  # as it reads in each language
    ],
)
def test_a_named_test_in_different_washes(told, state):
    assert judged("test_none", *told, test="chloride").state == state
    with speaking("de"):  # who looks changes nothing
        assert judged("test_none", *told, test="chloride").state == state


@pytest.mark.parametrize(
    ("told", "state"),
    [
        ([named(1)], "hold"),
        ([named(1), named(1.4)], "hold"),
        ([named(1), named(1.5)], "open"),
        ([named(1), named(2, "yes")], "hold"),
        ([named(1), named(2, "yes"), named(3)], "hold"),
        ([named(1), named(2, "unsure")], "cannot tell"),
    ],
)
def test_a_named_test_at_different_moments(told, state):
    assert judged("test_none", *told, test="chloride", hours=0.5).state == state


def test_time_since_the_stage_another_one_or_a_note():
    assert judged("timed", hours=2.0, now=1.9).state == "hold"
    assert "6 minutes" in judged("timed", hours=2.0, now=1.9).sentence
    assert judged("timed", hours=2.0, now=2.0).state == "open"
    assert judged("timed", hours=2.0, now=2.0, stage="a", began={"a": at(0.5)}).state == "hold"
    assert judged("timed", hours=2.0, now=2.5, stage="a", began={"a": at(0.5)}).state == "open"
    assert judged("timed", hours=2.0, stage="a").state == "cannot tell"
    zinc = {"hours": 2.0, "note": "used", "what": ("zinc",)}
    assert judged("timed", **zinc).state == "cannot tell"
    assert judged("timed", used(1, "acid"), **zinc).state == "cannot tell"
    assert judged("timed", used(1, "zinc"), used(3, "zinc"), now=4.9, **zinc).state == "hold"  # since the last one
    assert judged("timed", used(1, "zinc"), used(3, "zinc"), used(4.8, "acid"), now=5.0, **zinc).state == "open"


def test_several_gates_open_together_and_tell_what_holds_first():
    of = ({"kind": "ph_neutral", "band": (6.0, 8.0)}, {"kind": "test_none", "test": "chloride"})
    none = [named(1, wash=1), named(2, wash=2)]
    neutral = [_ph(6.9, 0.2, 1), _ph(7.0, 0.2, 2)]
    assert judged("all", *none, seen=neutral, of=of).state == "open"
    assert judged("all", *none, seen=neutral[:1], of=of).state == "cannot tell"
    found = judged("all", *none, named(3, "yes", 3), seen=neutral[:1], of=of)
    assert (found.state, "chloride" in found.sentence) == ("hold", True)


def test_kinds_of_notes_that_time_counts_from_are_there():
    assert set(Event.__args__) <= set(KINDS)


def test_a_gate_that_waits_is_judged_by_the_moment_asked_about():
    text = '[[stage]]\nid = "a"\ntitle = "A"\ngate = { kind = "timed", hours = 3 }\n[[stage]]\nid = "b"\ntitle = "B"\n'
    notes = notes_of((0, "procedure", {"text": text}), (1, "vessel", {"papers": 1}))
    assert state_of(notes, []).verdict.state == "hold"
    assert state_of(notes, [], now=at(2.9)).verdict.state == "hold"
    assert state_of(notes, [], now=at(3)).verdict.state == "open"


# --- the shipped routes


@pytest.mark.parametrize("metal", ["zinc", "iron"])
def test_the_routes_warn_of_hydrogen_wherever_metal_meets_acid(metal):
    found = load_procedure(f"chloride_{metal}")
    for name in ("reduce", "metal-out"):
        said = " ".join(found.stage(name).cautions)
        assert all(word in said for word in ("hydrogen", "no flame", "never closed", "hood", "acid mist"))
    assert "dust" in " ".join(found.stage("reduce").cautions)
    assert found.stage("metal-out").gate.kind == "metal_gone"
    assert found.band("last-wash") == (5.5, 8.0)  # out of several gates at once


@pytest.mark.parametrize("name", SHIPPED)
def test_every_made_up_batch_goes_by_its_procedure_to_the_end(name):
    made_up, procedure = script_of(name), load_procedure(name)
    steps = made_up.steps
    assert [s.at for s in steps] == sorted(s.at for s in steps)
    assert made_up.opened < steps[0].at
    assert steps[-1].at < made_up.closed
    moves = [s.to for s in steps if isinstance(s, script.Onward)]
    assert moves[-1] == procedure.stages[-1].id
    assert {s.id for s in procedure.stages[1:] if not s.optional} <= set(moves)
    for step in steps:
        if isinstance(step, script.Shot):
            assert (DEMO / step.photo).is_file()
        if isinstance(step, script.Written):
            checked(step.kind, step.fields)


def test_no_script_for_what_is_not_shipped():
    with pytest.raises(CallError, match="shipped ones: chloride_lye_sugar"):
        script_of("chloride_tin")


@pytest.mark.parametrize("metal", ["zinc", "iron"])
def test_the_notes_of_the_made_up_batch_open_the_gates_of_metal(log, metal):
    """Without photos: from the reduction on, each gate that is judged by notes opens where the script goes on."""
    made_up = script_of(f"chloride_{metal}")
    batch = store.add_batch(log, "x", "UTC")
    opened = set()
    with made_up_time(made_up.opened):
        choose_procedure(log, batch, made_up.procedure)
    for step in made_up.steps:
        with made_up_time(step.at):
            if isinstance(step, script.Written):
                add_note(log, batch, step.kind, step.fields)
            elif isinstance(step, script.Onward):
                note, _ = move_on(log, batch, step.to, "no photos here", "A.")
                opened |= {step.to} if note.content.state == "open" else set()
    # All but those after a copper check or a pH: out of acid-wash, and out of last-wash.
    stages = [stage.id for stage in load_procedure(made_up.procedure).stages]
    assert opened == set(stages) - {"acid-wash", "reduce", "proof"}


# --- the paper about procedures


PAPER = (Path(__file__).parents[2] / "docs" / "procedures.md").read_text(encoding="utf-8")


def test_the_paper_tells_every_kind_of_gate_and_its_keys():
    table = {row[0]: row[1] for row in re.findall(r"^\| `(\w+)` \| [^|]+ \|([^|]*)\|$", PAPER, re.MULTILINE)}
    assert set(table) == set(GATES)
    for kind, keys in table.items():
        assert set(re.findall(r"`(\w+)`", keys)) == set(GATES[kind].model_fields) - {"kind"}


def test_the_example_of_the_paper_runs(tmp_path, log):
    ours = tmp_path / "ours.toml"
    ours.write_text(re.search(r"```toml\n(.*?)```", PAPER, re.DOTALL)[1], encoding="utf-8")
    procedure = load_procedure(ours)
    assert procedure.stages[0].gate.hours == 1.5
    batch = store.add_batch(log, "x", "UTC")
    with made_up_time(at(0)):
        choose_procedure(log, batch, str(ours))
        add_note(log, batch, "used", {"what": "zinc", "grams": 30.0})
    with made_up_time(at(1)), pytest.raises(CallError, match="30 minutes"):
        move_on(log, batch, None, None, None)
    with made_up_time(at(1.6)):
        move_on(log, batch, None, None, None)
    for hours in (2, 3):
        with made_up_time(at(hours)):
            add_note(log, batch, "metal_check", {"grains": "no", "bubbles": "no"})
    with made_up_time(at(3.1)):
        _, state = move_on(log, batch, None, None, None)
    assert state.stage.id == "wash"


STAGE = '[[stage]]\nid = "a"\ntitle = "A"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (STAGE + 'gate = {kind = "metal_gon"}', r"stage a: .*did you mean metal_gone\?; write for example gate ="),
        (STAGE + 'gate = {kind = "timed"}', r"stage a: a timed gate needs hours; write for example hours = \"90 min\""),
        (STAGE + 'gate = {kind = "timed", hours = "2 kg"}', r"stage a: the gate's hours can't be '2 kg': .*90 min"),
        (STAGE + 'gate = {kind = "timed", hours = 1, stage = "b"}', "'b', which is not there; there are a"),
        (STAGE + 'gate = {kind = "timed", hours = 1, stage = "b"}\n' + STAGE.replace('"a"', '"b"'), "a loop"),
        (STAGE + 'gate = {kind = "all", of = []}', "of = "),
        (STAGE + 'gate = {kind = "all", of = [{kind = "timed", hour = 1}]}', "timed gate (needs hours|has no 'hour')"),
        (STAGE + 'gate = {kind = "all", of = [{kind = "all", of = []}]}', "kind must be one of"),
        (STAGE + 'gate = {kind = "test_none", test = "x", times = 0}', "times can't be 0; write for example times = 2"),
        (
            STAGE + 'read = ["ph"]\ngate = {kind = "tint_none"}',
            r'judged by \'tint\', which `read` lacks; .*"ph", "tint"',
        ),
        (STAGE + "caution = []", r"unknown key 'caution': did you mean cautions\?"),
        ("author = 1\n" + STAGE, "unknown key 'author'; there are name, version, stage"),
        (STAGE + STAGE, "same id 'a'"),
        ('[[stage]]\nid = "a"', "stage a: title is missing; write for example title ="),
        (STAGE + 'gate = {kind = "timed", hours = 1, what = ["x"]}', 'note = "used"'),
        ("name = 3\n" + STAGE, "name must be a text"),
        (STAGE + 'holds = ["silver"]\n', "holds must be a text; write for example holds = "),
        (STAGE + 'contents = "silver"\n', "contents must be a list of texts; write for example contents = "),
    ],
)
def test_a_wrong_file_names_itself_the_stage_the_key_and_what_to_write(tmp_path, text, says):
    path = tmp_path / "ours.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CallError, match=f"^ours.toml: .*{says}"):
        load_procedure(path)
