"""A simulated instrument that moves contacts: its commands, written by hand from SCPI-1999 (vol. 2: ROUTe)
and IEEE 488.2, and what its contacts do to the leads they lie in, or to the pins that they drive.

It shares the SCPI grammar with the driver, and nothing else. It answers what it told its coils: whether a
contact followed, it does not know.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from secrets import token_hex

from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.procedure import Procedure
from railwright.documents.relays import Contact, Relays
from railwright.scpi.data import Datum, Expression, parse_channels
from railwright.scpi.errors import ScpiError
from railwright.scpi.headers import CommandTree
from railwright.twin.beside import DrivenBy, leads_of, pins_of
from railwright.twin.everyday import identification
from railwright.twin.faults import TwinFault, has
from railwright.twin.messages import TreeServer
from railwright.twin.plant import Plant
from railwright.twin.registers import ErrorQueue


@dataclass
class TwinContact:
    """One contact. closed: what its coil was told. at: the plant and the input whose lead it opens; None: it
    lies in no lead. fails: `welded` or `stuck` where it stays closed, or open, whatever its coil does.

    pin: what it drives in every plant of `drives`, active while it is closed or while it is open.
    """

    document: Contact
    closed: bool
    at: tuple[Plant, str] | None = None
    fails: str = ""
    pin: str = ""
    active_closed: bool = False
    drives: tuple[Plant, ...] = ()

    def move(self, closed: bool) -> None:
        """Tell its coil; the contact follows when its time is over."""
        moves, self.closed = closed != self.closed, closed
        if moves and not self.fails:
            self._stand(closed, self.document.takes(closed))

    def begin(self) -> None:
        """Stand as it does when its instrument is switched on."""
        self._stand({"welded": True, "stuck": False}.get(self.fails, self.closed), 0.0)

    def _stand(self, closed: bool, after: float) -> None:
        if self.at is not None:
            plant, name = self.at
            plant.open_lead(name, not closed, plant.time + after)
        for plant in self.drives:
            plant.drive_pin(self.pin, closed == self.active_closed, plant.time + after)


class TwinRelays:
    """The contacts and the errors of one simulated instrument. contacts: by channel."""

    def __init__(self, name: str, document: Relays) -> None:
        self.name, self.document = name, document
        self.errors, self.token = ErrorQueue(), token_hex(4)
        self.contacts = {
            each.channel: TwinContact(each, each.without_power == "closed")
            for each in document.contacts.values()
        }

    def connect_to(
        self,
        plants: Sequence[Plant],
        leads: Mapping[str, str],
        pins: Mapping[str, DrivenBy],
        wrong: Sequence[TwinFault],
    ) -> None:
        """Lay its contacts into leads, and to pins. leads: contact -> the input in whose lead it lies. pins:
        contact -> what it drives.
        """
        known = [(plant, name) for plant in plants for name in plant.input_history]
        for own, each in self.document.contacts.items():
            contact = self.contacts[each.channel]
            contact.at = next((place for place in known if place[1] == leads.get(own)), None)
            for fails in ("welded", "stuck"):
                if contact.at is not None and has(wrong, f"contact {fails}", contact.at[1]):
                    contact.fails = fails
            if (driven := pins.get(own)) is not None:
                faulty = {
                    kind
                    for kind in ("stuck", "inverted")
                    for n in driven.inputs
                    if has(wrong, f"pin {kind}", n)
                }
                contact.pin, contact.drives = driven.pin, tuple(plants)
                contact.active_closed = driven.active_closed != ("inverted" in faulty)
                if "stuck" in faulty:
                    contact.fails = "welded" if contact.closed else "stuck"
            contact.begin()

    def reset(self) -> None:
        """As after *RST: every contact as without power."""
        for contact in self.contacts.values():
            contact.move(contact.document.without_power == "closed")

    def chosen(self, given: tuple[Datum, ...]) -> list[TwinContact]:
        """The contacts of a channel list."""
        if not isinstance(given[0], Expression):
            raise ScpiError(-104, "a channel list such as (@1) is expected")
        return [self.contacts[channel] for channel in parse_channels(given[0], self.contacts)]


Do = Callable[[TwinRelays, tuple[Datum, ...]], str | None]


def _move(closed: bool) -> Do:
    def move(relays: TwinRelays, given: tuple[Datum, ...]) -> None:
        for contact in relays.chosen(given):
            contact.move(closed)

    return move


def _open_all(relays: TwinRelays, given: tuple[Datum, ...]) -> None:
    for contact in relays.contacts.values():
        contact.move(False)


def _stand(closed: bool) -> Do:
    return lambda relays, given: ",".join(str(int(each.closed == closed)) for each in relays.chosen(given))


TREE: CommandTree[tuple[Do, int]] = CommandTree()
TREE.add_all(
    {
        "*IDN?": (lambda relays, _: identification(relays.document, "Simulated relays", relays.token), 0),
        "*CLS": (lambda relays, _: relays.errors.clear(), 0),
        "*RST": (lambda relays, _: relays.reset(), 0),
        "*OPC?": (lambda relays, _: "1", 0),
        "SYSTem:ERRor[:NEXT]?": (lambda relays, _: relays.errors.take(), 0),
        "ROUTe:CLOSe": (_move(True), 1),
        "ROUTe:CLOSe?": (_stand(True), 1),
        "ROUTe:OPEN": (_move(False), 1),
        "ROUTe:OPEN?": (_stand(False), 1),
        "ROUTe:OPEN:ALL": (_open_all, 0),
    }
)


class RelaysServer(TreeServer[TwinRelays]):
    """Serves one of them."""

    def __init__(self, relays: TwinRelays, catch_up: Callable[[], None]) -> None:
        super().__init__(relays, TREE, catch_up)
        self.relays = relays


# Many: what a simulated instrument is made of.
def simulated_relays(
    name: str,
    device: Device | None,
    bench: Bench,
    procedure: Procedure | None,
    faults: Sequence[TwinFault],
    plants: Iterable[Plant],
    catch_up: Callable[[], None],
) -> RelaysServer:
    """One of the bench, its contacts in the leads behind these supplies."""
    relays = TwinRelays(name, bench.relays[name])
    leads, pins = leads_of(bench, procedure), pins_of(device, bench, procedure)
    relays.connect_to(list(plants), leads, pins, faults)
    return RelaysServer(relays, catch_up)
