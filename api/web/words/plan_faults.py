"""What is wrong in the text of a care plan, in Spanish.

The checks speak English, as `graftvigil check` does. Each of their sentences that a plan can meet
has its Spanish one here, by pattern; one that has none is shown as it is.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rules.model.fault import Fault

WORDS = {
    "text": "texto",
    "a whole number": "un número entero",
    "a number": "un número",
    "true or false": "true o false",
    "a list": "una lista",
    "a table of fields": "una tabla de campos",
    "a date and time": "una fecha con hora",
    "a date": "una fecha",
    "a time of day": "una hora",
    "what belongs here": "lo que va aquí",
    "what is written": "lo escrito",
    "a very long number": "un número muy largo",
    "above": "mayor que",
    "at least": "al menos",
    "below": "menor que",
    "at most": "como mucho",
}
"""Words that stand inside a sentence."""

PROBLEMS: tuple[tuple[str, str], ...] = (
    (r"is missing", "falta"),
    (r"is empty", "está vacío"),
    (r"is too long", "es demasiado largo"),
    (r"is longer than (\d+) characters", "tiene más de {0} caracteres"),
    (r"is not a field that belongs here", "no es un campo que vaya aquí"),
    (r"(.+) is not a word for this", "{0} no es una palabra para esto"),
    (r"(.+) does not say in which time zone", "{0} no dice en qué huso horario"),
    (r"says no time zone", "no dice el huso horario"),
    (r"is over", "ya pasó"),
    (r"can't be read as a moment", "no se lee como un momento"),
    (r'must stay "(.+)"', 'debe seguir siendo "{0}"'),
    (r"says the same as version (\d+)", "dice lo mismo que la versión {0}"),
    (r"can't be numbered", "no se puede numerar"),
    (r"(.+) cannot stand here", "{0} no puede ir aquí"),
    (r"is a list of entries", "es una lista de entradas"),
    (r"holds nothing", "está vacío"),
    (
        r"(\S+) lies outside what (\S+) can be, (\S+) to (\S+) (.+)",
        "{0} queda fuera de lo que {1} puede ser, de {2} a {3} {4}",
    ),
    (
        r"no (\S+) can be above (\S+) \((.+)\) and below (\S+) \((.+)\)",
        "ningún {0} puede estar sobre {1} ({2}) y bajo {3} ({4})",
    ),
    (r"no day has (\S+) hours", "ningún día tiene {0} horas"),
    (
        r"version (\d+) was made for another scion or cover",
        "la versión {0} era para otra púa o cubierta",
    ),
    (
        r"the name (\S+) is used twice",
        "el nombre {0} se usa dos veces",
    ),
    (r'nobody has the id "(.+)"', 'nadie tiene el id "{0}"'),
    (r"must lie between low and high", "debe estar entre low y high"),
    (r"low and high must lie from (\S+) to (\S+)", "low y high deben estar entre {0} y {1}"),
    (r"looks like a secret", "parece un secreto"),
    (
        r'goes with kind = "hours_beyond", and only then',
        'va con kind = "hours_beyond", y solo con él',
    ),
    (r"a (\w+) adds up (\w+) or (\w+)", "{0} suma {1} o {2}"),
    (r"a (\w+) adds up (\w+)", "{0} suma {1}"),
    (
        r"a sum that must be reached is judged when its day ends",
        "una suma que debe alcanzarse se juzga al acabar su día",
    ),
    (r"does not belong to a (\w+)", "no va con {0}"),
    (r"comes before look_from_days", "viene antes de look_from_days"),
    (
        r"each step opens the cover further, between 0 and 1",
        "cada paso abre más la cubierta, entre 0 y 1",
    ),
    (r"(\w+) is not done in parts", "{0} no se hace por partes"),
    (
        r"open_share is empty, and a cover is never taken off in one go",
        "open_share está vacío, y una cubierta nunca se quita de una vez",
    ),
    (
        r"(\S+) takes the wrap off after (\d+) days, before the union at (\d+)",
        "{0} quita la cinta a los {1} días, antes de la unión a los {2}",
    ),
    (r"is not TOML: (.+)", "no es TOML: {0}"),
    (r"(.+) is not (a whole number|a number|text|true or false|a list|a table of fields|a date and "
     r"time|a date|a time of day|what belongs here)", "{0} no es {1}"),
    (r"is (\S+|a very long number|what is written)", "es {0}"),
)  # fmt: skip

FIXES: tuple[tuple[str, str], ...] = (
    (r"Add an offset such as \+11:00 or Z\.", "Añada una diferencia como +11:00 o Z."),
    (r"Add (a line as in|a heading|an entry under) (.+)\.", "Añada {1}."),
    (r'Did you mean "(.+)"\?', "¿Quiso decir «{0}»?"),
    (r"Write one of (.+)\.", "Escriba uno de estos: {0}."),
    (
        r"Write a number that is (above|at least|below|at most) (\S+)\.",
        "Escriba un número que sea {0} {1}.",
    ),
    (r"Write an ordinary number\.", "Escriba un número corriente."),
    (r"Write at least one letter\.", "Escriba al menos una letra."),
    (r"Write at least one entry\.", "Escriba al menos una entrada."),
    (r"Write at most (\S+)\.", "Escriba como mucho {0}."),
    (r"Write the bound in (.+)\.", "Escriba el límite en {0}."),
    (r"Write it in (.+)\.", "Escríbalo en {0}."),
    (r"Write it as in (.+)\.", "Escríbalo como en {0}."),
    (r"Shorten it to (\d+) characters\.", "Acórtelo a {0} caracteres."),
    (r"Shorten its notes\.", "Acorte sus notas."),
    (r"Put it between double quotes\.", "Póngalo entre comillas dobles."),
    (r"Write digits only, without quotes\.", "Escriba solo cifras, sin comillas."),
    (r"Leave out what follows the point\.", "Quite lo que sigue al punto."),
    (r"Write digits with a point, without quotes\.", "Escriba cifras con punto, sin comillas."),
    (r"Write true or false, without quotes\.", "Escriba true o false, sin comillas."),
    (r"Set the low bound below the high one\.", "Ponga el límite bajo por debajo del alto."),
    (r"Say in a few words why the plan is changed\.", "Diga en pocas palabras por qué se cambia."),
    (
        r"A plan keeps its id; a plan for other plants is a file of its own\.",
        "Un plan conserva su id; uno para otras plantas es un archivo propio.",
    ),
    (
        r"Take the line out, then it counts from the next minute.*",
        "Quite la línea y cuenta desde el minuto siguiente, o escriba un momento posterior, como "
        "2026-01-05T17:00:00+10:00. Lo que ya ocurrió sigue juzgado como estaba.",
    ),
    (
        r"Change a figure or a text, or leave the plan as it is\.",
        "Cambie una cifra o un texto, o deje el plan como está.",
    ),
    (
        r"A plan for another kind of batch needs an id of its own\.",
        "Un plan para otro tipo de lote necesita su propio id.",
    ),
    (r"Put text between double quotes.*", "Ponga el texto entre comillas dobles; un número, no."),
    (r"One field a line; .*", "Un campo por línea; una hora como 06:00:00, un número como 3.5."),
    (r"Close the text with .*", "Cierre el texto con las mismas comillas, en la misma línea."),
    (r"Close the list with \] .*", "Cierre la lista con ] y una coma entre sus entradas."),
    (r"Each field is written once.*", "Cada campo va una sola vez en su tabla; quite uno."),
    (r"Compare .*", "Compárelo con docs/site_file.md."),
    (r"Give each .*", "Dé a cada uno su propio nombre."),
    (r"Each (limit|check) of a stage has its own\.", "Cada uno lleva su propio nombre."),
    (
        r"Write the lowest believable figure as low and the highest as high\.",
        "Escriba la cifra más baja creíble en low y la más alta en high.",
    ),
    (r"Look at the unit in the field's name\.", "Mire la unidad en el nombre del campo."),
    (
        r"Keep it out of this file: .*",
        "No lo ponga aquí: va en el entorno, como dice docs/settings.md.",
    ),
    (
        r'Write beyond = "high" for hours above the base, "low" for hours below\.',
        'Escriba beyond = "high" para las horas por encima de la base, "low" por debajo.',
    ),
    (r"Write that, or another kind\.", "Escriba eso, u otro kind."),
    (r'Write per = "local_day"\.', 'Escriba per = "local_day".'),
    (r"It has (.+)\.", "Lleva {0}."),
    (r"A (\w+) needs it\.", "{0} lo necesita."),
    (r"Make it (?:the )?later.*", "Póngalo más tarde."),
    (r"Write one field a line, .*", 'Un campo por línea, como title = "Casa larga".'),
    (r"Write them rising, .*", "Escríbalos en aumento, como [0.15, 0.4, 0.7]."),
    (r"Leave the share out\.", "Quite share."),
    (
        r"Write the share that stands open at each step, .*",
        "Escriba cuánto queda abierta en cada paso, como [0.15, 0.4, 0.7].",
    ),
)  # fmt: skip


def fault_in_spanish(fault: Fault) -> str:
    """Return what is wrong and what to do; what has no Spanish sentence yet stays English."""
    problem = _told(fault.problem, PROBLEMS)
    return f"{problem[:1].upper()}{problem[1:]}. {_told(fault.fix, FIXES)}"


def has_spanish(fault: Fault) -> bool:
    """Return whether both sentences of a fault are known here."""
    return all(
        any(re.fullmatch(pattern, said, re.DOTALL) for pattern, _ in table)
        for said, table in ((fault.problem, PROBLEMS), (fault.fix, FIXES))
    )


def _told(said: str, table: tuple[tuple[str, str], ...]) -> str:
    for pattern, spanish in table:
        found = re.fullmatch(pattern, said, re.DOTALL)
        if found is not None:
            return spanish.format(*(WORDS.get(one, one) for one in found.groups()))
    return said
