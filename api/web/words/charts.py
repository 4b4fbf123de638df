"""The texts of the page of charts over any span."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class ChartWords:
    """The texts of one language. Names in braces are filled in."""

    title: str
    link: str
    span: str
    earlier: str
    later: str
    wider: str
    narrower: str
    until_now: str
    lengths: Mapping[str, str]
    from_to: tuple[str, str]
    show: str
    not_a_span: str
    minutes: str
    cells: str
    cells_hour: str
    of_means: str
    joined: str
    only_short: str
    week: str
    nothing: str
    nothing_here: str
    says: str
    seen_share: str
    picture: str
    cover_off: str
    cover_on: str
    new_version: str
    happened: str
    nothing_happened: str
    alarm: str
    light: str
    light_head: tuple[str, str, str, str]
    light_sum: str
    direct_sun: str
    light_of: str
    most_light: str
    more_days: str
    keys: str
    how_title: str
    how: str
    older_left_out: str


ENGLISH = ChartWords(
    title="{code}: {span}",
    link="Charts over any time, from an hour to a season",
    span="{start} to {end}",
    earlier="Earlier",
    later="Later",
    wider="Wider",
    narrower="Narrower",
    until_now="Until now",
    lengths={
        "hour": "An hour",
        "day": "A day",
        "week": "A week",
        "month": "A month",
        "season": "A season",
    },
    from_to=("From", "to"),
    show="Show",
    not_a_span="That is not a time from one moment to a later one. These are the last seven days.",
    minutes="Minute by minute, as it was judged.",
    cells="Each point is 10 minutes: the line is the mean, the band lowest to highest, of every "
    "reading kept.",
    cells_hour="Each point is an hour: the line is the mean, the band lowest to highest, of every "
    "reading kept.",
    of_means="Worked out from the means of 10 minutes: short peaks are flatter here than they "
    "were.",
    joined="There is more beyond the limits than can be drawn: neighbours share a mark. Look "
    "closer to see each.",
    only_short="{names}: worked out minute by minute, so shown for a week or less.",
    week="Show the last week of this time",
    nothing="Nothing is known of this batch in this time.",
    nothing_here="Nothing was seen in this time.",
    says="{name} from {span}: lowest {low}, highest {high}, last {last}. {gaps}",
    seen_share="Not seen for {lasting} in all (gaps: {count}).",
    picture="As a picture",
    cover_off="cover off",
    cover_on="cover on",
    new_version="plan, version {version}",
    happened="What happened",
    nothing_happened="Nothing was written down in this time.",
    alarm="Alarm: {says}",
    light="Light of each day",
    light_head=("Day", "Light sum", "Direct sun", "Seen"),
    light_sum="{value} mol m⁻²",
    direct_sun="{minutes} min",
    light_of="{seen} of {minutes} min",
    most_light="Most light: {day}, {value} mol m⁻². Most direct sun: {sun_day}, {minutes} min.",
    more_days="Every day",
    keys="Drag along a chart to look closer. With a chart chosen: arrow keys go earlier and later, "
    "+ looks closer, - shows more.",
    how_title="How to read this",
    how="Grey is night. Between dotted lines nothing was seen, and no line is drawn. Hatched or "
    "red is beyond a limit, by the plan and the stage of that very time. A triangle is an alarm, a "
    "diamond is something that a person saw or did. The lowest and the highest point, every time "
    "beyond a limit and every gap are always drawn.",
    older_left_out="Only the newest {count} are listed.",
)

SPANISH = ChartWords(
    title="{code}: {span}",
    link="Gráficas de cualquier tiempo, de una hora a una temporada",
    span="{start} a {end}",
    earlier="Antes",
    later="Después",
    wider="Más ancho",
    narrower="Más cerca",
    until_now="Hasta ahora",
    lengths={
        "hour": "Una hora",
        "day": "Un día",
        "week": "Una semana",
        "month": "Un mes",
        "season": "Una temporada",
    },
    from_to=("De", "a"),
    show="Mostrar",
    not_a_span="Eso no va de un momento a otro posterior. Estos son los últimos siete días.",
    minutes="Minuto a minuto, tal como se juzgó.",
    cells="Cada punto son 10 minutos: la línea es la media, la banda va de lo más bajo a lo más "
    "alto de todas las lecturas guardadas.",
    cells_hour="Cada punto es una hora: la línea es la media, la banda va de lo más bajo a lo más "
    "alto de todas las lecturas guardadas.",
    of_means="Calculado con medias de 10 minutos: los picos cortos salen aquí más bajos de lo que "
    "fueron.",
    joined="Hay más fuera de los límites de lo que cabe dibujar: los vecinos comparten una marca. "
    "Acérquese para ver cada uno.",
    only_short="{names}: se calcula minuto a minuto, así que se muestra para una semana o menos.",
    week="Mostrar la última semana de este tiempo",
    nothing="No se sabe nada de este lote en este tiempo.",
    nothing_here="No se vio nada en este tiempo.",
    says="{name} de {span}: lo más bajo {low}, lo más alto {high}, lo último {last}. {gaps}",
    seen_share="Sin ver {lasting} en total (huecos: {count}).",
    picture="Como imagen",
    cover_off="sin cubierta",
    cover_on="con cubierta",
    new_version="plan, versión {version}",
    happened="Qué pasó",
    nothing_happened="No se anotó nada en este tiempo.",
    alarm="Alarma: {says}",
    light="Luz de cada día",
    light_head=("Día", "Suma de luz", "Sol directo", "Visto"),
    light_sum="{value} mol m⁻²",
    direct_sun="{minutes} min",
    light_of="{seen} de {minutes} min",
    most_light="Más luz: {day}, {value} mol m⁻². Más sol directo: {sun_day}, {minutes} min.",
    more_days="Todos los días",
    keys="Arrastre sobre una gráfica para acercarse. Con una gráfica elegida: las flechas van "
    "antes y después, + acerca, - muestra más.",
    how_title="Cómo leer esto",
    how="Lo gris es noche. Entre líneas de puntos no se vio nada y no se dibuja línea. Lo rayado o "
    "rojo está fuera de un límite, según el plan y la etapa de ese mismo momento. Un triángulo es "
    "una alarma; un rombo, algo que una persona vio o hizo. El punto más bajo y el más alto, cada "
    "vez fuera de un límite y cada hueco se dibujan siempre.",
    older_left_out="Solo se listan los {count} más nuevos.",
)

_BY_CODE = {"en": ENGLISH, "es": SPANISH}


def chart_words(code: str) -> ChartWords:
    """Return the texts in a language of the pages."""
    return _BY_CODE[code]
