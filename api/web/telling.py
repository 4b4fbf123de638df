"""How values, limits, times and places are said on a page, in one language, at one moment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from api.measures import measure_in, measure_of_raw, measure_of_sum_in
from rules.local_time import to_local
from rules.model.alarm import Priority
from rules.model.dose import DoseLimit
from rules.model.plan import Side
from rules.model.quantities import Felt
from rules.reserve import MOST_HOURS

if TYPE_CHECKING:
    from datetime import date

    from api.measures import Measure
    from api.web.words.en import English
    from rules.model.batch import Batch
    from rules.model.dose import DoseKind
    from rules.model.event import Standing
    from rules.model.place import Channel
    from rules.model.plan import CarePlan, Limit
    from rules.model.site import Site

BLIND = "blind."
FEW_HOURS = 10.0
SOON_S = 900


@dataclass(frozen=True, slots=True)
class Telling:
    """Says things in `words` as they are at `now`, an aware instant; temperatures in °C or °F."""

    words: English
    site: Site
    now: datetime
    fahrenheit: bool

    def time(self, at: datetime) -> str:
        """Return the local time of day; not today: with the weekday; days away: with the date."""
        local = to_local(at, self.site.site)
        away = abs((to_local(self.now, self.site.site).date() - local.date()).days)
        if away == 0:
            return self.clock(at)
        if away < 6:
            return f"{self.words.days[local.weekday()]} {self.clock(at)}"
        return f"{self.day(local.date())} {self.clock(at)}"

    def clock(self, at: datetime) -> str:
        """Return the local time of day alone, for where the day is plain."""
        return f"{to_local(at, self.site.site):%H:%M}"

    def own_clock(self) -> str:
        """Say by which clock all times are told: the site's zone, and how far it is from UTC."""
        local = to_local(self.now, self.site.site)
        hours, minutes = f"{local:%z}"[:3], f"{local:%z}"[3:5]
        away = f"{hours[0]}{int(hours[1:])}{'' if minutes == '00' else f':{minutes}'}"
        zone = self.site.site.time_zone.replace("_", " ")
        # Etc/GMT-11 is eleven hours *ahead*: its name would say the contrary of what it is.
        named = f"UTC{away}" if zone.startswith("Etc/") else f"{zone} (UTC{away})"
        return self.words.own_clock(named)

    def day(self, on: date) -> str:
        """Return a date as "Sat 14 November", with the year when it is not this one."""
        words = self.words
        text = f"{words.days[on.weekday()]} {on.day} {words.months[on.month - 1]}"
        this_year = to_local(self.now, self.site.site).year
        return text if on.year == this_year else f"{text} {on.year}"

    def soon(self, minute: int) -> str:
        """Return when a cell to come begins; "" for now, which is the next quarter of an hour."""
        if minute * 60 - self.now.timestamp() < SOON_S:
            return ""
        return self.time(datetime.fromtimestamp(minute * 60, UTC))

    def age_s(self, at: datetime) -> int:
        """Return how many whole seconds ago an instant was; 0 for one to come."""
        return max(0, int((self.now - at).total_seconds()))

    def ago(self, at: datetime) -> str:
        """Return how long ago an instant was, in words."""
        return self.words.ago(self.age_s(at))

    def minutes_ago(self, minutes: int) -> str:
        """Return an age that is only known in whole minutes."""
        return self.words.ago(minutes * 60) if minutes > 0 else self.words.this_minute

    def since(self, at: datetime) -> str:
        """Say since when, and how long that is."""
        return self.words.since(self.time(at), self.words.lasting(self.age_s(at)))

    def number(self, felt: Felt, value: float) -> str:
        """Return a value without its unit; the last hours of water are told in tenths."""
        measure = self.measure(felt)
        few = felt is Felt.HOURS_TO_CRITICAL and 0.0 < value < FEW_HOURS
        return self.words.number(measure.of(value), 1 if few else measure.places)

    def value(self, felt: Felt, value: float) -> str:
        """Return a value with its unit, kept on one line; hours without end as such."""
        if felt is Felt.HOURS_TO_CRITICAL and value >= MOST_HOURS:
            return self.words.no_end
        return f"{self.number(felt, value)}\N{NO-BREAK SPACE}{self.unit(felt)}"

    def apart(self, felt: Felt, distance: float) -> str:
        """Return how far two values are apart, with the unit: rates, spreads, ways back."""
        measure = self.measure(felt).apart()
        number = self.words.number(measure.of(distance), measure.places)
        return f"{number}\N{NO-BREAK SPACE}{measure.unit}"

    def raw(self, channel: Channel, value: float) -> str:
        """Return what a channel said, before any calibration, with its unit."""
        measure = measure_of_raw(channel.quantity, channel.unit, fahrenheit=self.fahrenheit)
        number = self.words.number(measure.of(value), measure.places)
        return f"{number.rstrip('0').rstrip('.,')}\N{NO-BREAK SPACE}{measure.unit}"

    def measure(self, felt: Felt) -> Measure:
        """Return how a quantity is written for this reader."""
        return measure_in(felt, fahrenheit=self.fahrenheit)

    def measure_of_sum(self, kind: DoseKind) -> Measure:
        """Return how a sum is written for this reader."""
        return measure_of_sum_in(kind, fahrenheit=self.fahrenheit)

    def places(self, value: float) -> int:
        """Return how many decimals a figure has that someone wrote, eight at most."""
        return len(f"{round(value, 8):.8f}".rstrip("0").partition(".")[2])

    def written(self, felt: Felt, value: float) -> str:
        """Return a figure that someone wrote, with its unit: never rounded as a reading is."""
        return self._as_written(self.measure(felt), value)

    def written_apart(self, felt: Felt, distance: float) -> str:
        """Return how far two values are apart, as someone wrote it."""
        return self._as_written(self.measure(felt).apart(), distance)

    def written_total(self, dose: DoseLimit) -> str:
        """Return the bound of a sum with its unit, as it was written."""
        return self._as_written(self.measure_of_sum(dose.kind), dose.bound)

    def _as_written(self, measure: Measure, value: float) -> str:
        read = measure.of(value)
        number = self.words.number(read, max(measure.places, self.places(read)))
        return f"{number}\N{NO-BREAK SPACE}{measure.unit}"

    def unit(self, felt: Felt) -> str:
        """Return the unit in which a value is told."""
        return self.measure(felt).unit

    def band(self, felt: Felt, low: float, high: float) -> str:
        """Return the ends of a band: "66 to 81 %"."""
        return self.words.band(self.number(felt, low), self.value(felt, high))

    def total(self, kind: DoseKind, value: float) -> str:
        """Return a sum with its unit, kept on one line."""
        measure = self.measure_of_sum(kind)
        number = self.words.number(measure.of(value), measure.places)
        return f"{number}\N{NO-BREAK SPACE}{measure.unit}"

    def summed(self, dose: DoseLimit) -> str:
        """Return what a dose adds up: "air temperature above 32.0 °C"."""
        beyond = ""
        if dose.threshold is not None:
            side = self.words.base_side[dose.beyond or Side.HIGH]
            beyond = f"{side} {self.written(dose.quantity, dose.threshold)}"
        felt = self.words.felt[dose.quantity]
        return self.words.summed[dose.kind].format(felt=felt, beyond=beyond)

    def need(self, asked: Limit | DoseLimit) -> str:
        """Return what a limit or dose asks for: "at most 0.60 kPa by day"."""
        words = self.words
        if isinstance(asked, DoseLimit):
            bound = f"{self.written_total(asked)} {words.per[asked.per]}"
            held = words.when[asked.when]
        else:
            bound = self.written(asked.quantity, asked.bound)
            held = words.when[asked.when]
            if asked.film is not None:
                held = f"{held} {words.film[asked.film]}".strip()
        need = f"{words.side[asked.side]} {bound}"
        return f"{need} {held}" if held else need

    def says(self, asked: Limit | DoseLimit) -> str:
        """Return what is wrong when the limit or dose is broken."""
        return asked.says.in_language(self.words.code)

    def action(self, asked: Limit | DoseLimit) -> str:
        """Return what to do when the limit or dose is broken."""
        return asked.action.in_language(self.words.code)

    def person(self, person_id: str) -> str:
        """Return a person's name; the id itself for someone who has left the site file."""
        return next((p.name for p in self.site.person if p.id == person_id), person_id)

    def bench(self, bench_id: str) -> str:
        """Return a bench's title."""
        return next((b.title for b in self.site.bench if b.id == bench_id), bench_id)

    def house(self, house_id: str) -> str:
        """Return a house's title."""
        return next((h.title for h in self.site.house if h.id == house_id), house_id)

    def kind(self, batch: Batch) -> str:
        """Return what a batch is and how it stands: "mango early yellow, under a tied bag"."""
        covered = batch.covered_at(self.now)
        held = self.words.cover[batch.cover] if covered else self.words.wrap[batch.wrap]
        name = f"{batch.species} {batch.cultivar}"
        return f"{name}, {held}" if held else name

    def standing(self, standing: Standing | None) -> str:
        """Return the word for a standing."""
        return self.words.standing[standing]


def asked_of(
    plan: CarePlan | None, batch: Batch | None, condition: str, at: datetime
) -> Limit | DoseLimit | None:
    """Return the limit or dose limit an alarm of a batch speaks of.

    That of the stage in force at the aware instant, else of any stage; None for a blind condition,
    and for one that has gone from the plan.
    """
    if plan is None or batch is None:
        return None
    stage = batch.stage_at(at)
    in_order = [plan.stage[stage]] if stage in plan.stage and stage is not None else []
    for stage_plan in [*in_order, *plan.stage.values()]:
        known: tuple[Limit | DoseLimit, ...] = (*stage_plan.limit, *stage_plan.dose)
        for asked in known:
            if asked.id == condition:
                return asked
    return None


def blind_felt(condition: str) -> Felt | None:
    """Return the quantity that a condition says can't be seen; None for a limit's.

    >>> blind_felt("blind.leaf_temperature")
    <Felt.LEAF_TEMPERATURE: 'leaf_temperature'>
    """
    return Felt(condition.removeprefix(BLIND)) if condition.startswith(BLIND) else None


def grave(priority: Priority) -> bool:
    """Return whether a limit of this priority means danger."""
    return priority is Priority.HIGH
