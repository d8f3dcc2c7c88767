"""The whole job once, as `make demo` does it, and in real time, with real processes and sockets."""

import json
import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree

import pytest
from pyarrow import parquet


def railwright(*arguments):
    command = [sys.executable, "-m", "railwright", *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_the_whole_job(tmp_path):
    folder = tmp_path / "demo"
    done = railwright("demo", "--folder", folder)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr
    run = folder / "run"
    assert (run / "report" / "report.pdf").read_bytes().startswith(b"%PDF")
    assert str(run / "report" / "report.pdf") in done.stdout
    first, second = (json.loads((run / "evaluations" / f"0{n}.json").read_text("utf-8")) for n in (1, 2))
    assert first["outcome"] == "inconclusive"
    assert second["outcome"] == "pass"
    decided = {r["name"]: r["source"] for r in second["requirements"]}
    assert decided["transducer inrush"] == "transient recorder"
    suites = ElementTree.parse(run / "report" / "report.junit.xml").getroot()
    assert len(list(suites.iter("testcase"))) >= 9
    traffic = (folder / "scpi.log").read_text("utf-8")
    assert "→ *IDN?" in traffic
    assert "Traceback" not in done.stderr
    again = railwright("evaluate", run, "--json")
    assert again.returncode == 5
    assert json.loads(again.stdout)["remarks"] == []


def test_the_outcome_does_not_depend_on_the_computer(tmp_path):
    """On the simulated clock nothing is late and nothing is missed, to the last digit, quiet or not."""
    records = []
    for name, how in (("one", []), ("other", ["--quiet"])):
        done = railwright("demo", "--folder", tmp_path / name, *how)
        run = json.loads((tmp_path / name / "run" / "run.json").read_text("utf-8"))
        assert (run["missed_readings"], run["worst_lateness"] < 1e-3) == (0, True)
        # When time 0 was is said in the file itself, and another.
        records.append(parquet.read_table(tmp_path / name / "run" / "record-main.parquet"))
    assert records[0].num_rows > 500
    assert records[0].equals(records[1])
    assert (
        done.stdout.splitlines()[-1] == f"The report: {tmp_path / 'other' / 'run' / 'report' / 'report.pdf'}"
    )
    assert "completed, off confirmed" in done.stdout
    assert not re.search(r"^==|SCPI traffic|· note|^step ", done.stdout, re.MULTILINE)


@pytest.mark.alone
def test_in_real_time(tmp_path):
    """What can be decided then depends on how many readings the machine has time for."""
    folder = tmp_path / "demo"
    done = railwright("demo", "--real-time", "--folder", folder)
    assert done.returncode in (0, 1), done.stdout[-4000:] + done.stderr
    run = json.loads((folder / "run" / "run.json").read_text("utf-8"))
    assert (run["ended"], run["off_confirmed"]) == ("completed", True)
    assert (folder / "run" / "report" / "report.pdf").exists()
    assert "Traceback" not in done.stderr
