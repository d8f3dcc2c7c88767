"""Status reporting of a supply: the error queue, the event registers and the status byte.

Sources: IEEE 488.2-1992, chapter 11 (status byte, standard event register); SCPI-1999 vol. 1, chapter 9 and
vol. 2, chapter 20 (condition, transition filters, event and enable registers; 16 bits of which bit 15 is
never used).
"""

from __future__ import annotations

from collections import deque

from railwright.scpi.errors import ErrorForm, ScpiError, event_bit, format_entry

ALL_BITS = 0x7FFF

QUESTIONABLE_VOLTAGE = 1 << 0
QUESTIONABLE_CURRENT = 1 << 1
QUESTIONABLE_POWER = 1 << 3
QUESTIONABLE_TEMPERATURE = 1 << 4
TRIPPED_BY_OVP = 1 << 12
TRIPPED_BY_LIMIT = 1 << 9
TRIPPED_BY_LINK = 1 << 10
TRIPPED_BY_OCP = 1 << 11
INSTRUMENT_SUMMARY = 1 << 13

SWEEPING = 1 << 3
WAITING_FOR_TRIGGER = 1 << 5
IN_CV = 1 << 10
IN_CC = 1 << 11
IN_CP = 1 << 12


class ErrorQueue:
    """First in, first out; when it is full, its last place says -350 and what follows is lost (SCPI-1999 vol.
    2, 21.8.1).
    """

    def __init__(self, places: int = 20, form: ErrorForm = "quoted") -> None:
        self._places, self._form = places, form
        self._entries: deque[ScpiError] = deque()

    def __len__(self) -> int:
        return len(self._entries)

    def put(self, error: ScpiError) -> None:
        """Queue an error."""
        if len(self._entries) < self._places:
            self._entries.append(error)
        else:
            self._entries[-1] = ScpiError(-350)

    def take(self) -> str:
        """The oldest entry as SYSTem:ERRor? answers it, which is then gone."""
        if not self._entries:
            return format_entry(0, form=self._form)
        error = self._entries.popleft()
        return format_entry(error.number, error.detail, self._form)

    def clear(self) -> None:
        """Forget all entries."""
        self._entries.clear()


class EventRegister:
    """A condition register, its two transition filters, the event register they feed, and its enable mask."""

    def __init__(self) -> None:
        self.condition = 0
        self.event = 0
        self.preset()

    def preset(self) -> None:
        """As STATus:PRESet leaves it: nothing enabled, rising bits become events (SCPI-1999 vol. 2, 20.7)."""
        self.enable = 0
        self.rising = ALL_BITS
        self.falling = 0

    def update(self, condition: int) -> None:
        """A new condition; its changes become events through the filters."""
        rose, fell = condition & ~self.condition, self.condition & ~condition
        self.event |= (rose & self.rising) | (fell & self.falling)
        self.condition = condition & ALL_BITS

    def read_event(self) -> int:
        """The event register, which reading clears."""
        event, self.event = self.event, 0
        return event

    @property
    def summary(self) -> bool:
        """Whether an enabled event has happened."""
        return bool(self.event & self.enable)


class Status:
    """All status of one supply with so many outputs."""

    def __init__(self, outputs: int, error_form: ErrorForm = "quoted") -> None:
        self.errors = ErrorQueue(form=error_form)
        self.standard_event = 1 << 7  # power on (IEEE 488.2-1992, 11.5.1.1.2)
        self.standard_enable = 0
        self.service_enable = 0
        self.questionable = EventRegister()
        self.operation = EventRegister()
        self.questionable_of = [EventRegister() for _ in range(outputs)]
        self.operation_of = [EventRegister() for _ in range(outputs)]

    def report(self, error: ScpiError) -> None:
        """Queue an error and set its bit of the standard event register; a lost entry sets the bit of -350
        too.
        """
        full = len(self.errors)
        self.errors.put(error)
        for number in (error.number, *([-350] if len(self.errors) == full else [])):
            bit = event_bit(number)
            if bit is not None:
                self.standard_event |= 1 << bit

    def update(self, index: int, questionable: int, operation: int) -> None:
        """New conditions of one output; the supply's own registers hold the union of all outputs."""
        self.questionable_of[index].update(questionable)
        self.operation_of[index].update(operation)
        for whole, parts in ((self.questionable, self.questionable_of), (self.operation, self.operation_of)):
            union = 0
            for part in parts:
                union |= part.condition | (INSTRUMENT_SUMMARY if part.summary else 0)
            whole.update(union)

    def clear(self) -> None:
        """*CLS: event registers and error queue; masks stay (IEEE 488.2-1992, 10.3)."""
        self.errors.clear()
        self.standard_event = 0
        for register in (self.questionable, self.operation, *self.questionable_of, *self.operation_of):
            register.event = 0

    def preset(self) -> None:
        """STATus:PRESet: enable masks and filters of the SCPI registers."""
        for register in (self.questionable, self.operation):
            register.preset()
        for register in (*self.questionable_of, *self.operation_of):
            register.preset()
            register.enable = ALL_BITS

    def status_byte(self, answer_waiting: bool) -> int:
        """Bits: 2 error queue, 3 questionable, 4 message available, 5 standard event, 6 master summary, 7
        operation.
        """
        byte = 0
        for bit, raised in (
            (2, len(self.errors) > 0),
            (3, self.questionable.summary),
            (4, answer_waiting),
            (5, bool(self.standard_event & self.standard_enable)),
            (7, self.operation.summary),
        ):
            byte |= (1 << bit) if raised else 0
        return byte | (1 << 6 if byte & self.service_enable & ~(1 << 6) else 0)
