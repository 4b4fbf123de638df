"""The texts of the page that says how the tool is set up, and what is missing."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class SettingsWords:
    """The texts of one language. Names in braces are filled in."""

    title: str
    all_well: str
    answer: str
    answer_one: str
    missing: str
    set: str
    name_head: str
    value_head: str
    is_set: str
    not_set: str
    empty: str
    fix: str
    kept_out: str
    kept_out_fix: str
    no_mail: str
    no_mail_fix: str
    no_heartbeat: str
    no_heartbeat_fix: str
    no_backup: str
    no_backup_fix: str
    no_backup_yet: str
    last_backup: str
    nobody: str
    nobody_fix: str
    unseen: str
    unseen_fix: str
    uncalibrated: str
    uncalibrated_fix: str
    expired: str
    expired_fix: str
    no_way: str
    no_way_fix: str
    secrets: str
    nodes: str
    watched_by: str
    nobody_watches: str
    node: str
    node_speaks: str
    node_is: Mapping[str, str]


ENGLISH = SettingsWords(
    title="Settings",
    all_well="Nothing is missing",
    answer="{count} things are missing or worth a look",
    answer_one="One thing is missing or worth a look",
    missing="What is missing, and what to do",
    set="What is set",
    name_head="Setting",
    value_head="Value",
    is_set="set; never shown",
    not_set="not set",
    empty="empty",
    fix="Do: {fix}",
    kept_out="What is written now has a fault and is kept out; the last good state counts.",
    kept_out_fix="{file}, line {line}, {field}: {problem}. {fix}",
    no_mail="No mail can be sent: there is no mail server.",
    no_mail_fix="Set GRAFTVIGIL_MAIL_SERVER, start again, and try it with graftvigil reach.",
    no_heartbeat="If this machine stops, nobody outside is told.",
    no_heartbeat_fix="Set GRAFTVIGIL_HEARTBEAT_URL to an address that raises the alarm when it "
    "hears nothing.",
    no_backup="No backup is made by itself.",
    no_backup_fix="Set GRAFTVIGIL_BACKUP to a folder on another disk, and take a copy to another "
    "place now and then.",
    no_backup_yet="No backup has been made and tried yet.",
    last_backup="Last backup, made and tried: {time}.",
    nobody="In the next two weeks nobody is on duty {count} times, first from {start} to {end}. "
    "{lead} is told then.",
    nobody_fix="Add a shift, a swap or a stand-in for these hours.",
    unseen="{code}: no sensor tells its {names}. It can't be seen.",
    unseen_fix="Give a sensor a position that speaks for it.",
    uncalibrated="Never checked against anything true: {names}.",
    uncalibrated_fix="Check them with a salt jar (graftvigil jar), and write the calibration down.",
    expired="Calibration out of date: {names}.",
    expired_fix="Check them again, and write a new calibration.",
    no_way="{name} can't be reached by any way.",
    no_way_fix="Write an e-mail address or another way for them.",
    secrets="Passwords and tokens are never shown, only whether they are set.",
    nodes="Who watches",
    watched_by="watched by {node} since {time}",
    nobody_watches="watched by nobody just now; the next process takes it within half a minute",
    node="Process {node}",
    node_speaks="It sends the night sheets and looks after the tool.",
    node_is=MappingProxyType(
        {
            "": "well, seen {time}.",
            "starting": "starting.",
            "deaf": "hears no broker; seen {time}. See to its network; another one watches.",
            "files": "has other site or plan files than the ones in force. Copy these to it.",
            "stuck": "its watch fails or hangs; seen {time}. Look into its log and start it again.",
            "gone": "not seen since {time}. See that its computer and its graftvigil run.",
            "ended": "asked to stop, {time}.",
        }
    ),
)

SPANISH = SettingsWords(
    title="Ajustes",
    all_well="No falta nada",
    answer="Faltan {count} cosas o merecen una mirada",
    answer_one="Falta una cosa o merece una mirada",
    missing="Qué falta y qué hacer",
    set="Qué está puesto",
    name_head="Ajuste",
    value_head="Valor",
    is_set="puesto; no se muestra nunca",
    not_set="sin poner",
    empty="vacío",
    fix="Haga: {fix}",
    kept_out="Lo escrito ahora tiene un fallo y no se usa; vale el último estado bueno.",
    kept_out_fix="{file}, línea {line}, {field}: {problem}. {fix}",
    no_mail="No se puede enviar correo: no hay servidor de correo.",
    no_mail_fix="Ponga GRAFTVIGIL_MAIL_SERVER, arranque de nuevo y pruebe con graftvigil reach.",
    no_heartbeat="Si esta máquina se para, nadie de fuera se entera.",
    no_heartbeat_fix="Ponga GRAFTVIGIL_HEARTBEAT_URL con una dirección que avise cuando no oye "
    "nada.",
    no_backup="No se hace ninguna copia de seguridad sola.",
    no_backup_fix="Ponga GRAFTVIGIL_BACKUP con una carpeta en otro disco, y lleve de vez en cuando "
    "una copia a otro sitio.",
    no_backup_yet="Todavía no se ha hecho y probado ninguna copia de seguridad.",
    last_backup="Última copia de seguridad, hecha y probada: {time}.",
    nobody="En las próximas dos semanas no hay nadie de turno {count} veces, la primera de {start} "
    "a {end}. Entonces se avisa a {lead}.",
    nobody_fix="Añada un turno, un cambio o un suplente para esas horas.",
    unseen="{code}: ningún sensor dice su {names}. No se puede ver.",
    unseen_fix="Dé a un sensor una posición que hable por él.",
    uncalibrated="Nunca comparados con algo verdadero: {names}.",
    uncalibrated_fix="Compruébelos con un frasco de sal (graftvigil jar) y anote la calibración.",
    expired="Calibración caducada: {names}.",
    expired_fix="Compruébelos de nuevo y anote una calibración nueva.",
    no_way="A {name} no se le puede avisar de ninguna manera.",
    no_way_fix="Escriba un correo u otra manera de avisarle.",
    secrets="Las contraseñas y claves no se muestran nunca, solo si están puestas.",
    nodes="Quién vigila",
    watched_by="la vigila {node} desde {time}",
    nobody_watches="ahora mismo nadie la vigila; otro proceso la toma en menos de medio minuto",
    node="Proceso {node}",
    node_speaks="Envía las hojas de noche y cuida del sistema.",
    node_is=MappingProxyType(
        {
            "": "bien, visto {time}.",
            "starting": "arrancando.",
            "deaf": "no oye al bróker; visto {time}. Revise su red; otro vigila.",
            "files": "tiene otros archivos de sitio o de planes que los que valen. Cópieselos.",
            "stuck": "su vigilancia falla o se ha parado; visto {time}. Mire su registro y "
            "arránquelo de nuevo.",
            "gone": "no se ve desde {time}. Compruebe que su ordenador y su graftvigil funcionan.",
            "ended": "se mandó parar, {time}.",
        }
    ),
)

_BY_CODE = {"en": ENGLISH, "es": SPANISH}


def settings_words(code: str) -> SettingsWords:
    """Return the texts in a language of the pages."""
    return _BY_CODE[code]
