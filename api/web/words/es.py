"""Los textos de las páginas en español: los mismos nombres que en `en.py`.

One file because whoever translates works through it from top to bottom.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from api.web.words.en import English
from rules.doubt import QualityTest
from rules.model.alarm import AlarmState, Priority
from rules.model.batch import Cover, GraftMethod, Seen, Stage, Wrap
from rules.model.event import Standing
from rules.model.plan import Side, When
from rules.model.quantities import Felt, Quantity

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


class Spanish(English):
    """The pages' words in Spanish. A test sees that none is left in English."""

    code: ClassVar[str] = "es"
    own_name: ClassVar[str] = "Español"

    now: ClassVar[str] = "Ahora"
    alarms: ClassVar[str] = "Alarmas"
    sensors: ClassVar[str] = "Sensores"
    staff: ClassVar[str] = "Personal"
    skip_to_content: ClassVar[str] = "Ir a la respuesta"
    pages: ClassVar[str] = "Páginas"
    how_it_looks: ClassVar[str] = "Aspecto"
    language: ClassVar[str] = "Idioma"
    view_names: ClassVar[Mapping[str, str]] = {
        "auto": "Según el sol",
        "paper": "Papel",
        "night": "Noche",
    }
    lost_touch: ClassVar[str] = "Esta página perdió el contacto a las {time}. Lo que ve es viejo."
    reload: ClassVar[str] = "Cargar otra vez"
    footer: ClassVar[str] = (
        "Antes de ir: de noche, avise dónde está. De día una casa cerrada es un horno; beba agua y "
        "no se quede solo. Manos mojadas lejos de la corriente. Las normas locales y los oficios "
        "autorizados van primero."
    )

    needs_someone: ClassVar[str] = "Hace falta alguien"
    the_rest: ClassVar[str] = "Los demás, por mesa"
    on_duty: ClassVar[str] = "De turno"
    nobody_on_duty: ClassVar[str] = "Nadie está de turno. Los avisos van a {lead}."
    do: ClassVar[str] = "Haga"
    also: ClassVar[str] = "Además"
    acknowledge: ClassVar[str] = "Enterado"
    acknowledge_as: ClassVar[str] = "¿Quién es usted?"
    acknowledge_hint: ClassVar[str] = "Dice que lo ha visto y que se encarga."
    no_ribbon_yet: ClassVar[str] = "todavía sin juzgar"
    ribbon_how: ClassVar[str] = (
        "Cada banda va de mediodía a mediodía; las horas sombreadas son oscuras. Llena: cómodo. En "
        "la línea: en un límite. Debajo: fuera. Un hueco con puntos a los lados: nadie podía ver. "
        "La línea tenue es el día anterior."
    )
    how_to_read: ClassVar[str] = "Cómo leer las bandas"
    next_step: ClassVar[str] = "El paso siguiente"
    also_due: ClassVar[str] = "Toca hasta hoy"
    tonight: ClassVar[str] = "Esta noche"
    see_day: ClassVar[str] = "De mediodía a mediodía"
    night_before: ClassVar[str] = "el día anterior"
    day_after: ClassVar[str] = "el día siguiente"
    today: ClassVar[str] = "hoy"
    needs_versus_is: ClassVar[str] = "Qué necesita y cómo está"
    col_limit: ClassVar[str] = "necesita"
    col_now: ClassVar[str] = "ahora"
    col_worst: ClassVar[str] = "lo peor de anoche"
    col_age: ClassVar[str] = "última lectura"
    col_quantity: ClassVar[str] = "qué"
    not_judged_now: ClassVar[str] = "a esta hora no"
    not_at_night: ClassVar[str] = "de noche no"
    this_minute: ClassVar[str] = "leído en este minuto"
    not_seen: ClassVar[str] = "no se ve"
    no_reading: ClassVar[str] = "sin lectura"
    observations: ClassVar[str] = "Lo que vieron e hicieron"
    no_observations: ClassVar[str] = "Todavía no hay nada anotado."
    no_alarms_batch: ClassVar[str] = "Este lote no ha tenido ninguna alarma."
    batch_alarms: ClassVar[str] = "Alarmas"
    stage: ClassVar[str] = "Etapa"
    grafted: ClassVar[str] = "Injertado"
    plants: ClassVar[str] = "Plantas"
    plan: ClassVar[str] = "Plan de cuidado"
    house_rules: ClassVar[str] = "De dónde salen las cifras"
    unwatched_stage: ClassVar[str] = "el plan no tiene límites en esta etapa: nadie lo vigila."
    history: ClassVar[str] = "Qué pasó después"
    messages: ClassVar[str] = "A quién se avisó"
    no_messages: ClassVar[str] = "No se ha escrito ningún aviso por esta alarma."
    standing_ones: ClassVar[str] = "Vigentes"
    past_ones: ClassVar[str] = "Terminadas"
    none_standing: ClassVar[str] = "Ninguna."
    none_past: ClassVar[str] = "Ninguna todavía."
    speaks_for: ClassVar[str] = "habla por"
    speaks_for_nothing: ClassVar[str] = "ahora no habla por nada"
    open_sky: ClassVar[str] = "el cielo abierto"
    never_heard: ClassVar[str] = "nunca oído"
    calibration_over: ClassVar[str] = "calibración vencida"
    never_spoke: ClassVar[str] = "Aquí nunca se le ha oído."
    doubts: ClassVar[Mapping[QualityTest, str]] = {
        QualityTest.RANGE: "lo que dice no es posible",
        QualityTest.SPIKE: "dio un salto y espera a que una segunda lectura lo confirme",
        QualityTest.STEP: "cambió más rápido de lo habitual",
        QualityTest.STUCK: "lleva horas diciendo lo mismo, o no ve luz habiendo sol",
        QualityTest.SATURATION: "dice 100 % en la hora fresca y en la calurosa",
        QualityTest.CROSS_SENSOR: "sus vecinos dicen otra cosa",
        QualityTest.CLOCK: "ve luz en plena noche: su reloj anda mal, o hay una lámpara encendida",
    }
    refused: ClassVar[str] = "Rechazado al llegar"
    nothing_refused: ClassVar[str] = "No se ha rechazado nada."
    refused_why: ClassVar[str] = (
        "Esto llegó y no se guardó como lectura. Cada línea dice por qué y cómo arreglarlo."
    )
    unknown_topics: ClassVar[str] = "Oído en temas que ningún sensor del archivo tiene"
    not_found_title: ClassVar[str] = "Esa página no existe."
    not_found_hint: ClassVar[str] = "Quizá cambió de nombre. Empiece otra vez en Ahora."
    went_wrong_title: ClassVar[str] = "Aquí algo salió mal."
    went_wrong_hint: ClassVar[str] = (
        "La vigilancia sigue por su cuenta y no depende de esta página. El registro dice más."
    )
    refused_title: ClassVar[str] = "Esto no se hizo."
    alarm_over: ClassVar[str] = "Ya pasó; ahora no hay nada que hacer por ella."
    look_at_plants: ClassVar[str] = "Mire las plantas, luego el sensor: corriente, cable, señal."
    already_answered: ClassVar[str] = "Otra persona ya respondió, o ya pasó."
    unknown_person: ClassVar[str] = "Nadie del lugar se llama así. Elija de la lista."

    standing: ClassVar[Mapping[Standing | None, str]] = {
        Standing.STEADY: "estable",
        Standing.DRIFTING: "desviándose",
        Standing.STRAINED: "forzado",
        Standing.IN_DANGER: "en peligro",
        Standing.BLIND: "a ciegas",
        None: "sin vigilar",
    }
    felt: ClassVar[Mapping[Felt, str]] = {
        Felt.AIR_TEMPERATURE: "temperatura del aire",
        Felt.RELATIVE_HUMIDITY: "humedad",
        Felt.VAPOUR_PRESSURE_DEFICIT: "sequedad del aire",
        Felt.PPFD: "luz",
        Felt.LEAF_TEMPERATURE: "temperatura de la hoja",
        Felt.AIR_SPEED: "viento en la planta",
        Felt.SUBSTRATE_MOISTURE: "agua en la maceta",
        Felt.LEAF_DEFICIT: "sequedad junto a la hoja",
        Felt.RESERVE: "reserva de agua",
        Felt.HOURS_TO_CRITICAL: "horas de agua",
        Felt.EXPECTED_PEAK: "máximo de calor esperado",
    }
    quantity: ClassVar[Mapping[Quantity, str]] = {
        Quantity.AIR_TEMPERATURE: "temperatura del aire",
        Quantity.RELATIVE_HUMIDITY: "humedad",
        Quantity.PPFD: "luz",
        Quantity.ILLUMINANCE: "luz",
        Quantity.IRRADIANCE: "luz",
        Quantity.LEAF_TEMPERATURE: "temperatura de la hoja",
        Quantity.AIR_SPEED: "viento",
        Quantity.SUBSTRATE_MOISTURE: "agua en la maceta",
        Quantity.BATTERY: "pila",
    }
    cover: ClassVar[Mapping[Cover, str]] = {
        Cover.TIED_BAG: "bajo bolsa atada",
        Cover.TENT: "en carpa",
        Cover.NONE: "",
    }
    wrap: ClassVar[Mapping[Wrap, str]] = {
        Wrap.STRETCH_FILM: "en película estirada",
        Wrap.TAPE: "en cinta",
        Wrap.NONE: "",
    }
    stage_names: ClassVar[Mapping[Stage | None, str]] = {
        Stage.HEALING: "prendiendo",
        Stage.NEW_GROWTH: "brotando",
        Stage.EASING: "destapando",
        Stage.HARDENING: "endureciendo",
        Stage.RELEASED: "suelto",
        Stage.CLOSED: "cerrado",
        Stage.FAILED: "perdido",
        None: "sin empezar",
    }
    method: ClassVar[Mapping[GraftMethod, str]] = {
        GraftMethod.CLEFT: "injerto de hendidura",
        GraftMethod.SIDE_VENEER: "enchapado lateral",
        GraftMethod.WHIP_AND_TONGUE: "inglés con lengüeta",
        GraftMethod.CHIP_BUD: "injerto de astilla",
        GraftMethod.APPROACH: "por aproximación",
        GraftMethod.TOP_WORKING: "cambio de copa",
    }
    seen: ClassVar[Mapping[Seen, str]] = {
        Seen.GRAFTED: "injertado",
        Seen.NEW_GROWTH: "brotes nuevos",
        Seen.DROOP: "hojas caídas",
        Seen.MOULD: "moho",
        Seen.CONDENSATION: "gotas por dentro",
        Seen.BAG_DRY: "bolsa seca por dentro",
        Seen.FILM_SPLIT: "película rota",
        Seen.REWRAPPED: "envuelto de nuevo",
        Seen.WATERED: "regado",
        Seen.COVER_OPENED: "tapa abierta",
        Seen.COVER_CLOSED: "tapa cerrada",
        Seen.COVER_OFF: "tapa quitada",
        Seen.LIGHT_RAISED: "menos sombra",
        Seen.LIGHT_LOWERED: "más sombra",
        Seen.FULL_SUN: "a pleno sol",
        Seen.FILM_OFF: "cinta quitada",
        Seen.STOCK_CUT: "patrón despuntado",
        Seen.SEVERED: "separado de sus raíces",
        Seen.CHECKED: "revisado",
        Seen.MOVED: "movido",
        Seen.COUNTED: "contado",
        Seen.NOTED: "anotado",
    }
    priority: ClassVar[Mapping[Priority, str]] = {
        Priority.HIGH: "vaya ahora",
        Priority.MEDIUM: "en unas horas",
        Priority.LOW: "cuando pase por la mesa",
    }
    state: ClassVar[Mapping[AlarmState, str]] = {
        AlarmState.NORMAL: "terminada",
        AlarmState.UNACKNOWLEDGED: "nadie ha respondido",
        AlarmState.ACKNOWLEDGED: "alguien se encarga",
        AlarmState.RETURNED_UNACKNOWLEDGED: "se arregló sola; nadie respondió",
        AlarmState.SHELVED: "apartada por un tiempo",
        AlarmState.SUPPRESSED_BY_DESIGN: "callada a propósito",
        AlarmState.OUT_OF_SERVICE: "fuera de servicio",
    }
    side: ClassVar[Mapping[Side, str]] = {Side.LOW: "al menos", Side.HIGH: "como mucho"}
    when: ClassVar[Mapping[When, str]] = {
        When.ALWAYS: "",
        When.DAY: "de día",
        When.NIGHT: "de noche",
    }
    days: ClassVar[Sequence[str]] = ("lun", "mar", "mié", "jue", "vie", "sáb", "dom")
    months: ClassVar[Sequence[str]] = (
        *("de enero", "de febrero", "de marzo", "de abril", "de mayo", "de junio"),
        *("de julio", "de agosto", "de septiembre", "de octubre", "de noviembre", "de diciembre"),
    )
    noon: ClassVar[str] = "mediodía"
    midnight: ClassVar[str] = "medianoche"
    now_mark: ClassVar[str] = "ahora"
    count_words: ClassVar[Sequence[str]] = (
        *("ninguno", "uno", "dos", "tres", "cuatro", "cinco", "seis"),
        *("siete", "ocho", "nueve", "diez", "once", "doce"),
    )

    def number(self, value: float, decimals: int) -> str:
        """Return a number with a decimal comma."""
        return super().number(value, decimals).replace(".", ",")

    def listed(self, items: Sequence[str]) -> str:
        """Join names as in speech; "y" is "e" before the sound of i."""
        if len(items) < 2:
            return "".join(items)
        joint = "e" if items[-1].lower().startswith(("i", "hi")) else "y"
        return f"{', '.join(items[:-1])} {joint} {items[-1]}"

    def answer(self, counts: Mapping[Standing | None, int]) -> str:
        """Return the sentence that says who needs someone."""
        total = sum(counts.values())
        if total == 0:
            return "No se vigila ningún lote."
        telling: list[tuple[Standing, str, str]] = [
            (Standing.IN_DANGER, "está en peligro", "están en peligro"),
            (Standing.BLIND, "no se puede ver", "no se pueden ver"),
            (Standing.STRAINED, "está forzado", "están forzados"),
            (Standing.DRIFTING, "se está desviando", "se están desviando"),
        ]
        said: list[str] = []
        for standing, one, many in telling:
            count = counts.get(standing, 0)
            if count == 0:
                continue
            if count == total:
                who = "El único lote" if total == 1 else f"Los {self.in_words(total)} lotes"
            elif said:
                who = self.capital(self.in_words(count))
            else:
                who = f"{self.capital(self.in_words(count))} de {total} lotes"
            said.append(f"{who} {one if count == 1 else many}.")
        steady = counts.get(Standing.STEADY, 0)
        unwatched = counts.get(None, 0)
        if not said and steady:
            all_of = "El único lote está estable"
            if steady > 1:
                all_of = f"Los {self.in_words(steady)} están estables"
            said.append(f"No hace falta nadie. {all_of}.")
        elif steady:
            said.append("El otro está estable." if steady == 1 else "Los demás están estables.")
        if unwatched:
            verb = "está" if unwatched == 1 else "están"
            said.append(f"{self.capital(self.in_words(unwatched))} {verb} sin vigilar.")
        return " ".join(said)

    def watch_behind(self, since: str) -> str:
        """Say that the watch has not judged anything for too long."""
        return f"La vigilancia está parada desde las {since}. Nada posterior se ha juzgado."

    def nothing_heard(self, since: str) -> str:
        """Say that no sensor has been heard for too long."""
        return f"No se oye ningún sensor desde las {since}. Vaya a ver las plantas."

    def nothing_ever_heard(self) -> str:
        """Say that no sensor has ever been heard."""
        return "Todavía no se ha oído ningún sensor."

    def not_judged_yet(self) -> str:
        """Say that the watch has not closed its first minute."""
        return "La vigilancia aún no ha juzgado ni un minuto. Espere, o vaya a ver las plantas."

    def freshness(self, judged_to: str, heard_ago: str) -> str:
        """Say how fresh the page's data is."""
        return f"Juzgado hasta las {judged_to}. Última lectura {heard_ago}."

    def ago(self, seconds: int) -> str:
        """Return an age in words."""
        return f"hace {self.lasting(seconds)}"

    def lasting(self, seconds: int) -> str:
        """Return a length of time in words."""
        return super().lasting(seconds).replace("days", "días")

    def since(self, when: str, lasting: str) -> str:
        """Say since when, and how long that is."""
        return f"Desde {when} ({lasting})."

    def from_until(self, start: str, end: str) -> str:
        """Say from when until when something lasted."""
        return f"De {start} a {end}."

    def should_be(self, need: str) -> str:
        """Say what a value should be."""
        return f"debe ser {need}"

    def moving(self, per_hour: float, amount: str) -> str:
        """Say how fast a value moves."""
        return f"{'sube' if per_hour > 0 else 'baja'} {amount} por hora"

    def heading(self, minutes: int) -> str:
        """Say when a limit is met if things go on like this."""
        return f"a este paso fuera del límite en unos {self.lasting(minutes * 60)}"

    def heading_unknown(self) -> str:
        """Say that a batch drifts when no limit tells how soon."""
        return "dentro de sus límites, pero saliéndose"

    def blind_to(self, felts: Sequence[str]) -> str:
        """Say what can't be seen of a batch."""
        return f"no se puede ver: {self.listed(felts)}"

    def blind_action(self, sensors: Sequence[str]) -> str:
        """Say what to do for a batch that can't be seen."""
        if not sensors:
            return "Mire las plantas. Ningún sensor habla por este lote: ponga uno."
        return f"Mire las plantas, luego {self.listed(sensors)}: corriente, cable, señal."

    def told(self, who: str, at: str) -> str:
        """Say who was told when."""
        return f"Se avisó a {who} ({at})."

    def not_told(self) -> str:
        """Say that no message went out."""
        return "Todavía no se ha avisado a nadie."

    def acknowledged_by(self, who: str, at: str) -> str:
        """Say who has it."""
        return f"{who} se encarga ({at})."

    def late_by(self, days: int) -> str:
        """Say how many days late something is, 1 or more."""
        return "un día tarde" if days == 1 else f"{days} días tarde"

    def tonight_lowest(self, what: str, at: str, *, value: str, band: tuple[str, str]) -> str:
        """Say the lowest value expected and when; the band is numbers without a unit."""
        return f"{what}: lo más bajo se espera hacia las {at}: {value} (de {band[0]} a {band[1]})"

    def tonight_scored(self, until: str, nights: int, *, error: str, as_now: str) -> str:
        """Say how far ahead was looked, and how such forecasts did on recent nights."""
        return (
            f"Se miró hasta las {until}. En {self.in_words(nights)} noches recientes un pronóstico "
            f"así erró {error}; «sigue como ahora», {as_now}."
        )

    def nth_day(self, days: int) -> str:
        """Say how long ago the grafting was."""
        return "hoy" if days == 0 else "hace 1 día" if days == 1 else f"hace {days} días"

    def batch_answer(self, standing: str) -> str:
        """Answer the page of one batch when nothing is wrong."""
        return f"está {standing}."

    def alarms_answer(self, unanswered: int, standing: int) -> str:
        """Answer the page of alarms."""
        if standing == 0:
            return "No hay ninguna alarma vigente."
        if unanswered == 0:
            return (
                "Una alarma vigente; alguien se encarga."
                if standing == 1
                else f"{standing} alarmas vigentes; alguien se encarga de cada una."
            )
        verb = "espera" if unanswered == 1 else "esperan"
        noun = "alarma" if standing == 1 else "alarmas"
        return f"{unanswered} de {standing} {noun} {verb} respuesta."

    def sensors_answer(self, silent: int, total: int) -> str:
        """Answer the page of sensors."""
        if total == 0:
            return "El archivo del lugar no tiene sensores."
        if silent == 0:
            return (
                f"Los {self.in_words(total)} sensores hablan." if total > 1 else "Habla el sensor."
            )
        if silent == total:
            return "Todos los sensores callan."
        verb = "calla" if silent == 1 else "callan"
        return f"{self.capital(self.in_words(silent))} de {total} sensores {verb}."

    def sensors_doubted(self, count: int) -> str:
        """Say how many sensors speak but are not believed in something, 1 or more."""
        return f"A {self.in_words(count)} no se le{'' if count == 1 else 's'} cree."

    def not_believed(self, why: str) -> str:
        """Say that a channel's last word is held out, and why."""
        return f"no se le cree: {why}"

    def suspect(self, why: str) -> str:
        """Say that a channel's last word is used but doubted, and why."""
        return f"dudoso: {why}"

    def calibrated(self, since: str, until: str) -> str:
        """Say since when a calibration counts, and until when; `until` is empty for no end."""
        return f"calibrado {since}, vale hasta {until}" if until else f"calibrado {since}"

    def out_of_calibration(self, since: str) -> str:
        """Say that the calibration in force has expired, and when."""
        return f"calibración vencida desde {since}: revíselo; la corrección vieja sigue aplicándose"

    def times(self, count: int) -> str:
        """Say how often."""
        return "una vez" if count == 1 else f"{count} veces"

    def refused_count(self, count: int) -> str:
        """Say how many values were refused."""
        return f"{count} rechazados"

    def message_sent(self, who: str, at: str) -> str:
        """Say that a message was accepted for delivery."""
        return f"{who}: enviado a las {at}"

    def message_owed(self, who: str, since: str) -> str:
        """Say that a message still has to go out."""
        return f"{who}: por salir desde las {since}"

    def message_failed(self, who: str, attempts: int, why: str) -> str:
        """Say that a message did not get through."""
        tries = "una vez" if attempts == 1 else f"{attempts} veces"
        return f"{who}: intentado {tries}, no llegó: {why}"

    def chart_says(self, what: str, span: str, low: str, high: str, now: str) -> str:
        """Describe a chart in a sentence for those who don't see it."""
        return f"{self.capital(what)}, {span}: de {low} a {high}; último {now}."

    def chart_empty(self, what: str, span: str) -> str:
        """Describe a chart without a value."""
        return f"{self.capital(what)}, {span}: no se vio nada."

    def ribbon_says(self, batch: str, worst: str, blind: str) -> str:
        """Describe a ribbon in a sentence."""
        return f"{batch}, de mediodía a mediodía: {worst}{f'; a ciegas {blind}' if blind else ''}."

    def ribbon_worst(self, limit: str, at: str, *, beyond: bool) -> str:
        """Say where a ribbon was lowest."""
        return f"{'fuera de' if beyond else 'lo más cerca de'} “{limit}” a las {at}"

    def noon_to_noon(self, first: str, last: str) -> str:
        """Name a day that runs from noon to noon."""
        return f"del mediodía {first} al mediodía {last}"
