"""Benches on which one kind of constraint decides each, with what a person would hook up and why."""

from __future__ import annotations

from typing import NamedTuple

from tests.settings.hookup.scene import GOOD_LEAD, needs, output, scene, supply

from railwright.documents.loader import Documents


class Bench(NamedTuple):
    """fed: input -> what feeds it, as words; None: nothing fits. because: the argument by hand."""

    documents: Documents
    fed: dict[str, str] | None
    because: str


THIN = {**GOOD_LEAD, "conductor": "AWG 24", "one_way_length": "5 m", "permitted_current": "2 A"}
JOINS = {"may_join": ["series", "parallel"]}


def voltage_range() -> Bench:
    """48 V at 0.4 A and 5 V at 2 A from outputs of 60 V, 0.6 A and 20 V, 3 A."""
    return Bench(
        scene(
            {"a": supply(output(20, 3)), "b": supply(output(60, 0.6))},
            {"high": needs(48, 0.4), "low": needs(5, 2)},
        ),
        {"high": "b.1", "low": "a.1"},
        "20 V do not reach 48 V; 0.6 A do not carry 2 A",
    )


def sensed_drop() -> Bench:
    """12 V at 1 A through 5 m of thin lead drop 0.9 V, which has to be sensed away."""
    return Bench(
        scene(
            {"a": supply(output(12.5, 3), output(14, 3))},
            {"main": needs(12, 1)},
            leads={"thin": THIN},
            hook_up={"main": {"from": "auto", "sense": "at load"}},
        ),
        {"main": "a.2"},
        "at the terminals it takes 12 V and the drop, more than 12.5 V",
    )


def current() -> Bench:
    """A heavy and a light input, a strong and a weak output."""
    return Bench(
        scene(
            {"a": supply(output(30, 1)), "b": supply(output(30, 5))},
            {"light": needs(12, 0.2), "heavy": needs(12, 3)},
        ),
        {"light": "a.1", "heavy": "b.1"},
        "1 A do not carry 3 A",
    )


def power_envelope() -> Bench:
    """24 V at 2 A are 48 W: an output of 36 V and 3 A, but 45 W, does not give them."""
    return Bench(
        scene(
            {"a": supply(output(36, 3, 45)), "b": supply(output(30, 3, 90))},
            {"main": needs(24, 2), "other": needs(12, 1)},
        ),
        {"main": "b.1", "other": "a.1"},
        "b.1 alone gives 48 W",
    )


def series() -> Bench:
    """48 V from two outputs of 30 V; the third output is of another supply and may not be joined."""
    return Bench(
        scene(
            {
                "a": supply(output(30, 2), output(30, 2, **JOINS)),
                "b": supply(output(30, 2, **JOINS), output(30, 2, **JOINS)),
            },
            {"high": needs(48, 0.5), "low": needs(12, 0.5)},
        ),
        {"high": "b.1 and b.2 in series", "low": "a.1"},
        "a.1 may not be joined; a.2 with b.1 would join outputs of two supplies, which the check cautions of",
    )


def parallel() -> Bench:
    """5 A from two outputs of 3 A; two of 36 V against two of 13 V."""
    return Bench(
        scene(
            {"a": supply(output(13, 3, **JOINS), output(36, 3, **JOINS), output(36, 3, **JOINS))},
            {"heavy": needs(12, 4.2)},
        ),
        {"heavy": "a.2 and a.3 in parallel"},
        "a.1 with another would be unlike, with 8 % of voltage to spare",
    )


def parallel_that_trips() -> Bench:
    """As before with a limit that trips: the output that is set higher reaches its limit first."""
    return Bench(
        scene(
            {"a": supply(output(36, 3, **JOINS), output(36, 3, **JOINS))},
            {"heavy": needs(12, 4.2)},
            at_limit="trip",
        ),
        None,
        "in parallel one of the two gives up to its limit and trips",
    )


def earthed() -> Bench:
    """An isolated input beside a stronger output whose negative terminal is tied to earth."""
    return Bench(
        scene(
            {"a": supply(output(30, 5, negative="earth")), "b": supply(output(30, 1))},
            {"isolated": needs(12, 0.8, "isolated"), "main": needs(12, 0.5)},
        ),
        {"isolated": "b.1", "main": "a.1"},
        "an earthed output would take the isolation away",
    )


