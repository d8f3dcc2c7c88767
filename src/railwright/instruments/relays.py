"""The driver of an instrument that moves contacts: identify it, move one, ask how they stand.

It is spoken to in SCPI-1999's own tree (`railwright.dialects.routes`) and nothing else, so that it needs no
dialect. It never resets the instrument: that would move every contact.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from railwright.dialects.routes import CLOSED, command_of, contact_off, query_of
from railwright.documents.bench import Bench
from railwright.documents.relays import Contact, Relays
from railwright.guard.off_plan import RelaysOff
from railwright.guard.session_settings import USUAL
from railwright.instruments.errors import InstrumentError
from railwright.instruments.identified import IDENTIFY, PlainDriver
from railwright.instruments.session import Answer, OpenSession
from railwright.instruments.supply import Identity
from railwright.plan.contacts import Lies


class RelaysDriver(PlainDriver):
    """One such instrument over one session. Failures are InstrumentErrors.

    contacts: those that are used, by name.
    """

    def __init__(
        self, name: str, document: Relays, contacts: Mapping[str, Contact], open_session: OpenSession
    ) -> None:
        super().__init__(name, document, open_session)
        self.contacts = dict(contacts)

    @property
    def query(self) -> str:
        """What asks how all contacts that are used stand, in the order in which they are kept."""
        return query_of([each.channel for each in self.contacts.values()])

    def connect(self) -> None:
        super().connect()
        self._errors()  # what stood there before is none of ours

    def tell(self, contact: str, closed: bool, at: float | None = None) -> float:
        """Have a contact move, at an instant [s] where one is given; when that was sent. `check` says whether
        it has.
        """
        return self._ready().tell(command_of(self.contacts[contact].channel, closed), at)

    def check(self, contact: str, closed: bool) -> Answer:
        """Expect a contact to stand so, by the instrument's own word."""
        command = command_of(self.contacts[contact].channel, closed)
        self._check(command)
        answer = self._ask(self.query)
        if self.understood(answer.text)[contact] != closed:
            told = f"contact '{contact}' did not move: it still reads {'open' if closed else 'closed'}"
            raise InstrumentError(self.name, command, told)
        return answer

    def states(self) -> dict[str, bool]:
        """Contact -> whether it is closed, by the instrument's own word."""
        return self.understood(self._ask(self.query).text)

    def understood(self, answer: str) -> dict[str, bool]:
        """What an answer to `query` says."""
        words = [word.strip().upper() for word in answer.split(",")]
        if len(words) != len(self.contacts) or any(word not in CLOSED for word in words):
            wanted = "1 or 0" if len(self.contacts) == 1 else f"{len(self.contacts)} times 1 or 0"
            raise InstrumentError(self.name, self.query, f"expected {wanted}, got '{answer}'")
        return {name: CLOSED[word] for name, word in zip(self.contacts, words, strict=True)}


def relays_off(
    name: str,
    bench: Bench,
    lies: Mapping[str, Lies],
    inputs: Mapping[str, Sequence[str]],
    identity: Identity | None = None,
) -> RelaysOff:
    """What an off plan says of one instrument. lies: each contact that is brought to rest. inputs: those that
    are confirmed off before, or, of one that drives a pin, what that enables. identity: who answered there;
    None: nobody was asked.
    """
    document = bench.relays[name]
    return RelaysOff(
        name,
        document.address,
        IDENTIFY,
        identity.answer if identity is not None else "",
        tuple(
            contact_off(
                each,
                contact.channel,
                "closed" if lies[each].rests_closed else "open",
                tuple(inputs[each]),
                contact.under_load,
                lies[each].pin,
            )
            for each, contact in document.contacts.items()
            if each in lies
        ),
        document.carried(USUAL),
    )
