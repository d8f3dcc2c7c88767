"""`railwright dialect`: what a dialect's file says, operation by operation."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, NamedTuple, get_args

import typer

from railwright.cli.arguments import Json, Quiet
from railwright.cli.exits import BadInput, Exit, complain, say
from railwright.cli.wires import LineText, Visa, wires_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from railwright.dialects.dialect import Dialect, Value
    from railwright.dialects.operation import Operation, Setting
    from railwright.documents.wires import Wires
    from railwright.guard.link import GuardLink
    from railwright.guard.session_settings import SessionCommand
    from railwright.instruments.trying import DialectTrial, Tried
    from railwright.running.provoke import Provocations

What = Annotated[str, typer.Argument(metavar="WHAT", help="list, check, try or schema.")]
Named = Annotated[
    str | None,
    typer.Argument(metavar="FILE", help="A dialect's file, or the name of one; not with list and schema."),
]
Address = Annotated[
    str | None,
    typer.Argument(metavar="ADDRESS", help="VISA resource name of the instrument; with try alone."),
]
Channel = Annotated[int, typer.Option("--channel", min=1, max=99_999, help="The output's number (try).")]
Change = Annotated[
    bool,
    typer.Option(
        "--change",
        help="Also change settings of an output that is off, with nothing connected to it (try). Nothing is "
        "switched on.",
    ),
]
Provoke = Annotated[
    str | None,
    typer.Option(
        metavar="CONNECTED",
        help="Also SWITCH THE OUTPUT ON, at a low voltage, and see that what the dialect says comes (try). "
        "open: nothing is connected to it; on, off, CV, slews, OVP. shorted: a lead shorts it; CC and what "
        "trips at a current. With --operator.",
    ),
]
Beside = Annotated[
    int | None,
    typer.Option(
        metavar="NUMBER",
        min=1,
        max=99_999,
        help="Another output of the instrument, with nothing connected to it EITHER, that is SWITCHED ON, "
        "too: its trip is to take the one that is tried along. With --provoke open.",
    ),
]
Voltage = Annotated[str, typer.Option(help="To provoke with.")]
Current = Annotated[str, typer.Option(help="Current limit to provoke with; the short bears it.")]
Operator = Annotated[
    str | None, typer.Option(metavar="NAME", help="Who stands beside it; kept with what was proved.")
]


# Many: each is an option of the command line.
def dialect(
    what: What,
    file: Named = None,
    address: Address = None,
    channel: Channel = 1,
    line: LineText = "",
    visa: Visa = "",
    change: Change = False,
    provoke: Provoke = None,
    beside: Beside = None,
    voltage: Voltage = "3 V",
    current: Current = "100 mA",
    operator: Operator = None,
    json: Json = False,
    quiet: Quiet = False,
) -> Exit:
    """List dialects, check the file of one, or try it on an instrument.

    list: those of the package and of your own folder. check: every operation as it is given, missing,
    impossible, told or set by hand. try: asks the instrument every question of the dialect, which energises
    nothing, and shows what each answer means; with --provoke it proves what comes, for the instrument's model
    and version. schema: the JSON Schema of a dialect's file.
    """
    if what not in ("list", "check", "try", "schema"):
        raise BadInput(f"WHAT: expected list, check, try or schema, got '{what}'")
    if (file is None) != (what in ("list", "schema")):
        raise BadInput(f"FILE: expected {'none' if file else 'the file of a dialect'} with '{what}'")
    if (address is None) != (what != "try"):
        raise BadInput(f"ADDRESS: expected {'none' if address else 'that of an instrument'} with '{what}'")
    if what == "list":
        return _list(json)
    if what == "schema":
        from railwright.cli.console import print_json
        from railwright.dialects.dialect import Dialect

        print_json(Dialect.model_json_schema())
        return Exit.DONE
    assert file is not None
    made = read_named(file)
    if address is None:
        return _check(made, path_of(file), json, quiet)
    if beside is not None and (provoke != "open" or beside == channel):
        told = f"expected another output than {channel}, with --provoke open, got {beside}"
        raise BadInput(f"--beside: {told}; linked trips are provoked with nothing connected")
    wanted = None if provoke is None else _wanted(provoke, voltage, current, operator, beside)
    how = Shown(json, quiet)
    return _try(made, wires_of(address, line, visa), channel, change, how, wanted)


def _list(json: bool) -> Exit:
    from railwright.dialects.files import FOLDER, dialect_names, user_folder

    shipped = {name: ("of the package", FOLDER / f"{name}.yaml") for name in dialect_names()}
    own = {path.stem: ("your own", path) for path in sorted((user_folder() / "dialects").glob("*.yaml"))}
    known = {**shipped, **own}
    if json:
        from railwright.cli.console import print_json

        rows = [{"name": name, "from": of, "file": str(path)} for name, (of, path) in known.items()]
        print_json({"dialects": rows})
    else:
        for name, (of, path) in known.items():
            say(f"{name} ({of}): {path}")
    return Exit.DONE


def _check(made: Dialect, path: Path, json: bool, quiet: bool) -> Exit:
    from railwright.cli.console import console, print_json, table

    rows = operations(made)
    if json:
        keys = ("operation", "state", "command", "query")
        found = [dict(zip(keys, row, strict=True)) for row in rows]
        print_json({"dialect": made.name, "file": str(path), "operations": found})
        return Exit.DONE
    if not quiet:
        channels = "outputs 1 and 2" if made.list_readings else "output 1"
        title = f"{made.name}: addressing {made.addressing}; as it is sent to {channels}"
        console().print(table(title, ("Operation", "State", "Command", "Query"), rows))
    missing = [row[0] for row in rows if row[1] == "missing"]
    told = f"{len(missing)} missing: {', '.join(missing)}" if missing else "none missing"
    say(f"{made.name}: {len(rows)} operations, {told}")
    say(f"its file: {path}")
    return Exit.DONE


@dataclass(frozen=True)
class Wanted:
    """What is to be provoked: with what connected, at which voltage [V] and current [A]; who stands by; the
    number of another output beside it, if any.
    """

    connected: Literal["open", "shorted"]
    voltage: float
    current: float
    operator: str
    beside: int | None = None


def _wanted(provoke: str, voltage: str, current: str, operator: str | None, beside: int | None) -> Wanted:
    """The options, checked. BadInput."""
    from railwright.quantities import parse_value

    if provoke not in ("open", "shorted"):
        raise BadInput(f"--provoke: expected open or shorted, got '{provoke}'; say what is connected")
    if operator is None or not operator.strip():
        raise BadInput("--operator: expected who stands beside the instrument, got none; write the name")
    found: list[float] = []
    for option, text, unit, most in (("voltage", voltage, "V", 12.0), ("current", current, "A", 1.0)):
        try:
            value = parse_value(text, unit)
        except ValueError as error:
            raise BadInput(f"--{option}: {error}") from None
        if not 0.0 < value <= most:
            told = f"expected more than 0 {unit} and at most {most:g} {unit}, got '{text}'"
            raise BadInput(f"--{option}: {told}; a low one is enough")
        found.append(value)
    connected: Literal["open", "shorted"] = "open" if provoke == "open" else "shorted"
    return Wanted(connected, found[0], found[1], operator.strip(), beside)


class Shown(NamedTuple):
    """How a trial is shown: as JSON; or, quiet, only what is not as it should be, and how it ended."""

    json: bool
    quiet: bool


def _try(made: Dialect, wires: Wires, channel: int, change: bool, how: Shown, wanted: Wanted | None) -> Exit:
    from railwright.cli.console import print_json
    from railwright.guard.process_link import ProcessLink
    from railwright.instruments.guarded import open_guarded
    from railwright.instruments.trying import DialectTrial

    address, settings = wires.address, wires.carried(made.session_settings)
    link = ProcessLink()
    try:
        trial = DialectTrial(made, address, channel, open_guarded(link), settings, link.sleep)
        trial.connect()
        tried = [*trial.questions()]
        if change:
            tried += trial.changes()
        provoked, instrument, kept = None, "", None
        if wanted is not None:
            provoked, instrument, kept = _provoked(link, trial, tried, wires, channel, wanted)
        trial.close()
    finally:
        link.close()
    wrong = [each.operation for each in tried if each.wrong]
    seen = provoked.seen if provoked is not None else ()
    not_come = [each.provoked for each in seen if each.wrong]
    if how.json:
        data: dict[str, Any] = {
            "dialect": made.name,
            "address": address,
            "tried": [asdict(each) for each in tried],
        }
        if provoked is not None:
            more = {"provoked": [asdict(each) for each in seen], "not_confirmed": provoked.not_confirmed}
            data |= {**more, "kept": None if kept is None else str(kept)}
        print_json(data)
    else:
        rows = [(each.operation, each.sent, each.answer, _meaning(each)) for each in tried]
        title = f"{made.name} at {address}, output {channel}"
        _show(title, ("Operation", "Sent", "Answer", "Means"), rows, wrong, how)
        told = f"{len(wrong)} not understood: {', '.join(wrong)}" if wrong else "all understood"
        say(f"{made.name}: {len(tried)} operations tried, {told}")
        if stood := [each.operation for each in tried if each.stood_so]:
            say(f"nothing shows that these work, as the output stood so before: {', '.join(stood)}")
        if provoked is not None:
            results = [(each.provoked, each.wrong or each.seen) for each in seen]
            _show("Provoked", ("Provoked", "What came"), results, not_come, how)
            _say_proved(made, instrument, [each.provoked for each in seen if each.proved], kept)
    if provoked is not None and provoked.not_confirmed:
        complain(f"OFF NOT CONFIRMED: {provoked.not_confirmed}: use the mains switch")
        return Exit.OFF_NOT_CONFIRMED
    return Exit.INSTRUMENT if wrong or not_come else Exit.DONE


def _meaning(tried: Tried) -> str:
    """What is shown of an answer."""
    return tried.wrong or tried.means + (", as it stood before" if tried.stood_so else "")


def _show(
    title: str, heads: tuple[str, ...], rows: Sequence[tuple[str, ...]], wrong: Sequence[str], how: Shown
) -> None:
    """A table; quiet: a line for each of its rows that is wrong."""
    from railwright.cli.console import console, table

    if not how.quiet:
        console().print(table(title, heads, rows))
        return
    for row in rows:
        if row[0] in wrong:
            say(": ".join(part for part in row if part))


def _provoked(
    link: GuardLink,
    trial: DialectTrial,
    tried: Sequence[Tried],
    wires: Wires,
    channel: int,
    wanted: Wanted,
) -> tuple[Provocations, str, Path | None]:
    """What came of provoking, at which instrument, and where what it proves is kept."""
    import datetime as dt

    from railwright.dialects.operation import Setting
    from railwright.documents.proof_files import keep_proofs
    from railwright.instruments.guarded import open_guarded
    from railwright.instruments.provoking import Connected
    from railwright.instruments.supply import SupplyDriver
    from railwright.running.provoke import BESIDE, ITS_OUTPUT, bare_supply, proofs_of, provoke

    volts, amperes, beside = wanted.voltage, wanted.current, wanted.beside
    document = bare_supply(trial.dialect, wires.address, channel, volts, amperes, beside)
    document = document.model_copy(update={"line": wires.line, "visa": wires.visa})
    supply = SupplyDriver("instrument", document, open_guarded(link))
    supply.take_over(trial.conversation)
    identity = supply.identify()
    how: Connected = "open" if wanted.connected == "open" else "overloaded"
    tells = [name for name in get_args(Setting) if any(t.operation == name and not t.wrong for t in tried)]
    other = "" if beside is None else BESIDE
    provoked = provoke(
        link,
        supply,
        ITS_OUTPUT,
        how,
        voltage=volts,
        current=amperes,
        restores=tells,
        beside=other,
        say=complain,
    )
    at, by = dt.datetime.now().astimezone(), wanted.operator
    proofs = proofs_of(
        provoked.seen, supply, ITS_OUTPUT, by=by, how=f"dialect try, {wanted.connected}", at=at
    )
    return provoked, str(identity.instrument), keep_proofs(proofs)


def _say_proved(made: Dialect, instrument: str, proved: list[str], kept: Path | None) -> None:
    from railwright.dialects.proofs import provokable

    left = [each for each in provokable(made) if each not in proved]
    say(f"{made.name} on {instrument}: seen to come {', '.join(proved) or 'nothing'}")
    if left:
        say(f"not in this try: {', '.join(left)}")
    if kept is None:
        say("nothing is kept" + (": a simulated supply proves nothing of a real one" if proved else ""))
    else:
        say(f"proved, and kept in {kept}")


def path_of(file: str) -> Path:
    """Where the file of a dialect lies that was read."""
    from railwright.dialects.files import find_dialect

    found = find_dialect(file, Path())
    return Path(file) if found is None else found.path.resolve()


def read_named(file: str) -> Dialect:
    """The dialect of a file or a name. BadInput, or DialectError with its lines."""
    from railwright.dialects.dialect import load_dialect, read_dialect
    from railwright.dialects.files import dialect_names, find_dialect

    if file in dialect_names():
        return load_dialect(file)
    found = find_dialect(file, Path())
    if found is None:
        raise BadInput(f"FILE: expected the file of a dialect, or the name of one, got '{file}'; correct it")
    try:
        text = found.content.decode("utf-8")
    except UnicodeDecodeError:
        raise BadInput(f"{found.path}:1:1: expected UTF-8 text, got other bytes; save the file so") from None
    return read_dialect(text, str(found.path))


def operations(made: Dialect) -> list[tuple[str, str, str, str]]:
    """Every operation that a dialect can have: its name, its state, command and query as they are sent.

    States: given, told (asked, never set), by hand, impossible ('cannot'), missing.
    """
    from railwright.dialects.operation import Setting

    rows: list[tuple[str, str, str, str]] = []
    for setting in get_args(Setting):
        if setting in made.impossible:
            rows.append((setting, "impossible", "", ""))
        elif setting not in made.settings:
            rows.append((setting, "missing", "", ""))
        else:
            operation = made.settings[setting]
            state = "given" if operation.settable else "by hand" if operation.by_hand else "told"
            value = made.written(setting, _example(setting, operation))
            command = "" if operation.command is None else made.command_of(operation.command, [1], value)
            query = "" if operation.query is None else made.query_unit(setting, 1)
            rows.append((setting, state, command, query))
    instrument, status, points = made.instrument, made.status, made.points
    master = None if made.master is None else made.master_unit(True)
    readings = made.reading_units((1, 2) if made.list_readings else (1,))
    rows += [
        _row("master switch", master, "".join(made.master_queries)),
        _row("read voltage", query=readings[0]),
        _row("read current", query=readings[-1]),
        _row("opening", *_said(made.session_settings.opening)),
        _row("closing", *_said(made.session_settings.closing)),
        _row("which is selected", query=instrument.selected),
        _row("identify", query=instrument.identify),
        _row("clear", instrument.clear),
        _row("errors", query=made.error_query),
        _row("whether its power came on", query=made.power_query),
        _row("clear trips", "; ".join(made.clear_units(1))),
        _row("what regulates", query=None if status.mode is None else made.status_units(1)[0]),
        _row("what tripped", query="; ".join(made.status_units(1)[status.mode is not None :])),
        _row("linked trips", "".join(made.link_units(1, (2,))), made.link and made.link_query(1)),
        _row("watchdog", "; ".join(made.watchdog_units(1.0)), query="; ".join(made.watchdog_queries())),
        _row("point list", None if points is None else made.command_of(points.start, [1])),
    ]
    return rows


def _said(commands: Sequence[SessionCommand]) -> tuple[str, str]:
    """What a session begins or ends with: commands, and questions with the answer that is wanted."""
    asked = [f"{each.text} = {each.answer}" if each.answer else each.text for each in commands if each.asks]
    return "; ".join(each.text for each in commands if not each.asks), "; ".join(asked)


def _example(setting: Setting, operation: Operation) -> Value:
    """A value of a setting, to show its command with."""
    from railwright.dialects.operation import SWITCHES

    words: dict[str, Value] = {"sense": "at load", "voltage_mode": "fixed"}
    number = min(max(1.0, operation.least), operation.most)
    return words.get(setting, True if setting in SWITCHES else number)


def _row(name: str, command: str | None = None, query: str | None = None) -> tuple[str, str, str, str]:
    return name, "given" if command or query else "missing", command or "", query or ""
