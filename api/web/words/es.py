"""Los textos de las páginas en español: los mismos nombres que en `en.py`.

One file because whoever translates works through it from top to bottom.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from api.alerts import caution_words as cautions
from api.web.words.en import English
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


class Spanish(English):
    """The pages' words in Spanish. A test sees that none is left in English."""

    code: ClassVar[str] = "es"
    own_name: ClassVar[str] = "Español"
    decimal_mark: ClassVar[str] = ","

    now: ClassVar[str] = "Ahora"
    alarms: ClassVar[str] = "Alarmas"
    sensors: ClassVar[str] = "Sensores"
    staff: ClassVar[str] = "Personal"
    sheet_morning: ClassVar[str] = "La noche pasada"
    sheet_evening: ClassVar[str] = "La noche que viene"
    sheet_care: ClassVar[str] = "Tenga cuidado"
    skip_to_content: ClassVar[str] = "Ir a la respuesta"
    pages: ClassVar[str] = "Páginas"
    how_it_looks: ClassVar[str] = "Aspecto"
    temperatures_in: ClassVar[str] = "Temperaturas en"
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
    all_cautions: ClassVar[str] = "Todas las precauciones"

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
    todo: ClassVar[str] = "Pendientes"
    house_page: ClassVar[str] = "La casa"
    rings_short: ClassVar[str] = "Sonidos"
    labels_short: ClassVar[str] = "Etiquetas"
    plans_short: ClassVar[str] = "Planes de cuidado"
    replay_short: ClassVar[str] = "Repeticiones"
    settings_short: ClassVar[str] = "Ajustes"
    more: ClassVar[str] = "Más"
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
    col_ever: ClassVar[str] = "lo peor desde el injerto"
    not_kept: ClassVar[str] = "no se guarda tanto tiempo"
    col_age: ClassVar[str] = "última lectura"
    col_quantity: ClassVar[str] = "qué"
    not_judged_now: ClassVar[str] = "a esta hora no"
    not_at_night: ClassVar[str] = "de noche no"
    film_holds: ClassVar[str] = "no mientras la película aguante"
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
    rings_link = "Con qué frecuencia suenan las alarmas y qué límite avisa en vano"
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
    kept_out: ClassVar[str] = (
        "Corrija los archivos: hay un error en lo escrito, así que cuenta el último estado bueno."
    )
    unknown_topics: ClassVar[str] = "Oído, y no está en el archivo del lugar"
    strangers_why: ClassVar[str] = (
        "Cada uno puede ser un sensor nuevo. Adopte los suyos; aleje los demás del servidor MQTT."
    )
    adopt: ClassVar[str] = "Adoptar"
    adopted: ClassVar[str] = "Escrito en el archivo del lugar. Cuenta desde el próximo minuto."
    not_recognised: ClassVar[str] = "en ningún formato que aquí se pueda leer"
    adopt_hint: ClassVar[str] = (
        "Lo que sigue se adivina de su último mensaje. Corrija lo que esté mal. Luego se añade al "
        "final del archivo del lugar, sin tocar nada más, y cuenta al volver a arrancar."
    )
    adopt_write: ClassVar[str] = "Escribirlo en el archivo del lugar"
    adopt_name: ClassVar[str] = "Nombre"
    adopt_title: ClassVar[str] = "Título en las páginas"
    adopt_place: ClassVar[str] = "Habla por"
    adopt_like: ClassVar[str] = "Del mismo modelo que"
    like_none: ClassVar[str] = "ninguno: como se indica abajo"
    like_hint: ClassVar[str] = "Se toman sus campos; entonces lo de abajo no cuenta."
    place_none: ClassVar[str] = "nada todavía"
    left_out: ClassVar[str] = "no tomarlo"
    newest_message: ClassVar[str] = "Su último mensaje"
    gone_meanwhile: ClassVar[str] = "Ya nadie espera ahí. Vea la lista de sensores."
    because: ClassVar[Mapping[Why, str]] = {
        Why.NAME: "lo dice su nombre",
        Why.UNIT: "dice su unidad",
        Why.SIZE: "por su tamaño cabe mejor en esta unidad",
        Why.ONLY_UNIT: "la unidad usual, y su tamaño cabe",
        Why.TENTHS: "por su tamaño solo cabe en décimas",
        Why.NO_NAME: "nada en su nombre dice qué es",
        Why.NO_FIT: "por su tamaño no cabe en ninguna unidad de lo que dice su nombre",
    }
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

    reckoned: ClassVar[str] = "por cálculo"
    no_end: ClassVar[str] = "sin fin a la vista"
    since_midnight: ClassVar[str] = "desde medianoche"
    water: ClassVar[str] = "El agua de la púa"
    water_untold: ClassVar[str] = (
        "Cuánta agua le queda no se puede decir: todavía no se ha visto nada del aire que la rodea."
    )
    water_unknown_pace: ClassVar[str] = (
        "Cuánto dura no se puede decir: ahora nadie ve el aire que la rodea."
    )
    water_ahead_unknown: ClassVar[str] = (
        "Lo que hará la noche no se puede decir aún: antes hay que ver un día y una noche enteros."
    )
    water_look: ClassVar[str] = (
        "Una estimación, no una medida: una hoja caída o una vara arrugada saben más que la cuenta."
    )
    water_figures: ClassVar[str] = "Las cifras con que se calcula"
    band_how: ClassVar[str] = (
        "La línea es lo probable; la franja es todo lo que permiten los márgenes de las cifras."
    )
    col_figure: ClassVar[str] = "cifra"
    col_likely: ClassVar[str] = "probable"
    col_range: ClassVar[str] = "de, a"
    col_source: ClassVar[str] = "de dónde sale"
    own_measure: ClassVar[str] = "medido en este lote"
    cover_heat: ClassVar[str] = "Calor bajo la cubierta"
    heat_beyond: ClassVar[str] = (
        "Esa luz será más fuerte que toda la que conoce esta cubierta: la franja es una conjetura."
    )
    heat_no_probe: ClassVar[str] = "No se puede decir nada: no hay sensor bajo esta cubierta."
    heat_no_house: ClassVar[str] = "No se puede decir nada: ningún sensor da el aire de la casa."
    heat_house_unknown: ClassVar[str] = (
        "Todavía no se puede decir nada: hay que conocer el aire de la casa en 20 de las últimas "
        "24 horas."
    )
    sums: ClassVar[str] = "Sumado"
    col_sum: ClassVar[str] = "hasta ahora"
    col_counted: ClassVar[str] = "contado"
    sum_not_yet: ClassVar[str] = "sin contar todavía"
    sum_begun_late: ClassVar[str] = "se empezó a contar ya entrado el día"
    work: ClassVar[str] = "Trabajo"
    work_kind: ClassVar[Mapping[WorkKind, str]] = {
        WorkKind.COVER_OPEN: "bolsa abierta a propósito",
        WorkKind.SPRAYING: "casa en fumigación",
        WorkKind.WASHING: "casa en lavado",
        WorkKind.CALIBRATING: "sonda en calibración",
    }
    work_caution: ClassVar[Mapping[WorkKind, str]] = {
        WorkKind.COVER_OPEN: "El calor, el frío y el agua perdida se avisan igual. Dé sombra antes "
        "de abrir y cierre pronto.",
        WorkKind.SPRAYING: cautions.SPANISH.spraying,
        WorkKind.WASHING: cautions.SPANISH.washing,
        WorkKind.CALIBRATING: "Mientras dure nadie ve lo que dice esta sonda, tampoco calor ni "
        "frío. Mire usted las plantas.",
    }
    nothing_in_hand: ClassVar[str] = "No hay trabajo en curso; nada se calla por eso."
    begin_work: ClassVar[str] = "Empezar un trabajo"
    begin_work_why: ClassVar[str] = (
        "Diga qué va a hacer, y lo que eso cause en el aire no se avisa como problema. Termina "
        "solo; lo que entonces siga mal da alarma."
    )
    begin: ClassVar[str] = "Empezar"
    end_now: ClassVar[str] = "Terminar ya"
    work_over: ClassVar[str] = "Terminados"
    where: ClassVar[str] = "¿Dónde?"
    how_long: ClassVar[str] = "¿Cuánto tiempo?"
    note: ClassVar[str] = "Nota"
    why: ClassVar[str] = "¿Por qué?"
    in_hand: ClassVar[str] = "En curso"
    not_now: ClassVar[str] = "Eso ya se hizo o ya pasó. Mírelo otra vez."
    not_possible: ClassVar[str] = "Eso no se puede ahí, o no por tanto tiempo."
    more_to_do: ClassVar[str] = "Apartar o poner fuera de servicio"
    shelve: ClassVar[str] = "Apartar por un tiempo"
    shelve_hint: ClassVar[str] = (
        "No avisa a nadie hasta que pase el tiempo; si entonces sigue mal, vuelve a dar alarma. Lo "
        "que es más que leve se avisa otra vez a más tardar al salir o ponerse el sol."
    )
    take_out: ClassVar[str] = "Poner fuera de servicio"
    take_out_hint: ClassVar[str] = (
        "No avisa a nadie hasta que alguien la reponga. Para una sonda o un límite que se sabe "
        "equivocado."
    )
    let_go: ClassVar[Mapping[AlarmState, str]] = {
        AlarmState.SHELVED: "Retomarla",
        AlarmState.OUT_OF_SERVICE: "Reponer en servicio",
    }
    held_ones: ClassVar[str] = "Ahora no avisan a nadie"
    told_together: ClassVar[str] = "Avisadas juntas"
    meanwhile: ClassVar[Mapping[Cue, str]] = {
        Cue.RAISED: "mal entretanto; no se avisó",
        Cue.CLEARED: "se arregló entretanto",
    }

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
    film: ClassVar[Mapping[FilmState, str]] = {FilmState.OPEN: "con la película abierta"}
    per: ClassVar[Mapping[Per, str]] = {Per.LOCAL_DAY: "al día", Per.STAGE: "en esta etapa"}
    summed: ClassVar[Mapping[DoseKind, str]] = {
        DoseKind.LIGHT_SUM: "luz",
        DoseKind.DRYING_DOSE: "{felt} {beyond}",
        DoseKind.HEAT_DOSE: "{felt} {beyond}",
        DoseKind.HOURS_BEYOND: "horas de {felt} {beyond}",
        DoseKind.DIRECT_SUN: "sol directo",
    }
    base_side: ClassVar[Mapping[Side, str]] = {
        Side.LOW: "por debajo de",
        Side.HIGH: "por encima de",
    }
    figure_names: ClassVar[Mapping[str, str]] = {
        "conductance_mmol_m2_s": "con qué facilidad sale agua de hoja o corteza",
        "absorbed_share": "luz del sol que recoge",
        "air_speed_m_s": "aire que la roza",
        "critical_share": "perdida por debajo de esta parte de su agua fresca",
        "turgor_loss_share": "floja por debajo de esta parte de su agua fresca",
        "uptake_first_mg_h": "agua que da el patrón al principio",
        "uptake_full_mg_h": "agua que da el patrón ya unido",
        "uptake_from_d": "tras el injerto empieza a pasar más",
        "uptake_full_d": "tras el injerto pasa toda",
        "humidity_error_pct": "el sensor de humedad puede errar",
        "leaf_temperature_error_c": "el sensor de hoja puede errar",
        "area_cm2": "hojas de una púa",
        "breadth_cm": "ancho de una hoja",
        "water_g_m2": "agua en la hoja fresca",
        "wood_water_g": "agua en la madera de la púa",
        "diameter_mm": "grosor de la vara",
        "length_mm": "largo de la vara",
        "water_g_cm3": "agua en la madera fresca",
        "film_conductance_mmol_m2_s": "con qué facilidad sale agua por la película entera",
    }
    figure_units: ClassVar[Mapping[str, str]] = {
        "mmol_m2_s": "mmol m⁻² s⁻¹",
        "m_s": "m/s",
        "mg_h": "mg/h",
        "d": "días",
        "pct": "%",
        "cm2": "cm²",
        "cm": "cm",
        "g_m2": "g/m²",
        "g": "g",
        "mm": "mm",
        "g_cm3": "g/cm³",
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

    def band(self, low: str, high: str) -> str:
        """Return the ends of a band."""
        return f"de {low} a {high}"

    def about(self, value: str, at: str, band: str) -> str:
        """Return a value to expect, its hour and its band."""
        return f"{value} hacia {at} ({band})"

    def water_left(self, value: str, band: str) -> str:
        """Say how much of the water that the scion can spare is left."""
        return f"Le queda un {value} del agua que puede perder ({band})."

    def water_spent(self, band: str) -> str:
        """Say that likely none is left."""
        return f"Es probable que ya no le quede agua que perder ({band})."

    def water_lasts(self, hours: str, band: str) -> str:
        """Say how long that lasts at this minute's pace."""
        return f"Al paso de este minuto dura unas {hours} ({band})."

    def water_endless(self, at_worst: str) -> str:
        """Say that at this minute's pace it does not run out."""
        worst = f"; en el peor caso dura {at_worst}" if at_worst else ""
        return f"Al paso de este minuto no se acaba{worst}."

    def water_holds(self, until: str, value: str, band: str) -> str:
        """Say what is left at the end of the night."""
        return (
            f"Si se seca como en las mismas horas de ayer, a las {until} le quedará un {value} "
            f"({band})."
        )

    def water_at_worst(self, soonest: str) -> str:
        """Say when at worst nothing is left."""
        return f"En el peor caso {f'no queda nada desde {soonest}' if soonest else 'ya no queda'}."

    def water_ends(self, likely: str, soonest: str, latest: str) -> str:
        """Say when nothing is left."""
        last = f"lo más tarde {latest}" if latest else "o aguanta"
        return (
            f"Si se seca como en las mismas horas de ayer, no queda nada desde {likely} "
            f"(lo antes {soonest}, {last})."
        )

    def own_clock(self, zone: str) -> str:
        """Say by which clock times are told."""
        return f"Las horas son las del vivero: {zone}."

    def water_since(self, since: str, guessed: str) -> str:
        """Say since when it is reckoned, and how much of that was guessed."""
        told = (
            f"Calculado minuto a minuto desde {since}, como si la púa hubiera estado fresca, con "
            "el aire, la luz y las cifras de abajo."
        )
        return f"{told} De eso, {guessed} nadie lo vio: se supuso." if guessed else told

    def heat_expected(self, value: str, at: str, band: str) -> str:
        """Say the hottest moment to expect."""
        return f"Se espera un máximo de {value}, {at} ({band}), si el cielo sigue despejado."

    def before(self, time: str) -> str:
        """Say before when; "" is now."""
        return f"antes de {time}" if time else "ya"

    def shade_up(self, before: str) -> str:
        """Say by when shade must be up."""
        return f"Dé sombra {self.before(before)}."

    def heat_told(self, at: str, value: str) -> str:
        """Say what was told at dusk, by which limits are judged."""
        return f"Al anochecer ({at}) se dijo {value}; con eso se juzga su límite."

    def heat_shade(self, bound: str, says: str, *, before: str, stop: str) -> str:
        """Say by when to shade, and how much more light to stop."""
        return (
            f"Para no pasar de {bound} («{says}»), dé {self.before(before)} sombra que corte un "
            f"{stop} % más de la luz."
        )

    def heat_edge(self, bound: str, says: str, *, before: str) -> str:
        """Say that only the warm edge of the band is beyond a bound."""
        return (
            f"{bound} («{says}») probablemente no se alcanza, pero el borde cálido de la franja sí:"
            f" para estar seguro, dé sombra {self.before(before)}."
        )

    def heat_no_shade(self, bound: str, says: str, *, before: str) -> str:
        """Say that shade alone does not keep it below a bound."""
        return (
            f"La sombra sola no evita {bound} («{says}»): la casa misma se calienta demasiado. "
            f"Dé sombra {self.before(before)} y refresque la casa."
        )

    def heat_inside(self, bound: str, says: str) -> str:
        """Say that a bound is not reached."""
        return f"{bound} («{says}») no está a la vista."

    def heat_learnt(self, hours: str, days: int) -> str:
        """Say what the forecast is learnt from."""
        on = "un día" if days == 1 else f"{self.in_words(days)} días"
        return f"Aprendido de {hours} h de luz en {on} bajo esta misma cubierta."

    def heat_thin(self, hours: str, days: int, spread: str) -> str:
        """Say how much more must be recorded."""
        needs: list[str] = []
        if hours:
            needs.append(f"{hours} h más de luz")
        if days:
            needs.append("luz en un día más" if days == 1 else f"luz en {days} días más")
        if spread:
            needs.append(f"luz que varíe {spread} más")
        return f"Todavía no se puede decir nada: a esta cubierta le faltan {self.listed(needs)}."

    def counted_since(self, when: str) -> str:
        """Say since when a sum runs."""
        return f"desde {when}"

    def not_seen_for(self, lasting: str) -> str:
        """Say how much of a sum's time could not be seen."""
        return f"{lasting} sin ver"

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

    def works_answer(self, count: int) -> str:
        """Answer the page of work in hand, for 1 or more."""
        if count == 1:
            return "Hay un trabajo en curso; lo que causa se calla."
        return f"Hay {self.in_words(count)} trabajos en curso."

    def work_line(self, what: str, where: str, who: str, *, until: str) -> str:
        """Say what is being done where, by whom and until when."""
        return f"{where}: {what}, {who}, hasta las {until}"

    def holds_back(self, felts: Sequence[str]) -> str:
        """Say which quantities' alarms a work holds back."""
        return f"Se calla: {self.listed(felts)}."

    def held_back(self, what: str, why: str) -> str:
        """Say that an alarm is held back, and why."""
        return f"{self.capital(what)}: callada a propósito ({why})."

    def shelved_until(self, what: str, who: str, *, until: str, why: str) -> str:
        """Say that an alarm is set aside."""
        return f"{self.capital(what)}: apartada hasta las {until} por {who} ({why})."

    def out_of_service(self, what: str, who: str, why: str) -> str:
        """Say that an alarm is out of service."""
        return f"{self.capital(what)}: puesta fuera de servicio por {who} ({why})."

    def alarms_held(self, count: int) -> str:
        """Say how many alarms tell nobody, 1 or more."""
        return "Una no avisa ahora a nadie." if count == 1 else f"{count} no avisan ahora a nadie."

    def at_worst(self, value: str) -> str:
        """Say the worst value while an alarm was open."""
        return f"En lo peor {value}."

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

    def adopt_answer(self, topic: str) -> str:
        """Ask whether a device is to be adopted."""
        return f"¿Es nuestro {topic}?"

    def strangers_count(self, count: int) -> str:
        """Say how many were heard that the site file does not have."""
        verb = "Se oyó" if count == 1 else "Se oyeron"
        return f"{verb} {self.in_words(count)} que el archivo del lugar no tiene"

    def heard_times(self, count: int, ago: str) -> str:
        """Say how often a stranger was heard, and how long ago."""
        return f"oído {self.times(count)}, la última {ago}"

    def every(self, seconds: int) -> str:
        """Say how often a sensor usually speaks."""
        return f"cada {self.lasting(seconds)}"

    def gaps_said(self, count: int, start: str, end: str) -> str:
        """Say how often a sensor fell silent, and when last."""
        return f"callado {self.times(count)} hace poco, la última de {start} a {end}"

    def clock_off(self, seconds: int) -> str:
        """Say by how much a sensor's clock is behind ours; below 0: ahead."""
        side = "atrasado" if seconds > 0 else "adelantado"
        return f"su reloj va {self.lasting(abs(seconds))} {side}"

    def said_gone(self, since: str) -> str:
        """Say that a sensor, or the broker for it, said that it is gone."""
        return f"avisó que se fue, desde {since}"

    def kept_within(self, seconds: str) -> str:
        """Say how long messages wait until they are kept."""
        return f"Lo que llega se guarda en {seconds}\N{NO-BREAK SPACE}s."

    def cannot_reach(self, why: str) -> str:
        """Say that no messages can come in."""
        return f"No puede llegar ningún mensaje: {why}."

    def cannot_keep(self, since: str, why: str) -> str:
        """Say that nothing can be kept."""
        return f"No se puede guardar nada desde {since}: {why}."

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
