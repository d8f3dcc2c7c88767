"""A quick fuzz of all that reads what comes from outside; `python -m benchmarks.fuzz` is the long one."""

import pytest
from benchmarks.fuzzing import documents, messages, records, replies
from benchmarks.fuzzing.trial import Findings, limited

PARTS = {
    "messages": lambda: messages.run(11, 2500),
    "replies": lambda: replies.run(11, 5000),
    "documents": lambda: documents.run(11, 60, rehearsed_every=0),
    "records": lambda: records.run(11, 120),
}


@pytest.mark.parametrize("part", PARTS)
def test_what_comes_out_is_an_answer_or_an_error_in_words(part: str) -> None:
    findings = PARTS[part]()
    assert findings.tried >= 60
    assert list(findings.found.values()) == []


def test_the_trial_finds_what_it_looks_for() -> None:
    findings = Findings("itself", allowed=(KeyError,), limit=0.05)

    def refuse() -> None:
        raise KeyError("in words")

    def hang() -> None:
        while True:
            pass

    for do in (lambda: None, refuse, hang, lambda: 1 / 0, lambda: open("\x1b").close()):
        findings.attempt(do, lambda: "an input")
    assert (findings.tried, findings.refused) == (5, 1)
    told = "\n".join(findings.lines())
    for what in ("takes more than 0.05 s", "ZeroDivisionError", "FileNotFoundError", "3 findings"):
        assert what in told
    controls = Findings("itself", allowed=(ValueError,))
    controls.check_lines("\x9b31m", lambda: "an input")
    assert "prints a control character '\\x9b'" in next(controls.lines())
    with limited(1.0):
        pass
