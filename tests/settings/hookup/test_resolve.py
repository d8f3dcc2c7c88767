"""Documents with `auto`: what they hold after it, reasons, leads and sensing that are wished, kept runs."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from tests.bench import PROCEDURE, copy_demo
from tests.said import says
from tests.settings.hookup import exhaustive
from tests.settings.hookup.benches import series
from tests.settings.hookup.scene import GOOD_LEAD, needs, output, scene, supply
from tests.settings.station import TODAY

from railwright.circuit import terminals
from railwright.documents.hook_up import AUTO, HookUp
from railwright.documents.loader import load_documents
from railwright.settings.data import as_data, settings_from_data
from railwright.settings.hookup import as_run, hooked_up
from railwright.settings.hookup.result import WHOLE
from railwright.settings.settle import settle

MAIN = "  main:       {from: left.1, lead: silicone pair, sense: at load}\n"
TRANSDUCER = "  transducer: {from: right.1, lead: thin pair, sense: at terminals}\n"


def demo(folder: Path, *edits: tuple[str, str]) -> Path:
    return copy_demo(folder, *((PROCEDURE, old, new) for old, new in edits))


ALL = ("hook_up:\n" + MAIN + TRANSDUCER, "hook_up: auto\n")


def test_auto_for_all_stands_for_every_input(tmp_path):
    documents = load_documents(demo(tmp_path, ALL))
    assert set(documents.procedure.hook_up) == {"main", "transducer"}
    assert all(each.auto for each in documents.procedure.hook_up.values())
    resolved = hooked_up(documents)
    assert not any(each.auto for each in resolved.documents.procedure.hook_up.values())
    line = str(resolved.reasons[0].where)
    assert line.endswith(f"{PROCEDURE}:6:10"), "where 'hook_up: auto' stands"


def test_the_demo_is_hooked_up_as_its_author_did(tmp_path):
    """The transducer's 25 mA where they are read to 0.3 mA; sense leads where the line sweep begins at the
    lowest operating voltage; the thick lead for the current of the logger, the other one for the transducer.
    """
    by_hand = load_documents(demo(tmp_path)).procedure.hook_up
    documents = hooked_up(load_documents(demo(tmp_path, ALL))).documents
    assert documents.procedure.hook_up == by_hand
    assert not settle(documents, TODAY).blocked


def test_a_lead_comes_twice_only_where_there_is_no_other():
    leads = {name: {**GOOD_LEAD, "one_way_length": length} for name, length in (("a", "1 m"), ("b", "2 m"))}
    outputs = supply(output(30, 2), output(30, 2), output(30, 2))
    inputs = {"light": needs(12, 0.1), "heavy": needs(12, 1.2), "third": needs(12, 0.2)}
    two = scene({"s": outputs}, {name: inputs[name] for name in ("light", "heavy")}, leads=leads)
    chosen = hooked_up(two).documents.procedure.hook_up
    assert {name: each.lead for name, each in chosen.items()} == {"light": "b", "heavy": "a"}
    three = hooked_up(scene({"s": outputs}, inputs, leads=leads)).documents.procedure.hook_up
    assert sorted(each.lead for each in three.values()) in (["a", "a", "b"], ["a", "b", "b"])
    by_hand = {"light": {"from": "s.1", "lead": "a", "sense": "at terminals"}, "heavy": "auto"}
    beside = scene(
        {"s": outputs}, {name: inputs[name] for name in ("light", "heavy")}, leads=leads, hook_up=by_hand
    )
    assert hooked_up(beside).documents.procedure.hook_up["heavy"].lead == "b"


def test_one_input_auto_beside_a_written_one(tmp_path):
    documents = load_documents(demo(tmp_path, (MAIN, "  main: auto\n"), ("right.1, lead", "left.1, lead")))
    chosen = hooked_up(documents).documents.procedure.hook_up
    assert chosen["transducer"] == documents.procedure.hook_up["transducer"]
    assert chosen["main"].outputs == ("right.1",), "left.2 reaches 36 V, in a wet place"


@pytest.mark.parametrize(
    ("wish", "kept"),
    [
        ("{from: auto, lead: thin pair}", {"lead": "thin pair"}),
        ("{from: auto, sense: at terminals}", {"sense": "at terminals"}),
        ("{from: left.2, lead: auto, sense: auto}", {"source": "left.2"}),
        ("{from: left.2, lead: thin pair, sense: auto}", {"source": "left.2", "lead": "thin pair"}),
    ],
)
def test_what_is_wished_is_kept(tmp_path, wish, kept):
    documents = load_documents(demo(tmp_path, (MAIN, f"  main: {wish}\n")))
    chosen = hooked_up(documents).documents.procedure.hook_up["main"]
    assert not chosen.auto
    assert {key: getattr(chosen, key) for key in kept} == kept


def test_reasons_name_numbers_alternatives_and_the_next_best(tmp_path):
    settings = settle(load_documents(demo(tmp_path, ALL)), TODAY)
    reasons = {r.about: r for r in settings.reasons if r.setting == "hook_up"}
    assert set(reasons) == {"main", "transducer", WHOLE}
    assert says(reasons["main"].value, "left.1", "silicone pair", "at load")
    assert "left.1 gives 36 V, 2.5 A and 60 W" in reasons["main"].why
    assert says(reasons["main"].why, "left.2", "50 %", "right.1", "50 %", "transducer")
    figures = {each.name: each.value for each in reasons["main"].figures}
    assert (figures["full_voltage"], figures["full_current"], figures["full_power"]) == (36.0, 2.5, 60.0)
    assert figures["headroom"] == 0.5
    whole = reasons[WHOLE].why
    assert says(whole, "next best", "main", "right.1")


def test_a_bench_with_one_way_has_no_next_best():
    documents = scene({"a": supply(output(30, 2), output(30, 2))}, {"main": needs(12, 0.5)})
    (whole,) = [r for r in hooked_up(documents).reasons if r.about == WHOLE]
    assert says(whole.why, "no other")


def test_reasons_in_words_are_kept_with_a_run(tmp_path):
    settings = settle(load_documents(demo(tmp_path, ALL)), TODAY)
    kept = settings_from_data(json.loads(json.dumps(as_data(settings))))
    assert kept.reasons == settings.reasons
    assert kept.set_points == settings.set_points


def test_a_kept_run_has_the_hook_up_that_it_was_done_with():
    documents = series().documents
    resolved = hooked_up(documents).documents
    settings = settle(resolved, TODAY)
    kept = settings_from_data(json.loads(json.dumps(as_data(settings))))
    assert as_run(documents, kept.set_points).procedure.hook_up == resolved.procedure.hook_up
    assert as_run(resolved, kept.set_points) is resolved
    others = {name: feed for name, feed in kept.set_points.items() if name != "high"}
    with pytest.raises(KeyError):
        as_run(documents, others)


def test_an_unresolved_hook_up_says_so():
    wish = HookUp.model_validate({"from": AUTO})
    assert wish.outputs == ()
    with pytest.raises(ValueError, match="worked out"):
        _ = wish.sensed


@pytest.mark.slow
def test_scipy_is_loaded_for_auto_only(tmp_path):
    """A static check of written hook-ups must stay fast."""
    code = (
        "import sys, datetime as dt; from railwright.documents.loader import load_documents; "
        "from railwright.settings.settle import settle; "
        "settle(load_documents(sys.argv[1]), dt.date(2026, 11, 25)); print('scipy' in sys.modules)"
    )
    for edits, loaded in (((), "False"), ((ALL,), "True")):
        path = demo(tmp_path, *edits)
        done = subprocess.run(
            [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True, timeout=60
        )
        assert done.stdout.strip() == loaded


def test_a_negative_rail_has_its_positive_terminal_at_0_v():
    documents = scene(
        {"a": supply(output(30, 2), output(30, 2, negative="earth"))},
        {"minus": needs(12, 0.5, rail="negative"), "plus": needs(12, 0.5)},
    )
    resolved = hooked_up(documents).documents
    assert resolved.procedure.hook_up["minus"].outputs == ("a.1",)
    links = terminals.links_of(resolved.procedure, resolved.device, resolved.bench)
    sets = terminals.joined(links)
    assert sets.together("a.1 +", terminals.DEVICE_ZERO)
    assert sets.together("a.1 +", "a.2 −")
    assert not sets.together("a.1 −", terminals.DEVICE_ZERO)
    by_hand = {"from": "a.2", "lead": "lead", "sense": "at terminals"}
    wrong = scene(
        {"a": supply(output(30, 2), output(30, 2, negative="earth"))},
        {"minus": needs(12, 0.5, "earth", rail="negative")},
        hook_up={"minus": by_hand},
    )
    assert [f.rule for f in settle(wrong, exhaustive.TODAY).findings if f.blocks] == ["return-short"]


def test_never_counts_a_negative_rail_with_its_sign():
    documents = scene(
        {"a": supply(output(30, 2), output(30, 2))},
        {"minus": needs(12, 0.5, rail="negative"), "plus": needs(12, 0.5)},
        never=[{"voltage_of": "plus", "minus": "minus", "outside": "-5 V .. 20 V"}],
    )
    (found,) = [f for f in settle(documents, TODAY).findings if f.rule == "never-played"]
    assert says(found.why, "plus", "minus", "minus", "24 V")
