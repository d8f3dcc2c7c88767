"""`railwright dialect`: what a dialect's file says, operation by operation."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, get_args

import typer

from railwright.cli.arguments import Json, Quiet
from railwright.cli.exits import BadInput, Exit, say

if TYPE_CHECKING:
    from railwright.dialects.dialect import Dialect, Value
    from railwright.dialects.operation import Setting

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


def dialect(
    what: What,
    file: Named = None,
    address: Address = None,
    channel: Channel = 1,
    change: Change = False,
    json: Json = False,
    quiet: Quiet = False,
) -> Exit:
    """List dialects, check the file of one, or try it on an instrument.

    list: those of the package and of your own folder. check: every operation as it is given, missing,
    impossible, told or set by hand. try: asks the instrument every question of the dialect, which energises
    nothing, and shows what each answer means. schema: the JSON Schema of a dialect's file.
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
    return _check(made, json, quiet) if address is None else _try(made, address, channel, change, json)


def _list(json: bool) -> Exit:
    from railwright.dialects.files import dialect_names, user_folder

    own = sorted(path.stem for path in (user_folder() / "dialects").glob("*.yaml"))
    known = {**dict.fromkeys(dialect_names(), "of the package"), **dict.fromkeys(own, "your own")}
    if json:
        from railwright.cli.console import print_json

        print_json({"dialects": [{"name": name, "from": where} for name, where in known.items()]})
    else:
        for name, where in known.items():
            say(f"{name} ({where})")
    return Exit.DONE


def _check(made: Dialect, json: bool, quiet: bool) -> Exit:
    rows = operations(made)
    if json:
        from railwright.cli.console import print_json

        keys = ("operation", "state", "command", "query")
        print_json({"dialect": made.name, "operations": [dict(zip(keys, row, strict=True)) for row in rows]})
        return Exit.DONE
    if not quiet:
        from railwright.cli.console import console, table

        channels = "outputs 1 and 2" if made.list_readings else "output 1"
        title = f"{made.name}: addressing {made.addressing}; as it is sent to {channels}"
        console().print(table(title, ("Operation", "State", "Command", "Query"), rows))
    missing = [row[0] for row in rows if row[1] == "missing"]
    told = f"{len(missing)} missing: {', '.join(missing)}" if missing else "none missing"
    say(f"{made.name}: {len(rows)} operations, {told}")
    return Exit.DONE


def _try(made: Dialect, address: str, channel: int, change: bool, json: bool) -> Exit:
    from railwright.guard.process_link import ProcessLink
    from railwright.instruments.guarded import open_guarded
    from railwright.instruments.trying import DialectTrial

    link = ProcessLink()
    try:
        trial = DialectTrial(made, address, channel, open_guarded(link))
        trial.connect()
        tried = [*trial.questions()]
        if change:
            tried += trial.changes()
        trial.close()
    finally:
        link.close()
    rows = [(each.operation, each.sent, each.answer, each.wrong or each.means) for each in tried]
    wrong = [each for each in tried if each.wrong]
    if json:
        from railwright.cli.console import print_json

        print_json({"dialect": made.name, "address": address, "tried": [asdict(each) for each in tried]})
    else:
        from railwright.cli.console import console, table

        title = f"{made.name} at {address}, output {channel}"
        console().print(table(title, ("Operation", "Sent", "Answer", "Means"), rows))
        told = (
            f"{len(wrong)} not understood: {', '.join(each.operation for each in wrong)}"
            if wrong
            else "all understood"
        )
        say(f"{made.name}: {len(tried)} operations tried, {told}")
    return Exit.INSTRUMENT if wrong else Exit.DONE


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
            value = made.written(setting, _example(setting))
            command = "" if operation.command is None else made.command_of(operation.command, [1], value)
            query = "" if operation.query is None else made.query_unit(setting, 1)
            rows.append((setting, state, command, query))
    instrument, status, points = made.instrument, made.status, made.points
    readings = made.reading_units((1, 2) if made.list_readings else (1,))
    actions = made.actions.clear_trips
    rows += [
        _row("read voltage", query=readings[0]),
        _row("read current", query=readings[1]),
        _row("identify", query=instrument.identify),
        _row("clear", instrument.clear),
        _row("errors", query=made.error_query),
        _row("clear trips", None if actions is None else made.action_unit(actions, 1)),
        _row("what regulates", query=None if status.mode is None else made.status_units(1)[0]),
        _row("what tripped", query="; ".join(made.status_units(1)[status.mode is not None :])),
        _row("linked trips", "".join(made.link_units(1, (2,))), made.link and made.link_query(1)),
        _row("watchdog", "; ".join(made.watchdog_units(1.0)), query="; ".join(made.watchdog_queries())),
        _row("point list", None if points is None else made.command_of(points.start, [1])),
    ]
    return rows


def _example(setting: Setting) -> Value:
    """A value of a setting, to show its command with."""
    from railwright.dialects.operation import SWITCHES

    words: dict[str, Value] = {"sense": "at load", "voltage_mode": "fixed"}
    return words.get(setting, True if setting in SWITCHES else 1.0)


def _row(name: str, command: str | None = None, query: str | None = None) -> tuple[str, str, str, str]:
    return name, "given" if command or query else "missing", command or "", query or ""
