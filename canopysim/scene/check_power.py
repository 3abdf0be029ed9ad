"""Checks of watts and hours: drivers, what physics allows, voltages, the lights' day."""

from collections.abc import Iterator
from itertools import combinations, pairwise

from canopysim.light.efficacy import EfficacyBound, efficacy_bound, full_ppf
from canopysim.scene.check_channels import check_channel_power, check_period_outputs
from canopysim.scene.document import EntryPath
from canopysim.scene.draft import Draft, Problem
from canopysim.scene.messages import instead
from canopysim.scene.schema_channel import ChannelLoad
from canopysim.scene.schema_electricity import Electricity, Period
from canopysim.scene.schema_light import Fixture
from canopysim.units import shown
from canopysim.units_power import DAY_S, format_clock, format_power, format_voltages

# Two entries of a data sheet that differ by rounding say the same.
AGREE = 0.001
# A PPE of two digits, such as 2.5, is rounded by 2 % at most.
CLAIM_AGREES = 0.025
# A light for one voltage bears what mains are allowed to vary by.
MAINS_TOLERANCE = 0.1


def check_fixture_power(
    draft: Draft, path: EntryPath, fixture: Fixture, light_is_sound: bool
) -> Iterator[Problem]:
    """Check what a fixture states of its watts against each other and against its photons.

    Parameters
    ----------
    draft : Draft
        What is sound of the scene.
    path : tuple of str and int
        The fixture.
    fixture : Fixture
        Of sound values.
    light_is_sound : bool
        Whether its photon flux and spectrum may be relied on.
    """
    wrong = list(_check_driver(path, fixture))
    if light_is_sound and not wrong:
        wrong += check_channel_power(draft, path, fixture)
        for name, load in fixture.channel_loads.items():
            wrong += _check_driver((*path, "channels", name), load)
    yield from wrong
    yield from _check_standby(draft, path, fixture)
    yield from _check_inrush(draft, path, fixture)
    if not wrong and light_is_sound and draft.sound("bands"):
        yield from _check_claim(draft, path, fixture)
    if not wrong and light_is_sound and draft.sound("bands"):
        yield from _check_efficacy(draft, path, fixture)


def _check_driver(path: EntryPath, drawn: Fixture | ChannelLoad) -> Iterator[Problem]:
    """Check that the curve knows full output, and that more light never takes less power."""
    if drawn.driver is None:
        return
    at: EntryPath = (*path, "driver")
    last = drawn.driver.points[-1]
    full = drawn.full_power
    if full is None:
        yield (
            at,
            "does not say what the light draws at full output; write 'input_power', or a point "
            "for 100 % in W",
        )
        return
    for point, watts in drawn.watts():
        if point.output == 1 and abs(watts - full) > AGREE * full:
            yield (
                (*at, point.key),
                f"{format_power(watts)} at full output is not the input_power of "
                f"{format_power(full)}; write the same, or leave one of them out",
            )
        elif last.output < 1 and watts > full * (1 + AGREE):
            yield (
                (*at, point.key),
                f"{format_power(watts)} is more than the {format_power(full)} of full output; less "
                "light cannot take more power",
            )
    for (before, lower), (point, watts) in pairwise(drawn.watts()):
        if watts < lower:
            yield (
                (*at, point.key),
                f"{format_power(watts)} is less than the {format_power(lower)} at "
                f"{before.key.strip()}; more light cannot take less power",
            )


def _check_standby(draft: Draft, path: EntryPath, fixture: Fixture) -> Iterator[Problem]:
    curves = [fixture.power_curve, *(load.power_curve for load in fixture.channel_loads.values())]
    least = min((watts for curve in curves for _, watts in curve), default=None)
    if fixture.standby is not None and least is not None and fixture.standby >= least:
        text = draft.written((*path, "standby"), fixture.standby, format_power)
        yield (
            (*path, "standby"),
            f"{text} is not less than the {format_power(least)} that the light draws while it "
            "shines; look both up again",
        )


def _check_inrush(draft: Draft, path: EntryPath, fixture: Fixture) -> Iterator[Problem]:
    """Refuse an inrush below the current that the light draws on its highest voltage for good."""
    full = fixture.full_power
    if fixture.inrush is None or fixture.supply is None or full is None:
        return
    running = full / (fixture.supply[1] * (fixture.power_factor or 1.0))
    if fixture.inrush < running:
        text = draft.written((*path, "inrush"), fixture.inrush, lambda a: f"{a:g} A")
        yield (
            (*path, "inrush"),
            f"{text} in the moment of switching on is less than the {running:.3g} A that "
            f"{format_power(full)} draw for good at {fixture.supply[1]:g} V; look both up again",
        )


def _check_claim(draft: Draft, path: EntryPath, fixture: Fixture) -> Iterator[Problem]:
    """Hold the efficacy that a data sheet claims against its photons and watts."""
    full = fixture.full_power
    if fixture.ppe is None:
        return
    text = draft.written((*path, "ppe"), fixture.ppe, lambda value: f"{value:.4g} umol/J")
    if full is None:
        yield (
            (*path, "ppe"),
            "says nothing without watts; write 'input_power', or leave it out",
        )
        return
    ppf = full_ppf(fixture, draft.scene.bands)
    if abs(ppf / full - fixture.ppe) > CLAIM_AGREES * fixture.ppe:
        yield (
            (*path, "ppe"),
            f"{text} is not {ppf:.4g} umol/s of 400-700 nm over {format_power(full)}, which makes "
            f"{ppf / full:.3g} umol/J; one of the three is wrong, look them up again",
        )


