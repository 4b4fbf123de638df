"""Every text of the pages in English. Another language is another file with the same names.

One file because whoever translates works through it from top to bottom.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from rules.doubt import QualityTest
from rules.model.alarm import AlarmState, Priority
from rules.model.batch import Cover, GraftMethod, Seen, Stage, Wrap
from rules.model.event import Standing
from rules.model.plan import Side, When
from rules.model.quantities import Felt, Quantity

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

DECIMALS: Mapping[Felt, int] = {
    Felt.AIR_TEMPERATURE: 1,
    Felt.RELATIVE_HUMIDITY: 0,
    Felt.VAPOUR_PRESSURE_DEFICIT: 2,
    Felt.PPFD: 0,
    Felt.LEAF_TEMPERATURE: 1,
    Felt.AIR_SPEED: 1,
    Felt.SUBSTRATE_MOISTURE: 0,
    Felt.LEAF_DEFICIT: 2,
    Felt.RESERVE: 0,
    Felt.HOURS_TO_CRITICAL: 0,
    Felt.EXPECTED_PEAK: 1,
}


class English:
    """The pages' words. Plain texts are attributes; sentences with something in them, methods."""

    code: ClassVar[str] = "en"
    own_name: ClassVar[str] = "English"

    now: ClassVar[str] = "Now"
    alarms: ClassVar[str] = "Alarms"
    sensors: ClassVar[str] = "Sensors"
    staff: ClassVar[str] = "Staff"
    skip_to_content: ClassVar[str] = "Skip to the answer"
    pages: ClassVar[str] = "Pages"
    how_it_looks: ClassVar[str] = "How it looks"
    language: ClassVar[str] = "Language"
    view_names: ClassVar[Mapping[str, str]] = {
        "auto": "By the sun",
        "paper": "Paper",
        "night": "Night",
    }
    lost_touch: ClassVar[str] = "This page has lost touch since {time}. What you see is old."
    reload: ClassVar[str] = "Load again"
    footer: ClassVar[str] = (
        "Before you go: at night, let someone know where you are. A closed house is hot by day; "
        "drink, and don't stay alone. Keep wet hands off mains power. Local rules and licensed "
        "trades come first."
    )

    needs_someone: ClassVar[str] = "Needs someone"
    the_rest: ClassVar[str] = "The rest, by bench"
    on_duty: ClassVar[str] = "On duty"
    nobody_on_duty: ClassVar[str] = "Nobody is on duty. Messages go to {lead}."
    do: ClassVar[str] = "Do"
    also: ClassVar[str] = "Also"
    acknowledge: ClassVar[str] = "Acknowledge"
    acknowledge_as: ClassVar[str] = "Who are you?"
    acknowledge_hint: ClassVar[str] = "Says that you have seen it and are on it."
    no_ribbon_yet: ClassVar[str] = "nothing judged yet"
    ribbon_how: ClassVar[str] = (
        "Each band runs from noon to noon; shaded hours are dark. Full height: comfortable. At the "
        "line: on a limit. Below it: beyond. An empty gap with dotted ends: nobody could see. The "
        "faint line is the day before."
    )
    how_to_read: ClassVar[str] = "How to read the bands"
    next_step: ClassVar[str] = "Next step"
    also_due: ClassVar[str] = "Due by today"
    tonight: ClassVar[str] = "Tonight"
    see_day: ClassVar[str] = "Noon to noon"
    night_before: ClassVar[str] = "the day before"
    day_after: ClassVar[str] = "the day after"
    today: ClassVar[str] = "today"
    needs_versus_is: ClassVar[str] = "What it needs, and how it is"
    col_limit: ClassVar[str] = "needs"
    col_now: ClassVar[str] = "now"
    col_worst: ClassVar[str] = "last night's worst"
    col_age: ClassVar[str] = "last read"
    col_quantity: ClassVar[str] = "what"
    not_judged_now: ClassVar[str] = "not at this hour"
    not_at_night: ClassVar[str] = "not at night"
    this_minute: ClassVar[str] = "read this minute"
    not_seen: ClassVar[str] = "not seen"
    no_reading: ClassVar[str] = "no reading"
    observations: ClassVar[str] = "What people saw and did"
    no_observations: ClassVar[str] = "Nothing written down yet."
    no_alarms_batch: ClassVar[str] = "No alarm has been raised for this batch."
    batch_alarms: ClassVar[str] = "Alarms"
    stage: ClassVar[str] = "Stage"
    grafted: ClassVar[str] = "Grafted"
    plants: ClassVar[str] = "Plants"
    plan: ClassVar[str] = "Care plan"
    house_rules: ClassVar[str] = "Where the figures come from"
    unwatched_stage: ClassVar[str] = (
        "The care plan has no limits for this stage: nobody watches it."
    )
    history: ClassVar[str] = "What came of it"
    messages: ClassVar[str] = "Who was told"
    no_messages: ClassVar[str] = "No message has been written for this alarm."
    standing_ones: ClassVar[str] = "Standing now"
    past_ones: ClassVar[str] = "Over"
    none_standing: ClassVar[str] = "None."
    none_past: ClassVar[str] = "None yet."
    speaks_for: ClassVar[str] = "speaks for"
    speaks_for_nothing: ClassVar[str] = "speaks for nothing now"
    open_sky: ClassVar[str] = "the open sky"
    never_heard: ClassVar[str] = "never heard"
    calibration_over: ClassVar[str] = "out of calibration"
    never_spoke: ClassVar[str] = "It has never been heard here."
    doubts: ClassVar[Mapping[QualityTest, str]] = {
        QualityTest.RANGE: "what it says lies outside what can be",
        QualityTest.SPIKE: "it leapt, and waits until a second reading agrees",
        QualityTest.STEP: "it moved faster than is usual",
        QualityTest.STUCK: "it has said the same for hours, or sees no light in the sun",
        QualityTest.SATURATION: "it says 100 % through a cool and a warm hour",
        QualityTest.CROSS_SENSOR: "its neighbours say otherwise",
        QualityTest.CLOCK: "it sees light in the depth of night: its clock is off, or a lamp burns",
    }
    refused: ClassVar[str] = "Refused on arrival"
    nothing_refused: ClassVar[str] = "Nothing has been refused."
    refused_why: ClassVar[str] = (
        "These came in and were not kept as readings. Each line says why, and what puts it right."
    )
    unknown_topics: ClassVar[str] = "Heard on topics that no sensor in the site file has"
    not_found_title: ClassVar[str] = "There is no such page."
    not_found_hint: ClassVar[str] = "It may have been renamed. Start again from Now."
    went_wrong_title: ClassVar[str] = "Something went wrong here."
    went_wrong_hint: ClassVar[str] = (
        "The watch runs on its own and is not touched by this page. The log says more."
    )
    refused_title: ClassVar[str] = "This was not done."
    alarm_over: ClassVar[str] = "It is over; nothing needs doing for it now."
    look_at_plants: ClassVar[str] = "Look at the plants, then at the sensor: power, cable, signal."
    already_answered: ClassVar[str] = "Someone else has answered, or it is over."
    unknown_person: ClassVar[str] = "Nobody of the site has this name. Choose one from the list."

    standing: ClassVar[Mapping[Standing | None, str]] = {
        Standing.STEADY: "steady",
        Standing.DRIFTING: "drifting",
        Standing.STRAINED: "strained",
        Standing.IN_DANGER: "in danger",
        Standing.BLIND: "blind",
        None: "not watched",
    }
    felt: ClassVar[Mapping[Felt, str]] = {
        Felt.AIR_TEMPERATURE: "air temperature",
        Felt.RELATIVE_HUMIDITY: "humidity",
        Felt.VAPOUR_PRESSURE_DEFICIT: "dryness of the air",
        Felt.PPFD: "light",
        Felt.LEAF_TEMPERATURE: "leaf temperature",
        Felt.AIR_SPEED: "wind at the plant",
        Felt.SUBSTRATE_MOISTURE: "water in the pot",
        Felt.LEAF_DEFICIT: "dryness at the leaf",
        Felt.RESERVE: "moisture reserve",
        Felt.HOURS_TO_CRITICAL: "hours of water left",
        Felt.EXPECTED_PEAK: "hottest to expect",
    }
    quantity: ClassVar[Mapping[Quantity, str]] = {
        Quantity.AIR_TEMPERATURE: "air temperature",
        Quantity.RELATIVE_HUMIDITY: "humidity",
        Quantity.PPFD: "light",
        Quantity.ILLUMINANCE: "light",
        Quantity.IRRADIANCE: "light",
        Quantity.LEAF_TEMPERATURE: "leaf temperature",
        Quantity.AIR_SPEED: "wind",
        Quantity.SUBSTRATE_MOISTURE: "water in the pot",
        Quantity.BATTERY: "battery",
    }
    cover: ClassVar[Mapping[Cover, str]] = {
        Cover.TIED_BAG: "under a tied bag",
        Cover.TENT: "in a tent",
        Cover.NONE: "",
    }
    wrap: ClassVar[Mapping[Wrap, str]] = {
        Wrap.STRETCH_FILM: "in stretch film",
        Wrap.TAPE: "in tape",
        Wrap.NONE: "",
    }
    stage_names: ClassVar[Mapping[Stage | None, str]] = {
        Stage.HEALING: "healing",
        Stage.NEW_GROWTH: "new growth",
        Stage.EASING: "easing",
        Stage.HARDENING: "hardening",
        Stage.RELEASED: "released",
        Stage.CLOSED: "closed",
        Stage.FAILED: "failed",
        None: "not begun",
    }
    method: ClassVar[Mapping[GraftMethod, str]] = {
        GraftMethod.CLEFT: "cleft graft",
        GraftMethod.SIDE_VENEER: "side veneer",
        GraftMethod.WHIP_AND_TONGUE: "whip and tongue",
        GraftMethod.CHIP_BUD: "chip bud",
        GraftMethod.APPROACH: "approach graft",
        GraftMethod.TOP_WORKING: "top-worked",
    }
    seen: ClassVar[Mapping[Seen, str]] = {
        Seen.GRAFTED: "grafted",
        Seen.NEW_GROWTH: "new growth",
        Seen.DROOP: "droop",
        Seen.MOULD: "mould",
        Seen.CONDENSATION: "condensation inside",
        Seen.BAG_DRY: "bag dry inside",
        Seen.FILM_SPLIT: "film split",
        Seen.REWRAPPED: "wrapped again",
        Seen.WATERED: "watered",
        Seen.COVER_OPENED: "cover opened",
        Seen.COVER_CLOSED: "cover closed",
        Seen.COVER_OFF: "cover taken off",
        Seen.LIGHT_RAISED: "shade lessened",
        Seen.LIGHT_LOWERED: "shade put back",
        Seen.FULL_SUN: "moved to full sun",
        Seen.FILM_OFF: "film or tape taken off",
        Seen.STOCK_CUT: "rootstock top cut back",
        Seen.SEVERED: "cut from its own roots",
        Seen.CHECKED: "checked",
        Seen.MOVED: "moved",
        Seen.COUNTED: "counted",
        Seen.NOTED: "noted",
    }
    priority: ClassVar[Mapping[Priority, str]] = {
        Priority.HIGH: "go now",
        Priority.MEDIUM: "within hours",
        Priority.LOW: "when next at the bench",
    }
    state: ClassVar[Mapping[AlarmState, str]] = {
        AlarmState.NORMAL: "over",
        AlarmState.UNACKNOWLEDGED: "nobody has answered",
        AlarmState.ACKNOWLEDGED: "someone is on it",
        AlarmState.RETURNED_UNACKNOWLEDGED: "came right by itself; nobody answered",
        AlarmState.SHELVED: "set aside for a time",
        AlarmState.SUPPRESSED_BY_DESIGN: "held back on purpose",
        AlarmState.OUT_OF_SERVICE: "out of service",
    }
    side: ClassVar[Mapping[Side, str]] = {Side.LOW: "at least", Side.HIGH: "at most"}
    when: ClassVar[Mapping[When, str]] = {
        When.ALWAYS: "",
        When.DAY: "by day",
        When.NIGHT: "at night",
    }
    days: ClassVar[Sequence[str]] = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    months: ClassVar[Sequence[str]] = (
        *("January", "February", "March", "April", "May", "June"),
        *("July", "August", "September", "October", "November", "December"),
    )
    noon: ClassVar[str] = "noon"
    midnight: ClassVar[str] = "midnight"
    now_mark: ClassVar[str] = "now"
    count_words: ClassVar[Sequence[str]] = (
        *("none", "one", "two", "three", "four", "five", "six"),
        *("seven", "eight", "nine", "ten", "eleven", "twelve"),
    )

    def number(self, value: float, decimals: int) -> str:
        """Return a number as written in this language; never a minus before a bare zero."""
        text = f"{value:.{decimals}f}"
        return text[1:] if text.startswith("-") and not text.strip("-0.") else text

    def in_words(self, count: int) -> str:
        """Return a small count as a word."""
        return self.count_words[count] if count < len(self.count_words) else str(count)

    def listed(self, items: Sequence[str]) -> str:
        """Join names as in speech."""
        if len(items) < 2:
            return "".join(items)
        return f"{', '.join(items[:-1])} and {items[-1]}"

    def capital(self, sentence: str) -> str:
        """Return the sentence with a capital first letter."""
        return sentence[:1].upper() + sentence[1:]

    def answer(self, counts: Mapping[Standing | None, int]) -> str:
        """Return the sentence that says who needs someone."""
        total = sum(counts.values())
        if total == 0:
            return "No batch is being watched."
        telling: list[tuple[Standing, str, str]] = [
            (Standing.IN_DANGER, "is in danger", "are in danger"),
            (Standing.BLIND, "can't be seen", "can't be seen"),
            (Standing.STRAINED, "is strained", "are strained"),
            (Standing.DRIFTING, "is drifting", "are drifting"),
        ]
        said: list[str] = []
        for standing, one, many in telling:
            count = counts.get(standing, 0)
            if count == 0:
                continue
            if count == total:
                who = "The one batch" if total == 1 else f"All {self.in_words(total)} batches"
            elif said:
                who = self.capital(self.in_words(count))
            else:
                who = f"{self.capital(self.in_words(count))} of {total} batches"
            said.append(f"{who} {one if count == 1 else many}.")
        steady = counts.get(Standing.STEADY, 0)
        unwatched = counts.get(None, 0)
        if not said and steady:
            all_of = "The one batch is" if steady == 1 else f"All {self.in_words(steady)} are"
            said.append(f"Nobody is needed. {all_of} steady.")
        elif steady:
            said.append("The other one is steady." if steady == 1 else "The rest are steady.")
        if unwatched:
            verb = "is" if unwatched == 1 else "are"
            said.append(f"{self.capital(self.in_words(unwatched))} {verb} not watched.")
        return " ".join(said)

    def watch_behind(self, since: str) -> str:
        """Say that the watch has not judged anything for too long."""
        return f"The watch has stood still since {since}. Nothing after that has been judged."

    def nothing_heard(self, since: str) -> str:
        """Say that no sensor has been heard for too long."""
        return f"No sensor has been heard since {since}. Go and look at the plants."

    def nothing_ever_heard(self) -> str:
        """Say that no sensor has ever been heard."""
        return "No sensor has been heard yet."

    def not_judged_yet(self) -> str:
        """Say that the watch has not closed its first minute."""
        return "The watch has not judged a minute yet. Wait a little, or look at the plants."

    def freshness(self, judged_to: str, heard_ago: str) -> str:
        """Say how fresh the page's data is."""
        return f"Judged up to {judged_to}. Last reading {heard_ago}."

    def ago(self, seconds: int) -> str:
        """Return an age in words."""
        return f"{self.lasting(seconds)} ago"

    def lasting(self, seconds: int) -> str:
        """Return a length of time in words."""
        if seconds < 90:
            return f"{max(seconds, 0)} s"
        minutes = seconds // 60
        if minutes < 120:
            return f"{minutes} min"
        hours = minutes // 60
        return f"{hours} h" if hours < 48 else f"{hours // 24} days"

    def since(self, when: str, lasting: str) -> str:
        """Say since when, and how long that is."""
        return f"Since {when} ({lasting})."

    def from_until(self, start: str, end: str) -> str:
        """Say from when until when something lasted."""
        return f"From {start} until {end}."

    def should_be(self, need: str) -> str:
        """Say what a value should be."""
        return f"should be {need}"

    def moving(self, per_hour: float, amount: str) -> str:
        """Say how fast a value moves; `amount` is the size of the change an hour with its unit."""
        return f"{'rising' if per_hour > 0 else 'falling'} {amount} an hour"

    def heading(self, minutes: int) -> str:
        """Say when a limit is met if things go on like this."""
        return f"at this rate beyond the limit in about {self.lasting(minutes * 60)}"

    def heading_unknown(self) -> str:
        """Say that a batch drifts when no limit tells how soon."""
        return "inside its limits, but on its way out"

    def blind_to(self, felts: Sequence[str]) -> str:
        """Say what can't be seen of a batch."""
        return f"we can't see the {self.listed(felts)}"

    def blind_action(self, sensors: Sequence[str]) -> str:
        """Say what to do for a batch that can't be seen."""
        if not sensors:
            return "Look at the plants. No sensor speaks for this batch: put one there."
        return f"Look at the plants, then at {self.listed(sensors)}: power, cable, signal."

    def told(self, who: str, at: str) -> str:
        """Say who was told when."""
        return f"{who} was told ({at})."

    def not_told(self) -> str:
        """Say that no message went out."""
        return "Nobody has been told yet."

    def acknowledged_by(self, who: str, at: str) -> str:
        """Say who has it."""
        return f"{who} is on it ({at})."

    def late_by(self, days: int) -> str:
        """Say how many days late something is, 1 or more."""
        return "one day late" if days == 1 else f"{days} days late"

    def tonight_lowest(self, what: str, at: str, *, value: str, band: tuple[str, str]) -> str:
        """Say the lowest value expected and when; the band is numbers without a unit."""
        return f"lowest {what} expected about {at}: {value} ({band[0]} to {band[1]})"

    def tonight_scored(self, until: str, nights: int, *, error: str, as_now: str) -> str:
        """Say how far ahead was looked, and how such forecasts did on recent nights."""
        return (
            f"Looked ahead until {until}. On {self.in_words(nights)} recent nights such a forecast "
            f"was off by {error}; “stays as now” by {as_now}."
        )

    def nth_day(self, days: int) -> str:
        """Say how long ago the grafting was."""
        return "today" if days == 0 else "1 day ago" if days == 1 else f"{days} days ago"

    def batch_answer(self, standing: str) -> str:
        """Answer the page of one batch when nothing is wrong."""
        return f"it is {standing}."

    def alarms_answer(self, unanswered: int, standing: int) -> str:
        """Answer the page of alarms."""
        if standing == 0:
            return "No alarm stands."
        if unanswered == 0:
            both = (
                "One alarm stands; someone is"
                if standing == 1
                else (f"{self.capital(self.in_words(standing))} alarms stand; someone is")
            )
            return f"{both} on {'it' if standing == 1 else 'each'}."
        verb = "waits" if unanswered == 1 else "wait"
        noun = "alarm" if standing == 1 else "alarms"
        return (
            f"{self.capital(self.in_words(unanswered))} of {standing} {noun} "
            f"{verb} for someone to answer."
        )

    def sensors_answer(self, silent: int, total: int) -> str:
        """Answer the page of sensors."""
        if total == 0:
            return "The site file has no sensors."
        if silent == 0:
            return (
                f"All {self.in_words(total)} sensors speak." if total > 1 else "The sensor speaks."
            )
        if silent == total:
            return "Every sensor is silent."
        verb = "is" if silent == 1 else "are"
        return f"{self.capital(self.in_words(silent))} of {total} sensors {verb} silent."

    def sensors_doubted(self, count: int) -> str:
        """Say how many sensors speak but are not believed in something, 1 or more."""
        verb = "is" if count == 1 else "are"
        return f"{self.capital(self.in_words(count))} {verb} not believed."

    def not_believed(self, why: str) -> str:
        """Say that a channel's last word is held out, and why."""
        return f"not believed: {why}"

    def suspect(self, why: str) -> str:
        """Say that a channel's last word is used but doubted, and why."""
        return f"suspect: {why}"

    def calibrated(self, since: str, until: str) -> str:
        """Say since when a calibration counts, and until when; `until` is empty for no end."""
        return f"calibrated {since}, good until {until}" if until else f"calibrated {since}"

    def out_of_calibration(self, since: str) -> str:
        """Say that the calibration in force has expired, and when."""
        return f"out of calibration since {since}: check it; the old correction still applies"

    def times(self, count: int) -> str:
        """Say how often."""
        return "once" if count == 1 else f"{count} times"

    def refused_count(self, count: int) -> str:
        """Say how many values were refused."""
        return f"{count} refused"

    def change(self, before: str, after: str) -> str:
        """Say how an alarm moved."""
        return f"{before} → {after}" if before else after

    def message_sent(self, who: str, at: str) -> str:
        """Say that a message was accepted for delivery."""
        return f"{who}: sent at {at}"

    def message_owed(self, who: str, since: str) -> str:
        """Say that a message still has to go out."""
        return f"{who}: waiting to go out since {since}"

    def message_failed(self, who: str, attempts: int, why: str) -> str:
        """Say that a message did not get through."""
        tries = "once" if attempts == 1 else f"{attempts} times"
        return f"{who}: tried {tries}, not through: {why}"

    def chart_says(self, what: str, span: str, low: str, high: str, now: str) -> str:
        """Describe a chart in a sentence for those who don't see it."""
        return f"{self.capital(what)}, {span}: from {low} to {high}; last {now}."

    def chart_empty(self, what: str, span: str) -> str:
        """Describe a chart without a value."""
        return f"{self.capital(what)}, {span}: nothing was seen."

    def ribbon_says(self, batch: str, worst: str, blind: str) -> str:
        """Describe a ribbon in a sentence."""
        return f"{batch}, noon to noon: {worst}{f'; blind {blind}' if blind else ''}."

    def ribbon_worst(self, limit: str, at: str, *, beyond: bool) -> str:
        """Say where a ribbon was lowest."""
        return f"{'beyond' if beyond else 'closest to'} “{limit}” at {at}"

    def noon_to_noon(self, first: str, last: str) -> str:
        """Name a day that runs from noon to noon."""
        return f"noon {first} to noon {last}"