def joined_negatives() -> Bench:
    """A supply whose two negatives are joined inside, an isolated input and two common ones."""
    return Bench(
        scene(
            {
                "a": supply(output(30, 3), output(30, 3), common_negative=["1", "2"]),
                "b": supply(output(30, 1)),
            },
            {"isolated": needs(12, 0.9, "isolated"), "one": needs(12, 0.5), "two": needs(12, 0.5)},
        ),
        {"isolated": "b.1", "one": "a.1", "two": "a.2"},
        "on a.1 or a.2 the isolated input would be joined to a common one; b.1 has little headroom, but is "
        "free",
    )


def joined_in_series() -> Bench:
    """Outputs with joined negatives do not go in series: the lower one would be shorted."""
    return Bench(
        scene(
            {
                "a": supply(output(30, 3, **JOINS), output(30, 3, **JOINS), common_negative=["1", "2"]),
                "b": supply(output(30, 1, **JOINS), output(30, 1, **JOINS)),
            },
            {"high": needs(48, 0.7)},
        ),
        {"high": "b.1 and b.2 in series"},
        "the negatives of a.1 and a.2 are one point, and across supplies the check cautions",
    )


def negative_rail() -> Bench:
    """±12 V: the negative rail needs an output whose negative terminal is free."""
    return Bench(
        scene(
            {
                "a": supply(output(30, 5, negative="earth")),
                "b": supply(output(30, 4), output(30, 4), common_negative=["1", "2"]),
                "c": supply(output(20, 0.8)),
            },
            {"minus": needs(12, 0.6, rail="negative"), "plus": needs(12, 0.75), "third": needs(5, 0.75)},
        ),
        {"minus": "c.1", "plus": "a.1", "third": "b.1"},
        "on a.1 the rail would be earth; on b.1 it would be joined to whatever b.2 feeds, and c.1 is too "
        "weak for the two others",
    )


def coupled() -> Bench:
    """Two outputs whose set points move together do not feed two inputs."""
    return Bench(
        scene(
            {
                "a": supply(output(30, 3), output(30, 3), coupled=[{"outputs": ["1", "2"], "by": "step"}]),
                "b": supply(output(30, 0.7)),
            },
            {"one": needs(12, 0.5), "two": needs(12, 0.6)},
        ),
        {"one": "b.1", "two": "a.1"},
        "a.1 and a.2 move together; b.1 has more to spare for the lighter input",
    )


def coupled_limits() -> Bench:
    """Two outputs whose current limits move together over unequal ranges are not joined."""
    together = [{"outputs": ["1", "2"], "by": "step", "of": "current_limit"}]
    one, two = output(20, 3, may_join=["series"]), output(20, 2.5, may_join=["series"])
    pair = output(20, 0.7, may_join=["series"])
    return Bench(
        scene(
            {"a": supply(one, two, coupled=together), "b": supply(pair, pair)},
            {"one": needs(30, 0.5)},
        ),
        {"one": "b.1 and b.2 in series"},
        "a.1 and a.2 have more to spare, and each limit that is told may move the other one away",
    )


def coupled_alike() -> Bench:
    """Two outputs of the same range whose current limits move together are told the same limit."""
    together = [{"outputs": ["1", "2"], "by": "step", "of": "current_limit"}]
    pair = output(20, 3, may_join=["series"])
    return Bench(
        scene(
            {"a": supply(pair, pair, coupled=together), "b": supply(pair, pair)},
            {"one": needs(30, 0.5)},
        ),
        {"one": "a.1 and a.2 in series"},
        "a is as good as b, and stands before it",
    )


