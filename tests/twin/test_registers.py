"""Event registers and the status byte."""

from railwright.scpi.errors import ScpiError
from railwright.twin.registers import INSTRUMENT_SUMMARY, ErrorQueue, EventRegister, Status


def test_rising_and_falling_bits_become_events_through_the_filters() -> None:
    register = EventRegister()
    register.update(0b11)
    register.rising, register.falling = 0, 0b01
    register.update(0b00)
    assert (register.read_event(), register.read_event()) == (0b11, 0)
    register.update(0b01)
    register.update(0b00)
    assert register.read_event() == 0b01


def test_the_queue_overflows_in_its_last_place() -> None:
    queue = ErrorQueue(places=2)
    for number in (-101, -102, -103):
        queue.put(ScpiError(number))
    assert [queue.take(), queue.take(), queue.take()] == [
        '-101,"Invalid character"',
        '-350,"Queue overflow"',
        '0,"No error"',
    ]


def test_an_overflow_is_also_a_device_dependent_error() -> None:
    status = Status(1)
    status.standard_event = 0
    for _ in range(21):
        status.report(ScpiError(-113))
    assert status.standard_event == (1 << 5) | (1 << 3)


def test_an_event_of_an_output_reaches_the_instrument_summary() -> None:
    status = Status(2)
    status.preset()
    status.update(1, 0, 1 << 8)
    status.update(1, 0, 1 << 8)
    assert status.operation.condition == (1 << 8) | INSTRUMENT_SUMMARY


def test_status_byte() -> None:
    status = Status(1)
    status.standard_event, status.standard_enable, status.service_enable = 32, 32, 32
    assert status.status_byte(answer_waiting=True) == (1 << 4) | (1 << 5) | (1 << 6)
