"""What another client changes during a run: whether it is noticed, how soon, and named.

In virtual time. In each run another client changes one setting of one output of two supplies at a drawn
moment, over a connection of its own; every setting of every output has its turn, and every output is also
switched off, and on again where the procedure had switched it off. Noticed means that the run
ends by it within the period that it stated (settings), or within two readings (an output that is switched),
and that the cause names output and setting. Undisturbed runs with slew ramps, coupled set points and point
lists must end as they should. All of it for each time that the supplies take for a query.

    python -m benchmarks.watching [--changes 200] [--undisturbed 50] [--queries 1,20,100]
"""

from __future__ import annotations

import argparse
import asyncio
import math
import random
import shutil
import statistics
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchmarks.small_bench import inputs_of, set_points_of, virtual_bench, write_bench

from railwright.dialects.units import compose
from railwright.documents.loader import Documents
from railwright.guard.link import Message
from railwright.guard.local_link import LocalLink
from railwright.guard.wire import Connect
from railwright.records.ended import Ended
from railwright.running.outcome import RunOutcome
from railwright.running.runner import run
from railwright.twin.server import ReplyTime
from railwright.twin.virtual_network import VirtualNetwork

OUTPUTS = ("left.1", "left.2", "right.1")

SWITCHED_ON = "output on"
"""Not a setting of its own: the output, while the procedure has it off."""

CHANGES = {
    "output": ("0",),
    SWITCHED_ON: ("1",),
    "voltage": ("11.5", "12.2"),
    "current_limit": ("0.5", "1.2"),
    "ovp": ("17", "20"),
    "ovp_on": ("0",),
    "trip_at_limit": ("1",),
    "opp": ("25",),
    "opp_on": ("0",),
    "ocp": ("2.2",),
    "ocp_on": ("0",),
    "ocp_delay": ("0.2",),
    "slew_rising": ("500",),
    "slew_falling": ("500",),
    "sense": ("INTernal",),
    "voltage_mode": ("LIST",),
}
"""Setting -> what the other client sets instead; nothing of it makes the output trip."""

SLACK = 0.05
"""What noticing may take on top of the period [s]: the answer's way through the run."""


@dataclass
class Share:
    """Time of a supply's session that questions for settings took, and the one with the known answer [s];
    when the first was asked and the last answered.
    """

    settings: float = 0.0
    known: float = 0.0
    first: float = math.inf
    last: float = 0.0


class CountingLink(LocalLink):
    """Also adds up how long questions for settings took."""

    def __init__(self, loop: asyncio.AbstractEventLoop, connect_to: Connect) -> None:
        self.shares: dict[str, Share] = {}
        self.ended = math.nan
        super().__init__(loop, connect_to)

    def _hear(self, message: Message) -> None:
        if message["kind"] == "poll" and message["tag"] == "settings":
            share = self.shares.setdefault(message["name"], Share())
            took = message["received"] - message["sent"]
            if message["turn"] < 0:
                share.known += took
            else:
                share.settings += took
            share.first = min(share.first, message["sent"])
            share.last = message["received"]
        elif message["kind"] == "off begun":
            self.ended = self.now()
        super()._hear(message)


def documents_of(folder: Path, seconds: float, off: str = "") -> Documents:
    """All inputs go on, stay for so long [s], and go off; the one that feeds from the output `off`, before
    that time.
    """
    inputs = {output: name for name, output in inputs_of(OUTPUTS).items()}
    stay = ", ".join(name for output, name in inputs.items() if output != off)
    steps = "  - power_up: {order: [in1, in2, in3], gap: 20 ms}\n"
    if off:
        steps += f"  - power_down: {{order: [{inputs[off]}]}}\n"
    steps += f"  - {{hold: {seconds:g} s, name: steady}}\n  - power_down: {{order: [{stay}], gap: 20 ms}}"
    folder.mkdir()
    return write_bench(folder, OUTPUTS, steps, every="10 ms")


def moving_documents(folder: Path, rise: float, coupled: bool) -> Documents:
    """Slew ramps, a sweep, a line in stairs, and a shape that the outputs play by their lists; set points of
    the first two outputs perhaps coupled.
    """
    folder.mkdir()
    steps = f"""  - power_up: {{order: [in1, in2, in3], gap: 20 ms, rise: {rise:g} V/s}}
  - {{hold: 300 ms, name: steady}}
  - sweep: {{input: in3, from: 9 V, to: 12 V, points: 4, dwell: 300 ms}}
  - shape:
      input: in3
      segments: [{{step_to: 9 V}}, {{hold: 60 ms}}, {{line_to: 12 V, over: 400 ms}}, {{hold: 300 ms}}]
    name: dip
  - shape: {{input: in1, segments: [{{line_to: 9 V, over: 700 ms}}, {{line_to: 12 V, over: 100 ms}}]}}
  - {{hold: 1 s, name: after}}
  - power_down: {{order: [in1, in2, in3], gap: 20 ms}}"""
    groups = "[{outputs: [1, 2], by: ratio}]" if coupled else ""
    return write_bench(folder, OUTPUTS, steps, every="10 ms", coupled={"left": groups})


async def meddle(network: VirtualNetwork, output: str, setting: str, value: str, at: float) -> float:
    """Change one setting at an instant over a connection of its own; gives when that was sent [s]."""
    supply, _, own = output.partition(".")
    loop = asyncio.get_running_loop()
    _, writer = await network.connect(network.bench.supplies[supply].address)
    await asyncio.sleep(at - loop.time())
    dialect = network.bench.supplies[supply].dialect
    known: Any = "output" if setting == SWITCHED_ON else setting
    units = [f"{dialect.settings[known]} {value},(@{own})"]
    if setting == "voltage_mode":
        units = [f"SOURce:LIST:VOLTage 12,(@{own})", f"SOURce:LIST:DWELl 1,(@{own})", *units]
    if setting == "sense":
        # A supply changes it only while the output is off: off and on again within one message.
        switch = dialect.settings["output"]
        units = [f"{switch} OFF,(@{own})", *units, f"{switch} ON,(@{own})"]
    writer.write(compose(units).encode() + b"\n")
    return loop.time()