def point_list() -> Bench:
    """A dip of 10 ms wants a point list with such a dwell."""
    dip = {
        "shape": {
            "input": "main",
            "segments": [{"step_to": "6 V"}, {"hold": "10 ms"}, {"step_to": "12 V"}, {"hold": "100 ms"}],
        }
    }
    return Bench(
        scene(
            {
                "a": supply(output(36, 5), output(36, 5, points={"at_most": 100, "dwell": "20 ms .. 10 s"})),
                "b": supply(output(30, 0.8, points={"at_most": 100, "dwell": "1 ms .. 10 s"})),
            },
            {"main": needs(12, 0.6), "other": needs(12, 0.6)},
            steps=[dip],
        ),
        {"main": "b.1", "other": "a.1"},
        "a.1 has no list, that of a.2 stays 20 ms on a point",
    )


def compensation() -> Bench:
    """5 m of thin lead drop 0.9 V at 1 A; one output makes up for less, the other for more."""
    return Bench(
        scene(
            {"a": supply(output(30, 5, sense={"compensates": "0.3 V"})), "b": supply(output(30, 1.3))},
            {"main": needs(12, 1)},
            leads={"thin": THIN},
            hook_up={"main": {"from": "auto", "sense": "at load"}},
        ),
        {"main": "b.1"},
        "a.1 makes up for 0.3 V, b.1 for 1 V",
    )


def less_drop() -> Bench:
    """The lead is chosen by which the output can make up for its drop."""
    return Bench(
        scene(
            {"a": supply(output(30, 3, sense={"compensates": "0.3 V"}))},
            {"main": needs(12, 1)},
            leads={"thin": THIN, "thick": {**GOOD_LEAD, "one_way_length": "4 m"}},
            hook_up={"main": {"from": "auto", "sense": "at load"}},
        ),
        {"main": "a.1"},
        "only the thick lead drops less than 0.3 V",
    )


def narrow_ovp() -> Bench:
    """An input that withstands 14 V wants an OVP that is known better than to 2 V."""
    coarse = {"level": "1 V .. 33 V", "accuracy": "2 V", "response": "100 us"}
    return Bench(
        scene(
            {"a": supply(output(30, 5, ovp=coarse)), "b": supply(output(30, 0.7))},
            {"main": needs(12, 0.5, withstands=[{"voltage": "14 V"}])},
        ),
        {"main": "b.1"},
        "between 12.4 V and 14 V there is no room for 2 V to either side",
    )


def slow_rise() -> Bench:
    """A rise of 1 V/s: the slew of the stronger output begins at 10 V/s."""
    return Bench(
        scene(
            {"a": supply(output(30, 5, slew="10 V/s .. 1 V/ms")), "b": supply(output(30, 0.7))},
            {"main": needs(12, 0.5)},
            rise="1 V/s",
        ),
        {"main": "b.1"},
        "a.1 cannot rise so slowly",
    )


def low_end() -> Bench:
    """A sweep down to 3 V: the range of the stronger output begins at 5 V."""
    sweep = {"sweep": {"input": "main", "from": "12 V", "to": "3 V", "points": 4, "dwell": "1 s"}}
    return Bench(
        scene(
            {"a": supply(output(30, 5, voltage="5 V .. 30 V")), "b": supply(output(30, 0.7))},
            {"main": needs(12, 0.5)},
            steps=[sweep],
        ),
        {"main": "b.1"},
        "3 V are below the range of a.1",
    )


def written_ovp() -> Bench:
    """An OVP of 18 V: that of the stronger output begins at 22 V."""
    high = {"level": "22 V .. 33 V", "accuracy": "50 mV", "response": "100 us"}
    return Bench(
        scene(
            {"a": supply(output(30, 5, ovp=high)), "b": supply(output(30, 0.7))},
            {"main": needs(12, 0.5)},
            limits={"main": {"ovp": "18 V"}},
        ),
        {"main": "b.1"},
        "18 V cannot be set on a.1",
    )


def least_before_sum() -> Bench:
    """The smallest headroom counts before their sum: 22 % and 30 % are better than 50 % and 20 %."""
    return Bench(
        scene(
            {"a": supply(output(30, 2, 25)), "b": supply(output(30, 1.225, 23.1))},
            {"logic": needs(5, 1), "link": needs(24, 0.8)},
            leads={"lead": {**GOOD_LEAD, "conductor": "AWG 8"}},
        ),
        {"logic": "b.1", "link": "a.1"},
        "on a.1 logic has 100 % of current, but link on b.1 20 % of power; the other way round 22 % and 30 %",
    )


