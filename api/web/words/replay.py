"""The texts of the page of replays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.replays.receiving import MIB, MOST_BYTES, MOST_FILE_BYTES, MOST_FILES, NotTakenWhy
from api.replays.state import MOST_DAYS, Stage, Why

if TYPE_CHECKING:
    from collections.abc import Mapping

_SIZES = {
    "file": MOST_FILE_BYTES // MIB,
    "all": MOST_BYTES // MIB,
    "files": MOST_FILES,
    "days": MOST_DAYS,
}


@dataclass(frozen=True, slots=True)
class ReplayWords:
    """The texts of one language. Names in braces are filled in."""

    link: str
    title: str
    lead: str
    only_fix: str
    of_files: str
    files_label: str
    files_hint: str
    of_store: str
    store_hint: str
    from_to: tuple[str, str]
    days_hint: str
    how: str
    as_it_happened: str
    as_it_happened_why: str
    hindsight: str
    hindsight_why: str
    look: str
    look_again: str
    run: str
    drop: str
    stop: str
    forget: str
    anew: str
    shown_title: str
    shown_lead: str
    read_as: str
    time_in: str
    rows_from_to: str
    settle: str
    choose_way: str
    column_head: tuple[str, str, str, str, str]
    as_found: str
    left_out: str
    unit_as_found: str
    of_time: str
    more_said: str
    said_fields: Mapping[str, str]
    nothing_chosen: str
    running: str
    stages: Mapping[Stage, str]
    how_far: str
    stopped: str
    failed: str
    whys: Mapping[Why, str]
    in_file: str
    program_says: str
    done: str
    done_quiet: str
    told_as: Mapping[bool, str]
    every_reading: str
    files_done: str
    file_rows: str
    choose_below: str
    refused_rows: str
    refused_row: str
    book_lost: str
    batches: str
    no_batches: str
    ribbon: str
    stood: str
    blind_for: str
    never_blind: str
    no_value: str
    water: str
    water_chart: str
    sums: str
    alarms: str
    no_alarms: str
    alarm_head: tuple[str, str, str, str, str]
    still: str
    held_back: str
    more_alarms: str
    figures: str
    messages: str
    message_ways: Mapping[str, str]
    not_taken: Mapping[NotTakenWhy, str]
    busy: str
    gone: str
    not_a_day: str
    days_turned: str


ENGLISH = ReplayWords(
    link="Replays",
    title="Replay a record",
    lead="Plays readings through again and says what would have been told. Nothing that is kept "
    "is changed, no alarm is raised and nobody is written to.",
    only_fix="The technician or the lead can start a replay.",
    of_files="Files that loggers wrote",
    files_label="Drop files here, or choose them",
    files_hint="CSV and its relatives, JSON Lines (.jsonl), Parquet, workbooks (.xlsx). At most "
    "{files} files, {file} MiB each, {all} MiB in all. They are wiped afterwards.".format(**_SIZES),
    of_store="Readings that are kept",
    store_hint="Without days: all that was watched.",
    from_to=("From day", "To day"),
    days_hint="Both days are included; at most {days} days.".format(**_SIZES),
    how="What counts",
    as_it_happened="As it happened",
    as_it_happened_why="only what had come in time, and what was known then",
    hindsight="With hindsight",
    hindsight_why="every reading, and all that was entered by now",
    look="Look at the files",
    look_again="Look again",
    run="Replay",
    drop="Throw the files away",
    stop="Stop it",
    forget="Forget this replay",
    anew="Replay something else",
    shown_title="Is each column in its place?",
    shown_lead="Nothing is judged yet. Set right what is wrong, then replay.",
    read_as="Read as: {said}",
    time_in="Time in {names}, by the zone {zone}: {how}.",
    rows_from_to="First row {first}, last row {last}.",
    settle="This file can't be used as it stands:",
    choose_way="Choose how it is meant, and look again",
    column_head=("Column", "Speaks for", "Unit", "First values", "Found by"),
    as_found="as found: {key}",
    left_out="leave it out",
    unit_as_found="as found: {unit}",
    of_time="time",
    more_said="More about how the file is written",
    said_fields={
        "zone": "Time zone, as Europe/Madrid or +01:00",
        "date_order": "Order of the date: ymd, dmy or mdy",
        "decimal": "Mark before fractions: . or ,",
        "separator": "Between cells: comma, semicolon, tab, bar or blanks",
        "header_line": "Line of the column names",
        "time": "Column of the time; two with + between",
        "missing": "What stands for no value; several with ; between",
        "sheet": "Sheet of the workbook",
    },
    nothing_chosen="Choose a file first.",
    running="A replay runs",
    stages={
        Stage.SHOWN: "Files are waiting to be looked at",
        Stage.READING: "Reading the files",
        Stage.JUDGING: "Judging minute by minute",
        Stage.DONE: "Done",
        Stage.FAILED: "Failed",
        Stage.STOPPED: "Stopped",
    },
    how_far="{percent} % done",
    stopped="The replay was stopped. Nothing was changed.",
    failed="The replay could not be done",
    whys={
        Why.FILE_REFUSED: "A file can't be used. Set it right and send it again.",
        Why.NO_READING: "There is no reading in the files. Look at the refused rows.",
        Why.NOTHING_THERE: "There is no reading in those days. Choose other days.",
        Why.NAME_DAYS: "Nobody has watched these readings. Choose the days.",
        Why.TOO_LONG: "That is too long. Choose at most {days} days, and split files that span "
        "more.".format(**_SIZES),
        Why.NO_ROOM: "Too little room is left on the disk. Make room, or send fewer days.",
        Why.STORE: "The store of readings did not answer. Try again.",
        Why.FAULT: "Something went wrong on this side. The log says more; the watch goes on.",
    },
    in_file="File: {name}",
    program_says="What the program says",
    done="{count} alarms from {span}",
    done_quiet="No alarm from {span}",
    told_as={True: "As it happened.", False: "With hindsight: every reading counts."},
    every_reading="Of files every reading counts.",
    files_done="Files",
    file_rows="{name}: {rows} rows, {kept} readings taken, {refused} refused.",
    choose_below="Choose it below, then look again",
    refused_rows="Rows that were refused",
    refused_row="Line {line}{column}: {why}",
    book_lost="Of some minutes it can't be made again what was known then. They are judged by "
    "today's plans.",
    batches="Batches",
    no_batches="No batch was watched in that time.",
    ribbon="{code}, {span}: {stood}",
    stood="{standing} {lasting}",
    blind_for="Could not be seen for {lasting}.",
    never_blind="Was seen all the time.",
    no_value="For {lasting} in all there was no value to hold against a limit.",
    water="Least water left: {value} at {when}.",
    water_chart="Water left in the scion, the least of each stretch, in %",
    sums="Most of {what}: {value} at {when}.",
    alarms="Alarms",
    no_alarms="There was none.",
    alarm_head=("Batch", "What", "From", "To", "At worst"),
    still="still true",
    held_back="held back",
    more_alarms="{count} more are in the figures.",
    figures="All figures as JSON",
    messages="Messages",
    message_ways={
        "nobody_answers": "If nobody answers: {said}.",
        "as_answered": "With the answers that were given: {said}.",
    },
    not_taken={
        NotTakenWhy.NO_FORM: "Choose a file, and send it from this page.",
        NotTakenWhy.TOO_LARGE: "Too large: at most {file} MiB a file, {all} MiB in all. Send fewer "
        "days at once.".format(**_SIZES),
        NotTakenWhy.TOO_MANY: "At most {files} files at once. Send them in parts.".format(**_SIZES),
        NotTakenWhy.NO_ROOM: "Too little room is left on the disk of this machine. Make room.",
        NotTakenWhy.BROKEN_OFF: "The files did not come whole. Send them again.",
    },
    busy="Another replay runs. Wait for it, or stop it: there is one at a time.",
    gone="That replay is gone. Ask for a new one.",
    not_a_day="Write each day as 2026-11-14.",
    days_turned="The last day lies before the first. Turn them round.",
)

SPANISH = ReplayWords(
    link="Repeticiones",
    title="Repetir un registro",
    lead="Vuelve a pasar las lecturas y dice qué se habría avisado. No cambia nada de lo guardado, "
    "no da ninguna alarma y no escribe a nadie.",
    only_fix="Puede empezar una repetición el técnico o la persona responsable.",
    of_files="Archivos de registradores",
    files_label="Suelte aquí los archivos, o elíjalos",
    files_hint="CSV y parecidos, JSON Lines (.jsonl), Parquet, libros de cálculo (.xlsx). Como "
    "mucho {files} archivos, {file} MiB cada uno, {all} MiB en total. Después se borran.".format(
        **_SIZES
    ),
    of_store="Lecturas guardadas",
    store_hint="Sin días: todo lo que se vigiló.",
    from_to=("Desde el día", "Hasta el día"),
    days_hint="Cuentan los dos días; como mucho {days} días.".format(**_SIZES),
    how="Qué cuenta",
    as_it_happened="Como pasó",
    as_it_happened_why="solo lo que llegó a tiempo y lo que se sabía entonces",
    hindsight="Con lo que se sabe hoy",
    hindsight_why="todas las lecturas y todo lo anotado hasta ahora",
    look="Mirar los archivos",
    look_again="Mirar otra vez",
    run="Repetir",
    drop="Tirar los archivos",
    stop="Pararla",
    forget="Olvidar esta repetición",
    anew="Repetir otra cosa",
    shown_title="¿Está cada columna en su sitio?",
    shown_lead="Todavía no se ha juzgado nada. Corrija lo que esté mal y luego repita.",
    read_as="Se lee así: {said}",
    time_in="La hora está en {names}, con la zona {zone}: {how}.",
    rows_from_to="Primera fila {first}, última fila {last}.",
    settle="Este archivo no se puede usar tal como está:",
    choose_way="Elija qué quiere decir y mire otra vez",
    column_head=("Columna", "Habla por", "Unidad", "Primeros valores", "Se sabe por"),
    as_found="lo encontrado: {key}",
    left_out="dejarla fuera",
    unit_as_found="lo encontrado: {unit}",
    of_time="hora",
    more_said="Más sobre cómo está escrito el archivo",
    said_fields={
        "zone": "Zona horaria, como Europe/Madrid o +01:00",
        "date_order": "Orden de la fecha: ymd, dmy o mdy",
        "decimal": "Signo de los decimales: . o ,",
        "separator": "Entre celdas: comma, semicolon, tab, bar o blanks",
        "header_line": "Línea con los nombres de las columnas",
        "time": "Columna de la hora; si son dos, con + entre ellas",
        "missing": "Lo que significa sin valor; si hay varios, con ; entre ellos",
        "sheet": "Hoja del libro",
    },
    nothing_chosen="Elija antes un archivo.",
    running="Hay una repetición en marcha",
    stages={
        Stage.SHOWN: "Hay archivos que esperan a que los mire",
        Stage.READING: "Leyendo los archivos",
        Stage.JUDGING: "Juzgando minuto a minuto",
        Stage.DONE: "Hecha",
        Stage.FAILED: "Falló",
        Stage.STOPPED: "Parada",
    },
    how_far="{percent} % hecho",
    stopped="La repetición se paró. No se cambió nada.",
    failed="No se pudo hacer la repetición",
    whys={
        Why.FILE_REFUSED: "Un archivo no se puede usar. Corríjalo y envíelo otra vez.",
        Why.NO_READING: "No hay ninguna lectura en los archivos. Mire las filas rechazadas.",
        Why.NOTHING_THERE: "No hay lecturas de esos días. Elija otros.",
        Why.NAME_DAYS: "Nadie vigiló estas lecturas. Elija los días.",
        Why.TOO_LONG: "Es demasiado largo. Elija como mucho {days} días y parta los archivos que "
        "abarquen más.".format(**_SIZES),
        Why.NO_ROOM: "Queda muy poco sitio en el disco. Haga sitio o envíe menos días.",
        Why.STORE: "El almacén de lecturas no respondió. Inténtelo otra vez.",
        Why.FAULT: "Algo falló de este lado. El registro dice más; la vigilancia sigue.",
    },
    in_file="Archivo: {name}",
    program_says="Lo que dice el programa",
    done="{count} alarmas: {span}",
    done_quiet="Ninguna alarma: {span}",
    told_as={True: "Como pasó.", False: "Con lo que se sabe hoy: cuentan todas las lecturas."},
    every_reading="De los archivos cuentan todas las lecturas.",
    files_done="Archivos",
    file_rows="{name}: {rows} filas, {kept} lecturas tomadas, {refused} rechazadas.",
    choose_below="Elíjalo abajo y vuelva a mirar",
    refused_rows="Filas rechazadas",
    refused_row="Línea {line}{column}: {why}",
    book_lost="De algunos minutos no se puede rehacer lo que se sabía entonces. Se juzgan con los "
    "planes de hoy.",
    batches="Lotes",
    no_batches="En ese tiempo no se vigilaba ningún lote.",
    ribbon="{code}, {span}: {stood}",
    stood="{standing} {lasting}",
    blind_for="No se pudo ver durante {lasting}.",
    never_blind="Se vio todo el tiempo.",
    no_value="En total, durante {lasting} no hubo ningún valor que comparar con un límite.",
    water="Menos agua que le quedó: {value}, {when}.",
    water_chart="Agua que le queda a la púa, lo menos de cada tramo, en %",
    sums="Lo más de {what}: {value}, {when}.",
    alarms="Alarmas",
    no_alarms="No hubo ninguna.",
    alarm_head=("Lote", "Qué", "Desde", "Hasta", "Lo peor"),
    still="sigue",
    held_back="retenida",
    more_alarms="Hay {count} más en las cifras.",
    figures="Todas las cifras en JSON",
    messages="Mensajes",
    message_ways={
        "nobody_answers": "Si nadie responde: {said}.",
        "as_answered": "Con las respuestas que se dieron: {said}.",
    },
    not_taken={
        NotTakenWhy.NO_FORM: "Elija un archivo y envíelo desde esta página.",
        NotTakenWhy.TOO_LARGE: "Demasiado grande: como mucho {file} MiB por archivo y {all} MiB en "
        "total. Envíe menos días de una vez.".format(**_SIZES),
        NotTakenWhy.TOO_MANY: "Como mucho {files} archivos de una vez. Envíelos por partes.".format(
            **_SIZES
        ),
        NotTakenWhy.NO_ROOM: "Queda muy poco sitio en el disco de esta máquina. Haga sitio antes.",
        NotTakenWhy.BROKEN_OFF: "Los archivos no llegaron enteros. Envíelos otra vez.",
    },
    busy="Hay otra repetición en marcha. Espere o párela: solo hay una a la vez.",
    gone="Esa repetición ya no está. Pida otra.",
    not_a_day="Escriba cada día como 2026-11-14.",
    days_turned="El último día es anterior al primero. Cámbielos.",
)


def replay_words(code: str) -> ReplayWords:
    """Return the texts in a language."""
    return SPANISH if code == "es" else ENGLISH