def play(
    documents: Documents,
    query: float,
    change: tuple[str, str, str, float] | None = None,
) -> tuple[RunOutcome, CountingLink, float]:
    """One run, perhaps disturbed so long [s] after its begin; also how long after that it noticed [s]."""
    times = {name: ReplyTime(query=query) for name in documents.bench.supplies}
    folder = Path(tempfile.mkdtemp(dir=documents.sources["bench"].path.parent)) / "run"
    with virtual_bench(documents, times, link=CountingLink) as (network, link):
        assert isinstance(link, CountingLink)
        begin, meddling = link.loop.time(), None
        if change is not None:
            output, setting, value, after = change
            work = meddle(network, output, setting, value, begin + after)
            meddling = link.loop.create_task(work)
        outcome = run(
            documents, set_points_of(OUTPUTS), unit="U", operator="O", folder=folder, link=link, timeout=10.0
        )
        noticed = math.nan
        if meddling is not None and meddling.done():
            noticed = link.ended - meddling.result()
        elif meddling is not None:
            meddling.cancel()
    shutil.rmtree(folder.parent)
    return outcome, link, noticed


def disturbed(folder: Path, query: float, changes: int, draw: random.Random) -> list[str]:
    """Change something so many times; gives one line for each that was not noticed in time, or not named."""
    pilot, link, _ = play(documents_of(folder / "pilot", 2.0), query)
    assert pilot.completed, pilot.cause
    periods = pilot.settings_periods
    begin = min(share.first for share in link.shares.values()) - 1000.0 + 0.5
    begin += 60 * query  # until every output is on
    longest = max(periods.values())
    lasts = 2.2 * longest + 2.0 + 60 * query
    documents = documents_of(folder / "held", lasts)
    with_one_off = {output: documents_of(folder / f"without-{output}", lasts, output) for output in OUTPUTS}
    _, link, _ = play(documents, query)
    for name, share in link.shares.items():
        whole = share.last - share.first
        print(
            f"  {name}: stated period {periods[name]:.2f} s; settings take {share.settings / whole:.1%} of "
            f"the session's time, the question with the known answer {share.known / whole:.1%}"
        )
    late = []
    took: list[float] = []
    looks: list[float] = []
    settings = list(CHANGES)
    for turn in range(changes):
        output, setting = OUTPUTS[turn % len(OUTPUTS)], settings[turn // len(OUTPUTS) % len(settings)]
        value = draw.choice(CHANGES[setting])
        after = begin + draw.uniform(0.0, longest)
        switched = setting in ("output", SWITCHED_ON)
        played = with_one_off[output] if setting == SWITCHED_ON else documents
        after += (1.0 + 30 * query) * (setting == SWITCHED_ON)  # until it is off again
        outcome, _, noticed = play(played, query, (output, setting, value, after))
        supply = output.partition(".")[0]
        # A look asks for state, voltage and current at once, and for mode and trips of each output.
        look = query * (3 + 2 * sum(each.startswith(supply) for each in OUTPUTS)) + 0.01
        bound = 2 * look if switched else periods[supply]
        # On top: a question that is under way goes first.
        bound += SLACK + look + 2 * query
        named = output in outcome.cause and (switched or setting in outcome.cause)
        (looks if switched else took).append(noticed / bound)
        if outcome.ended not in (Ended.CHANGED, Ended.STOPPED) or not named or not noticed <= bound:
            late.append(
                f"{output} {setting} {value} at {after:.3f} s: {outcome.ended} after {noticed:.3f} s (bound "
                f"{bound:.3f} s): {outcome.cause}"
            )
    for what, parts in (("settings", took), ("output states", looks)):
        if parts:
            middle, most = statistics.median(parts), max(parts)
            print(f"  {len(parts)} changes of {what}: after {middle:.2f} of the bound, {most:.2f} at most")
    return late


def undisturbed(folder: Path, query: float, runs: int, draw: random.Random) -> list[str]:
    """Runs in which much moves by itself; gives one line for each that did not end as it should."""
    wrong = []
    for turn in range(runs):
        documents = moving_documents(
            folder / f"moving{turn}", draw.uniform(50.0, 2000.0), coupled=turn % 2 == 0
        )
        outcome, _, _ = play(documents, query)
        if not outcome.completed:
            wrong.append(f"undisturbed run {turn}: {outcome.ended}: {outcome.cause}")
    return wrong


def main() -> None:
    """Meddle at each query time, and print what was not noticed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--changes", type=int, default=200)
    parser.add_argument("--undisturbed", type=int, default=50)
    parser.add_argument("--queries", default="1,20,100", help="what a query takes, in ms")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    draw, wrong = random.Random(given.seed), []
    queries = [1e-3 * float(each) for each in given.queries.split(",")]
    with tempfile.TemporaryDirectory() as name:
        for query in queries:
            folder = Path(name) / f"{1e3 * query:g}"
            folder.mkdir()
            print(f"{1e3 * query:g} ms a query:")
            wrong += disturbed(folder, query, math.ceil(given.changes / len(queries)), draw)
            wrong += undisturbed(folder, query, math.ceil(given.undisturbed / len(queries)), draw)
            for line in wrong:
                print(f"  {line}")
    print(f"not noticed in time, not named, or a false alarm: {len(wrong)}")


if __name__ == "__main__":
    main()