def _check_efficacy(draft: Draft, path: EntryPath, fixture: Fixture) -> Iterator[Problem]:
    """Refuse more photons per joule than there is energy for, also in single channels."""
    edges = draft.scene.bands
    bound = efficacy_bound(fixture, edges)
    wrong = False
    for name, load in fixture.channel_loads.items():
        at = (*path, "channels", name)
        claims = [((*at, "driver", p.key), p.output, watts) for p, watts in load.watts()]
        if load.full_power is not None and fixture.channels[name].input_power is not None:
            claims.append(((*at, "input_power"), 1.0, load.full_power))
        for problem in _beyond(claims, efficacy_bound(fixture, edges, name)):
            wrong = True
            yield problem
    if not wrong:
        claims = [((*path, "driver", p.key), p.output, watts) for p, watts in fixture.watts()]
        if fixture.input_power is not None:
            claims.append(((*path, "input_power"), 1.0, fixture.input_power))
        yield from _beyond(claims, bound)


def _beyond(
    claims: list[tuple[EntryPath, float, float]], bound: EfficacyBound
) -> Iterator[Problem]:
    """Refuse claims (place, output, W) that are less than what their photons carry."""
    for at, output, watts in claims:
        if watts >= output * bound.least_w:
            continue
        ppf = output * bound.ppf_umol_s
        if ppf > 0:
            yield (
                at,
                f"{format_power(watts)} for {ppf:.4g} umol/s of 400-700 nm makes "
                f"{ppf / watts:.2f} umol/J; this spectrum allows {bound.utmost:.2f} umol/J at "
                "most, with every watt leaving as light; look both up again",
            )
        else:
            yield (
                at,
                f"{format_power(watts)} is less than the {format_power(output * bound.least_w)} "
                "that the photons of this spectrum carry; look both up again",
            )


def check_electricity(draft: Draft) -> Iterator[Problem]:
    """Check the circuit against the lights, and the hours of the day."""
    electricity = draft.scene.electricity
    if electricity is None:
        return
    if electricity.circuit is not None and electricity.supply is None:
        yield (
            ("electricity", "circuit"),
            "needs the voltage beside it; write 'supply', as in 'supply: 230 V'",
        )
    if electricity.photoperiod is not None and electricity.schedule:
        yield (
            ("electricity", "schedule"),
            "stands beside 'photoperiod'; write one of the two",
        )
    if electricity.supply is not None:
        yield from _check_voltages(draft, electricity.supply)
    yield from _check_schedule(draft, electricity)


def _check_voltages(draft: Draft, supply: float) -> Iterator[Problem]:
    """Refuse a light on a voltage that it is not made for."""
    fed = dict.fromkeys(light.fixture for light in draft.scene.lights)
    for name in fed:
        fixture = draft.scene.fixtures.get(name)
        if fixture is None or fixture.supply is None:
            continue
        low, high = fixture.supply
        slack = MAINS_TOLERANCE if low == high else 0.0
        if not low * (1 - slack) <= supply <= high * (1 + slack):
            text = draft.written(
                ("electricity", "supply"), supply, lambda volts: format_voltages(volts, volts)
            )
            yield (
                ("electricity", "supply"),
                f"{text} is not what the fixture {shown(name)} runs on; it states "
                f"{format_voltages(low, high)}",
            )


def _check_schedule(draft: Draft, electricity: Electricity) -> Iterator[Problem]:
    if not draft.sound("lights", "daylight"):
        return
    whole = not draft.document.has(("lights", len(draft.scene.lights)))
    groups = tuple(dict.fromkeys(light.group for light in draft.scene.lights))
    sun = {light.group for light in draft.scene.daylight}
    for number, period in enumerate(electricity.schedule):
        at: EntryPath = ("electricity", "schedule", number, "group")
        if period.group in groups or period.group is None:
            if whole:
                yield from check_period_outputs(draft, at[:-1], period)
            continue
        if period.group in sun:
            yield at, f"{shown(period.group)} is daylight; only lights can be switched"
        elif whole:
            options = instead(period.group, groups, "there are no lights")
            yield at, f"{shown(period.group)} is no group of lights; {options}"
    yield from _check_overlaps(electricity.schedule)


def _check_overlaps(schedule: tuple[Period, ...]) -> Iterator[Problem]:
    """Refuse two outputs for a group at one time."""
    for (first, one), (second, other) in combinations(enumerate(schedule), 2):
        if one.group is not None and other.group is not None and one.group != other.group:
            continue
        shared = [
            (max(a, c), min(b, d))
            for a, b in _stretches(one)
            for c, d in _stretches(other)
            if max(a, c) < min(b, d)
        ]
        if shared:
            start, end = shared[0]
            named = one.group or other.group
            whose = f"the lights of {shown(named)}" if named else "the lights"
            yield (
                ("electricity", "schedule", second, "hours"),
                f"from {format_clock(start)} to {format_clock(end)} {whose} have another output "
                f"already, in schedule[{first + 1}]; let the hours follow each other",
            )


def _stretches(period: Period) -> list[tuple[float, float]]:
    """Hours of a period within one day, s after midnight; two stretches over midnight."""
    start, end = period.hours
    return [(start, end)] if start < end else [(start, DAY_S), (0.0, end)]
