"""Every text of the pages in English. Another language is another file with the same names.

One file because whoever translates works through it from top to bottom.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from api.alerts import caution_words as cautions
from api.measures import in_figures
from collector.meanings import Why
from rules.doubt import QualityTest
from rules.model.alarm import AlarmState, Cue, Priority
from rules.model.batch import Cover, GraftMethod, Seen, Stage, Wrap
from rules.model.dose import DoseKind, Per
from rules.model.event import Standing
from rules.model.plan import FilmState, Side, When
from rules.model.quantities import Felt, Quantity
from rules.model.work import WorkKind

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


class English:
    """The pages' words. Plain texts are attributes; sentences with something in them, methods."""

    code: ClassVar[str] = "en"
    own_name: ClassVar[str] = "English"
    decimal_mark: ClassVar[str] = "."

    now: ClassVar[str] = "Now"
    alarms: ClassVar[str] = "Alarms"
    sensors: ClassVar[str] = "Sensors"
    staff: ClassVar[str] = "Staff"
    sheet_morning: ClassVar[str] = "The night behind"
    sheet_evening: ClassVar[str] = "The night ahead"
    sheet_care: ClassVar[str] = "Take care"
    skip_to_content: ClassVar[str] = "Skip to the answer"
    pages: ClassVar[str] = "Pages"
    how_it_looks: ClassVar[str] = "How it looks"
    temperatures_in: ClassVar[str] = "Temperatures in"
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
    all_cautions: ClassVar[str] = "All cautions"

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
    todo: ClassVar[str] = "To do"
    house_page: ClassVar[str] = "House"
    rings_short: ClassVar[str] = "Rings"
    labels_short: ClassVar[str] = "Labels"
    plans_short: ClassVar[str] = "Care plans"
    replay_short: ClassVar[str] = "Replays"
    settings_short: ClassVar[str] = "Settings"
    more: ClassVar[str] = "More"
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
    col_ever: ClassVar[str] = "worst since grafting"
    not_kept: ClassVar[str] = "not kept so long"
    col_age: ClassVar[str] = "last read"
    col_quantity: ClassVar[str] = "what"
    not_judged_now: ClassVar[str] = "not at this hour"
    not_at_night: ClassVar[str] = "not at night"
    film_holds: ClassVar[str] = "not while the film holds"
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
    rings_link: ClassVar[str] = "How often alarms ring, and which limit cries wolf"
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
    kept_out: ClassVar[str] = (
        "Mend the files: there is a fault in what was written, so the last good state still counts."
    )
    unknown_topics: ClassVar[str] = "Heard, and not in the site file"
    strangers_why: ClassVar[str] = (
        "Each may be a new sensor. Adopt what is yours; keep the rest away from the broker."
    )
    adopt: ClassVar[str] = "Adopt"
    adopted: ClassVar[str] = "Written into the site file. It counts from the next minute."
    not_recognised: ClassVar[str] = "in no payload that can be read here"
    adopt_hint: ClassVar[str] = (
        "What follows is guessed from its newest message. Put right what is wrong. It is then "
        "added at the end of the site file; nothing else in it is touched. It counts from the "
        "next minute."
    )
    adopt_write: ClassVar[str] = "Write it into the site file"
    adopt_name: ClassVar[str] = "Name"
    adopt_title: ClassVar[str] = "Title on the pages"
    adopt_place: ClassVar[str] = "Speaks for"
    adopt_like: ClassVar[str] = "Of the same make as"
    like_none: ClassVar[str] = "none: as set below"
    like_hint: ClassVar[str] = "Its fields are taken over; then what is set below does not count."
    place_none: ClassVar[str] = "nothing yet"
    left_out: ClassVar[str] = "leave it out"
    newest_message: ClassVar[str] = "Its newest message"
    gone_meanwhile: ClassVar[str] = "Nobody waits there any more. See the list of sensors."
    because: ClassVar[Mapping[Why, str]] = {
        Why.NAME: "its name says so",
        Why.UNIT: "it says its unit",
        Why.SIZE: "its size fits this unit best",
        Why.ONLY_UNIT: "the usual unit, and its size fits",
        Why.TENTHS: "its size fits in tenths only",
        Why.NO_NAME: "nothing in its name says what it is",
        Why.NO_FIT: "its size fits no unit of what its name says",
    }
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

    reckoned: ClassVar[str] = "reckoned"
    no_end: ClassVar[str] = "no end in sight"
    since_midnight: ClassVar[str] = "since midnight"
    water: ClassVar[str] = "The scion's water"
    water_untold: ClassVar[str] = (
        "How much water is left can't be told: nothing has been seen of the air around it yet."
    )
    water_unknown_pace: ClassVar[str] = (
        "How long that lasts can't be told: nobody sees the air around it now."
    )
    water_ahead_unknown: ClassVar[str] = (
        "What the night will do can't be told yet: a whole day and night must be seen first."
    )
    water_look: ClassVar[str] = (
        "An estimate, not a measurement: a limp leaf or a wrinkled stick knows better than any sum."
    )
    water_figures: ClassVar[str] = "The figures it is reckoned with"
    band_how: ClassVar[str] = (
        "The line is the likely course; the band holds what the ranges of the figures allow."
    )
    col_figure: ClassVar[str] = "figure"
    col_likely: ClassVar[str] = "likely"
    col_range: ClassVar[str] = "from, to"
    col_source: ClassVar[str] = "where it comes from"
    own_measure: ClassVar[str] = "measured on this batch"
    cover_heat: ClassVar[str] = "Heat under the cover"
    heat_beyond: ClassVar[str] = (
        "The light then will be stronger than any in this cover's record, so the band is a guess."
    )
    heat_no_probe: ClassVar[str] = "Nothing can be told: no sensor is under this cover."
    heat_no_house: ClassVar[str] = "Nothing can be told: no sensor tells the air in the house."
    heat_house_unknown: ClassVar[str] = (
        "Nothing can be told yet: the air in the house must be known for 20 of the last 24 hours."
    )
    sums: ClassVar[str] = "Added up"
    col_sum: ClassVar[str] = "so far"
    col_counted: ClassVar[str] = "counted"
    sum_not_yet: ClassVar[str] = "not counted yet"
    sum_begun_late: ClassVar[str] = "counting began after the day had"
    work: ClassVar[str] = "Work"
    work_kind: ClassVar[Mapping[WorkKind, str]] = {
        WorkKind.COVER_OPEN: "cover opened on purpose",
        WorkKind.SPRAYING: "house being sprayed",
        WorkKind.WASHING: "house being washed",
        WorkKind.CALIBRATING: "sensor being calibrated",
    }
    work_caution: ClassVar[Mapping[WorkKind, str]] = {
        WorkKind.COVER_OPEN: "Heat, cold and water lost are told all the same. Shade before you "
        "open, and close again soon.",
        WorkKind.SPRAYING: cautions.ENGLISH.spraying,
        WorkKind.WASHING: cautions.ENGLISH.washing,
        WorkKind.CALIBRATING: "While it lasts nobody sees what this sensor tells: heat and cold "
        "too. Look at the plants yourself.",
    }
    nothing_in_hand: ClassVar[str] = "No work is in hand; nothing is held back by it."
    begin_work: ClassVar[str] = "Begin work"
    begin_work_why: ClassVar[str] = (
        "Say what you are about to do, and what it does to the air is not told as trouble. It ends "
        "by itself; what is still wrong then alarms."
    )
    begin: ClassVar[str] = "Begin"
    end_now: ClassVar[str] = "End it now"
    work_over: ClassVar[str] = "Ended"
    where: ClassVar[str] = "Where?"
    how_long: ClassVar[str] = "For how long?"
    note: ClassVar[str] = "Note"
    why: ClassVar[str] = "Why?"
    in_hand: ClassVar[str] = "In hand"
    not_now: ClassVar[str] = "That has been done already, or is over. Look at it again."
    not_possible: ClassVar[str] = "That can't be done there, or not for so long."
    more_to_do: ClassVar[str] = "Set aside, or take out of service"
    shelve: ClassVar[str] = "Set aside for a time"
    shelve_hint: ClassVar[str] = (
        "It tells nobody until the time is up; if it is still wrong then, it alarms again. What is "
        "more than low is told again at the next sunrise or sunset at the latest."
    )
    take_out: ClassVar[str] = "Take out of service"
    take_out_hint: ClassVar[str] = (
        "It tells nobody until someone puts it back. For a sensor or limit that is known to be "
        "wrong."
    )
    let_go: ClassVar[Mapping[AlarmState, str]] = {
        AlarmState.SHELVED: "Take it up again",
        AlarmState.OUT_OF_SERVICE: "Put it back in service",
    }
    held_ones: ClassVar[str] = "Tell nobody now"
    told_together: ClassVar[str] = "Told together"
    meanwhile: ClassVar[Mapping[Cue, str]] = {
        Cue.RAISED: "wrong meanwhile; told nobody",
        Cue.CLEARED: "came right meanwhile",
    }

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
    film: ClassVar[Mapping[FilmState, str]] = {FilmState.OPEN: "while the film is open"}
    per: ClassVar[Mapping[Per, str]] = {Per.LOCAL_DAY: "a day", Per.STAGE: "in this stage"}
    summed: ClassVar[Mapping[DoseKind, str]] = {
        DoseKind.LIGHT_SUM: "light",
        DoseKind.DRYING_DOSE: "{felt} {beyond}",
        DoseKind.HEAT_DOSE: "{felt} {beyond}",
        DoseKind.HOURS_BEYOND: "hours of {felt} {beyond}",
        DoseKind.DIRECT_SUN: "direct sun",
    }
    base_side: ClassVar[Mapping[Side, str]] = {Side.LOW: "below", Side.HIGH: "above"}
    figure_names: ClassVar[Mapping[str, str]] = {
        "conductance_mmol_m2_s": "how easily water leaves leaf or bark",
        "absorbed_share": "sunlight taken up",
        "air_speed_m_s": "air moving past it",
        "critical_share": "past saving below this share of its fresh water",
        "turgor_loss_share": "limp below this share of its fresh water",
        "uptake_first_mg_h": "water the stock gives at first",
        "uptake_full_mg_h": "water the stock gives once joined",
        "uptake_from_d": "after grafting more begins to flow",
        "uptake_full_d": "after grafting all of it flows",
        "humidity_error_pct": "humidity sensor may be off by",
        "leaf_temperature_error_c": "leaf sensor may be off by",
        "area_cm2": "leaves of one scion",
        "breadth_cm": "breadth of a leaf",
        "water_g_m2": "water in fresh leaf",
        "wood_water_g": "water in the scion's wood",
        "diameter_mm": "thickness of the stick",
        "length_mm": "length of the stick",
        "water_g_cm3": "water in fresh wood",
        "film_conductance_mmol_m2_s": "how easily water leaves through whole film",
    }
    figure_units: ClassVar[Mapping[str, str]] = {
        "mmol_m2_s": "mmol m⁻² s⁻¹",
        "m_s": "m/s",
        "mg_h": "mg/h",
        "d": "days",
        "pct": "%",
        "cm2": "cm²",
        "cm": "cm",
        "g_m2": "g/m²",
        "g": "g",
        "mm": "mm",
        "g_cm3": "g/cm³",
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
        return in_figures(value, decimals, self.decimal_mark)

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

    def band(self, low: str, high: str) -> str:
        """Return the ends of a band."""
        return f"{low} to {high}"

    def about(self, value: str, at: str, band: str) -> str:
        """Return a value to expect, its hour and its band."""
        return f"{value} about {at} ({band})"

    def water_left(self, value: str, band: str) -> str:
        """Say how much of the water that the scion can spare is left."""
        return f"About {value} of the water it can spare is left ({band})."

    def water_spent(self, band: str) -> str:
        """Say that likely none is left."""
        return f"It likely has no water left to spare ({band})."

    def water_lasts(self, hours: str, band: str) -> str:
        """Say how long that lasts at this minute's pace."""
        return f"At this minute's pace that lasts about {hours} ({band})."

    def water_endless(self, at_worst: str) -> str:
        """Say that at this minute's pace it does not run out; how long at worst, "" for ever."""
        worst = f"; at worst it lasts {at_worst}" if at_worst else ""
        return f"At this minute's pace it does not run out{worst}."

    def water_holds(self, until: str, value: str, band: str) -> str:
        """Say what is left at the end of the night."""
        return (
            f"If it dries as in the same hours a day ago, about {value} will be left "
            f"at {until} ({band})."
        )

    def water_at_worst(self, soonest: str) -> str:
        """Say when at worst nothing is left; "" is already."""
        return f"At worst nothing is left {f'from {soonest}' if soonest else 'already'}."

    def water_ends(self, likely: str, soonest: str, latest: str) -> str:
        """Say when nothing is left; `latest` is "" if by then it may yet hold."""
        last = f"latest {latest}" if latest else "or it holds"
        return (
            f"If it dries as in the same hours a day ago, nothing is left from about {likely} "
            f"(soonest {soonest}, {last})."
        )

    def own_clock(self, zone: str) -> str:
        """Say by which clock times are told."""
        return f"Times are by the nursery's clock: {zone}."

    def water_since(self, since: str, guessed: str) -> str:
        """Say since when it is reckoned, and how much of that was guessed, "" for none."""
        told = (
            f"Reckoned minute by minute since {since}, as if the scion had been fresh then, from "
            "air, light and the figures below."
        )
        return f"{told} {guessed} of it nobody could see: guessed." if guessed else told

    def heat_expected(self, value: str, at: str, band: str) -> str:
        """Say the hottest moment to expect."""
        return f"About {value} is the hottest to expect, {at} ({band}), if the sky stays clear."

    def before(self, time: str) -> str:
        """Say before when; "" is now."""
        return f"before {time}" if time else "now"

    def shade_up(self, before: str) -> str:
        """Say by when shade must be up."""
        return f"Shade {self.before(before)}."

    def heat_told(self, at: str, value: str) -> str:
        """Say what was told at dusk, by which limits are judged."""
        return f"At dusk ({at}) it was told as {value}; its limit is held against that."

    def heat_shade(self, bound: str, says: str, *, before: str, stop: str) -> str:
        """Say by when to shade, and how much more light to stop."""
        return (
            f"To stay below {bound} (“{says}”), add shade {self.before(before)} that stops "
            f"{stop} % more of the light."
        )

    def heat_edge(self, bound: str, says: str, *, before: str) -> str:
        """Say that only the warm edge of the band is beyond a bound."""
        return (
            f"{bound} (“{says}”) is likely not reached, but the warm edge of the band is: to be "
            f"sure, add shade {self.before(before)}."
        )

    def heat_no_shade(self, bound: str, says: str, *, before: str) -> str:
        """Say that shade alone does not keep it below a bound."""
        return (
            f"Shade alone can't keep it below {bound} (“{says}”): the house itself gets too warm. "
            f"Shade {self.before(before)}, and cool the house."
        )

    def heat_inside(self, bound: str, says: str) -> str:
        """Say that a bound is not reached."""
        return f"{bound} (“{says}”) is not in sight."

    def heat_learnt(self, hours: str, days: int) -> str:
        """Say what the forecast is learnt from."""
        on = "one day" if days == 1 else f"{self.in_words(days)} days"
        return f"Learnt from {hours} h of light on {on} under this very cover."

    def heat_thin(self, hours: str, days: int, spread: str) -> str:
        """Say how much more must be recorded; "" and 0 for what is enough."""
        needs: list[str] = []
        if hours:
            needs.append(f"{hours} more hours of light")
        if days:
            needs.append("light on one more day" if days == 1 else f"light on {days} more days")
        if spread:
            needs.append(f"light that varies by {spread} more")
        return f"Nothing can be told yet: the record under this cover needs {self.listed(needs)}."

    def counted_since(self, when: str) -> str:
        """Say since when a sum runs."""
        return f"since {when}"

    def not_seen_for(self, lasting: str) -> str:
        """Say how much of a sum's time could not be seen."""
        return f"{lasting} not seen"

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

    def works_answer(self, count: int) -> str:
        """Answer the page of work in hand, for 1 or more."""
        if count == 1:
            return "One piece of work is in hand; what it brings about is held back."
        return f"{self.capital(self.in_words(count))} pieces of work are in hand."

    def work_line(self, what: str, where: str, who: str, *, until: str) -> str:
        """Say what is being done where, by whom and until when."""
        return f"{where}: {what}, {who}, until {until}"

    def holds_back(self, felts: Sequence[str]) -> str:
        """Say which quantities' alarms a work holds back."""
        return f"Held back: {self.listed(felts)}."

    def held_back(self, what: str, why: str) -> str:
        """Say that an alarm is held back, and why."""
        return f"{self.capital(what)}: held back on purpose ({why})."

    def shelved_until(self, what: str, who: str, *, until: str, why: str) -> str:
        """Say that an alarm is set aside."""
        return f"{self.capital(what)}: set aside until {until} by {who} ({why})."

    def out_of_service(self, what: str, who: str, why: str) -> str:
        """Say that an alarm is out of service."""
        return f"{self.capital(what)}: taken out of service by {who} ({why})."

    def alarms_held(self, count: int) -> str:
        """Say how many alarms tell nobody, 1 or more."""
        return "One tells nobody now." if count == 1 else f"{count} tell nobody now."

    def at_worst(self, value: str) -> str:
        """Say the worst value while an alarm was open."""
        return f"At worst {value}."

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

    def adopt_answer(self, topic: str) -> str:
        """Ask whether a device is to be adopted."""
        return f"Is {topic} one of ours?"

    def strangers_count(self, count: int) -> str:
        """Say how many were heard that the site file does not have."""
        verb = "was" if count == 1 else "were"
        return f"{self.capital(self.in_words(count))} {verb} heard that the site file does not have"

    def heard_times(self, count: int, ago: str) -> str:
        """Say how often a stranger was heard, and how long ago."""
        return f"heard {self.times(count)}, last {ago}"

    def every(self, seconds: int) -> str:
        """Say how often a sensor usually speaks."""
        return f"every {self.lasting(seconds)}"

    def gaps_said(self, count: int, start: str, end: str) -> str:
        """Say how often a sensor fell silent, and when last."""
        return f"silent {self.times(count)} lately, last from {start} to {end}"

    def clock_off(self, seconds: int) -> str:
        """Say by how much a sensor's clock is behind ours; below 0: ahead."""
        side = "behind" if seconds > 0 else "ahead"
        return f"its clock is {self.lasting(abs(seconds))} {side}"

    def said_gone(self, since: str) -> str:
        """Say that a sensor, or the broker for it, said that it is gone."""
        return f"said to be gone since {since}"

    def kept_within(self, seconds: str) -> str:
        """Say how long messages wait until they are kept."""
        return f"What comes in is kept within {seconds}\N{NO-BREAK SPACE}s."

    def cannot_reach(self, why: str) -> str:
        """Say that no messages can come in."""
        return f"No message can come in: {why}."

    def cannot_keep(self, since: str, why: str) -> str:
        """Say that nothing can be kept."""
        return f"Nothing can be kept since {since}: {why}."

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
