"""Every sentence about the tool itself in both languages: what is wrong, what to do, what is over.

One file because a sentence and its translation are read, and mended, together.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from rules.vital_signs import Sign

if TYPE_CHECKING:
    from collections.abc import Mapping

NEAR_WATER = frozenset({Sign.BROKER, Sign.ARRIVALS, Sign.HUB, Sign.SENSOR, Sign.BATTERY})
"""Where someone goes to a hub, a plug or a probe in a wet house."""


@dataclass(frozen=True, slots=True)
class Said:
    """One sign: `what` is wrong, what to `do` first, and what to say when it is `over`."""

    what: str
    do: str
    over: str


@dataclass(frozen=True, slots=True)
class GuardPhrases:
    """The sentences of one language. Names in braces are filled in by `api.alerts.guard_words`."""

    signs: Mapping[Sign, Said]
    hub_several: str
    never: str
    since: str
    unseen: str
    unseen_one: str
    at_risk: str
    at_risk_one: str
    sensors: str
    go_and_look: str
    part_says: str
    where: str
    over_since: str
    full_in_days: str
    full_in_hours: str
    inodes: str
    ahead: str
    behind: str
    forward: str
    back: str
    by_hand: str
    standing: str
    stopped: Mapping[str, str]
    stop_line: str
    stop_none: str
    stop_some: str
    stop_long: str
    stop_listed: str
    stop_do: str
    stop_nothing: str
    stop_unseen: str


ENGLISH = GuardPhrases(
    signs=MappingProxyType(
        {
            Sign.BROKER: Said(
                what="no readings come in: no connection to the broker",
                do="Start the broker; check its network and password.",
                over="connected to the broker again",
            ),
            Sign.ARRIVALS: Said(
                what="nothing has come from any sensor",
                do="Check the power of hub and network; then the broker.",
                over="sensors are heard again",
            ),
            Sign.HUB: Said(
                what="nothing has come from the hub",
                do="Check the hub: its power, aerial and network.",
                over="the hub is heard again",
            ),
            Sign.SENSOR: Said(
                what="nothing has come from {subject}",
                do="Check its battery, place and aerial.",
                over="{subject} is heard again",
            ),
            Sign.DEVICE_CLOCK: Said(
                what="the clock of {subject} is {off}; its readings count for wrong minutes",
                do="Set its clock, or its time zone.",
                over="the clock of {subject} is right again",
            ),
            Sign.BATTERY: Said(
                what="battery of {subject} low, {volts} V",
                do="Change it before it falls silent.",
                over="battery of {subject} is good again",
            ),
            Sign.KEEPING: Said(
                what="readings can't be kept",
                do="Look at the disk of the data folder. Sensors go on; what the broker holds is "
                "not lost.",
                over="readings are kept again",
            ),
            Sign.BACKLOG: Said(
                what="readings come in faster than they are kept; {waiting} messages wait",
                do="See what sends so much, on the page Sensors; then what slows this computer.",
                over="readings are kept as they come again",
            ),
            Sign.ARCHIVE: Said(
                what="the archive takes nothing; {waiting} readings wait here",
                do="Start the archive, or check its address and token. Nothing is lost meanwhile.",
                over="the archive takes readings again",
            ),
            Sign.RECORDS: Said(
                what="the records can't be read or written: no alarm can be kept",
                do="Look at the plants; then at the disk or the database server.",
                over="the records can be read and written again",
            ),
            Sign.DISK_LOW: Said(
                what="little room on the disk, {free} left{full}",
                do="Make room, or move the data folder.",
                over="there is room on the disk again",
            ),
            Sign.DISK_OUT: Said(
                what="the disk is about to be full, {free} left{full}",
                do="Make room now: soon nothing can be kept, no alarm either.",
                over="there is room on the disk again",
            ),
            Sign.CLOCK_JUMP: Said(
                what="this computer's clock jumped {jump}, or it slept",
                do="Check its time. Readings near the jump may stand in wrong minutes.",
                over="this computer's clock has run steadily",
            ),
            Sign.CLOCK_UNSET: Said(
                what="this computer's clock is not set by a time server",
                do="Turn time synchronisation on, and check the network.",
                over="this computer's clock is set by a time server again",
            ),
            Sign.CLOCK_DOUBT: Said(
                what="most sensors' clocks are {off} by ours: ours is the suspect",
                do="Check this computer's time first.",
                over="this computer's and the sensors' clocks agree again",
            ),
            Sign.WATCH: Said(
                what="nobody watches: readings have not been judged for {lasting}",
                do="Look at the plants; restart graftvigil if it stays so.",
                over="readings are judged again",
            ),
            Sign.ALERTS: Said(
                what="alarms are not sent: the alert service has stood still for {lasting}",
                do="Look at the page of alarms and at the plants; restart graftvigil.",
                over="alarms are sent again",
            ),
            Sign.HEARTBEAT: Said(
                what="the heartbeat does not get out; no internet?",
                do="Check the internet connection. Messages to people may not get out either.",
                over="the heartbeat gets out again",
            ),
            Sign.BACKUP: Said(
                what="no backup has worked for {lasting}",
                do="Look at the backup folder: is its disk there, with room, and writable?",
                over="a backup has been made and tried again",
            ),
            Sign.RESTORED: Said(
                what="restored from a backup; {waiting} messages owed then were not sent, and "
                "nothing is known of what was written or answered",
                do="Go round the plants; write down again what is missing.",
                over="it has run well since the restore",
            ),
            Sign.NODE: Said(
                what="process {subject} does not do its part, another watches for it",
                do="See that its computer, its network and its graftvigil run. Until then nothing "
                "stands in if one more fails.",
                over="process {subject} does its part again",
            ),
        }
    ),
    hub_several="nothing has come from {count} sensors in several houses",
    never="It was never heard.",
    since="since {time}",
    unseen="{count} batches can't be seen",
    unseen_one="{code} can't be seen",
    at_risk="{count} batches soon can't be seen",
    at_risk_one="{code} soon can't be seen",
    sensors="Silent: {names}.",
    go_and_look="Until it works again nobody knows how these plants are: {codes}. A person must go "
    "and look.",
    part_says="What it says: {said}",
    where="Where: {site}, {place}.",
    over_since="since {time} (began {start})",
    full_in_days=", full in about {count} days at this pace",
    full_in_hours=", full in about {count} h at this pace",
    inodes="no room for more files",
    ahead="{lasting} ahead",
    behind="{lasting} behind",
    forward="{lasting} forward",
    back="{lasting} back",
    by_hand="Sent directly, since the list of messages can't be used. It can't be answered by "
    "link, and is not kept in the list.",
    standing="The tool itself",
    stopped=MappingProxyType(
        {
            "asked": "graftvigil was told to stop, and has been started again",
            "cut_off": "graftvigil was cut off: killed, crashed, or without power",
            "stood_still": "graftvigil ran, but its watch stood still",
            "unknown": "graftvigil was not running",
        }
    ),
    stop_line="{site}: nobody watched from {start} to {end}, {lasting}.",
    stop_none="Nothing left its limits meanwhile.",
    stop_some="Trouble in {count} of the batches.",
    stop_long="Why: {why}. What was measured meanwhile has now been judged minute by minute, as if "
    "watched.",
    stop_listed="What happened, by batch:",
    stop_do="Look at {codes} first.",
    stop_nothing="Nothing has to be done for the plants. Find out why it stopped.",
    stop_unseen="Could not be seen for part of that time: {codes}.",
)

SPANISH = GuardPhrases(
    signs=MappingProxyType(
        {
            Sign.BROKER: Said(
                what="no llegan lecturas: sin conexión con el bróker",
                do="Arranque el bróker; revise red y contraseña.",
                over="otra vez hay conexión con el bróker",
            ),
            Sign.ARRIVALS: Said(
                what="no ha llegado nada de ninguna sonda",
                do="Revise la corriente de la antena y de la red; después, el bróker.",
                over="las sondas se oyen otra vez",
            ),
            Sign.HUB: Said(
                what="no ha llegado nada de la antena",
                do="Revise la antena: corriente, cable y red.",
                over="la antena se oye otra vez",
            ),
            Sign.SENSOR: Said(
                what="no ha llegado nada de {subject}",
                do="Revise su pila, su sitio y la antena.",
                over="{subject} se oye otra vez",
            ),
            Sign.DEVICE_CLOCK: Said(
                what="el reloj de {subject} va {off}; sus lecturas cuentan en otro minuto",
                do="Ponga en hora su reloj, o su zona horaria.",
                over="el reloj de {subject} va bien otra vez",
            ),
            Sign.BATTERY: Said(
                what="pila de {subject} baja, {volts} V",
                do="Cámbiela antes de que se calle.",
                over="la pila de {subject} está bien otra vez",
            ),
            Sign.KEEPING: Said(
                what="no se pueden guardar las lecturas",
                do="Revise el disco de la carpeta de datos. Las sondas siguen; lo que tiene el "
                "bróker no se pierde.",
                over="las lecturas se guardan otra vez",
            ),
            Sign.BACKLOG: Said(
                what="llegan más lecturas de las que se guardan; {waiting} mensajes esperan",
                do="Vea qué envía tanto, en la página Sensores; luego, qué frena este equipo.",
                over="las lecturas se guardan al llegar otra vez",
            ),
            Sign.ARCHIVE: Said(
                what="el archivo no acepta nada; aquí esperan {waiting} lecturas",
                do="Arranque el archivo, o revise dirección y clave. Mientras, nada se pierde.",
                over="el archivo acepta lecturas otra vez",
            ),
            Sign.RECORDS: Said(
                what="los registros no se leen ni se escriben: ninguna alarma se guarda",
                do="Mire las plantas; después, el disco o el servidor de datos.",
                over="los registros se leen y se escriben otra vez",
            ),
            Sign.DISK_LOW: Said(
                what="queda poco disco, {free}{full}",
                do="Haga sitio, o mueva la carpeta de datos.",
                over="hay sitio en el disco otra vez",
            ),
            Sign.DISK_OUT: Said(
                what="el disco está casi lleno, quedan {free}{full}",
                do="Haga sitio ya: pronto nada se podrá guardar, ni las alarmas.",
                over="hay sitio en el disco otra vez",
            ),
            Sign.CLOCK_JUMP: Said(
                what="el reloj de este equipo saltó {jump}, o el equipo durmió",
                do="Revise su hora. Lecturas cerca del salto pueden estar en otro minuto.",
                over="el reloj de este equipo va parejo",
            ),
            Sign.CLOCK_UNSET: Said(
                what="el reloj de este equipo no lo pone en hora ningún servidor",
                do="Active la hora por red, y revise la red.",
                over="un servidor pone en hora el reloj otra vez",
            ),
            Sign.CLOCK_DOUBT: Said(
                what="casi todas las sondas van {off} según nuestro reloj: se duda del nuestro",
                do="Revise primero la hora de este equipo.",
                over="el reloj de este equipo y los de las sondas coinciden otra vez",
            ),
            Sign.WATCH: Said(
                what="nadie vigila: hace {lasting} que no se juzgan lecturas",
                do="Mire las plantas; si sigue así, reinicie graftvigil.",
                over="las lecturas se juzgan otra vez",
            ),
            Sign.ALERTS: Said(
                what="no se envían alarmas: el servicio de avisos lleva {lasting} parado",
                do="Mire la página de alarmas y las plantas; reinicie graftvigil.",
                over="las alarmas se envían otra vez",
            ),
            Sign.HEARTBEAT: Said(
                what="el latido no sale; ¿sin internet?",
                do="Revise la conexión. Los avisos a las personas quizá tampoco salgan.",
                over="el latido sale otra vez",
            ),
            Sign.BACKUP: Said(
                what="ninguna copia de seguridad ha salido bien hace {lasting}",
                do="Mire la carpeta de copias: ¿está su disco, con sitio, y deja escribir?",
                over="se ha hecho y probado otra copia de seguridad",
            ),
            Sign.RESTORED: Said(
                what="restaurado de una copia; {waiting} avisos pendientes no se enviaron, y no se "
                "sabe qué se anotó o respondió",
                do="Recorra las plantas; anote otra vez lo que falta.",
                over="funciona bien desde que se restauró",
            ),
            Sign.NODE: Said(
                what="el proceso {subject} no hace su parte, otro vigila por él",
                do="Compruebe que su ordenador, su red y su graftvigil funcionan. Hasta entonces "
                "nada lo suple si falla uno más.",
                over="el proceso {subject} hace su parte otra vez",
            ),
        }
    ),
    hub_several="no ha llegado nada de {count} sondas en varias casas",
    never="Nunca se ha oído.",
    since="desde {time}",
    unseen="{count} lotes no se ven",
    unseen_one="{code} no se ve",
    at_risk="{count} lotes pronto no se verán",
    at_risk_one="{code} pronto no se verá",
    sensors="Calladas: {names}.",
    go_and_look="Hasta que funcione otra vez nadie sabe cómo están estas plantas: {codes}. Una "
    "persona debe ir a mirarlas.",
    part_says="Lo que dice: {said}",
    where="Dónde: {site}, {place}.",
    over_since="desde {time} (empezó {start})",
    full_in_days=", lleno en unos {count} días a este paso",
    full_in_hours=", lleno en unas {count} h a este paso",
    inodes="no caben más archivos",
    ahead="{lasting} adelantado",
    behind="{lasting} atrasado",
    forward="{lasting} adelante",
    back="{lasting} atrás",
    by_hand="Enviado directamente, porque la lista de mensajes no se puede usar. No se puede "
    "responder por enlace ni queda en la lista.",
    standing="El propio sistema",
    stopped=MappingProxyType(
        {
            "asked": "se mandó parar graftvigil y se ha arrancado otra vez",
            "cut_off": "graftvigil se cortó: lo mataron, falló o se fue la corriente",
            "stood_still": "graftvigil estaba en marcha, pero su vigilancia se paró",
            "unknown": "graftvigil no estaba en marcha",
        }
    ),
    stop_line="{site}: nadie vigiló de {start} a {end}, {lasting}.",
    stop_none="Mientras tanto nada salió de sus límites.",
    stop_some="Hubo problemas en {count} de los lotes.",
    stop_long="Por qué: {why}. Lo que se midió mientras tanto ya se juzgó minuto a minuto, como si "
    "se hubiera vigilado.",
    stop_listed="Qué pasó, por lote:",
    stop_do="Mire primero {codes}.",
    stop_nothing="Por las plantas no hay nada que hacer. Averigüe por qué se paró.",
    stop_unseen="No se vieron durante parte de ese tiempo: {codes}.",
)


def guard_phrases(language: str) -> GuardPhrases:
    """Return the sentences of a language: Spanish for "es", else English."""
    return SPANISH if language == "es" else ENGLISH