def isolation() -> Bench:
    """60 V of reach on a supply that is isolated up to 50 V."""
    return Bench(
        scene(
            {
                "a": supply(output(30, 2, **JOINS), output(30, 2, **JOINS), isolation="50 V"),
                "b": supply(output(30, 0.7, **JOINS), output(30, 0.7, **JOINS)),
            },
            {"high": needs(48, 0.5)},
        ),
        {"high": "b.1 and b.2 in series"},
        "the outputs of a in series reach 60 V",
    )


def weakest_first() -> Bench:
    """Who takes the best for the first input leaves little for the second."""
    return Bench(
        scene(
            {"a": supply(output(30, 3)), "b": supply(output(30, 1.2))},
            {"first": needs(12, 0.9), "second": needs(12, 1.0)},
        ),
        {"first": "b.1", "second": "a.1"},
        "the smallest headroom is 33 % like this, and 20 % the other way round",
    )


def touch() -> Bench:
    """In a wet place 35 V may be touched: an output of 32 V is as good as one of 36 V, but not cautioned."""
    return Bench(
        scene(
            {"a": supply(output(36, 3)), "b": supply(output(32, 3))},
            {"main": needs(12, 0.5)},
            location="wet",
        ),
        {"main": "b.1"},
        "headroom is full on both; one of them is cautioned of",
    )


def finest_reading() -> Bench:
    """Both outputs have headroom to spare; the smaller one reads 20 mA better."""
    fine = {
        "voltage": {"of_value": "0.05 %", "offset": "5 mV"},
        "current": {"of_value": "0.1 %", "offset": "0.05 mA"},
        "update": "10 ms",
    }
    return Bench(
        scene(
            {"a": supply(output(32, 3)), "b": supply(output(32, 1, reading=fine))},
            {"sensor": needs(24, 0.02), "main": needs(12, 0.5)},
        ),
        {"sensor": "b.1", "main": "a.1"},
        "2 mA of error are a tenth of 20 mA",
    )


def beside_written() -> Bench:
    """One input is hooked up by hand on the output that would have been the best."""
    return Bench(
        scene(
            {"a": supply(output(30, 5), output(30, 1))},
            {"main": needs(12, 0.5), "other": needs(12, 0.6)},
            hook_up={"main": {"from": "a.1", "lead": "lead", "sense": "at terminals"}, "other": "auto"},
        ),
        {"other": "a.2"},
        "a.1 is taken",
    )


def written_protection() -> Bench:
    """An over-power level and a trip delay that only one output can be set to."""
    return Bench(
        scene(
            {
                "a": supply(
                    output(30, 5), output(30, 5, opp={"level": "1 W .. 150 W"}, trip_delay="1 s .. 5 s")
                ),
                "b": supply(output(30, 1, opp={"level": "1 W .. 30 W"})),
            },
            {"main": needs(12, 0.5)},
            at_limit="trip",
            limits={"main": {"opp": "20 W", "trip_delay": "50 ms"}},
        ),
        {"main": "b.1"},
        "a.1 has no over-power protection; the shortest trip delay of a.2 is 1 s",
    )


def lead_current() -> Bench:
    """The lead that is nearest in resistance does not bear the current limit."""
    weak = {**GOOD_LEAD, "permitted_current": "2 A", "conductor": "AWG 10"}
    return Bench(
        scene({"a": supply(output(30, 5))}, {"main": needs(12, 2)}, leads={"weak": weak, "lead": GOOD_LEAD}),
        {"main": "a.1"},
        "'weak' bears 2 A, and the limit has to let 2.2 A through",
    )


BENCHES = (
    voltage_range,
    sensed_drop,
    current,
    power_envelope,
    series,
    parallel,
    parallel_that_trips,
    earthed,
    joined_negatives,
    joined_in_series,
    negative_rail,
    coupled,
    coupled_limits,
    coupled_alike,
    point_list,
    compensation,
    less_drop,
    narrow_ovp,
    slow_rise,
    low_end,
    written_ovp,
    least_before_sum,
    isolation,
    weakest_first,
    touch,
    finest_reading,
    beside_written,
    written_protection,
    lead_current,
)
